//! What a person and a program read of the record.

use std::path::Path;

use evenpass::cli::records::{self, Reader};
use evenpass::record::{Ending, RecordError, Recorder, Store};
use evenpass_core::ledger::EntryKind;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

use crate::story::{end, entry, file, header, record_story};

pub(crate) fn shown(path: &Path, asked: &str, reader: Reader) -> String {
    let store = Store::open_existing(path).expect("open");
    let mut text = Vec::new();
    records::show(&store, asked, reader, &TimeZone::UTC, &mut text).expect("show");
    String::from_utf8(text).expect("text")
}

pub(crate) fn listed(path: &Path, reader: Reader) -> String {
    let store = Store::open_existing(path).expect("open");
    let mut text = Vec::new();
    records::list(&store, reader, &TimeZone::UTC, &mut text).expect("list");
    String::from_utf8(text).expect("text")
}

#[test]
fn the_list_has_one_line_for_each_run_in_the_order_they_began() {
    let (_folder, path) = file();
    record_story(&path);
    let store = Store::open(&path).expect("open");
    let late = Recorder::begin(store, &header("2026-11-24T23:00:00Z")).expect("begin");
    late.finish(end(Ending::Complete)).expect("finish");
    let text = listed(&path, Reader::Person);
    println!("{text}");
    let lines: Vec<&str> = text.lines().collect();
    let [heading, ran @ ..] = lines.as_slice() else { panic!("no heading:\n{text}") };
    assert!(heading.starts_with("run "), "{text}");
    assert!(ran.iter().any(|line| line.starts_with("2026-11-25-001  11-25 09:00")), "{text}");
    assert!(ran.iter().any(|line| line.starts_with("2026-11-24-001  11-24 23:00")), "{text}");
    for told in ["tripped: ", "0:02:20", "1/9", "28.8 g", "complete"] {
        assert!(text.contains(told), "{told} is missing:\n{text}");
    }
    assert!(lines.iter().all(|line| line.chars().count() <= 100), "{text}");
    let runs: Value = serde_json::from_str(&listed(&path, Reader::Program)).expect("JSON");
    assert_eq!(runs[0]["id"], "2026-11-25-001");
    assert_eq!(runs[0]["powder"], "28.8 g");
    assert_eq!(runs[1]["outcome"], "complete");
}

#[test]
fn one_run_is_told_on_a_page_of_a_hundred_columns() {
    let (_folder, path) = file();
    record_story(&path);
    let text = shown(&path, "latest", Reader::Person);
    println!("{text}");
    for told in [
        "Run 2026-11-25-001\n",
        "tripped: flame lost",
        "on the twin, seed 18446744073709551615",
        "S-17",
        "0:01:40.0  0:00:19.5  Running: spraying pass 1 of 9",
        "-30 - 150",
        "10.0, 10.3",
        "110.0, 109.8",
        "252 - 268",
        "no flame for 0.3 s, expected within 1 s",
        "Is the centre slack?",
        "28.8 g",
        "kept dry and warm",
    ] {
        assert!(text.contains(told), "{told:?} is missing:\n{text}");
    }
    assert!(!text.contains("not kept"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    let run: Value = serde_json::from_str(&shown(&path, "latest", Reader::Program)).expect("JSON");
    assert_eq!(run["entries"].as_array().map(Vec::len), Some(13));
    assert_eq!(run["passes"][0]["edges"][0]["done"], "10.3 mm");
    assert_eq!(run["recipe"]["text"], "title = \"…\"");
}

#[test]
fn a_run_is_found_by_the_beginning_of_its_id() {
    let (_folder, path) = file();
    let begin = |at: &str| {
        let recorder = Recorder::begin(Store::open(&path).expect("open"), &header(at));
        recorder.expect("begin").finish(end(Ending::Complete)).expect("finish")
    };
    begin("2026-11-24T09:00:00Z");
    begin("2026-11-25T09:00:00Z");
    begin("2026-11-25T10:00:00Z");
    let store = Store::open_existing(&path).expect("open");
    let find = |asked: &str| store.find(asked).map(|id| id.to_string());
    assert_eq!(find("2026-11-24").expect("one begins so"), "2026-11-24-001");
    assert_eq!(find("latest").expect("three are there"), "2026-11-25-002");
    assert_eq!(
        find("2026-11-25").expect_err("two begin so").to_string(),
        "\"2026-11-25\" begins 2 runs, 2026-11-25-001 to 2026-11-25-002; add characters, or say \
         \"latest\""
    );
    assert_eq!(
        find("2026-11-25-003").expect_err("none").to_string(),
        "no run \"2026-11-25-003\" in the record; nearest: 2026-11-25-002, 2026-11-25-001, \
         2026-11-24-001"
    );
    assert!(matches!(find(""), Err(RecordError::UnknownRun { .. })));
}

/// What people change is told with who they are; a record kept before that has nobody.
#[test]
fn a_request_is_shown_with_the_person_who_made_it_and_one_without_still_reads() {
    let (_folder, path) = file();
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    let asked = "trim the feed, +2 %, by A. Fitter from the seat: accepted";
    let person = json!({"request": {"trim": {"percent": 2}}, "person": "A. Fitter"});
    let changed = json!({"changed": {"zone": "journal", "touch_ups": 0}, "person": "A. Fitter"});
    let old = json!({"request": "hold", "origin": "seat", "answer": "accepted"});
    for (number, (text, data)) in (1..).zip([
        ("hold from the seat: accepted", old),
        (asked, person),
        ("zone journal: next pass at 10.6 mm/s, +2 % feed, -2.0 % coat a pass", changed),
    ]) {
        recorder.send(entry(number, 1.0, EntryKind::Request, text, "", data));
    }
    recorder.finish(end(Ending::Complete)).expect("finish");
    let page = shown(&path, "latest", Reader::Person);
    for text in ["hold from the seat: accepted", asked, "zone journal: next pass at 10.6 mm/s"] {
        assert!(page.contains(text), "{page}");
    }
    let store = Store::open_existing(&path).expect("open");
    let id = store.find("latest").expect("a run");
    let run = store.run(&id).expect("read");
    assert_eq!(run.deviations.len(), 1, "as its end told them");
    assert_eq!(run.entries[1].data["person"], json!("A. Fitter"));
}
