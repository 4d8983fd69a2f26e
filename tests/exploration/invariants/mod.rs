//! What must hold in every scan of every explored situation, by name. Each says when it was about
//! something at all: one that never was proves nothing and fails the run.

mod energy;
mod order;
mod people;

use std::time::Duration;

use crate::node::{Before, Node};
use crate::world::World;

/// One scan to be looked at.
pub(crate) struct Look<'a> {
    pub(crate) world: &'a World,
    pub(crate) before: &'a Before,
    pub(crate) node: &'a Node,
    /// How much time passed before the scan.
    pub(crate) span: Duration,
}

/// What came of one look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Finding {
    /// It was about nothing.
    Idle,
    /// It was about something, and holds.
    Holds,
    /// It does not hold: what was found.
    Broken(String),
}

/// Something that must always hold.
pub(crate) struct Invariant {
    pub(crate) name: &'static str,
    pub(crate) promise: &'static str,
    judge: fn(&Look<'_>) -> Finding,
}

const fn invariant(
    name: &'static str,
    promise: &'static str,
    judge: fn(&Look<'_>) -> Finding,
) -> Invariant {
    Invariant { name, promise, judge }
}

/// About something, and so or not.
fn must(is_so: bool, found: impl FnOnce() -> String) -> Finding {
    if is_so { Finding::Holds } else { Finding::Broken(found()) }
}

/// Something that has lasted may not have lasted longer. A scan sees it after up to one scan more.
fn at_most(lasted: Duration, longest: Duration, look: &Look<'_>) -> Finding {
    if lasted == Duration::ZERO {
        return Finding::Idle;
    }
    let grain = look.span + look.span;
    must(lasted <= longest + grain, || {
        format!("{:.2} s, permitted {:.2} s", lasted.as_secs_f64(), longest.as_secs_f64())
    })
}

/// Stop, hold and abort are never denied: judged where they are asked.
pub(crate) const ANYONE: &str = "stop is taken from anyone";
/// Left alone, everything comes to rest: judged by running on.
pub(crate) const ALONE: &str = "left alone it comes to rest";
/// With faults ended and people answering, the job is done: judged by running on.
pub(crate) const HELPED: &str = "once faults end the job is done";

const JUDGED_ELSEWHERE: &[Invariant] = &[
    invariant(ANYONE, "stop, hold and abort are denied to nobody, in no state", |_| Finding::Idle),
    invariant(
        ALONE,
        "with nobody there, no flame, gas, powder or motion lasts: every wait has an end",
        |_| Finding::Idle,
    ),
    invariant(
        HELPED,
        "with faults ended and people who answer, the job can be completed: no dead end",
        |_| Finding::Idle,
    ),
];

/// The place of one of them in the tally.
pub(crate) fn place_of(name: &str) -> usize {
    all().position(|invariant| invariant.name == name).expect("it is one of them")
}

/// All of them.
pub(crate) fn all() -> impl Iterator<Item = &'static Invariant> {
    order::INVARIANTS
        .iter()
        .chain(people::INVARIANTS)
        .chain(energy::INVARIANTS)
        .chain(JUDGED_ELSEWHERE)
}

/// What was broken first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Broken {
    pub(crate) invariant: &'static str,
    pub(crate) found: String,
}

/// Judges one scan by all of them; says every one that is broken.
pub(crate) fn judge(look: &Look<'_>, tally: &mut [u64]) -> Result<(), Vec<Broken>> {
    let mut broken = Vec::new();
    for (invariant, times) in all().zip(tally) {
        match (invariant.judge)(look) {
            Finding::Idle => {}
            Finding::Holds => *times += 1,
            Finding::Broken(found) => broken.push(Broken { invariant: invariant.name, found }),
        }
    }
    if broken.is_empty() { Ok(()) } else { Err(broken) }
}
