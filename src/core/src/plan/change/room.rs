//! Room for passes of another feed: where they turn so that each is at its feed, and its powder on
//! its way, before powder is wanted.
//!
//! Leads are times, so that a faster feed needs a longer way for its lead, and a longer ramp. The
//! turning points that were planned have room to spare, and stay where they are as long as it
//! lasts: the first changed pass then begins where the one before it ends. Beyond that they move
//! out, as far as the travel lets them.

use crate::plan::legs::time_off;
use crate::plan::motion::LegMotion;
use crate::plan::powder::rest_before;
use crate::program::{Pass, SprayStep};
use crate::quantity::{Acceleration, Length, Speed, Time};
use crate::request::Denial;

use super::denial;

/// Places nearer than this are the same, mm: a hundredth of the narrowest plume, arbitrary.
const SAME_PLACE: f64 = 0.01;
/// Times nearer than this are the same, s; under a scan of any rig.
const SAME_TIME: f64 = 1e-3;

/// What the passes as they stand bear.
pub(super) struct Room<'a> {
    old: &'a SprayStep,
    ramp: Acceleration,
    /// The longest that the carriage waits for its powder before a pass, after a wait included:
    /// the plan has held it against torch and interlocks.
    rest: Time,
}

impl<'a> Room<'a> {
    pub(super) fn of(old: &'a SprayStep, ramp: Acceleration) -> Self {
        let mut room = Self { old, ramp, rest: Time::ZERO };
        let rests = distinct(&old.passes, 0).map(|(_, pass)| room.rest(pass));
        room.rest = rests.reduce(Time::max).unwrap_or(Time::ZERO);
        room
    }

    /// Gives the passes of the changed step from `first` on the room they need.
    ///
    /// # Errors
    /// The travel does not have it, or powder could not be switched at the turns any more.
    pub(super) fn fit(&self, step: &mut SprayStep, first: usize) -> Result<(), Denial> {
        let mut fitted: Vec<Pass> = Vec::with_capacity(step.passes.len().saturating_sub(first));
        for (index, pass) in step.passes.iter().enumerate().skip(first) {
            // Passes alternate: one that is like the last one but one needs the same.
            let alike = index.checked_sub(2).filter(|before| *before >= first);
            let known = alike.filter(|before| step.passes.get(*before) == Some(pass));
            let known = known.and_then(|before| fitted.get(before - first)).cloned();
            fitted.push(match known {
                Some(known) => known,
                None => self.with_room(pass)?,
            });
        }
        for (slot, pass) in step.passes.iter_mut().skip(first).zip(fitted) {
            *slot = pass;
        }
        self.join_turns(step, first);
        self.check_turns(step, first)
    }

    /// Two passes that turned at one place turn at one place again, the outer one.
    fn join_turns(&self, step: &mut SprayStep, first: usize) {
        for index in first..step.passes.len().saturating_sub(1) {
            let turned = |passes: &[Pass]| {
                let (before, after) = (passes.get(index)?, passes.get(index + 1)?);
                Some((before.to, after.from))
            };
            let Some((to, from)) = turned(&step.passes) else { continue };
            let joined = turned(&self.old.passes).is_none_or(|(to, from)| is_same(to, from));
            if !joined || is_same(to, from) {
                continue;
            }
            let Some(before) = step.passes.get_mut(index) else { continue };
            let turn = if before.to >= before.from { to.max(from) } else { to.min(from) };
            end_at(before, turn);
            if let Some(after) = step.passes.get_mut(index + 1) {
                begin_at(after, turn);
            }
        }
    }

    fn check_turns(&self, step: &SprayStep, first: usize) -> Result<(), Denial> {
        let meets = |passes: &[Pass], index: usize| {
            let (Some(before), Some(after)) = (passes.get(index), passes.get(index + 1)) else {
                return false;
            };
            time_off(before, after, step.dwell, self.ramp)
                .is_some_and(|without| without + step.lead_off <= step.lead_on)
        };
        // The turn before the first changed pass is a changed one too.
        let from = first.saturating_sub(1);
        for (index, _) in distinct(&step.passes, from) {
            if meets(&step.passes, index) && !meets(&self.old.passes, index) {
                return Err(denial(
                    "powder could not be switched off at the turns any more",
                    "trim by less",
                ));
            }
        }
        Ok(())
    }

    fn with_room(&self, pass: &Pass) -> Result<Pass, Denial> {
        let mut pass = pass.clone();
        self.give_run_up(&mut pass)?;
        self.give_run_out(&mut pass)?;
        Ok(pass)
    }

    fn give_run_up(&self, pass: &mut Pass) -> Result<(), Denial> {
        let Some(on) = pass.powder.first().map(|window| window.on) else { return Ok(()) };
        let (feed, way) = (feed_at_start(pass), outward(pass));
        let on_at_start = is_same(on, pass.from);
        // Powder that comes through the turn is on all the way: the zone itself wants the feed.
        let edge = if on_at_start { edge_at(self.old, -way) } else { on };
        let has = |pass: &Pass| (edge - pass.from) * way;
        let needed = self.ramp_way(feed);
        let fits = |pass: &Pass| {
            has(pass).mm() >= needed.mm() - SAME_PLACE
                && (self.rest(pass) - self.rest).s() <= SAME_TIME
        };
        if fits(pass) {
            return Ok(());
        }
        let lead = if on_at_start { Length::ZERO } else { feed_way(feed, self.old.lead_on) };
        let travel = self.old.bounds.travel;
        let out = edge - (needed + self.old.bounds.backlash + lead) * way;
        begin_at(pass, out.max(travel.low).min(travel.high));
        if fits(pass) { Ok(()) } else { Err(no_room(pass.from, feed)) }
    }

    fn give_run_out(&self, pass: &mut Pass) -> Result<(), Denial> {
        let Some(off) = pass.powder.last().map(|window| window.off) else { return Ok(()) };
        let (feed, way) = (feed_at_end(pass), outward(pass));
        let edge = if is_same(off, pass.to) { edge_at(self.old, way) } else { off };
        let needed = self.ramp_way(feed);
        if ((pass.to - edge) * way).mm() >= needed.mm() - SAME_PLACE {
            return Ok(());
        }
        let out = edge + (needed + self.old.bounds.backlash) * way;
        if !self.old.bounds.travel.contains(out) {
            return Err(no_room(out, feed));
        }
        end_at(pass, out);
        Ok(())
    }

    /// Way from rest to a feed.
    fn ramp_way(&self, feed: Speed) -> Length {
        let ramp = self.ramp.mm_per_s2();
        Length::from_mm(feed.mm_per_s() * feed.mm_per_s() / (2.0 * ramp))
    }

    /// How long the carriage waits for its powder before a pass: at the turn, and after a wait.
    fn rest(&self, pass: &Pass) -> Time {
        let motion = LegMotion::new(pass, self.ramp);
        let at_turn = rest_before(pass, &motion, self.old.lead_on, Time::ZERO);
        let from = pass.starts_anew_at(self.old.lead_on, self.ramp, self.old.bounds.travel);
        let wanted = pass.powder.first().map_or(from, |window| window.on);
        let motion = LegMotion::new(&Pass { from, ..pass.clone() }, self.ramp);
        at_turn.max(self.old.lead_on - motion.time_at(wanted))
    }
}

/// The passes from `first` on that are not like the last one but one, with their places.
fn distinct(passes: &[Pass], first: usize) -> impl Iterator<Item = (usize, &Pass)> {
    passes.iter().enumerate().skip(first).filter(move |(index, pass)| {
        let before = index.checked_sub(2).filter(|before| *before >= first);
        before.and_then(|before| passes.get(before)) != Some(*pass)
    })
}

fn no_room(at: Length, feed: Speed) -> Denial {
    denial(
        format!(
            "at {feed:.2} the carriage has no room for ramp and powder lead: it would turn at {at:.1}"
        ),
        "trim by less, or move the part",
    )
}

/// Which way a pass goes: 1 toward the tail, -1 toward the chuck. Its start lies out against it.
fn outward(pass: &Pass) -> f64 {
    if pass.to >= pass.from { 1.0 } else { -1.0 }
}

/// The zone's edge at an end: the tail side for 1, the chuck side for -1.
fn edge_at(step: &SprayStep, end: f64) -> Length {
    if end > 0.0 { step.edges.high } else { step.edges.low }
}

fn feed_at_start(pass: &Pass) -> Speed {
    let end = if pass.to >= pass.from { pass.feed.first() } else { pass.feed.last() };
    end.map_or(Speed::ZERO, |point| point.feed)
}

fn feed_at_end(pass: &Pass) -> Speed {
    let end = if pass.to >= pass.from { pass.feed.last() } else { pass.feed.first() };
    end.map_or(Speed::ZERO, |point| point.feed)
}

fn feed_way(feed: Speed, time: Time) -> Length {
    Length::from_mm(feed.mm_per_s() * time.s())
}

fn is_same(one: Length, other: Length) -> bool {
    (one - other).abs().mm() < SAME_PLACE
}

/// Begins a pass elsewhere; powder that was on from its start on still is.
fn begin_at(pass: &mut Pass, place: Length) {
    let from = core::mem::replace(&mut pass.from, place);
    if let Some(window) = pass.powder.first_mut().filter(|window| is_same(window.on, from)) {
        window.on = place;
    }
}

/// Ends a pass elsewhere; powder that was on to its end still is.
fn end_at(pass: &mut Pass, place: Length) {
    let to = core::mem::replace(&mut pass.to, place);
    if let Some(window) = pass.powder.last_mut().filter(|window| is_same(window.off, to)) {
        window.off = place;
    }
}
