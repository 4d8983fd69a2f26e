//! Old runs leave the records for files of their own, and nothing is lost on the way.

use std::path::Path;
use std::process::{Command, Output};

use evenpass::record::{
    Ending, Mark, Outcome, Recorder, RunEnd, RunId, RunKind, Said, Store, Verdict, verify_export,
};
use evenpass_core::ledger::EntryKind;
use evenpass_core::resume::{Checked, Choice};

use crate::story::{end, entry, file, header, plain, story};

fn prune(records: &Path, to: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(["records", "prune", "--older-than", "1 year", "--person", "A. Fitter", "--to"])
        .arg(to)
        .arg("--records")
        .arg(records)
        .args(more)
        .output()
        .expect("the program runs")
}

fn told(output: &Output) -> String {
    let (to, trouble) = (&output.stdout, &output.stderr);
    String::from_utf8_lossy(to).into_owned() + &String::from_utf8_lossy(trouble)
}

fn recorded(records: &Path, ended_at: &str) -> RunId {
    let store = Store::open(records).expect("open");
    let recorder = Recorder::begin(store, &header("2020-03-02T09:00:00Z")).expect("begin");
    story().into_iter().for_each(|entry| recorder.deliver(entry));
    let ended_at = ended_at.parse().expect("RFC 3339");
    let end = RunEnd { ended_at, ..end(Ending::Complete) };
    recorder.finish(end).expect("finish").id
}

fn put_on_hold(records: &Path, run: &RunId) {
    let reason = "the customer decides".to_owned();
    told_of(records, run, Said::Decided { verdict: Verdict::Hold, reason });
}

#[test]
fn old_runs_go_into_files_that_verify_and_new_ones_and_those_on_hold_stay() {
    let (folder, path) = file();
    let old = recorded(&path, "2020-03-02T09:31:00Z");
    let held = recorded(&path, "2020-03-02T09:32:00Z");
    put_on_hold(&path, &held);
    let new = recorded(&path, &jiff::Timestamp::now().to_string());
    let seal = Store::open_existing(&path).expect("open").seal(&old).expect("seal");
    let archive = folder.path().join("archive");
    let nowhere = prune(&path, &archive, &[]);
    assert_eq!(nowhere.status.code(), Some(2), "{}", told(&nowhere));
    std::fs::create_dir(&archive).expect("folder");

    let listed = told(&prune(&path, &archive, &["--list"]));
    assert!(listed.contains("the entries of 1 run would go"), "{listed}");
    assert_eq!(std::fs::read_dir(&archive).expect("folder").count(), 0);

    let output = prune(&path, &archive, &[]);
    let words = told(&output);
    assert!(output.status.success(), "{words}");
    assert!(words.contains(&format!("{held} stays: its part is on hold")), "{words}");

    let store = Store::open_existing(&path).expect("open");
    let entries = |id: &RunId| store.run(id).expect("run").entries.len();
    assert_eq!((entries(&old), entries(&held), entries(&new)), (0, story().len(), story().len()));
    let looked = store.verify(None).expect("verify");
    assert!(looked.holds(), "{looked:?}");
    let text = std::fs::read_to_string(archive.join(format!("{old}.json"))).expect("its file");
    let found = verify_export(&text).expect("an exported run");
    assert!(found.looked.holds(), "{found:?}");
    assert_eq!((found.looked.entries, Some(found.seal)), (story().len() as u64, seal));

    let again = told(&prune(&path, &archive, &[]));
    assert!(again.contains("the entries of 0 runs went"), "{again}");
    let shown = Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(["records", "show", old.as_str(), "--records"])
        .arg(&path)
        .output()
        .expect("the program runs");
    let shown = told(&shown);
    assert!(shown.contains(&format!("{old}.json")), "{shown}");
}

#[test]
fn a_file_in_the_way_that_is_not_the_run_keeps_its_entries_in_the_records() {
    let (folder, path) = file();
    let old = recorded(&path, "2020-03-02T09:31:00Z");
    let theirs = folder.path().join(format!("{old}.json"));
    std::fs::write(&theirs, "{}").expect("written");
    let output = prune(&path, folder.path(), &[]);
    assert_eq!(output.status.code(), Some(1), "{}", told(&output));
    let store = Store::open_existing(&path).expect("open");
    assert_eq!(store.run(&old).expect("run").entries.len(), story().len());
    assert_eq!(std::fs::read_to_string(&theirs).expect("read"), "{}");
}

#[test]
fn what_is_changed_in_an_exported_run_is_found() {
    let (folder, path) = file();
    let old = recorded(&path, "2020-03-02T09:31:00Z");
    assert!(prune(&path, folder.path(), &[]).status.success());
    let text = std::fs::read_to_string(folder.path().join(format!("{old}.json"))).expect("file");
    let changes = [
        ("Bearing journal", "Bearing journals"),
        ("251.5 degC", "252.5 degC"),
        ("\"S-17", "\"S-18"),
        ("complete", "stopped"),
        ("28.8 g", "29.8 g"),
    ];
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        let found = verify_export(&text.replacen(from, to, 1)).expect("an exported run");
        assert!(!found.looked.holds(), "{from} became {to}, and nothing was found");
    }
    let without_one: String =
        text.lines().filter(|line| !line.contains("\"number\":4,")).collect::<Vec<_>>().join("\n");
    assert_ne!(without_one.len(), text.len() - 1);
    assert!(!verify_export(&without_one).expect("an exported run").looked.holds());
}

/// A run whose program died in the middle of a job on a rig that can be read.
fn left_open(records: &Path) -> RunId {
    let rig = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/rigs/bench.toml");
    let mut header = header("2020-03-02T09:00:00Z");
    header.rig.text = std::fs::read_to_string(rig).expect("the bench's rig");
    let store = Store::open(records).expect("open");
    let recorder = Recorder::begin(store, &header).expect("begin");
    let begun = serde_json::json!({"from": "Approaching", "to": "Crossing"});
    let words = ("Running: spraying", "the part is warm");
    recorder.deliver(entry(1, 0.0, EntryKind::State, words.0, words.1, begun));
    (2..=8).for_each(|number| recorder.deliver(plain(number)));
    recorder.id().clone()
}

fn told_of(records: &Path, run: &RunId, said: Said) {
    let mark = Mark {
        at: "2020-03-02T10:00:00Z".parse().expect("RFC 3339"),
        person: "A. Fitter".to_owned(),
        rig: "Bench".to_owned(),
        kind: RunKind::Twin,
        run: Some(run.clone()),
        batch: None,
        said,
    };
    Store::open(records).expect("open").keep_mark(&mark).expect("mark");
}

#[test]
fn a_run_that_waits_for_a_decision_stays_and_goes_once_it_was_decided() {
    let (folder, path) = file();
    let run = left_open(&path);
    let words = told(&prune(&path, folder.path(), &[]));
    let waits =
        format!("{run} stays: it did not come to its end, and nobody has decided about its part");
    assert!(words.contains(&waits), "{words}");
    let settled = Said::Settled {
        choice: Choice::EndHere,
        reason: "too thin".to_owned(),
        checked: Checked::default(),
    };
    told_of(&path, &run, settled);
    let words = told(&prune(&path, folder.path(), &[]));
    assert!(words.contains("the entries of 1 run went"), "{words}");
    let store = Store::open_existing(&path).expect("open");
    assert!(store.pruned(&run).expect("read").is_some());
}

/// What an earlier version wrote of a run that was still open stood in the way of its pruning.
#[test]
fn a_run_that_a_dead_program_left_open_goes_and_what_a_failed_try_left_is_replaced() {
    let (folder, path) = file();
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &header("2020-03-02T09:00:00Z")).expect("begin");
    story().into_iter().for_each(|entry| recorder.deliver(entry));
    let run = recorder.id().clone();
    drop(recorder);
    let left = folder.path().join(format!("{run}.json"));
    let store = Store::open(&path).expect("open");
    let mut text = Vec::new();
    evenpass::export::write_json(&store, &run, &mut text).expect("exported");
    drop(store);
    std::fs::write(&left, &text).expect("written");
    let output = prune(&path, folder.path(), &[]);
    assert!(output.status.success(), "{}", told(&output));
    let store = Store::open_existing(&path).expect("open");
    assert_eq!(store.run(&run).expect("run").summary.outcome, Outcome::Interrupted);
    assert!(store.verify(None).expect("verify").holds());
    let found = verify_export(&std::fs::read_to_string(&left).expect("read")).expect("a run");
    assert!(found.looked.holds());
    assert_eq!(store.seal(&run).expect("read"), Some(found.seal));
}

/// Two machines name their runs alike: the file of one is the only place of its entries.
#[test]
fn the_file_of_another_machines_run_of_the_same_name_is_left_as_it_is() {
    let (folder, path) = file();
    let run = recorded(&path, "2020-03-02T09:31:00Z");
    let (_other_folder, other) = file();
    let store = Store::open(&other).expect("open");
    let mut theirs = header("2020-03-02T09:00:00Z");
    theirs.title = "Another machine's".to_owned();
    let recorder = Recorder::begin(store, &theirs).expect("begin");
    assert_eq!(recorder.id(), &run);
    drop(recorder);
    let mut text = Vec::new();
    let store = Store::open(&other).expect("open");
    evenpass::export::write_json(&store, &run, &mut text).expect("exported");
    let there = folder.path().join(format!("{run}.json"));
    std::fs::write(&there, &text).expect("written");
    let output = prune(&path, folder.path(), &[]);
    assert_eq!(output.status.code(), Some(1), "{}", told(&output));
    assert_eq!(std::fs::read(&there).expect("read"), text);
}

#[test]
fn of_a_run_without_entries_tables_and_a_comparison_say_where_they_are() {
    let (folder, path) = file();
    let one = recorded(&path, "2020-03-02T09:31:00Z");
    let other = recorded(&path, &jiff::Timestamp::now().to_string());
    assert!(prune(&path, folder.path(), &[]).status.success());
    let verb = |words: &[&str]| {
        let mut program = Command::new(env!("CARGO_BIN_EXE_evenpass"));
        let output = program.arg("records").args(words).arg("--records").arg(&path).output();
        let output = output.expect("the program runs");
        assert!(output.status.success(), "{}", told(&output));
        told(&output)
    };
    let at = folder.path().join("tables");
    let name = at.to_str().expect("text");
    let words = verb(&["export", one.as_str(), "--format", "csv", "--out", name]);
    assert!(words.contains(&format!("they were put into {one}.json")), "{words}");
    let mut tables: Vec<_> = std::fs::read_dir(&at)
        .expect("folder")
        .map(|file| file.expect("a file").file_name().into_string().expect("text"))
        .collect();
    tables.sort();
    assert_eq!(tables, ["marks.csv", "measurements.csv", "part.csv"]);
    let words = verb(&["compare", one.as_str(), other.as_str()]);
    let expected = format!(
        "What was done in the passes is not compared: the entries of run {one} were put into {one}.json."
    );
    assert!(words.contains(&expected) && !words.contains("\nPasses over"), "{words}");
}
