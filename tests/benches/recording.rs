//! What writing the record costs the scan: how late scans come over two pseudo-terminals, with the
//! record being written and without, turn and turn about. Prints; asserts nothing.
//!
//! The disk is the one of the temporary folder, and every commit is synced. Run with
//! `cargo bench --bench recording`; it takes about 45 s.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    missing_docs
)]

mod over_ptys;

use std::path::PathBuf;
use std::time::Duration;

use evenpass::attendant::End;
use evenpass::files::Job;
use evenpass::keeping::{Begin, Ended, Keeping};
use evenpass::record::RunKind;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::scan::Controller;
use evenpass_hil::pty::Pacing;
use serde_json::json;

use over_ptys::{Served, drive, ms, on_a_thread, port, quantile, short_job};

/// How long scans are measured in one turn, and how many turns each way has.
const TURN: Duration = Duration::from_secs(5);
const TURNS: usize = 3;
/// Entries written in each scan: at 50 scans a second, what a busy job tells and ten times that.
const WAYS: [(&str, u64); 3] =
    [("nothing written", 0), ("50 entries a second", 1), ("500 entries a second", 10)];

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let (job, plan) = short_job();
    let served = Served::start(folder.path(), Pacing::AtLineSpeed);
    let mut late = WAYS.map(|_| Vec::new());
    let mut lost = 0;
    for _ in 0..TURNS {
        for ((_, entries), late) in WAYS.iter().zip(&mut late) {
            let file = folder.path().join(format!("{entries}.sqlite"));
            let keeping = (*entries > 0).then(|| begun(&job, &plan, file));
            let lines = [served.field.clone(), served.motion.clone()];
            let (rig, entries) = (job.rig.clone(), *entries);
            let (turn, keeping) = on_a_thread(move || {
                let controller = Controller::new(&rig).unwrap();
                let ports = rig.lines.iter().zip(lines).map(|(line, path)| port(line, path));
                let mut number = 0;
                let late = scans(controller, ports.collect(), rig.scan.to_duration(), |now| {
                    for _ in 0..entries {
                        number += 1;
                        if let Some(keeping) = &keeping {
                            keeping.send(sample(number, now));
                        }
                    }
                });
                (late, keeping)
            });
            late.extend(turn);
            if let Some(keeping) = keeping {
                lost += u64::from(keeping.trouble().is_some());
                let end = End::Stopped;
                let ended = Ended { end, first_cause: None, zones: &[], powder_fed_g: None };
                keeping.finish(&ended).unwrap();
            }
        }
    }
    served.stop();
    let period = job.rig.scan.to_duration();
    println!("scan of {period:?} over two lines in wall time; {lost} records had trouble");
    let of = |late: &[Duration]| [0.5, 0.99, 1.0].map(|share| quantile(late, share));
    let without = of(&late[0]);
    for ((name, _), late) in WAYS.iter().zip(&late) {
        let [p50, p99, worst] = of(late);
        println!(
            "  {name:<20} n {:>4}: late by p50 {}, p99 {}, worst {}; / without: p50 {:.2}, p99 {:.2}",
            late.len(),
            ms(p50),
            ms(p99),
            ms(worst),
            p50.as_secs_f64() / without[0].as_secs_f64(),
            p99.as_secs_f64() / without[1].as_secs_f64(),
        );
    }
}

fn begun(job: &Job, plan: &Plan, file: PathBuf) -> Keeping {
    Keeping::begin(job, plan, &Begin::fresh(RunKind::Twin, Some(1), Some(&file))).unwrap()
}

/// As long as a sample of a job that sprays.
fn sample(number: u64, at: Moment) -> Entry {
    let data = json!({
        "carrier": "2 bar", "coat": "250 degC", "feed": "57.553 mm/s", "fuel": "0.35 bar",
        "hopper": "2000 g", "oxygen": "1.2 bar", "part": "251.5 degC", "powder": true,
        "spindle": "120 rpm", "z": "703.438 mm"
    });
    let (text, cause) = (String::new(), String::new());
    Entry { number, at, kind: EntryKind::Sample, text, cause, data }
}

/// How late each scan of a controller came; what is to be done in each is done in it.
fn scans(
    mut controller: Controller,
    ports: Vec<evenpass::port::Port>,
    period: Duration,
    mut each: impl FnMut(Moment),
) -> Vec<Duration> {
    let mut due = Moment::START;
    let mut late = Vec::with_capacity(1024);
    drive(&mut controller, ports, TURN, |controller, now| {
        if now < due {
            return;
        }
        late.push(now.since(due));
        while due <= now {
            due = due + period;
        }
        each(now);
        while controller.take_entry().is_some() {}
    });
    // The first scan is due before there is a thread to make it.
    late.split_off(1)
}
