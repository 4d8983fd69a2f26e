//! Which run waits for somebody to decide: the latest of its rig that had begun and did not come to its
//! end, until somebody settles it or another run goes on with it.

#![allow(clippy::expect_used, reason = "a test fails where it cannot go on")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evenpass::record::{
    Ending, Mark, RESUMES, RecordError, Recorder, RunEnd, RunHeader, RunId, RunKind, Said, Source,
    Store, Verdict,
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
        let recorder = self.begin(resumes).expect("begun");
        let id = recorder.id().clone();
        deliver(&recorder, states);
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

    fn begin(&self, resumes: Option<&RunId>) -> Result<Recorder, RecordError> {
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
        Recorder::begin(store, &header)
    }

    fn gaps(&self, run: &RunId) -> Vec<(u64, u64)> {
        let store = Store::open_existing(&self.file()).expect("records");
        let record = store.run(run).expect("the record");
        record.gaps.iter().map(|gap| (gap.first, gap.last)).collect()
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

fn deliver(recorder: &Recorder, states: &[Leaf]) {
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

#[test]
fn who_lets_the_part_pass_or_scraps_it_settles_it_and_who_holds_it_does_not() {
    for (verdict, waits) in [(Verdict::Pass, false), (Verdict::Scrap, false), (Verdict::Hold, true)]
    {
        let records = Records::new();
        let left = records.run(&BEGUN, Ending::Tripped, None);
        let said = Said::Decided { verdict, reason: "any".to_owned() };
        let mark = records.mark(&left, said);
        assert_eq!(records.waits(), waits.then(|| left.clone()), "{verdict:?}");
        let begun = records.begin(Some(&left));
        assert_eq!(begun.is_ok(), waits, "{verdict:?}");
        if let Err(refused) = &begun {
            let words = refused.to_string();
            assert!(words.contains("somebody decided what becomes of its part"), "{words}");
        }
        drop(begun);
        records.mark(&left, Said::TakenBack { mark, reason: "other part".to_owned() });
        assert_eq!(records.waits(), Some(left), "taken back, it waits again");
    }
}

#[test]
fn only_one_run_goes_on_with_another_however_close_they_come() {
    let records = Records::new();
    let left = records.run(&BEGUN, Ending::Stopped, None);
    let first = records.begin(Some(&left)).expect("begun");
    let refused = records.begin(Some(&left)).expect_err("the other one has the part").to_string();
    let says = format!("run {left} cannot be taken up any more: run {} goes on", first.id());
    assert!(refused.starts_with(&says), "{refused}");
    // One that never began leaves the part to the next.
    drop(first);
    drop(records.begin(Some(&left)).expect("begun"));
}

#[test]
fn a_rest_of_which_the_disk_took_nothing_but_that_it_began_is_the_one_that_waits() {
    let records = Records::new();
    let left = records.run(&BEGUN, Ending::Stopped, None);
    let rest = records.begin(Some(&left)).expect("begun");
    let id = rest.id().clone();
    let other = rusqlite::Connection::open(records.file()).expect("another program");
    other.execute_batch("BEGIN IMMEDIATE").expect("holds the records");
    deliver(&rest, &BEGUN);
    drop(rest);
    assert_eq!(records.waits(), Some(id.clone()), "its job was under way, though no entry says so");
    assert_eq!(records.gaps(&id), [(1, 2)]);
    other.execute_batch("ROLLBACK").expect("let go");
    // The next one to begin calls it interrupted, and takes its mark away.
    records.run(&[Leaf::Homing], Ending::Failed, None);
    let files = std::fs::read_dir(records.folder.path()).expect("the folder");
    let names = files.map(|file| file.expect("a file").file_name().into_string().expect("text"));
    assert!(names.into_iter().all(|name| !name.ends_with(".running")));
    assert_eq!(records.waits(), Some(id.clone()), "what was known of it is kept");
    assert_eq!(records.gaps(&id), [(1, 2)]);
    let store = Store::open_existing(&records.file()).expect("records");
    assert_eq!(store.verify(None).expect("read").flaws, []);
    let known = store.unseen(&id).expect("read").expect("known");
    assert_eq!((known.last, known.began, known.passes), (Some(2), true, 0));
}
