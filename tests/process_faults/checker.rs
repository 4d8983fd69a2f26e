//! What must be physically so once the controller is gone, by the twin's own journal.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::ptys::{AT_REST_MM_S, DEAD_CONTROLLER_S, seconds};

/// What must be safe by then, in the order of the table.
pub(crate) const SAFE: [&str; 5] =
    ["powder feeder", "fuel valve", "oxygen valve", "flame", "carriage"];
/// The spindle of a part hotter than this must go on turning: the reference recipe's own figure.
const HOT_C: f64 = 300.0;
/// How long a hot part's spindle is looked at, s.
const TURNS_FOR_S: f64 = 2.5;
/// A carriage that came to rest is pushed by nothing further than this, mm.
const MOVED_MM: f64 = 0.02;

/// How long after an instant each thing was still on, s; zero where it was off all along.
pub(crate) fn safe_after(truths: &[Value], died: f64) -> BTreeMap<&'static str, f64> {
    let on = |what: &str, truth: &Value| match what {
        "powder feeder" => truth["feeder_on"] == true,
        "fuel valve" => truth["fuel_open"] == true,
        "oxygen valve" => truth["oxygen_open"] == true,
        "flame" => truth["flame_lit"] == true,
        _ => truth["torch_mm_s"].as_f64().unwrap().abs() > AT_REST_MM_S,
    };
    let last = |what: &'static str| {
        let times = truths.iter().filter(|truth| on(what, truth)).map(seconds);
        (what, times.filter(|at| *at > died).fold(died, f64::max) - died)
    };
    SAFE.map(last).into_iter().collect()
}

/// What is wrong with a machine whose controller died at an instant and never came back.
pub(crate) fn without_a_controller(truths: &[Value], died: f64) -> Vec<String> {
    let mut broken = Vec::new();
    for (what, after) in safe_after(truths, died) {
        if after > DEAD_CONTROLLER_S {
            broken.push(format!("{what} still on {after:.3} s after death"));
        }
    }
    if let Some(at) = stands_hot(truths, died) {
        broken.push(format!("a hot part stands still {:.2} s after death", at - died));
    }
    broken
}

/// When a hot part that turned at the instant came to stand, if it did.
fn stands_hot(truths: &[Value], died: f64) -> Option<f64> {
    let from = truths.iter().find(|truth| seconds(truth) >= died)?;
    turned_hot(from).then_some(())?;
    truths
        .iter()
        .filter(|truth| (died..died + TURNS_FOR_S).contains(&seconds(truth)))
        .find(|truth| truth["part_turns"] == false)
        .map(seconds)
}

/// Whether a part that is hot turns.
pub(crate) fn turned_hot(truth: &Value) -> bool {
    truth["part_turns"] == true && truth["part_highest_c"].as_f64().unwrap() > HOT_C
}

/// What came on after a process went on again and its run did not: neither powder nor gas may.
pub(crate) fn nothing_came_on(lines: &[Value], went_on: f64) -> Vec<String> {
    let mut broken = Vec::new();
    let after = || lines.iter().filter(|line| seconds(line) >= went_on);
    for coil in ["powder_feeder", "fuel_valve", "oxygen_valve", "igniter"] {
        let late = after().find(|line| {
            line["kind"] == "switched" && line["coil"] == coil && line["energised"] == true
        });
        if let Some(line) = late {
            broken.push(format!("{coil} on {:.3} s after it went on", seconds(line) - went_on));
        }
    }
    broken
}

/// What a tripped run did after its process went on again: a carriage that had come to rest may
/// not move.
pub(crate) fn nothing_moved(lines: &[Value], went_on: f64) -> Vec<String> {
    let mut broken = Vec::new();
    let after = || lines.iter().filter(|line| seconds(line) >= went_on);
    let mut rest: Option<f64> = None;
    for truth in after().filter(|line| line["kind"] == "truth") {
        let z = truth["torch_z_mm"].as_f64().unwrap();
        if truth["torch_mm_s"].as_f64().unwrap().abs() <= AT_REST_MM_S {
            rest.get_or_insert(z);
        }
        if let Some(stood) = rest
            && (z - stood).abs() > MOVED_MM
        {
            broken.push(format!(
                "the carriage moved from {stood:.2} mm {:.3} s after it went on",
                seconds(truth) - went_on
            ));
            break;
        }
    }
    broken
}
