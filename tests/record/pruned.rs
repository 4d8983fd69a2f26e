//! Old runs leave the records for files of their own, and nothing is lost on the way.

use std::path::Path;
use std::process::{Command, Output};

use evenpass::record::{
    Ending, Mark, Recorder, RunEnd, RunId, RunKind, Said, Store, Verdict, verify_export,
};

use crate::story::{end, file, header, story};

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
    let mark = Mark {
        at: "2020-03-02T10:00:00Z".parse().expect("RFC 3339"),
        person: "A. Fitter".to_owned(),
        rig: "Bench".to_owned(),
        kind: RunKind::Twin,
        run: Some(run.clone()),
        batch: None,
        said: Said::Decided { verdict: Verdict::Hold, reason: "the customer decides".to_owned() },
    };
    Store::open(records).expect("open").keep_mark(&mark).expect("mark");
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
