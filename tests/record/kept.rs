//! A run as files that leave the program: a report that needs nothing else, and every row as it is
//! stored.

use std::path::Path;
use std::process::{Command, Output};

use evenpass::record::{Ending, Mark, Recorder, RunId, RunKind, Said, Store, Verdict};
use evenpass_core::ledger::EntryKind;
use rusqlite::Connection;
use serde_json::{Value, json};

use crate::story::{end, entry, file, header, record_story};

fn evenpass(records: &Path, arguments: &[&str]) -> Output {
    let records = records.display().to_string();
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(arguments)
        .args(["--records", &records])
        .env("TZ", "UTC")
        .output()
        .expect("the program runs")
}

fn done(records: &Path, arguments: &[&str]) -> String {
    let output = evenpass(records, arguments);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{arguments:?}: {told}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// The shipped reference job, rehearsed.
fn rehearsed(records: &Path) {
    std::fs::create_dir_all(records.parent().expect("a folder")).expect("made");
    let recipe = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes/reference-shaft.toml");
    done(records, &["rehearse", &recipe.display().to_string(), "--record"]);
}

#[test]
fn a_report_needs_nothing_else_and_says_what_a_customer_asks_for() {
    let (folder, path) = file();
    rehearsed(&path);
    let at = folder.path().join("report.html").display().to_string();
    done(&path, &["records", "report", "latest", "--out", &at, "--paper", "letter"]);
    let page = std::fs::read_to_string(&at).expect("a page");
    for outside in ["http:", "https:", "<script", "<link", "src=", "url(", "@import"] {
        assert!(!page.contains(outside), "{outside}");
    }
    let store = Store::open_existing(&path).expect("open");
    let id = store.find("latest").expect("an id");
    let seal = store.seal(&id).expect("read").and_then(|seal| seal.seal).expect("sealed");
    let record = store.run(&id).expect("a run");
    for told in [
        id.as_str(),
        &seal,
        &record.recipe.sha256(),
        &record.rig.sha256(),
        "revision 1",
        "shaft D50 x 300",
        "plain steel",
        "Nickel self-fluxing powder, hard",
        "nobody has decided",
        "Zone seat, Z 100.00 to 220.00 mm",
        "9 of 9 done",
        "set 127.3",
        "Fusing of seat",
        "Cooling",
        "None are in the record",
        "Lost</dt><dd>none",
        "letter portrait",
    ] {
        assert!(page.contains(told), "{told} is missing");
    }
    assert_eq!(page.matches("not called wet").count(), 0);
    assert!(!page.contains("not ended"), "all passes ended");

    let inches = folder.path().join("inches.html").display().to_string();
    done(&path, &["records", "report", "latest", "--out", &inches, "--units", "in,degF,psi"]);
    let page = std::fs::read_to_string(&inches).expect("a page");
    for unit in ["Z 3.937 to 8.661 in", "Feed, in/min", "Part, \u{b0}F", "Fuel, psi"] {
        assert!(page.contains(unit), "{unit}");
    }
    assert!(!page.contains(", mm<") && !page.contains(", bar<"), "one unit for one thing");
}

#[test]
fn what_people_named_is_told_in_a_report_and_is_never_markup() {
    let (folder, path) = file();
    let mut hostile = header("2026-11-25T09:00:00Z");
    hostile.title = "</title><script>alert(1)</script>\u{202e}".to_owned();
    hostile.particulars.insert("<b>".to_owned(), "<img src=x>".to_owned());
    let store = Store::open(&path).expect("open");
    let recorder = Recorder::begin(store, &hostile).expect("begun");
    recorder.send(entry(3, 1.0, EntryKind::Request, "<i>start</i>", "", json!({"person": "<u>"})));
    recorder.finish(end(Ending::Tripped)).expect("ended");
    let at = folder.path().join("report.html").display().to_string();
    done(&path, &["records", "report", "latest", "--out", &at]);
    let page = std::fs::read_to_string(&at).expect("a page");
    for markup in ["<script", "<img", "<i>", "<u>", "<b>", "\u{202e}"] {
        assert!(!page.contains(markup), "{markup}");
    }
    for told in ["&lt;img src=x&gt;", "tripped", "flame lost", "kept dry and warm"] {
        assert!(page.contains(told), "{told}");
    }
    assert!(
        page.contains("Entries are missing</strong> by these numbers: 1 to 2"),
        "gaps are told"
    );
}

#[test]
fn json_has_every_column_of_every_row_to_the_letter() {
    let (folder, path) = file();
    let id = record_story(&path);
    let at = folder.path().join("run.json").display().to_string();
    done(&path, &["records", "export", &id, "--format", "json", "--out", &at]);
    let read: Value =
        serde_json::from_str(&std::fs::read_to_string(&at).expect("a file")).expect("JSON");
    assert_eq!(read["format"], "evenpass run, 1");
    let rows = read["rows"].as_array().expect("rows");
    let file = Connection::open(&path).expect("open");
    let mut compared = 0;
    for (table, order) in [("run", "place"), ("entry", "number")] {
        let mut all =
            file.prepare(&format!("SELECT * FROM {table} ORDER BY {order}")).expect("a table");
        let names: Vec<String> = all.column_names().map(str::to_owned).collect();
        let mut mine = rows.iter().filter(|row| row["table"] == table);
        let mut stored = all.query([]).expect("rows");
        while let Some(row) = stored.next().expect("a row") {
            let columns = &mine.next().expect("exported")["columns"];
            for (index, name) in names.iter().enumerate() {
                let told = &columns[name.as_str()];
                let same = match row.get_ref(index).expect("a value") {
                    rusqlite::types::ValueRef::Null => told.is_null(),
                    rusqlite::types::ValueRef::Integer(value) => told.as_i64() == Some(value),
                    rusqlite::types::ValueRef::Text(text) => {
                        told.as_str().map(str::as_bytes) == Some(text)
                    }
                    rusqlite::types::ValueRef::Blob(bytes) => {
                        let text: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
                        told.as_str() == Some(&text)
                    }
                    rusqlite::types::ValueRef::Real(_) => false,
                };
                assert!(same, "{table}.{name}: {told}");
                compared += 1;
            }
        }
        assert!(mine.next().is_none(), "no more rows than there are");
    }
    assert!(compared > 100, "{compared}");
}

#[test]
fn tables_hold_one_row_a_time_with_the_unit_in_the_heading() {
    let (folder, path) = file();
    rehearsed(&path);
    let at = folder.path().join("tables");
    done(
        &path,
        &["records", "export", "latest", "--format", "csv", "--out", &at.display().to_string()],
    );
    let store = Store::open_existing(&path).expect("open");
    let record = store.run(&store.find("latest").expect("an id")).expect("a run");
    let read = |name: &str| {
        let text = std::fs::read_to_string(at.join(name)).expect("a table");
        assert!(
            text.lines().count() > 0 && text.contains("\r\n"),
            "{name}: lines end as RFC 4180 says"
        );
        let mut table = csv::Reader::from_reader(text.as_bytes());
        let heads: Vec<String> =
            table.headers().expect("headings").iter().map(str::to_owned).collect();
        let rows = table.records().map(|row| row.expect("as many cells as headings"));
        (
            heads,
            rows.map(|row| row.iter().map(str::to_owned).collect::<Vec<_>>()).collect::<Vec<_>>(),
        )
    };
    let (heads, rows) = read("samples.csv");
    assert_eq!(heads[..4], ["time, s", "z, mm", "feed, mm/s", "spindle, rpm"]);
    let samples = record.entries.iter().filter(|entry| entry.kind == EntryKind::Sample);
    assert_eq!(rows.len(), samples.count());
    assert!(rows.iter().flatten().all(|cell| cell.is_empty() || cell.parse::<f64>().is_ok()));
    let (heads, rows) = read("passes.csv");
    let column = |name: &str| heads.iter().position(|head| head == name).expect(name);
    assert_eq!(rows.len(), 9);
    let spindle: f64 = rows[0][column("spindle mean, rpm")].parse().expect("a figure");
    assert!((spindle - 127.3).abs() < 0.2, "{spindle}");
    assert_eq!(rows[8][column("pass")], "9");
    let (_, rows) = read("entries.csv");
    assert_eq!(rows.len(), record.entries.len());
    read("measurements.csv");
    read("marks.csv");
}

#[test]
fn text_that_a_table_for_calculating_would_take_for_a_formula_has_an_apostrophe_before_it() {
    let (folder, path) = file();
    let id = record_story(&path);
    let person = "=2+3";
    let mark = Mark {
        at: "2026-11-25T10:00:00Z".parse().expect("RFC 3339"),
        person: person.to_owned(),
        rig: "Bench".to_owned(),
        kind: RunKind::Twin,
        run: Some(Store::open(&path).expect("open").find(&id).expect("a run")),
        batch: None,
        said: Said::Decided { verdict: Verdict::Hold, reason: String::new() },
    };
    Store::open(&path).expect("open").keep_mark(&mark).expect("kept");
    let tables = folder.path().join("tables");
    done(
        &path,
        &["records", "export", &id, "--format", "csv", "--out", &tables.display().to_string()],
    );
    let mut marks = csv::Reader::from_path(tables.join("marks.csv")).expect("a table");
    let row = marks.records().next().expect("a mark").expect("a row");
    assert_eq!(&row[2], "'=2+3");
    let json = folder.path().join("run.json");
    done(
        &path,
        &["records", "export", &id, "--format", "json", "--out", &json.display().to_string()],
    );
    let json = std::fs::read_to_string(json).expect("a file");
    assert!(json.contains("\"person\":\"=2+3\""), "as it was typed");
}

#[test]
fn nothing_that_is_there_is_written_over() {
    let (folder, path) = file();
    let id = record_story(&path);
    let taken = folder.path().join("taken").display().to_string();
    std::fs::write(&taken, "mine").expect("written");
    for arguments in [
        &["records", "report", &id, "--out", &taken][..],
        &["records", "export", &id, "--format", "json", "--out", &taken],
        &["records", "export", &id, "--format", "csv", "--out", &taken],
        &["records", "compare", &id, &id, "--out", &taken],
    ] {
        let refused = evenpass(&path, arguments);
        let told = String::from_utf8_lossy(&refused.stderr);
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(told.contains("is there already and would be lost"), "{told}");
    }
    assert_eq!(std::fs::read_to_string(&taken).expect("read"), "mine");
}

#[test]
fn two_runs_are_compared_on_a_terminal_and_for_programs() {
    let (_folder, path) = file();
    rehearsed(&path);
    record_story(&path);
    let store = Store::open_existing(&path).expect("open");
    let runs = store.runs().expect("a list");
    let [one, other] = [0, 1].map(|place: usize| runs[place].id.to_string());
    let told = done(&path, &["records", "compare", &one, &other]);
    for words in ["Recipe", "The runs", "passes done", "outcome", "tripped", "complete"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let same = done(&path, &["records", "compare", &one, &one]);
    assert!(
        same.contains("Recipe: both say the same") && same.contains("figures are alike"),
        "{same}"
    );
    let json: Value =
        serde_json::from_str(&done(&path, &["records", "compare", &one, &other, "--json"]))
            .expect("JSON");
    assert_eq!(json["runs"], json!([one, other]));
    assert!(json["groups"].as_array().is_some_and(|groups| groups.len() > 2));
}

#[test]
fn a_report_has_the_decision_that_counts_and_the_lots_that_were_in_use() {
    let (folder, path) = file();
    rehearsed(&path);
    let mut store = Store::open(&path).expect("open");
    let run = store.find("latest").expect("an id");
    let began = store.run(&run).expect("a run").summary.started_at;
    let mark = |at: &str, run: Option<RunId>, said: Said| Mark {
        at: at.parse().expect("RFC 3339"),
        person: "I. Inspector".to_owned(),
        rig: "Bench".to_owned(),
        kind: RunKind::Rehearsed,
        run,
        batch: None,
        said,
    };
    let lot = |lot: &str| Said::Lot {
        of: "nickel-hard".to_owned(),
        lot: lot.to_owned(),
        certificate: Some("3.1".to_owned()),
        contents: None,
    };
    store.keep_mark(&mark("2020-01-01T08:00:00Z", None, lot("L-OLD"))).expect("kept");
    store.keep_mark(&mark("2020-01-02T08:00:00Z", None, lot("L-407"))).expect("kept");
    let later = began + std::time::Duration::from_secs(3600);
    store.keep_mark(&mark(&later.to_string(), None, lot("L-LATER"))).expect("kept");
    let decided = |verdict, reason: &str| Said::Decided { verdict, reason: reason.to_owned() };
    let about = |said| mark("2027-01-01T08:00:00Z", Some(run.clone()), said);
    store.keep_mark(&about(decided(Verdict::Pass, "all in limits"))).expect("kept");
    let scrap = store.keep_mark(&about(decided(Verdict::Scrap, "wrong part"))).expect("kept");
    let back = Said::TakenBack { mark: scrap, reason: "it was the right one".to_owned() };
    store.keep_mark(&about(back)).expect("kept");

    let at = folder.path().join("report.html").display().to_string();
    done(&path, &["records", "report", "latest", "--out", &at]);
    let page = std::fs::read_to_string(&at).expect("a page");
    assert!(page.contains("\u{2713} Pass</strong>: all in limits; I. Inspector"), "it counts");
    assert!(page.contains("L-407, 3.1") && !page.contains("L-LATER") && !page.contains("L-OLD"));
    assert!(page.contains("decided: scrap: wrong part") && page.contains("taken back by"));
}
