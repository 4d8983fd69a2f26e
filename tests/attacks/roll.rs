//! What becomes of those who are signed in when others sign in, or when the people's file changes.

use std::time::{Duration, Instant};

use crate::person::Browser;
use crate::served::{PATIENCE, PEOPLE, Served};

/// Waits until something is written down that keeps the roll from being read.
fn told(served: &Served) {
    served.wrote_refused("read who may sign in", "those who did stay");
}

/// Whether whoever comes without a cookie is let in without a PIN.
fn lets_anybody_in(served: &Served) -> bool {
    served.get("/", &[]).header("set-cookie").is_some()
}

#[test]
fn a_people_s_file_that_is_emptied_or_lost_opens_the_panel_to_nobody() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    let kept = std::fs::read(served.people()).expect("the people");
    assert!(!lets_anybody_in(&served));
    std::fs::write(served.people(), "").expect("emptied");
    told(&served);
    assert!(!lets_anybody_in(&served));
    assert!(served.get("/sign-in", &[]).body.contains("those who did stay"));
    // Who was on the roll stays, and may come.
    assert_eq!(operator.get("/").status, 200);
    drop(Browser::of(&served, "Fitter"));
    std::fs::remove_file(served.people()).expect("removed");
    std::thread::sleep(Duration::from_millis(2500));
    assert!(!lets_anybody_in(&served));
    drop(Browser::of(&served, "Engineer"));
    // The file comes back.
    std::fs::write(served.people(), kept).expect("put back");
    served.restrict_people();
    let end = Instant::now() + PATIENCE;
    while served.get("/sign-in", &[]).body.contains("those who did stay") {
        assert!(Instant::now() < end, "it is never read again");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn who_signs_in_over_somebody_ends_their_session_and_leaves_their_seat() {
    let served = Served::on_twin("1");
    let (operator, other) = (Browser::of(&served, "Operator"), Browser::of(&served, "Engineer"));
    operator.take_seat();
    let (name, pin, _) = PEOPLE[1];
    let over = [("Cookie", operator.cookie.as_str())];
    let wrong = served.post("/sign-in", &over, &[("name", name), ("pin", "0000")]);
    assert_eq!(wrong.status, 403);
    assert_eq!(operator.get("/state").status, 200, "who did not come in ends nobody's session");
    let answer = served.post("/sign-in", &over, &[("name", name), ("pin", pin)]);
    assert_eq!(answer.status, 303, "{answer:?}");
    assert_eq!(operator.get("/state").status, 401);
    let state: serde_json::Value = serde_json::from_str(&other.get("/state").body).expect("JSON");
    assert!(state["seat"].is_null(), "{state}");
}
