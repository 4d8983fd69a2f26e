//! The record keeps what happened, whatever happens to the program, the disk or the reader.
#![expect(clippy::expect_used, reason = "a test that cannot go on fails")]

mod files;
mod kept;
mod processes;
mod pruned;
mod seals;
mod story;
mod tampering;
mod told;

use std::path::Path;

use evenpass::cli::records::Reader;
use evenpass::record::{Ending, Gap, Outcome, Recorder, Store};
use evenpass_core::ledger::{Entry, EntryKind};
use serde_json::json;

use story::{end, file, header, plain, record_story, story};
use told::{listed, shown};

#[test]
fn what_was_sent_reads_back_entry_by_entry() {
    let (_folder, path) = file();
    let id = record_story(&path);
    let store = Store::open_existing(&path).expect("open");
    let record = store.run(&store.find(&id).expect("id")).expect("run");
    assert_eq!(record.entries, story());
    let head = header("2026-11-25T09:00:00Z");
    assert_eq!((record.recipe, record.rig), (head.recipe, head.rig));
    assert_eq!((record.program, record.forecast), (head.program, head.forecast));
    assert_eq!((record.seed, record.particulars), (head.seed, head.particulars));
    let end = end(Ending::Tripped);
    assert_eq!((record.totals, record.deviations), (end.totals, end.deviations));
    assert_eq!(record.summary.ended_at, Some(end.ended_at));
    assert_eq!(record.summary.outcome, Outcome::Tripped);
    assert_eq!((record.lost, record.gaps.as_slice()), (Some(0), [].as_slice()));
}

#[test]
fn a_recorder_dropped_without_an_end_leaves_an_interrupted_run_with_all_it_was_sent() {
    let (_folder, path) = file();
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    (1..=500).for_each(|number| recorder.send(plain(number)));
    assert!(listed(&path, Reader::Person).contains("open"));
    drop(recorder);
    let store = Store::open_existing(&path).expect("open");
    let record = store.run(&store.find("latest").expect("id")).expect("run");
    assert_eq!(record.summary.outcome, Outcome::Interrupted);
    assert_eq!(record.entries.len(), 500);
    assert!(shown(&path, "latest", Reader::Person).contains("interrupted: the program died"));
}

#[test]
fn the_next_run_settles_what_a_dead_program_left() {
    let (_folder, path) = file();
    let begin = || {
        let store = Store::open(&path).expect("open");
        Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin")
    };
    drop(begin());
    begin().finish(end(Ending::Stopped)).expect("finish");
    assert_eq!(marks_beside(&path), 0);
    let outcomes: Vec<Outcome> = Store::open_existing(&path)
        .and_then(|store| store.runs())
        .expect("list")
        .iter()
        .map(|run| run.outcome)
        .collect();
    assert_eq!(outcomes, [Outcome::Interrupted, Outcome::Stopped]);
}

/// Marks of processes that write.
fn marks_beside(records: &Path) -> usize {
    let files = std::fs::read_dir(records.parent().expect("folder")).expect("folder");
    let names = files.filter_map(Result::ok).map(|file| file.file_name());
    names.filter(|name| name.to_string_lossy().ends_with(".running")).count()
}

#[test]
fn the_next_run_removes_the_mark_of_a_program_that_died_between_its_runs_end_and_its_mark() {
    let (_folder, path) = file();
    let begin = || {
        let store = Store::open(&path).expect("open");
        Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin")
    };
    let id = begin().finish(end(Ending::Complete)).expect("finish").id;
    let mark = format!("{}-{id}.running", path.display());
    std::fs::write(mark, "").expect("mark");
    let alive = begin();
    assert_eq!(marks_beside(&path), 1, "that of the run that is written");
    let other = begin();
    assert_eq!(marks_beside(&path), 2, "nobody removes that of a living program");
    for one in [alive, other] {
        one.finish(end(Ending::Complete)).expect("finish");
    }
    assert_eq!(marks_beside(&path), 0);
}

#[test]
fn two_runs_at_once_have_ids_and_entries_of_their_own() {
    let (_folder, path) = file();
    let begin = || {
        let store = Store::open(&path).expect("open");
        Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin")
    };
    let (one, other) = (begin(), begin());
    assert_eq!([one.id().as_str(), other.id().as_str()], ["2026-11-25-001", "2026-11-25-002"]);
    (1..=50).for_each(|number| one.send(plain(number)));
    (1..=70).for_each(|number| other.send(plain(number)));
    assert_eq!(one.finish(end(Ending::Complete)).expect("finish").committed, 50);
    assert_eq!(other.finish(end(Ending::Complete)).expect("finish").committed, 70);
    let store = Store::open_existing(&path).expect("open");
    let counts = ["2026-11-25-001", "2026-11-25-002"]
        .map(|id| store.run(&store.find(id).expect("id")).expect("run").entries.len());
    assert_eq!(counts, [50, 70]);
}

#[test]
fn entries_that_never_arrived_are_visible_as_gaps() {
    let (_folder, path) = file();
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    // Out of order too: the record reads by number.
    [3, 4, 9, 8].into_iter().for_each(|number| recorder.send(plain(number)));
    recorder.finish(end(Ending::Complete)).expect("finish");
    let store = Store::open_existing(&path).expect("open");
    let record = store.run(&store.find("latest").expect("id")).expect("run");
    let numbers: Vec<u64> = record.entries.iter().map(|entry| entry.number).collect();
    assert_eq!(numbers, [3, 4, 8, 9]);
    assert_eq!(record.gaps, [Gap { first: 1, last: 2 }, Gap { first: 5, last: 7 }]);
    assert!(shown(&path, "latest", Reader::Person).contains("Entries that were not kept"));
}

#[test]
fn data_of_an_unforeseen_form_are_kept_and_do_not_spoil_the_list() {
    let (_folder, path) = file();
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    for (number, of) in [(1, json!("nine")), (2, json!(-9)), (3, json!([9]))] {
        let data = json!({"mark": "ended", "pass": number, "of": of});
        recorder.send(Entry { kind: EntryKind::Pass, data, ..plain(number) });
    }
    recorder.finish(end(Ending::Complete)).expect("finish");
    assert!(listed(&path, Reader::Person).contains(" 3/0 "));
    assert!(shown(&path, "latest", Reader::Program).contains("\"nine\""));
}

#[test]
fn what_was_waited_for_is_committed() {
    let (_folder, path) = file();
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    assert_eq!(recorder.committed(), 0);
    (1..=10).for_each(|number| recorder.send(plain(number)));
    assert_eq!(recorder.flush(), 10);
    let store = Store::open_existing(&path).expect("a reader beside the writer");
    let record = store.run(recorder.id()).expect("run");
    assert_eq!((record.entries.len(), record.summary.outcome), (10, Outcome::Open));
    assert_eq!((recorder.lost(), recorder.trouble()), (0, None));
}

#[test]
fn an_ended_run_and_its_entries_are_never_changed() {
    let (_folder, path) = file();
    record_story(&path);
    let connection = rusqlite::Connection::open(&path).expect("open");
    for change in [
        "UPDATE entry SET text = 'nothing happened'",
        "DELETE FROM entry WHERE number = 11",
        "INSERT INTO entry VALUES (1, 99, 0, 'state', '', '', 'null')",
        "UPDATE run SET outcome = 'complete'",
        "DELETE FROM run",
    ] {
        assert!(connection.execute(change, []).is_err(), "{change}");
    }
}
