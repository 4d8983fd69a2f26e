//! A job whose controller was killed, taken up by another process over the same pseudo-terminals: the
//! twin is a process of its own that was there all the time, with the part in its chuck.

#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::string_slice,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod ptys;
#[path = "verbs/terminal.rs"]
#[allow(dead_code, reason = "nobody waits here for the program's own end")]
mod terminal;

use std::fs::File;
use std::io::Read as _;
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use serde_json::Value;

use ptys::{AT_REST_MM_S, Journal, PATIENCE, Place, Process, RECIPE, program, seconds};
use terminal::Terminal;

/// Nothing moves, burns or is sprayed in these lines of the twin's journal.
fn rests(lines: &[Value]) {
    let truths: Vec<&Value> = lines.iter().filter(|line| line["kind"] == "truth").collect();
    assert!(truths.len() > 10, "the twin goes on");
    for truth in truths {
        for what in ["feeder_on", "fuel_open", "oxygen_open"] {
            assert_eq!(truth[what], false, "{what} at {} s", seconds(truth));
        }
        assert!(truth["torch_mm_s"].as_f64().unwrap().abs() <= AT_REST_MM_S);
    }
}

#[test]
fn a_job_whose_controller_was_killed_is_taken_up_over_the_same_lines_and_waits_for_a_persons_start()
{
    let place = Place::new();
    let (mut twin, mut said) = place.twin("journal", "present");
    let ports = ["field", "motion"].map(|line| format!("{line}={}", place.text(line)));
    let records = place.text("records.sqlite");
    let on_lines = ["--port", &ports[0], "--port", &ports[1], "--records", &records];
    let of_part = ["--serial", "S-7", "--heat", "H-1234", "--person", "A. Fitter"];
    let first = [&["run", RECIPE], &of_part[..], &on_lines].concat();
    let mut run = Process::start(&first, File::create(place.at("run.txt")).unwrap().into());
    let mut journal = Journal::open(&place.at("journal"));
    journal.wait_for_powder();
    // In the middle of the first pass.
    sleep(Duration::from_millis(2000));
    run.kill();
    sleep(Duration::from_secs(2));
    journal.rest();

    // Asked without an answer it says what is lacking, and nothing moves.
    let resume = ["run", "--resume", "latest"];
    let asked = Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args([&resume[..], &on_lines].concat())
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&asked.stderr).into_owned();
    assert_eq!(asked.status.code(), Some(2), "{told}");
    assert!(told.contains("nothing was decided and nothing moves"), "{told}");
    sleep(Duration::from_secs(1));
    let lines = journal.rest();
    rests(&lines);
    let last = lines.iter().rev().find(|line| line["kind"] == "truth").expect("a truth");
    let (z, coat) = (last["torch_z_mm"].as_f64().unwrap(), last["coat_g"].as_f64().unwrap());
    println!("killed in the pass: the torch stands at {z:.2} mm, {coat:.2} g of coat on the part");

    let other = ["--serial", "S-8", "--person", "B. Fitter", "--choose", "end-here"];
    let refused = Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args([&resume[..], &other, &on_lines].concat())
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(refused.status.code(), Some(2), "another part: {told}");
    assert!(told.contains("serial: found \"S-8\"") && told.contains("\"S-7\""), "{told}");

    let stood = format!("{z:.1} mm, powered");
    let choice = ["--choose", "go-on", "--stood", &stood, "--datum", "558 mm"];
    let seen = ["--surface", "bright, no soot", "--person", "B. Fitter"];
    let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
    command.args([&resume[..], &choice, &seen, &on_lines].concat());
    let mut terminal = Terminal::start(command);
    // The drive tripped when its controller fell silent: that waits for a person too.
    terminal.sees("Carriage drive in fault");
    sleep(Duration::from_secs(1));
    rests(&journal.rest());
    terminal.presses("acknowledge\n");
    terminal.presses("reset\n");
    terminal.sees("Idle: ready");
    sleep(Duration::from_secs(2));
    rests(&journal.rest());
    // Killed once more, before anybody has started it.
    drop(terminal);
    sleep(Duration::from_secs(1));
    rests(&journal.rest());

    let record = program(&["records", "show", "latest", "--records", &records, "--json"]);
    let particulars = &record["particulars"];
    for (name, wanted) in [("serial", "S-7"), ("heat", "H-1234"), ("operator", "B. Fitter")] {
        assert_eq!(particulars[name], wanted, "{name}");
    }
    let runs = program(&["records", "list", "--records", &records, "--json"]);
    let runs = runs.as_array().expect("runs");
    assert_eq!(runs.len(), 2, "what was refused left none");
    assert!(runs.iter().any(|run| run["id"] == particulars["resumes"]), "{particulars}");

    twin.interrupt();
    assert_eq!(twin.wait(PATIENCE).and_then(|status| status.code()), Some(0));
    let mut totals = String::new();
    said.read_to_string(&mut totals).unwrap();
    println!("{totals}");
}
