//! `rig matrix` as people and programs read it. With `EVENPASS_BLESS=1` in the environment the
//! texts under `tests/matrix` are written anew; read each of them before committing it.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test fails with the text it is about"
)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use evenpass_core::interlock::matrix::{BEYOND, rows};
use serde_json::Value;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What the program answers to `rig matrix` with these arguments.
fn matrix(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(["rig", "matrix"])
        .args(arguments)
        .current_dir(root())
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

fn golden(name: &str, found: &str) {
    let file = root().join("tests/matrix").join(name);
    if std::env::var_os("EVENPASS_BLESS").is_some() {
        fs::write(&file, found).expect("the text can be written");
    }
    let expected = fs::read_to_string(&file).unwrap_or_default();
    assert!(expected == found, "{name} now says:\n{found}");
}

#[test]
fn a_terminal_shows_the_matrix_in_a_hundred_columns() {
    for (name, rig) in
        [("bench.txt", None), ("inverter-lathe.txt", Some("config/rigs/inverter-lathe.toml"))]
    {
        let output = matrix(rig.as_slice());
        assert!(output.status.success(), "{}", text(&output.stderr));
        let found = text(&output.stdout);
        let widest = found.lines().map(|line| line.chars().count()).max();
        assert!(widest <= Some(100), "{widest:?}");
        for row in rows() {
            assert!(
                found.contains(&format!("\n{}  {}", row.number, row.class.word())),
                "{}",
                row.key
            );
        }
        golden(name, &found);
    }
}

#[test]
fn the_times_of_a_rig_are_told_against_what_they_may_be() {
    let output = matrix(&["--times"]);
    let found = text(&output.stdout);
    assert!(found.contains("holds") && !found.contains("EXCEEDED"), "{found}");
    golden("bench-times.txt", &found);
}

#[test]
fn what_would_happen_is_told_with_first_out_effects_and_what_remains_possible() {
    for (name, arguments) in [
        ("what-if-flame-off.txt", &["--what-if", "flame=off"] as &[&str]),
        ("what-if-fuel-low.txt", &["--what-if", "fuel_pressure=0.3 bar"]),
        ("what-if-extraction-and-field.txt", &["--what-if", "extraction=open,field=off"]),
        ("what-if-extraction-open.txt", &["--what-if", "extraction=open"]),
        ("what-if-arrestor-fusing.txt", &["--what-if", "arrestor=off", "--during", "fusing"]),
        ("what-if-spindle-98.txt", &["--what-if", "spindle=98 rpm"]),
        ("what-if-guard-in-access.txt", &["--what-if", "guard=open", "--during", "access"]),
        ("what-if-drive-off.txt", &["config/rigs/gearbox-lathe.toml", "--what-if", "drive=off"]),
    ] {
        let output = matrix(arguments);
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        golden(name, &text(&output.stdout));
    }
}

#[test]
fn a_signal_a_fault_or_a_phase_that_is_not_known_is_refused_with_the_nearest_one() {
    for (arguments, told) in [
        (&["--what-if", "flaem=off"] as &[&str], "did you mean `flame`?"),
        (&["--what-if", "flame=stuk"], "did you mean `stuck`?"),
        (&["--what-if", "fuel_pressure=0.3"], "has no unit"),
        (&["--what-if", "flame=off", "--during", "spray"], "did you mean `spraying`?"),
        (&["--what-if", "fuel_pressure=-5 bar"], "accepted: 0 bar to 2.5 bar"),
        (&["--what-if", "fuel_pressure=99999 bar"], "accepted: 0 bar to 2.5 bar"),
        (&["--html", "unused.html", "--date", "tomorrow"], "accepted: YYYY-MM-DD"),
        (&["--html", "unused.html", "--date", "2026-02-30"], "is no day of the calendar"),
        (&["no-such-rig.toml"], "cannot be read"),
    ] {
        let output = matrix(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let found = text(&output.stderr);
        assert!(found.contains(told), "{found}");
        assert!(output.stdout.is_empty());
    }
}

#[test]
fn a_program_reads_every_row_with_its_figures_effects_and_times() {
    let found: Value = serde_json::from_slice(&matrix(&["--json"]).stdout).expect("one JSON value");
    let read = found["rows"].as_array().expect("rows");
    assert_eq!(read.len(), rows().len());
    for (row, read) in rows().zip(read) {
        assert_eq!(read["in_force"]["row"]["key"], row.key);
        assert_eq!(read["course"].as_array().map(Vec::len), Some(row.course().len()));
        assert!(read["total_s"].as_f64().is_some_and(|total| total >= 0.0));
    }
    let found: Value =
        serde_json::from_slice(&matrix(&["--what-if", "flame=off", "--json"]).stdout)
            .expect("one JSON value");
    assert_eq!(found["what_if"]["confirmed"][0]["key"], "flame_lost");
    assert_eq!(found["what_if"]["confirmed"][0]["role"], "first_out");
}

#[test]
fn the_page_for_the_wall_is_one_file_with_every_row_the_rig_the_date_and_the_cautions() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file: PathBuf = folder.path().join("wall.html");
    let path = file.to_str().expect("a plain name");
    let rig = "config/rigs/inverter-lathe.toml";
    let output = matrix(&[rig, "--html", path, "--date", "2026-11-28"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let page = fs::read_to_string(&file).expect("written");
    for outside in ["http:", "https:", "src=", "<script", "@import", "url("] {
        assert!(!page.contains(outside), "nothing comes from outside: {outside}");
    }
    for told in ["Inverter lathe", "2026-11-28", "BS-201", "not the safety circuit", "A3 landscape"]
    {
        assert!(page.contains(told), "{told}");
    }
    for row in rows() {
        assert!(page.contains(&format!("<td class=\"no\">{}</td>", row.number)), "{}", row.key);
        assert!(page.contains(&row.title.replace('\'', "&#39;")), "{}", row.title);
    }
    for beyond in BEYOND {
        assert!(page.contains(beyond.title), "{}", beyond.title);
    }
    // Every class and every lamp is told by a word, not by its colour alone.
    let coloured = page.matches("<span class=\"badge ").count();
    assert_eq!(
        coloured,
        page.matches("&nbsp;trip</span>").count()
            + page.matches("&nbsp;hold</span>").count()
            + page.matches("&nbsp;stop</span>").count()
            + page.matches("&nbsp;warn</span>").count()
    );
    assert!(page.matches("<span class=\"dot ").count() >= rows().len());
}
