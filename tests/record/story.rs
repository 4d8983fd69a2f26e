//! An invented run, and the pieces to record it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evenpass::record::{Deviation, Ending, Recorder, RunEnd, RunHeader, RunKind, Source, Store};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use serde_json::{Value, json};

pub(crate) fn file() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("temporary folder");
    let path = folder.path().join("new").join("folder").join("records.sqlite");
    (folder, path)
}

pub(crate) fn header(started_at: &str) -> RunHeader {
    RunHeader {
        started_at: started_at.parse().expect("RFC 3339"),
        kind: RunKind::Twin,
        title: "Bearing journal, invented".to_owned(),
        recipe: Source { name: "journal.toml".to_owned(), text: "title = \"…\"".to_owned() },
        rig: Source { name: "bench.toml".to_owned(), text: "lines = 2".to_owned() },
        program: json!({"steps": [1, 2]}),
        forecast: json!({"powder": "129.6 g"}),
        basis: None,
        software: "0.1.0".to_owned(),
        seed: Some(u64::MAX),
        particulars: BTreeMap::from([("serial".to_owned(), "S-17".to_owned())]),
        first_entry: 1,
    }
}

pub(crate) fn end(ending: Ending) -> RunEnd {
    RunEnd {
        ending,
        ended_at: "2026-11-25T09:31:00Z".parse().expect("RFC 3339"),
        first_cause: (ending == Ending::Tripped).then(|| "flame lost".to_owned()),
        totals: json!({"powder": "28.8 g", "flame_lit": "95 s"}),
        deviations: vec![Deviation {
            what: "blasted 130 min ago".to_owned(),
            reason: "kept dry and warm".to_owned(),
            ..Deviation::default()
        }],
    }
}

pub(crate) fn entry(
    number: u64,
    seconds: f64,
    kind: EntryKind,
    text: &str,
    cause: &str,
    data: Value,
) -> Entry {
    let at = Moment::START + std::time::Duration::from_secs_f64(seconds);
    Entry { number, at, kind, text: text.to_owned(), cause: cause.to_owned(), data }
}

pub(crate) fn plain(number: u64) -> Entry {
    entry(number, 1.0, EntryKind::State, "state", "asked", Value::Null)
}

/// A short run with one pass, invented.
pub(crate) fn story() -> Vec<Entry> {
    let on = json!({"pass": 1, "edge": "on", "planned": "10 mm", "done": "10.3 mm"});
    let off = json!({"pass": 1, "edge": "off", "planned": "110 mm", "done": "109.8 mm"});
    let begun = json!({"mark": "begun", "pass": 1, "of": 9, "zone": "journal",
        "from": "-30 mm", "to": "150 mm"});
    let ended = json!({"mark": "ended", "pass": 1, "of": 9, "zone": "journal"});
    let told = [
        (100.0, EntryKind::State, "Running: preheating", "start asked at the seat", Value::Null),
        (160.0, EntryKind::Prompt, "Is the centre slack?", "", Value::Null),
        (165.0, EntryKind::Request, "yes", "asked at the seat", Value::Null),
        (200.0, EntryKind::State, "Running: spraying pass 1 of 9", "part at 255 degC", Value::Null),
        (200.0, EntryKind::Pass, "pass 1 of 9 begun", "", begun),
        (203.0, EntryKind::Powder, "powder on", "", on),
        (204.0, EntryKind::Sample, "", "", json!({"part": "251.5 degC"})),
        (210.0, EntryKind::Sample, "", "", json!({"part": "268 degC", "coat": "640 degC"})),
        (213.0, EntryKind::Powder, "powder off", "", off),
        (218.0, EntryKind::Pass, "pass 1 of 9 ended", "", ended),
        (
            219.5,
            EntryKind::Cause,
            "flame lost",
            "no flame for 0.3 s, expected within 1 s",
            Value::Null,
        ),
        (219.5, EntryKind::State, "Aborting", "flame lost", Value::Null),
        (240.25, EntryKind::State, "Aborted", "torch at the park", Value::Null),
    ];
    (1..)
        .zip(told)
        .map(|(number, (at, kind, text, cause, data))| entry(number, at, kind, text, cause, data))
        .collect()
}

pub(crate) fn record_story(path: &Path) -> String {
    let store = Store::open(path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    let id = recorder.id().to_string();
    story().into_iter().for_each(|entry| recorder.send(entry));
    let closed = recorder.finish(end(Ending::Tripped)).expect("finish");
    assert_eq!((closed.committed, closed.lost), (13, 0));
    id
}
