//! One part, one record: everything that the trade wants to be known of a part is in its record, from
//! what a person says of it at its start to what is measured at its end, and comes out of it.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

const RECIPE: &str = "config/recipes/short-job.toml";
/// What is said at the start: the option, its words, and the name it stands by in the record.
const SAID: [(&str, &str, &str); 9] = [
    ("--job", "J-88 of 12 May", "job"),
    ("--customer", "M\u{fc}ller <b>& S\u{f6}hne</b>", "customer"),
    ("--drawing", "=4711 issue C", "drawing"),
    ("--serial", "S-7", "serial"),
    ("--heat", "H-1234", "heat"),
    ("--grit", "alumina F24", "grit"),
    ("--dew-point", "9 degC", "dew point"),
    ("--lot", "nickel-medium=L-2231", "lot of nickel-medium"),
    ("--note", "humidity=45 %", "humidity"),
];

fn evenpass(arguments: &[&str], records: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(arguments)
        .args(["--records", records.to_str().expect("a path")])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program runs")
}

fn done(arguments: &[&str], records: &Path) -> String {
    let output = evenpass(arguments, records);
    let (said, complained) = (output.stdout, String::from_utf8_lossy(&output.stderr).into_owned());
    assert_eq!(output.status.code(), Some(0), "{arguments:?}\n{complained}");
    String::from_utf8(said).expect("text")
}

fn signed(arguments: &[&str], records: &Path) -> String {
    done(&[arguments, &["--person", "B. Inspector"]].concat(), records)
}

fn refused(arguments: &[&str], records: &Path) -> String {
    let output = evenpass(arguments, records);
    let complained = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(2), "{arguments:?}\n{complained}");
    complained
}

/// A part that is made, measured and decided.
fn made(records: &Path) {
    let run = ["run", RECIPE, "--pace", "1000", "--person", "A. Fitter", "--blasted-ago", "40 min"];
    let said: Vec<&str> = SAID.iter().flat_map(|(option, words, _)| [*option, *words]).collect();
    done(&[&run[..], &said].concat(), records);
    let temperature = ["--temperature", "60 degC"];
    let measure = ["records", "measure", "latest", "--diameter", "570 mm=22.29 mm"];
    signed(&[&measure[..], &temperature].concat(), records);
    let thickness = ["records", "thickness", "latest", "--reading", "570 mm=0.13 mm"];
    signed(&[&thickness[..], &["--stage", "finished"], &temperature].concat(), records);
    signed(&["records", "hardness", "latest", "--reading", "570 mm=88 HR15N"], records);
    let reason = ["--reason", "customer agrees"];
    let deviation = ["records", "note", "deviation", "latest", "blasted finer than usual"];
    signed(&[&deviation[..], &reason].concat(), records);
    signed(&["records", "note", "particular", "latest", "press fit", "H7/p6"], records);
    signed(&["records", "decide", "latest", "pass"], records);
}

/// The list of the trade's notes, "Record per part", line by line, with what the report has for it.
#[test]
fn the_report_of_a_part_holds_everything_the_trade_wants_of_its_record() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("runs.sqlite");
    made(&records);
    let page = folder.path().join("part.html");
    done(&["records", "report", "latest", "--out", page.to_str().unwrap()], &records);
    let page = fs::read_to_string(page).expect("a page");
    let wanted: [(&str, &[&str]); 29] = [
        ("job", &["<dt>job</dt><dd>J-88 of 12 May</dd>"]),
        ("part", &["<dt>Part</dt><dd>ring D22/12 x 60 on a mandrel</dd>"]),
        ("serial", &["<dt>serial</dt><dd>S-7</dd>"]),
        ("drawing, issue", &["<dt>drawing</dt><dd>=4711 issue C</dd>"]),
        ("customer", &["M\u{fc}ller &lt;b&gt;&amp; S\u{f6}hne&lt;/b&gt;"]),
        ("operator", &["<dt>operator</dt><dd>A. Fitter</dd>"]),
        ("date-times", &["<dt>Began</dt><dd>20", "<dt>Ended</dt><dd>20"]),
        ("substrate", &["<dt>Substrate</dt><dd>plain steel</dd>", "<dt>heat</dt><dd>H-1234</dd>"]),
        ("recipe, revision, hash", &["short-job.toml, revision 1", "<dt>its SHA-256</dt>"]),
        ("powder, lot", &["nickel-medium", "<td>L-2231</td>"]),
        ("certificate", &["Lot, certificate"]),
        ("gas types", &["acetylene", "oxygen"]),
        ("preparation time", &["<dt>Blasted</dt><dd>until 20"]),
        ("grit", &["<dt>grit</dt><dd>alumina F24</dd>"]),
        ("humidity, dew point", &["<dt>humidity</dt><dd>45 %</dd>", "<dt>dew point</dt><dd>9 "]),
        ("preheat temperature", &["<dt>Preheat</dt>", "<dt>Preheated</dt>"]),
        ("per pass: times, Z, direction", &["Start, end", "Z, mm", "\u{2192}"]),
        ("per pass: n set and measured", &["Spindle, rpm", "set ", "\u{2026}"]),
        ("per pass: F", &["Feed, mm/s"]),
        ("per pass: powder on, off, grams", &["Powder on at Z", "Powder off at Z", "Powder, g"]),
        (
            "per pass: pressures, T, alarms",
            &["Part, \u{b0}C", "Fuel, bar", "Carrier, bar", "Alarms"],
        ),
        ("thickness, with T", &["0.13 mm at 570 mm, at 60 "]),
        ("diameters, with T", &["Diameter found, mm", "22.29"]),
        ("fusing: T, F, wet", &["Fusing of band", "set 20.00</small>", "wet"]),
        ("cooling time", &["Cooling"]),
        ("hardness", &["88 HR15N at 570 mm"]),
        ("deviations, reasons", &["blasted finer than usual: customer agrees"]),
        ("decision", &["\u{2713} Pass", "B. Inspector"]),
        ("software, configuration", &["<dt>Software</dt><dd>evenpass ", "<dt>Rig</dt>"]),
    ];
    for (what, words) in wanted {
        for words in words {
            assert!(page.contains(words), "{what}: \"{words}\" is nowhere on the page");
        }
    }
    let mean = |word: &str| {
        let after = page.split("mean along the zone").nth(1).expect("a coat");
        let after = after.split(word).nth(1).expect(word).trim_start_matches([' ', '<', '>']);
        let after = after.trim_start_matches("strong>");
        after.split([' ', '<']).next().and_then(|mm| mm.parse::<f64>().ok()).expect(word)
    };
    let (planned, estimated) = (mean("planned"), mean("estimated"));
    println!("coat planned {planned} mm, estimated of its passes {estimated} mm");
    assert!((estimated / planned - 1.0).abs() < 0.02, "an undisturbed run is sprayed as planned");
    assert!(page.contains("<dt>press fit</dt><dd>H7/p6</dd>"), "added after the start");
    assert!(!page.contains("<b>&"), "what a person typed is no markup");
}

#[test]
fn what_is_said_of_a_part_at_its_start_is_shown_listed_and_exported() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("runs.sqlite");
    made(&records);
    let shown: Value =
        serde_json::from_str(&done(&["records", "show", "latest", "--json"], &records))
            .expect("JSON");
    let sheet = done(&["records", "show", "latest"], &records);
    let words = |option: &str, said: &str| match option {
        "--lot" | "--note" => said.split_once('=').expect("name and words").1.to_owned(),
        _ => said.to_owned(),
    };
    for (option, said, name) in SAID {
        let words = words(option, said);
        assert_eq!(shown["particulars"][name], words.as_str(), "{name}");
        let line = sheet.lines().find(|line| line.trim_start().starts_with(name)).expect(name);
        assert!(line.contains(&words), "{name}: {line}");
    }
    let tables = folder.path().join("tables");
    let export = ["records", "export", "latest", "--out"];
    let csv = [&export[..], &[tables.to_str().unwrap(), "--format", "csv"]].concat();
    done(&csv, &records);
    let part = fs::read_to_string(tables.join("part.csv")).expect("a table");
    let mut rows = csv::Reader::from_reader(part.as_bytes());
    let rows: Vec<Vec<String>> =
        rows.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect()).collect();
    let cell = |name: &str| {
        let row =
            rows.iter().find(|row| row[0] == name).unwrap_or_else(|| panic!("{name}\n{part}"));
        (row[1].clone(), row[2].clone())
    };
    assert_eq!(cell("customer").0, "M\u{fc}ller <b>& S\u{f6}hne</b>");
    assert_eq!(cell("drawing").0, "'=4711 issue C", "no formula for a spreadsheet");
    assert_eq!(cell("press fit"), ("H7/p6".to_owned(), "B. Inspector".to_owned()));
    assert_eq!(cell("outcome").0, "complete");
    let json = folder.path().join("run.json");
    done(&[&export[..], &[json.to_str().unwrap(), "--format", "json"]].concat(), &records);
    let json: Value = serde_json::from_str(&fs::read_to_string(json).unwrap()).expect("JSON");
    let run = json["rows"].as_array().unwrap().iter().find(|row| row["table"] == "run").unwrap();
    let particulars = run["columns"]["particulars"].as_str().expect("text to the letter");
    assert!(particulars.contains("=4711 issue C"), "{particulars}");
    done(&["records", "verify", "latest"], &records);
}

#[test]
fn what_no_record_may_hold_is_refused_before_anything_begins() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("runs.sqlite");
    let run = ["run", RECIPE, "--pace", "1000"];
    let cases: [(&[&str], &str); 9] = [
        (&["--drawing", "a\u{1b}]0;owned\u{7}b"], "--drawing: found words with control characters"),
        (&["--customer", "two\nlines"], "one line of up to 300 characters"),
        (&["--serial", " "], "--serial: found nothing"),
        (&["--note", "resumes=2026-11-25-001"], "which the record gives by itself"),
        (&["--note", "drawing"], "accepted: a name and words"),
        (&["--lot", "L-2231"], "such as \"nickel-hard=L-2231\""),
        (&["--dew-point", "9"], "accepted"),
        (&["--blasted-ago", "40"], "accepted"),
        (&["--blasted-ago", "25 h"], "0 s to 24 h"),
    ];
    for (said, wanted) in cases {
        let told = refused(&[&run[..], said].concat(), &records);
        assert!(told.contains(wanted), "{said:?}\n{told}");
        assert!(!told.contains('\u{1b}'), "{told:?}");
    }
    assert!(!records.exists() || done(&["records", "list"], &records).lines().count() < 2);
}

#[test]
fn a_part_of_an_order_is_what_the_order_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("runs.sqlite");
    let made = ["batch", "make", RECIPE, "--name", "B7", "--serials", "X1,X2"];
    let twice = refused(
        &[&made[..], &["--note", "serial=S-1", "--person", "A. Fitter"]].concat(),
        &records,
    );
    assert!(twice.contains("each part's own with --serials"), "{twice}");
    signed(&[&made[..], &["--note", "drawing=4711 B"]].concat(), &records);
    signed(&["batch", "refilled", "B7", "--holds", "500 g"], &records);
    signed(&["batch", "blasted", "B7", "--parts", "1-2", "--ago", "1 min"], &records);
    let run = ["run", "--batch", "B7", "--pace", "1000", "--person", "A. Fitter"];
    let told = refused(&[&run[..], &["--drawing", "4711 C"]].concat(), &records);
    assert!(told.contains("drawing: found \"4711 C\", and the order B7 says \"4711 B\""), "{told}");
    refused(&[&run[..], &["--serial", "S-7"]].concat(), &records);
    done(&[&run[..], &["--drawing", "4711 B", "--heat", "H-9"]].concat(), &records);
    let shown = done(&["records", "show", "latest"], &records);
    for wanted in ["X1", "4711 B", "H-9", "1 of 2"] {
        assert!(shown.contains(wanted), "{wanted}\n{shown}");
    }
}
