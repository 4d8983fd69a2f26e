//! What is found of a changed record by its seals and links, what is not, and that this is said.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use evenpass::record::{
    Ending, Held, LastLinks, Mark, Outcome, Recorder, RunId, RunKind, Said, Store, Verdict,
    verify_export,
};
use rusqlite::Connection;

use crate::story::{end, file, header, plain};
use crate::tampering::{laid_open, with_guards_again, written};

fn records(words: &[&str], records: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .arg("records")
        .args(words)
        .arg("--records")
        .arg(records)
        .output()
        .expect("the program runs")
}

fn text(output: &Output) -> String {
    let (told, trouble) = (&output.stdout, &output.stderr);
    String::from_utf8_lossy(told).into_owned() + &String::from_utf8_lossy(trouble)
}

/// A copy of the records in which somebody who dropped the guards did this, and put them back.
fn changed(path: &Path, what: &str) -> PathBuf {
    Connection::open(path)
        .and_then(|whole| whole.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())))
        .expect("checkpoint");
    let copy = path.with_file_name("changed.sqlite");
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(path.with_file_name(format!("changed.sqlite{end}")));
    }
    let connection = laid_open(path, &copy);
    connection.execute_batch(what).expect(what);
    with_guards_again(connection, path);
    copy
}

fn flaws(path: &Path, only: Option<&RunId>) -> Vec<String> {
    let found = Store::open_existing(path).expect("open").verify(only).expect("verify");
    found.flaws.iter().map(ToString::to_string).collect()
}

fn links(path: &Path) -> LastLinks {
    Store::open_existing(path).expect("open").last_links().expect("read")
}

fn held(path: &Path, last: &LastLinks) -> Held {
    Store::open_existing(path).expect("open").still_holds(last).expect("read")
}

fn ended_run(path: &Path) -> RunId {
    let store = Store::open(path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    (1..=8).for_each(|number| recorder.deliver(plain(number)));
    recorder.finish(end(Ending::Complete)).expect("finish").id
}

fn decided(path: &Path, run: &RunId, verdict: Verdict) -> i64 {
    let mark = Mark {
        at: "2026-11-25T10:00:00Z".parse().expect("RFC 3339"),
        person: "B. Inspector".to_owned(),
        rig: "Bench".to_owned(),
        kind: RunKind::Twin,
        run: Some(run.clone()),
        batch: None,
        said: Said::Decided { verdict, reason: "thin at the tail".to_owned() },
    };
    Store::open(path).expect("open").keep_mark(&mark).expect("mark")
}

/// No guard stands before a run that is open, and no digest is of its end yet.
#[test]
fn an_end_that_somebody_put_into_an_open_run_is_found_and_is_never_sealed() {
    let forgeries = [
        "ended_at = '2026-11-25T09:31:00Z'",
        "first_cause = 'all went well'",
        "totals = '{\"powder\":\"28.8 g\"}'",
        "deviations = '[{\"what\":\"none\",\"reason\":\"\"}]'",
        "last_entry = 8",
        "lost = 0",
    ];
    for forgery in forgeries {
        let (_folder, path) = file();
        let store = Store::open(&path).expect("open");
        let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
        (1..=8).for_each(|number| recorder.deliver(plain(number)));
        drop(recorder);
        let connection = Connection::open(&path).expect("open");
        connection.execute(&format!("UPDATE run SET {forgery}"), []).expect("no guard");
        drop(connection);
        let id = Store::open(&path).expect("open").find("latest").expect("a run");
        let expected = [format!("run {id}: how it ended was changed")];
        assert_eq!(flaws(&path, None), expected, "{forgery}");
        assert_eq!(flaws(&path, Some(&id)), expected, "{forgery}");
        ended_run(&path);
        assert!(flaws(&path, None).is_empty(), "{forgery}");
        let run = Store::open(&path).expect("open").run(&id).expect("run");
        assert_eq!(run.summary.outcome, Outcome::Interrupted);
        assert_eq!((run.summary.ended_at, run.summary.first_cause), (None, None), "{forgery}");
        assert!(run.totals.is_null() && run.deviations.is_empty(), "{forgery}");
        assert_eq!(run.lost, None, "{forgery}");
    }
}

#[test]
fn a_look_at_one_run_finds_a_verdict_on_it_that_was_changed_or_removed() {
    let (_folder, path) = file();
    let run = ended_run(&path);
    let other = ended_run(&path);
    let scrap = decided(&path, &run, Verdict::Scrap);
    decided(&path, &other, Verdict::Pass);
    assert!(flaws(&path, Some(&run)).is_empty());
    let seal = Store::open(&path).expect("open").seal(&run).expect("read").expect("a chain");
    let seal = seal.seal.expect("a seal");
    let changes = [
        format!("UPDATE mark SET data = replace(data, 'scrap', 'pass') WHERE place = {scrap}"),
        format!("DELETE FROM mark WHERE place = {scrap}"),
        format!("DELETE FROM mark WHERE place = {scrap}; DELETE FROM link WHERE place = {scrap}"),
    ];
    for change in changes {
        let copy = changed(&path, &change);
        for words in [&["verify", run.as_str()][..], &["verify", run.as_str(), "--seal", &seal]] {
            let output = records(words, &copy);
            assert_eq!(output.status.code(), Some(1), "{change}: {}", text(&output));
            assert!(text(&output).contains("what people added: number"), "{}", text(&output));
        }
    }
    let output = text(&records(&["verify", run.as_str()], &path));
    let expected = "nothing of this run was changed since it was written, nor of what people added";
    assert!(output.contains(expected) && output.contains("not looked at: "), "{output}");
}

#[test]
fn a_verdict_that_is_changed_in_an_export_is_found() {
    let (folder, path) = file();
    let run = ended_run(&path);
    decided(&path, &run, Verdict::Scrap);
    let out = folder.path().join("run.json");
    let name = out.to_str().expect("text");
    let output = records(&["export", run.as_str(), "--format", "json", "--out", name], &path);
    assert!(output.status.success(), "{}", text(&output));
    let whole = std::fs::read_to_string(&out).expect("written");
    let found = verify_export(&whole).expect("an exported run");
    assert!(found.looked.holds(), "{found:?}");
    assert_eq!(found.looked.rows, 1);
    let output = text(&records(&["verify", "--export", name], &path));
    assert!(output.contains("is known by the records alone"), "{output}");
    let found = verify_export(&whole.replace("scrap", "pass")).expect("an exported run");
    assert!(!found.looked.holds(), "{found:?}");
    // What belongs to no digest is no part of the run, and is named.
    let first = "{\"columns\":";
    let changes = [
        ("\"link\":{", "\"other\":{"),
        ("\"table\":\"mark\"", "\"table\":\"Mark\""),
        ("\"software\":", "\"note\": \"x\", \"software\":"),
        ("\"person\":", "\"verdict\":\"pass\",\"person\":"),
        ("{\"columns\":", "{\"columns\":{},\"table\":\"certificate\"},{\"columns\":"),
    ];
    for (from, to) in changes {
        let changed = whole.replacen(from, to, 1);
        assert_ne!(changed, whole, "{from}");
        let found = verify_export(&changed).expect("an exported run");
        assert!(!found.looked.holds(), "{to}: {found:?}");
    }
    let row = whole.find(first).and_then(|at| whole.get(at..)).and_then(|rest| rest.lines().next());
    let row = row.expect("the run's own row");
    let twice = whole.replacen(row, &format!("{row}\n{row}"), 1);
    assert!(!verify_export(&twice).expect("an exported run").looked.holds());
    let doubled = whole.replacen("\"outcome\":", "\"outcome\":\"scrap\",\"outcome\":", 1);
    let told = verify_export(&doubled).expect_err("doubled").to_string();
    assert!(told.contains("\"outcome\" stands twice"), "{told}");
}

#[test]
fn entries_that_are_said_to_be_elsewhere_are_told_as_not_looked_at_and_where_they_are() {
    let (_folder, path) = file();
    let run = ended_run(&path);
    let made_up = "
        DELETE FROM entry;
        INSERT INTO pruned (run, pruned_at, person, entries, summary, file, digest)
        VALUES (1, '2028-11-25T10:00:00Z', 'X', 8, '{}', 'nowhere.json', '00')";
    let copy = changed(&path, made_up);
    let output = records(&["verify", run.as_str()], &copy);
    assert_eq!(output.status.code(), Some(1), "{}", text(&output));
    let words = text(&output);
    assert!(words.contains("what was pruned: number 1 was changed or put in"), "{words}");
    // With a link that was computed for it, it is told what to look at.
    let mut store = Store::open(&path).expect("open");
    let summary = store.run(&run).expect("run").summary;
    let pruned = evenpass::record::Pruned {
        at: "2028-11-25T10:00:00Z".parse().expect("RFC 3339"),
        person: "X".to_owned(),
        entries: 8,
        file: "nowhere.json".to_owned(),
        digest: "00".to_owned(),
    };
    store.prune(&summary, &pruned).expect("pruned");
    drop(store);
    let words = text(&records(&["verify", run.as_str()], &path));
    let expected = "not looked at: its entries (8), which were put into nowhere.json, SHA-256 00; \
                    `evenpass records verify --export FILE` looks through that";
    assert!(words.contains(expected), "{words}");
    assert!(!words.contains("nothing of this run was changed"), "{words}");
    let words = text(&records(&["verify"], &path));
    assert!(words.contains("not looked at: the entries of 1 run, which"), "{words}");
}

#[test]
fn an_end_that_was_cut_off_is_found_by_last_links_that_were_kept_elsewhere_alone() {
    let (_folder, path) = file();
    written(&path);
    let last_run = ended_run(&path);
    decided(&path, &last_run, Verdict::Scrap);
    let last = links(&path);
    assert_eq!(held(&path, &last), Held::Yes);
    let cuts = [
        (
            "DELETE FROM mark WHERE place = 6; DELETE FROM link WHERE thing = 'mark' AND place = 6;
             UPDATE sqlite_sequence SET seq = 5 WHERE name = 'mark'",
            "what people added: number 6 is not there",
        ),
        (
            "DELETE FROM mark WHERE place = 6; DELETE FROM link WHERE thing = 'mark' AND place = 6;
             UPDATE sqlite_sequence SET seq = 5 WHERE name IN ('mark', 'run');
             DELETE FROM entry WHERE run = 6; DELETE FROM chain WHERE run = 6;
             DELETE FROM run WHERE place = 6",
            "run number 6 of the file is not there",
        ),
        (
            "UPDATE run SET outcome = 'open', ended_at = NULL, totals = 'null', deviations = '[]',
                last_entry = NULL, lost = NULL WHERE place = 6;
             DELETE FROM entry WHERE run = 6 AND number > 4;
             UPDATE chain SET seal = NULL,
                tip = (SELECT link FROM entry WHERE run = 6 AND number = 4) WHERE run = 6",
            "run number 6 of the file had ended, and is open",
        ),
    ];
    for (cut, expected) in cuts {
        let copy = changed(&path, cut);
        assert!(flaws(&copy, None).is_empty(), "the file alone cannot tell: {cut}");
        assert_eq!(held(&copy, &last), Held::Cut(expected.to_owned()), "{cut}");
        let output = records(&["verify", "--last", &last.to_string()], &copy);
        assert_eq!(output.status.code(), Some(1), "{}", text(&output));
        assert!(text(&output).contains(expected), "{}", text(&output));
    }
    let anew = "UPDATE link SET link = zeroblob(32) WHERE thing = 'mark' AND place = 6";
    assert_eq!(held(&changed(&path, anew), &last), Held::Otherwise);
    let anew = "UPDATE chain SET seal = zeroblob(32) WHERE run = 1";
    assert_eq!(held(&changed(&path, anew), &last), Held::Otherwise);
    // What grows on holds what it grew on.
    decided(&path, &ended_run(&path), Verdict::Pass);
    let output = records(&["verify", "--last", &last.to_string()], &path);
    assert!(output.status.success(), "{}", text(&output));
    assert!(text(&output).contains("the last links: run=7,"), "{}", text(&output));
}

#[test]
fn last_links_of_a_run_that_was_being_written_hold_once_it_ended_and_not_once_it_was_cut() {
    let (_folder, path) = file();
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
    (1..=8).for_each(|number| recorder.deliver(plain(number)));
    recorder.flush();
    let last = links(&path);
    assert!(last.to_string().contains(",open=1@8@"), "{last}");
    (9..=12).for_each(|number| recorder.deliver(plain(number)));
    recorder.finish(end(Ending::Complete)).expect("finish");
    assert_eq!(held(&path, &last), Held::Yes);
    let cut = changed(&path, "DELETE FROM entry WHERE number > 6");
    let expected = Held::Cut("entry 8 of run number 1 of the file is not there".to_owned());
    assert_eq!(held(&cut, &last), expected);
    let anew = changed(&path, "UPDATE entry SET link = zeroblob(32) WHERE number = 8");
    assert_eq!(held(&anew, &last), Held::Otherwise);
}

#[test]
fn a_guard_that_was_dropped_or_put_in_is_found() {
    let (_folder, path) = file();
    ended_run(&path);
    let connection = Connection::open(&path).expect("open");
    connection.execute_batch("DROP TRIGGER mark_stays").expect("dropped");
    let told = "what keeps rows from being changed was changed itself: ";
    assert_eq!(flaws(&path, None), [format!("{told}mark_stays")]);
    connection
        .execute_batch("CREATE TRIGGER hides AFTER INSERT ON act BEGIN DELETE FROM act; END")
        .expect("put in");
    assert_eq!(flaws(&path, None), [format!("{told}hides"), format!("{told}mark_stays")]);
}

#[test]
fn words_that_are_no_last_links_or_of_one_run_are_refused() {
    let (_folder, path) = file();
    ended_run(&path);
    let output = records(&["verify", "--last", "5f5f"], &path);
    assert_eq!(output.status.code(), Some(2), "{}", text(&output));
    assert!(text(&output).contains("--last: accepted: the last links as"), "{}", text(&output));
    let last = links(&path).to_string();
    let output = records(&["verify", "latest", "--last", &last], &path);
    assert_eq!(output.status.code(), Some(2), "{}", text(&output));
}
