//! Wall time: the program and the twin as two processes, joined by pseudo-terminals only.
//!
//! What is judged comes from the twin's own journal of what was physically so. Times are printed;
//! asserted are those that are promises.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing)]

mod ptys;

use std::fs;
use std::io::Read;
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

use serde_json::Value;

use ptys::{
    AT_REST_MM_S, DEAD_CONTROLLER_S, Journal, PATIENCE, Place, RECIPE, edges, program, seconds,
    states,
};

/// How far from its planned place a powder edge may switch at 20 mm/s, mm: a sixth of the 2 mm
/// over which the plume's sharpest edge rises; chosen.
const EDGE_MM: f64 = 0.3;

#[test]
fn a_job_over_terminals_takes_the_states_and_powder_edges_of_its_rehearsal() {
    let place = Place::new();
    let (mut twin, mut said) = place.twin("journal", "present");
    let mut run = place.run();
    let status = run.wait(PATIENCE).expect("the job ends");
    let printed = fs::read_to_string(place.at("run.txt")).unwrap();
    assert_eq!(status.code(), Some(0), "{printed}");

    let records = place.text("records.sqlite");
    let record = program(&["records", "show", "latest", "--records", &records, "--json"]);
    let rehearsal = program(&["rehearse", RECIPE, "--json"]);
    assert_eq!(states(&record["entries"]), states(&rehearsal["entries"]));
    let (done, rehearsed) = (edges(&record["entries"]), edges(&rehearsal["entries"]));
    let order = |edges: &[(u64, String, Option<f64>)]| {
        edges.iter().map(|(pass, edge, _)| (*pass, edge.clone())).collect::<Vec<_>>()
    };
    assert_eq!(order(&done), order(&rehearsed));

    let switched: Vec<Value> = Journal::open(&place.at("journal"))
        .rest()
        .into_iter()
        .filter(|line| line["kind"] == "switched" && line["coil"] == "powder_feeder")
        .collect();
    assert_eq!(switched.len(), done.len());
    let mut worst: f64 = 0.0;
    for ((switched, (pass, edge, planned)), (_, _, forecast)) in
        switched.iter().zip(&done).zip(&rehearsed)
    {
        let planned = planned.or(*forecast).expect("a rehearsal has its edges where it plans them");
        assert_eq!(switched["energised"], edge == "on");
        let off = switched["torch_z_mm"].as_f64().unwrap() - planned;
        println!("pass {pass}, powder {edge}: coil switched {off:+.4} mm from its planned place");
        worst = worst.max(off.abs());
    }
    println!("worst |coil switched - planned| {worst:.4} mm at 20 mm/s, {EDGE_MM} mm allowed");
    assert!(worst <= EDGE_MM);

    twin.interrupt();
    assert_eq!(twin.wait(PATIENCE).and_then(|status| status.code()), Some(0));
    let mut totals = String::new();
    said.read_to_string(&mut totals).unwrap();
    print!("{totals}");
    assert!(totals.contains("served "), "{totals}");
}

#[test]
fn a_controller_killed_in_a_pass_leaves_powder_gas_and_carriage_safe_by_the_machine_alone() {
    let place = Place::new();
    let (_twin, _said) = place.twin("journal", "present");
    let mut run = place.run();
    let mut journal = Journal::open(&place.at("journal"));
    journal.wait_for_powder();
    sleep(Duration::from_millis(700));
    let before = journal.rest().pop().expect("the journal goes on");
    run.kill();
    sleep(Duration::from_secs(3));
    let after = journal.rest();

    let truths = || after.iter().filter(|line| line["kind"] == "truth");
    let lit = truths().next().unwrap();
    for what in ["feeder_on", "fuel_open", "oxygen_open"] {
        assert_eq!(lit[what], true, "{what}: the controller was killed in a pass");
    }
    // The last instant at which something was still on counts from the last line before the
    // kill: at most one line of 10 ms too long.
    let died = seconds(&before);
    let until = |still: &dyn Fn(&Value) -> bool| {
        truths().filter(|truth| still(truth)).map(seconds).fold(died, f64::max) - died
    };
    let found = [
        ("powder feeder off", until(&|truth| truth["feeder_on"] == true)),
        ("fuel off", until(&|truth| truth["fuel_open"] == true)),
        ("oxygen off", until(&|truth| truth["oxygen_open"] == true)),
        (
            "carriage at rest",
            until(&|truth| truth["torch_mm_s"].as_f64().unwrap().abs() > AT_REST_MM_S),
        ),
    ];
    for (what, after) in found {
        println!("{what} {after:.2} s after the controller was killed");
    }
    let last = truths().next_back().unwrap();
    assert!(seconds(last) - died > 2.0, "the twin goes on");
    println!("spindle {:.0} rpm, {:.1} s after", last["spindle_rpm"], seconds(last) - died);
    for (what, after) in found {
        assert!(after <= DEAD_CONTROLLER_S, "{what} after {after} s");
    }
    assert_eq!(last["part_turns"], true, "a hot part turns on, by its inverter");
}

#[test]
fn when_the_lines_vanish_in_a_pass_and_come_back_the_run_trips_and_nothing_starts_by_itself() {
    let place = Place::new();
    let (mut twin, _said) = place.twin("journal", "present");
    let mut run = place.run();
    Journal::open(&place.at("journal")).wait_for_powder();
    sleep(Duration::from_millis(700));
    twin.kill();
    let (_back, _said) = place.twin("back", "absent");
    let gone = Instant::now();
    let status = run.wait(Duration::from_secs(60)).expect("the run ends");
    println!("the run ended {:.1} s after the lines had come back", gone.elapsed().as_secs_f64());
    let printed = fs::read_to_string(place.at("run.txt")).unwrap();
    assert_eq!(status.code(), Some(3), "tripped: {printed}");
    println!("{}", printed.lines().rev().take(3).collect::<Vec<_>>().join(" | "));

    let lines = Journal::open(&place.at("back")).rest();
    let truths: Vec<_> = lines.iter().filter(|line| line["kind"] == "truth").collect();
    assert!(!truths.is_empty());
    for truth in truths {
        for what in
            ["feeder_on", "fuel_open", "oxygen_open", "supply_open", "drive_torque", "part_turns"]
        {
            assert_eq!(truth[what], false, "{what} at {} s", seconds(truth));
        }
        assert!(truth["torch_mm_s"].as_f64().unwrap().abs() <= AT_REST_MM_S);
    }
}

#[test]
fn rig_check_reads_every_device_over_the_terminals_of_a_twin_and_fails_with_a_line_missing() {
    let place = Place::new();
    let (_twin, _said) = place.twin("journal", "absent");
    let ports = ["field", "motion"].map(|line| format!("{line}={}", place.text(line)));
    let arguments = ["rig", "check", "--json", "--port", &ports[0], "--port", &ports[1]];
    let output = Command::new(env!("CARGO_BIN_EXE_evenpass")).args(arguments).output().unwrap();
    let checked: Value = serde_json::from_slice(&output.stdout).unwrap();
    let reads = checked["reads"].as_array().unwrap();
    assert_eq!(reads.len(), 8);
    for read in reads {
        println!("{} {}: {} s", read["device"], read["read"], read["longest_s"]);
        assert_ne!(read["verdict"], "silent", "{read}");
    }
    // Whether every exchange was quick enough is up to whatever else this machine does just now.
    println!("everything within budgets: {}", checked["good"]);
    assert_eq!(output.status.code(), Some(if checked["good"] == true { 0 } else { 1 }));
    let code = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_evenpass")).args(arguments).output().unwrap();
        output.status.code()
    };
    let nowhere = format!("motion={}", place.text("nowhere"));
    assert_eq!(code(&["rig", "check", "--port", &ports[0], "--port", &nowhere]), Some(1));
    assert_eq!(code(&["rig", "check", "--port", &ports[0]]), Some(2));
    assert_eq!(code(&["rig", "check", "--port", "side=/dev/null"]), Some(2));
}
