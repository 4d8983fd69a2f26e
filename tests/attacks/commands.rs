//! What is asked beside requests to the controller: proofs, a checked set-up, calibrations.

use std::path::Path;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::person::{AWAY, Browser};
use crate::raw::Answer;
use crate::served::{PATIENCE, Served};

pub(crate) fn told(browser: &Browser<'_>) -> Value {
    serde_json::from_str(&browser.get("/state").body).expect("JSON")
}

/// Waits until what a program is told is so.
pub(crate) fn until(browser: &Browser<'_>, what: &str, so: impl Fn(&Value) -> bool) {
    let end = Instant::now() + PATIENCE;
    loop {
        let now = told(browser);
        if so(&now) {
            return;
        }
        assert!(Instant::now() < end, "{what} never came: {now}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn prove(browser: &Browser<'_>, word: &str) -> Answer {
    let turn = told(browser)["turn"].to_string();
    browser.post("/prove", &[("prove", word), ("turn", &turn)])
}

pub(crate) fn live(browser: &Browser<'_>, page: &str, name: &str) -> String {
    let live = browser.live(page);
    live["changed"][name]["html"].as_str().unwrap_or_default().to_owned()
}

#[test]
fn whoever_is_signed_in_ends_a_proof_and_only_who_commands_answers_it() {
    let served = Served::on_twin("20");
    let (operator, fitter) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    fitter.take_seat();
    assert_eq!(fitter.post("/bench", &[("act", "key-on")]).status, 200);
    for (word, from) in [("quit", operator.through(AWAY)), ("skip", operator.through(AWAY))] {
        assert_eq!(prove(&fitter, "guard_open").status, 200);
        until(&fitter, "the act", |told| told["proof"]["asks"] == true);
        for gives in ["done", "act", "emergency_stop"] {
            assert_eq!(prove(&operator, gives).status, 403, "{gives}");
        }
        assert_eq!(prove(&from, word).status, 200, "{word}");
        // What was left out is still to be put back; that can be ended as well.
        if word == "skip" {
            until(&fitter, "how it is put back", |told| told["proof"]["asks"] == true);
            assert_eq!(prove(&operator, "quit").status, 200);
        }
        until(&fitter, "its end", |told| told["proves"] == false);
        until(&fitter, "the end of proving", |told| told["machine"]["stage"] == "idle");
    }
    served.wrote("prove quit", |act| act.what == "prove quit" && act.person == "C. Operator");
    let ended = prove(&operator, "quit");
    assert!(ended.body.contains("no proof test is under way"), "{ended:?}");
}

#[test]
fn a_proof_ends_with_the_seat_of_whoever_began_it() {
    let served = Served::on_twin("20");
    let fitter = Browser::of(&served, "Fitter");
    fitter.take_seat();
    assert_eq!(fitter.post("/bench", &[("act", "key-on")]).status, 200);
    assert_eq!(prove(&fitter, "guard_open").status, 200);
    until(&fitter, "the act", |told| told["proof"]["asks"] == true);
    assert_eq!(fitter.post("/seat", &[("act", "leave")]).status, 200);
    until(&fitter, "its end", |told| told["proof"]["end"] == "quit");
    until(&fitter, "the end of proving", |told| told["machine"]["stage"] == "idle");
}

#[test]
fn a_set_up_is_checked_line_by_line_for_one_loading_and_shown_with_who_and_when() {
    let served = Served::on_twin("1");
    let operator = Browser::of(&served, "Operator");
    let lines: Vec<String> = (0..5).map(|number| format!("line{number}")).collect();
    let ticked = |lines: &[String]| {
        let fields: Vec<_> = lines.iter().map(|line| (line.as_str(), "yes")).collect();
        operator.post("/checked", &fields)
    };
    let without_job = ticked(&lines);
    assert_eq!(without_job.status, 403, "{without_job:?}");
    operator.take_seat();
    assert_eq!(operator.load("short-job.toml").status, 200);
    assert_eq!(operator.post("/seat", &[("act", "leave")]).status, 200);
    // Who is not there has checked nothing, line by line or not.
    let fields: Vec<_> = lines.iter().map(|line| (line.as_str(), "yes")).collect();
    let away = operator.through(AWAY).post("/checked", &fields);
    assert_eq!(away.status, 403, "{away:?}");
    served.wrote_refused("set-up checked: 5 of 5", "stands before the machine");
    let some = ticked(&lines[..4]);
    assert_eq!(some.status, 403, "{some:?}");
    assert!(some.body.contains("tick every line") && some.body.contains("Extraction"), "{some:?}");
    served.wrote_refused("set-up checked: 4 of 5", "tick every line");
    assert_eq!(live(&operator, "run", "set-up.checked"), "");
    assert_eq!(ticked(&lines).status, 200);
    let shown = live(&operator, "run", "set-up.checked");
    assert!(shown.contains("checked by C. Operator, 20"), "{shown}");
    operator.take_seat();
    assert_eq!(operator.load("short-job.toml").status, 200);
    assert_eq!(live(&operator, "run", "set-up.checked"), "");
}

#[test]
fn an_inspection_is_offered_after_no_other_trip_than_one_that_needs_it() {
    let served = Served::on_twin("20");
    let operator = Browser::of(&served, "Operator");
    operator.take_seat();
    assert_eq!(operator.ask("abort", "").status, 200);
    until(&operator, "the trip", |told| !told["machine"]["trip"].is_null());
    assert_eq!(operator.ask("acknowledge", "").status, 200);
    until(&operator, "its sight", |told| told["machine"]["acknowledged"] == true);
    let alert = live(&operator, "run", "alert");
    assert!(alert.contains("data-ask=\"reset\""), "{alert}");
    assert!(!alert.contains("inspected"), "{alert}");
}

#[test]
fn who_may_not_move_the_carriage_sees_no_keys_and_is_told_who_may() {
    let served = Served::on_twin("1");
    let (operator, fitter) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    for path in ["/maintenance", "/maintenance/calibrations/backlash"] {
        for key in ["data-jog", "data-ask=\"nudge\""] {
            assert!(!operator.get(path).body.contains(key), "{path} has {key}");
            assert!(fitter.get(path).body.contains(key), "{path} lacks {key}");
        }
    }
    let why = live(&operator, "maintenance", "jog.why");
    assert!(why.contains("maintenance or an engineer"), "{why}");
}

#[test]
fn a_calibration_is_written_by_who_may_and_commands_into_the_file_it_was_worked_out_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let rig = folder.path().join("bench.toml");
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
    let before = std::fs::read_to_string(config.join("rigs/bench.toml")).expect("read");
    std::fs::write(&rig, &before).expect("written");
    let served = Served::on_twin_of(&rig, "1");
    let (operator, fitter) = (Browser::of(&served, "Operator"), Browser::of(&served, "Fitter"));
    let page = fitter.get(
        "/maintenance/calibrations/axis_scale?commanded=500+mm&measured=505+mm&reading=0.2+mm",
    );
    let (_, rest) = page.body.split_once("name=\"worked_on\" value=\"").expect("a digest");
    let digest = rest.split('"').next().expect("a digest").to_owned();
    let write = |who: &Browser<'_>, digest: &str| {
        let turn = told(who)["turn"].to_string();
        let measured = [("commanded", "500 mm"), ("measured", "505 mm"), ("reading", "0.2 mm")];
        let about = [("procedure", "axis_scale"), ("worked_on", digest), ("turn", turn.as_str())];
        who.post("/calibrate", &[&measured[..], &about].concat())
    };
    let refused = |who: &Browser<'_>, digest: &str, why: &str| {
        let answer = write(who, digest);
        assert_eq!(answer.status, 403, "{answer:?}");
        assert!(answer.body.contains(why), "{answer:?}");
        served.wrote_refused("calibrate axis_scale", why);
    };
    operator.take_seat();
    refused(&operator, &digest, "maintenance or an engineer");
    refused(&fitter, &digest, "the seat is C. Operator's");
    assert_eq!(operator.post("/seat", &[("act", "leave")]).status, 200);
    fitter.take_seat();
    refused(&fitter.through(AWAY), &digest, "only somebody at the machine");
    refused(&fitter, "other", "worked out");
    assert_eq!(std::fs::read_to_string(&rig).expect("read"), before, "nothing was written");
    let answer = write(&fitter, &digest);
    assert_eq!(answer.status, 200, "{answer:?}");
    let after = std::fs::read_to_string(&rig).expect("read");
    assert_ne!(after, before);
    served.wrote("calibrate", |act| {
        act.what.starts_with("calibrate axis_scale: ") && act.person == "A. Fitter"
    });
    refused(&fitter, &digest, "worked out");
    assert_eq!(std::fs::read_to_string(&rig).expect("read"), after);
}
