//! Where a run was interrupted, read from its entries: pass, place with its uncertainty, and what
//! coat lies where.

use core::fmt;
use core::time::Duration;

use serde::Serialize;

use super::journal::facts;
use super::reader::Reader;
use super::stood::Stood;
use crate::coat::Coat;
use crate::image::Level;
use crate::ledger::Entry;
use crate::moment::Moment;
use crate::plan::{Direction, Plan};
use crate::program::{Program, Step};
use crate::quantity::{Length, Range, Time};
use crate::rig::Rig;
use crate::sequence::Leaf;

/// A running job is written down at least so often, commit and the machine's own reaction to a dead
/// controller included: the torch is no farther from the last place on the journal than it gets in
/// this time. Samples come every 0.2 s while powder is out, are committed 0.1 s later, and valves
/// shut within 0.3 s of silence; the rest is a slow disk's.
pub const JOURNAL_EVERY: Time = Time::from_s(1.0);

/// How long after the last entry powder ceased where nothing else tells: half of what lies between
/// two samples, half of what is gathered for a commit, and some of the machine's reaction, which a
/// lost mains has not and a dead controller has in full (arbitrary between the two).
pub(super) const CEASED_AFTER: Time = Time::from_s(0.25);

/// Where the pass in hand was left.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct PassInHand {
    /// Its step of the program, counted from 0.
    pub step: usize,
    /// The zone.
    pub zone: String,
    /// Its number, counted from 1.
    pub pass: usize,
    /// How many the zone has.
    pub of: usize,
    /// Which way it goes.
    pub direction: Direction,
    /// Where the torch was at the earliest when it was cut off: the last place on the journal.
    pub earliest: Length,
    /// Where it was at the latest.
    pub latest: Length,
    /// Where powder ceased by the best estimate, between the two; where the pass begins when none has
    /// arrived in it.
    pub ceased: Length,
    /// Whether powder was out.
    pub powder: Level,
}

/// A stretch of a zone with the coat in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stretch {
    /// The zone.
    pub zone: String,
    /// From where to where.
    pub place: Range<Length>,
    /// The thickest of the coat in it, as sprayed, radial.
    pub build: Length,
}

/// What was called wet of a zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fused {
    /// Its step of the program, counted from 0.
    pub step: usize,
    /// The zone.
    pub zone: String,
    /// Bands called wet, counted from 1, since its fusing last began.
    pub wet: Vec<usize>,
    /// How many it has.
    pub of: usize,
}

impl Fused {
    /// Whether all of it was called wet.
    #[must_use]
    pub fn is_done(&self) -> bool {
        (1..=self.of).all(|band| self.wet.contains(&band)) && self.of > 0
    }
}

/// Where a run was interrupted.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Interruption {
    /// The program with what people changed in it.
    pub program: Program,
    /// What was being done.
    pub leaf: Leaf,
    /// The pass that was begun and not finished, or comes next; `None` once all zones are sprayed.
    pub hand: Option<PassInHand>,
    /// Passes that are done in each step of the program; 0 for one that sprays nothing.
    pub done: Vec<usize>,
    /// What lies on the part.
    pub coat: Coat,
    /// The coat along the zones.
    pub stretches: Vec<Stretch>,
    /// Zones whose fusing had begun.
    pub fused: Vec<Fused>,
    /// Whether the torch for fusing had been put in.
    pub torch_changed: Level,
    /// Why the part may be spoiled, in words.
    pub suspect: Option<String>,
    /// From the start of the job until it was stopped or tripped, or else to the last entry.
    pub lasted: Duration,
    /// From then to the last entry: a machine that has tripped is written down for as long as
    /// nobody resets it.
    pub over: Duration,
    /// Whether the carriage was found where it cannot have come by itself: what was found counts for
    /// nothing.
    pub stood_elsewhere: Level,
    /// A change of passes by a person that cannot be followed, in words.
    pub unclear: Option<String>,
}

/// Reads where a run was interrupted. `plan` is that of the run before people changed anything in it,
/// `stood` how the carriage was found, where that is known. Entries may be missing and may end
/// anywhere; every end has an answer.
#[must_use]
pub fn read(entries: &[Entry], plan: &Plan, rig: &Rig, stood: Option<Stood>) -> Interruption {
    let facts = facts(entries);
    let mut reader = Reader::new(plan, facts.first().map_or(Moment::START, |told| told.at));
    for told in &facts {
        reader.take(told);
    }
    reader.end(rig, stood)
}

/// A pass that lacks no more than this of its powder is whole, mm: a hundredth of a narrow plume.
pub(super) const WHOLE: Length = Length::from_mm(0.05);

/// The coat of every zone, the one in hand on either side of where powder ceased.
pub(super) fn stretches(program: &Program, coat: &Coat, hand: Option<&PassInHand>) -> Vec<Stretch> {
    let mut all = Vec::new();
    for (index, step) in program.steps.iter().enumerate() {
        let Step::Spray(spray) = step else { continue };
        let edges = spray.edges;
        let cut = hand.filter(|hand| hand.step == index).map(|hand| hand.ceased);
        let cut = cut.filter(|cut| edges.low < *cut && *cut < edges.high);
        let parts = match cut {
            Some(cut) => vec![(edges.low, cut), (cut, edges.high)],
            None => vec![(edges.low, edges.high)],
        };
        for (low, high) in parts {
            // The share in the middle is clear of what the plume does at the other side's edge.
            let places = (0..=20).map(|part| low + (high - low) * (f64::from(part) / 20.0));
            let mut builds: Vec<f64> = places.map(|at| coat.thickness_at(at).mm()).collect();
            builds.sort_by(f64::total_cmp);
            let build = builds.get(builds.len() / 2).copied().unwrap_or(0.0);
            all.push(Stretch {
                zone: spray.zone.clone(),
                place: Range { low, high },
                build: Length::from_mm(build),
            });
        }
    }
    all
}

/// `pass 5 of 9 of seat, Z 131.3 mm to 141.7 mm; coat 0.391 mm / 0.313 mm`.
impl fmt::Display for Interruption {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.hand {
            None => write!(f, "all zones are sprayed; {}", self.leaf.words())?,
            Some(hand) => {
                let PassInHand { pass, of, zone, earliest, latest, .. } = hand;
                write!(f, "pass {pass} of {of} of {zone}")?;
                if (*latest - *earliest).abs() <= WHOLE {
                    write!(f, ", Z {earliest:.1}")?;
                } else {
                    write!(f, ", Z {:.1} to {latest:.1}", earliest.mm())?;
                }
                let builds: Vec<String> = self
                    .stretches
                    .iter()
                    .filter(|stretch| stretch.zone == *zone)
                    .map(|stretch| format!("{:.3}", stretch.build))
                    .collect();
                write!(f, "; coat {}", builds.join(" / "))?;
            }
        }
        for fused in self.fused.iter().filter(|fused| !fused.wet.is_empty()) {
            let wet: Vec<String> = fused.wet.iter().map(ToString::to_string).collect();
            write!(f, "; of {} called wet: band {}", fused.zone, wet.join(", "))?;
        }
        Ok(())
    }
}
