//! What whoever stands before a page is told without asking, and what is kept from beginning there.

use std::time::{Duration, Instant};

use crate::commands::{live, told, until};
use crate::person::Browser;
use crate::served::{PATIENCE, Served};

/// Waits until a live value of the page Run is so.
fn until_live(browser: &Browser<'_>, name: &str, so: impl Fn(&str) -> bool) {
    let end = Instant::now() + PATIENCE;
    loop {
        let live = browser.live("run");
        let piece = &live["changed"][name];
        let words = piece["html"].as_str().or(piece["text"].as_str()).unwrap_or_default();
        if so(words) {
            return;
        }
        assert!(Instant::now() < end, "{name} is `{words}`");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn a_job_is_not_started_from_a_page_before_its_set_up_is_checked_and_is_by_the_wired_button() {
    let served = Served::on_twin("20");
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    assert_eq!(operator.load("short-job.toml").status, 200);
    assert_eq!(operator.post("/bench", &[("act", "key-on")]).status, 200);
    let end = Instant::now() + PATIENCE;
    while !operator.ask("home", "").body.contains("\"accepted\"") {
        assert!(Instant::now() < end, "not homed: {}", served.state());
        std::thread::sleep(Duration::from_millis(100));
    }
    until(&operator, "the wait for the start", |told| {
        told["machine"]["homes"] == true && !told["machine"]["prompt"].is_null()
    });
    // The start of the homing is no start of the job.
    assert!(operator.ask("start", "").body.contains("\"accepted\""));
    until(&operator, "readiness", |told| {
        told["machine"]["prompt"]["ask"].as_str().is_some_and(|ask| ask.contains("is ready"))
    });
    let prompt = live(&operator, "run", "prompt");
    assert!(prompt.contains("set-up is not checked for this part"), "{prompt}");
    let answer = operator.ask("start", "");
    assert!(answer.body.contains("\"denied\"") && answer.body.contains("set-up"), "{answer:?}");
    served.wrote_refused("start", "set-up is not checked for this part");
    assert_eq!(told(&operator)["machine"]["stage"], "idle");
    assert_eq!(operator.post("/bench", &[("act", "start-in")]).status, 200);
    until(&operator, "its begin", |told| told["machine"]["stage"] == "running");
}

#[test]
fn who_waits_for_the_seat_is_written_down_as_asking_and_who_had_it_elsewhere_has_it_at_once() {
    let served = Served::on_twin("1");
    let (operator, fitter) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    operator.take_seat();
    let again = Browser::of(&served, "Operator");
    let seat = live(&again, "run", "seat");
    assert!(seat.contains("You command at another screen"), "{seat}");
    let asked = fitter.post("/seat", &[("act", "take")]);
    assert!(asked.body.contains("\"asked\""), "{asked:?}");
    served.wrote("asking", |act| act.person == "A. Fitter" && act.what == "seat: ask");
    assert!(
        !served.acts().iter().any(|act| act.person == "A. Fitter" && act.what.contains("take"))
    );
    let back = again.post("/seat", &[("act", "take")]);
    assert!(back.body.contains("\"accepted\""), "{back:?}");
    served.wrote("taking over", |act| act.what.contains("back from another session"));
    assert_eq!(told(&again)["seat_is_yours"], true);
    let old = live(&operator, "run", "seat");
    assert!(old.contains("You command at another screen"), "{old}");
    assert_eq!(operator.ask("home", "").status, 403, "the old page commands no more");
    assert_eq!(told(&again)["asking"], "A. Fitter", "who asked is still to be answered");
}

#[test]
fn a_recipe_that_was_saved_after_its_loading_is_told_beside_the_job() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    assert_eq!(operator.load("short-job.toml").status, 200);
    std::thread::sleep(Duration::from_millis(1200));
    until_live(&operator, "recipe.newer", str::is_empty);
    let file = served.file("recipes/short-job.toml");
    let text = std::fs::read_to_string(&file).expect("read");
    let line = text.lines().find(|line| line.starts_with("revision")).expect("a revision");
    std::fs::write(&file, text.replace(line, "revision = 77")).expect("written");
    until_live(&operator, "recipe.newer", |words| words.contains("its file has r77 since"));
    std::fs::write(&file, format!("# another comment\n{text}")).expect("written");
    until_live(&operator, "recipe.newer", |words| words.contains("was changed since"));
    std::fs::remove_file(&file).expect("removed");
    until_live(&operator, "recipe.newer", |words| words.contains("cannot be read any more"));
}

#[test]
fn a_people_s_file_that_cannot_be_read_is_shown_to_the_engineer_and_to_nobody_else() {
    let served = Served::on_twin("1");
    let (operator, engineer) = (Browser::of(&served, "Operator"), Browser::of(&served, "Engineer"));
    let file = served.file("p.toml");
    let text = std::fs::read_to_string(&file).expect("read");
    std::fs::write(&file, "no people").expect("written");
    until_live(&engineer, "record", |words| {
        words.contains("people&#39;s file cannot be read")
            || words.contains("people's file cannot be read")
    });
    assert_eq!(live(&operator, "run", "record"), "");
    std::fs::write(&file, text).expect("written");
    until_live(&engineer, "record", str::is_empty);
}
