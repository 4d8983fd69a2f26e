//! Which run waits for somebody to decide: the latest of its rig that had begun and did not come to its
//! end, until somebody settles it or another run goes on with it.

#![allow(clippy::expect_used, reason = "a test fails where it cannot go on")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evenpass::record::{
    Ending, Mark, RESUMES, Recorder, RunEnd, RunHeader, RunId, RunKind, Said, Source, Store,
};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::resume::{Checked, Choice};
use evenpass_core::sequence::Leaf;
use serde_json::json;

struct Records {
    folder: tempfile::TempDir,
    rig: Source,
    title: String,
}

impl Records {
    fn new() -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/rigs/bench.toml");
        let text = std::fs::read_to_string(path).expect("the bench's rig");
        let title = evenpass_core::rig::Rig::read(&text).expect("a rig").title;
        let folder = tempfile::tempdir().expect("a folder");
        Self { folder, rig: Source { name: "bench.toml".to_owned(), text }, title }
    }

    fn file(&self) -> PathBuf {
        self.folder.path().join("runs.sqlite")
    }

    /// A run that came to these states and ended so.
    fn run(&self, states: &[Leaf], ending: Ending, resumes: Option<&RunId>) -> RunId {
        let any = Source { name: "any".to_owned(), text: String::new() };
        let resumes = resumes.map(|run| (RESUMES.to_owned(), run.to_string()));
        let header = RunHeader {
            started_at: jiff::Timestamp::now(),
            kind: RunKind::Twin,
            title: "Any".to_owned(),
            recipe: any,
            rig: self.rig.clone(),
            program: serde_json::Value::Null,
            forecast: serde_json::Value::Null,
            basis: None,
            software: "0".to_owned(),
            seed: None,
            particulars: resumes.into_iter().collect::<BTreeMap<_, _>>(),
            first_entry: 1,
        };
        let store = Store::open(&self.file()).expect("records");
        let recorder = Recorder::begin(store, &header).expect("begun");
        let id = recorder.id().clone();
        for (number, leaf) in (1..).zip(states) {
            recorder.deliver(Entry {
                number,
                at: Moment::START,
                kind: EntryKind::State,
                text: String::new(),
                cause: String::new(),
                data: json!({ "from": "Ready", "to": leaf.name() }),
            });
        }
        let end = RunEnd {
            ending,
            ended_at: jiff::Timestamp::now(),
            first_cause: None,
            totals: json!({}),
            deviations: Vec::new(),
        };
        recorder.finish(end).expect("ended");
        id
    }

    fn waits(&self) -> Option<RunId> {
        let store = Store::open_existing(&self.file()).expect("records");
        store.left_undone(&self.title, RunKind::Twin).expect("read")
    }

    fn mark(&self, run: &RunId, said: Said) -> i64 {
        let mut store = Store::open_existing(&self.file()).expect("records");
        let mark = Mark {
            at: jiff::Timestamp::now(),
            person: "Ann".to_owned(),
            rig: self.title.clone(),
            kind: RunKind::Twin,
            run: Some(run.clone()),
            batch: None,
            said,
        };
        store.keep_mark(&mark).expect("kept")
    }
}

fn settled(choice: Choice) -> Said {
    Said::Settled { choice, reason: "any".to_owned(), checked: Checked::default() }
}

const BEGUN: [Leaf; 2] = [Leaf::Homing, Leaf::Soaking];

#[test]
fn the_latest_run_that_had_begun_and_did_not_come_to_its_end_waits() {
    let records = Records::new();
    records.run(&BEGUN, Ending::Complete, None);
    assert_eq!(records.waits(), None);
    let stopped = records.run(&BEGUN, Ending::Stopped, None);
    // Another part was made since, and a start came to nothing: the stopped one still waits.
    records.run(&BEGUN, Ending::Complete, None);
    records.run(&[Leaf::Homing], Ending::Failed, None);
    assert_eq!(records.waits(), Some(stopped));
    let tripped = records.run(&BEGUN, Ending::Tripped, None);
    assert_eq!(records.waits(), Some(tripped));
    let store = Store::open_existing(&records.file()).expect("records");
    assert_eq!(store.left_undone("Another rig", RunKind::Twin).expect("read"), None);
    assert_eq!(store.left_undone(&records.title, RunKind::Machine).expect("read"), None);
}

#[test]
fn who_ends_or_strips_settles_it_and_what_was_before_is_not_dug_up() {
    for choice in [Choice::EndHere, Choice::StripAndReblast] {
        let records = Records::new();
        records.run(&BEGUN, Ending::Stopped, None);
        let last = records.run(&BEGUN, Ending::Tripped, None);
        let mark = records.mark(&last, settled(choice));
        assert_eq!(records.waits(), None);
        // Taken back, it waits again.
        records.mark(&last, Said::TakenBack { mark, reason: "other part".to_owned() });
        assert_eq!(records.waits(), Some(last));
    }
}

#[test]
fn going_on_settles_it_once_the_run_that_goes_on_has_begun() {
    let records = Records::new();
    let first = records.run(&BEGUN, Ending::Stopped, None);
    records.mark(&first, settled(Choice::GoOn));
    assert_eq!(records.waits(), Some(first.clone()), "a choice alone moves nothing");
    records.run(&[Leaf::Homing], Ending::Failed, Some(&first));
    assert_eq!(records.waits(), Some(first.clone()), "it never began");
    let second = records.run(&BEGUN, Ending::Tripped, Some(&first));
    assert_eq!(records.waits(), Some(second.clone()));
    records.run(&BEGUN, Ending::Complete, Some(&second));
    assert_eq!(records.waits(), None);
}
