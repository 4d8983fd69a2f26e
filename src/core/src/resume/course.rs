//! Where a carriage goes on from a place of a pass, by the plan: over the rest of the pass, the turn
//! and the passes after it.

use crate::coat::Coat;
use crate::plan::powder::rest_before;
use crate::plan::{Direction, LegMotion};
use crate::program::{Pass, SprayStep};
use crate::quantity::{Acceleration, Length, Time};

/// A turn takes no less: the reversal is seen by a scan and goes out with the next set-point; about
/// what the bench needs.
const TURN: Time = Time::from_s(0.1);
/// Spraying is followed in pieces of this length: a fifth of a millimetre at a usual feed.
const PIECE: Time = Time::from_s(0.02);
/// A turn in the time that is followed is one; more of them would be a plan without length.
const MOST_TURNS: usize = 4;

/// A place in a step's passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct At {
    /// The pass, counted from 0.
    pub pass: usize,
    /// The torch.
    pub place: Length,
}

/// The way a pass goes: 1 toward the tail, -1 toward the chuck.
pub(super) fn sign(pass: &Pass) -> f64 {
    Direction::of(pass.from, pass.to).sign()
}

/// The one of two places that lies farther along a pass.
pub(super) fn farther(pass: &Pass, one: Length, other: Length) -> Length {
    if sign(pass) > 0.0 { one.max(other) } else { one.min(other) }
}

/// The one that lies nearer to its start.
pub(super) fn nearer(pass: &Pass, one: Length, other: Length) -> Length {
    if sign(pass) > 0.0 { one.min(other) } else { one.max(other) }
}

/// The planned passes of a step under a ramp.
pub(super) struct Course<'a> {
    pub step: &'a SprayStep,
    pub ramp: Acceleration,
}

impl Course<'_> {
    /// Where the carriage is so long after it was at a place; at its end once all passes are made.
    pub(super) fn after(&self, from: At, time: Time) -> At {
        let (mut at, mut left) = (from, time);
        for _ in 0..MOST_TURNS {
            let Some(pass) = self.step.passes.get(at.pass) else { return at };
            // A pass that was begun anew comes from farther out.
            let out = Pass { from: nearer(pass, pass.from, at.place), ..pass.clone() };
            let motion = LegMotion::new(&out, self.ramp);
            let there = motion.time_at(at.place) + left;
            if there <= motion.total() {
                return At { place: motion.position_at(there), ..at };
            }
            let Some(next) = self.step.passes.get(at.pass + 1) else {
                return At { place: pass.to, ..at };
            };
            let back = LegMotion::new(next, self.ramp);
            let rest = rest_before(next, &back, self.step.lead_on, self.step.dwell).max(TURN);
            left = there - motion.total() - rest;
            at = At { pass: at.pass + 1, place: next.from };
            if left <= Time::ZERO {
                return at;
            }
        }
        at
    }

    /// Sprays on by the plan for a time; in the pass with a bound, powder wanted on its one side only.
    pub(super) fn spray(&self, coat: &mut Coat, from: At, time: Time, bound: Option<Bound>) -> At {
        let mut at = from;
        let mut left = time;
        while left > Time::ZERO {
            let piece = left.min(PIECE);
            left -= piece;
            let next = self.after(at, piece);
            if let Some(pass) = self.step.passes.get(next.pass).filter(|_| next.pass == at.pass) {
                let bound = bound.filter(|bound| bound.pass == next.pass);
                let share = share_sprayed(pass, at.place, next.place, bound);
                coat.deposit_between(at.place, next.place, piece * share);
            }
            at = next;
        }
        at
    }
}

/// Where in a pass powder begins again, or ceases.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bound {
    pub pass: usize,
    pub place: Length,
    pub side: Side,
}

/// On which side of a bound there is powder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// What lies behind it has its powder already.
    Beyond,
    /// The feeder is off: what comes ceases there.
    Before,
}

/// The share of a way along a pass on which powder is wanted.
fn share_sprayed(pass: &Pass, from: Length, to: Length, bound: Option<Bound>) -> f64 {
    let along = |place: Length| (place - pass.from).mm() * sign(pass);
    let (start, end) = (along(from), along(to));
    if end <= start {
        return 0.0;
    }
    let wanted = |on: Length, off: Length| {
        let (on, off) = match bound {
            Some(Bound { place, side: Side::Beyond, .. }) => (farther(pass, on, place), off),
            Some(Bound { place, side: Side::Before, .. }) => (on, nearer(pass, off, place)),
            None => (on, off),
        };
        (along(off).min(end) - along(on).max(start)).max(0.0)
    };
    let all: f64 = pass.powder.iter().map(|window| wanted(window.on, window.off)).sum();
    (all / (end - start)).min(1.0)
}
