//! Proof tests of interlocks, with the real controller and the real twin in virtual time, and real
//! records files: every row that can be proved passes on a healthy machine, and a defect fails the
//! row it belongs to with words that say what is wrong.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

use std::time::Duration;

use evenpass::files;
use evenpass::proving::{Led, Twin, lead};
use evenpass_core::ledger::EntryKind;
use evenpass_core::proof::{Failing, Proved, procedures_of};
use evenpass_core::rig::Rig;
use evenpass_hil::{Coil, Discrete, Fault, Target, Word};

const SEED: u64 = 1;

fn rig() -> Rig {
    files::rig(None).expect("the bench's own rig").0
}

fn twin() -> Twin {
    Twin::new(&rig(), SEED).expect("the bench")
}

fn proved(twin: &mut Twin, key: &str) -> Proved {
    match lead(twin, key).expect("the controller goes on") {
        Led::Proved(proved) => proved,
        other => panic!("seed {SEED}, {key}: {other:?}\n{}", told(twin)),
    }
}

fn told(twin: &Twin) -> String {
    let told: Vec<String> = twin
        .entries()
        .iter()
        .filter(|entry| entry.kind != EntryKind::Sample)
        .map(|entry| format!("{:9.3} {:?} {}", entry.at.as_seconds(), entry.kind, entry.text))
        .collect();
    let last = told.len().saturating_sub(30);
    told.get(last..).unwrap_or_default().join("\n")
}

#[test]
fn every_row_that_can_be_proved_passes_on_a_healthy_twin_within_its_limit() {
    let mut twin = twin();
    let mut wrong = Vec::new();
    for procedure in procedures_of(&rig()) {
        let led = lead(&mut twin, procedure.key).expect("the controller goes on");
        match &led {
            Led::Proved(proved) if proved.failing.is_none() => {
                println!(
                    "{:28} {:>6} ms of {:>6} ms  {}",
                    proved.key,
                    proved.response.map_or(0, |response| response.as_millis()),
                    proved.limit.as_millis(),
                    proved.found
                );
            }
            other => wrong.push(format!("{}: {other:?}\n{}", procedure.key, told(&twin))),
        }
    }
    assert!(wrong.is_empty(), "seed {SEED}\n{}", wrong.join("\n\n"));
}
