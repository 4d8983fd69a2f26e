//! When a hold, a stop or a trip begins and ends, and what its cause is called.
//!
//! An episode begins with the first cause of a severer class than the one in hand, counted from
//! the moment the cause was confirmed; or with the sequence's own withdrawal, counted from its
//! scan. It ends when nothing is latched and the job is neither withdrawn nor at rest by it.

use crate::interlock::{Class, Occurrence, Verdict};
use crate::moment::Moment;
use crate::sequence::Phase;

/// One hold, stop or trip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Episode {
    /// The key of the row whose cause it is.
    pub(super) key: &'static str,
    /// How severe.
    pub(super) class: Class,
    /// When its cause counted: the zero of every time.
    pub(super) began: Moment,
}

/// What became of it in one scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Turn {
    /// There is none, or it goes on.
    Same,
    /// It has just begun.
    Began(Episode),
    /// It is over.
    Ended,
}

/// Follows episodes.
#[derive(Debug, Clone, Default)]
pub(super) struct Episodes {
    in_hand: Option<Episode>,
}

impl Episodes {
    /// Looks once a scan.
    pub(super) fn follow(&mut self, now: Moment, verdict: &Verdict, phase: Phase) -> Turn {
        let found = latched(verdict).or_else(|| withdrawn(now, phase));
        match (self.in_hand, found) {
            (None, None) => Turn::Same,
            (Some(_), None) => {
                self.in_hand = None;
                Turn::Ended
            }
            (Some(in_hand), Some(found)) if found.class <= in_hand.class => Turn::Same,
            // What only rests by an earlier episode begins none.
            (None, Some(_)) if latched(verdict).is_none() && rests(phase) => Turn::Same,
            (_, Some(found)) => {
                self.in_hand = Some(found);
                Turn::Began(found)
            }
        }
    }
}

/// The severest latched cause; of holds and stops the severest, then the first.
fn latched(verdict: &Verdict) -> Option<Episode> {
    let severest = verdict.holds.iter().map(|hold| hold.class).max();
    let hold = verdict.holds.iter().find(|hold| Some(hold.class) == severest);
    verdict.first.as_ref().or(hold).map(|occurrence: &Occurrence| Episode {
        key: occurrence.key,
        class: occurrence.class,
        began: occurrence.confirmed,
    })
}

/// A withdrawal of the sequence's own: asked from a seat, or waited for too long.
const fn withdrawn(now: Moment, phase: Phase) -> Option<Episode> {
    match phase {
        Phase::Holding | Phase::Held => {
            Some(Episode { key: "hold_requested", class: Class::Hold, began: now })
        }
        Phase::Stopping | Phase::Stopped => {
            Some(Episode { key: "stop_requested", class: Class::Stop, began: now })
        }
        // A trip that was reset is over; what it left at rest is told no more.
        _ => None,
    }
}

/// Whether the job is at rest after a withdrawal.
const fn rests(phase: Phase) -> bool {
    matches!(phase, Phase::Held | Phase::Stopped)
}
