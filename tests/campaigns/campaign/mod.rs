//! Seeded days on which everything goes wrong: drawn, played, checked, counted.

pub(crate) mod check;
pub(crate) mod draw;
pub(crate) mod handicap;
pub(crate) mod kinds;
pub(crate) mod operator;
pub(crate) mod report;
pub(crate) mod schedule;
pub(crate) mod shrink;
pub(crate) mod world;

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::Instant;

use evenpass::files::Job;
use evenpass_core::plan::{Plan, plan};

use crate::support::jobs::Texts;
use crate::support::observed::Observed;
use report::Report;
use schedule::Schedule;
use world::{Extras, Outcome};

/// The job that campaigns run.
pub(crate) fn short_job() -> (Job, Plan) {
    let job = Texts::of("short-job").job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("the short job has a plan");
    (job, plan)
}

/// A number from the environment, or this one.
pub(crate) fn setting(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| {
        text.parse().unwrap_or_else(|_| panic!("{name}={text}: a whole number is wanted"))
    })
}

/// Plays the schedules of so many seeds on all processors.
pub(crate) fn campaign(
    seeds: std::ops::Range<u64>,
    draw: fn(u64) -> Schedule,
    extras: Extras,
) -> Report {
    let (job, plan) = short_job();
    let next = AtomicU64::new(seeds.start);
    let report = Mutex::new(Report::new(&job));
    let begun = Instant::now();
    let workers = thread::available_parallelism().map_or(1, usize::from);
    thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= seeds.end {
                        break;
                    }
                    let schedule = draw(seed);
                    let outcome = world::play(&job, &plan, &schedule, extras);
                    report.lock().expect("no worker has failed").add(schedule, &outcome);
                }
            });
        }
    });
    let mut report = report.into_inner().expect("no worker has failed");
    report.took = begun.elapsed();
    report
}

/// Plays one schedule with everything told.
pub(crate) fn replay(schedule: &Schedule) -> Outcome {
    let (job, plan) = short_job();
    world::play(&job, &plan, schedule, Extras { tell: true, ..Extras::default() })
}

/// A run as it looks from outside, scan by scan, repeats dropped: to be followed in the explored
/// graph.
pub(crate) fn seen_from_outside(schedule: &Schedule) -> Vec<Observed> {
    let (job, plan) = short_job();
    let extras = Extras { observe: true, ..Extras::default() };
    world::play(&job, &plan, schedule, extras).observed
}
