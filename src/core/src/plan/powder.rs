//! When powder is switched along a zone's passes, and where the carriage is then.
//!
//! Powder arrives late: a command is due one lead before the torch reaches the place where
//! powder is wanted, in *time* along the planned ramp. Commands that meet across a turn are one
//! interval: switched naively, the next ON would come before the last OFF and powder would stay
//! off for a whole pass.

use serde::Serialize;

use super::motion::{Direction, LegMotion};
use crate::program::{Pass, SprayStep};
use crate::quantity::{Acceleration, Length, Time};

/// What powder does at the turn between two passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TurnPowder {
    /// It is off.
    Off,
    /// It stays on through the turn: no command between the passes.
    Through,
}

/// What powder does between two passes: it stays on when the first pass's last window reaches
/// its very end and the next one's first window its very start.
#[must_use]
pub fn turn_powder(previous: &Pass, next: &Pass) -> TurnPowder {
    let stays = previous.powder.last().is_some_and(|window| window.off == previous.to)
        && next.powder.first().is_some_and(|window| window.on == next.from);
    if stays { TurnPowder::Through } else { TurnPowder::Off }
}

/// How long the carriage rests before a pass: the dwell, or longer when powder must be commanded
/// before the carriage leaves (a lead-in wait, off the part).
#[must_use]
pub fn rest_before(pass: &Pass, motion: &LegMotion, lead_on: Time, dwell: Time) -> Time {
    let earliest = pass.powder.first().map_or(Time::ZERO, |window| {
        if window.on == pass.from { Time::ZERO } else { lead_on - motion.time_at(window.on) }
    });
    dwell.max(earliest)
}

/// Where the drive must stand for the torch to stand at a place: moving toward the chuck the
/// torch lags by the lost motion. The datum and taught points are taken moving toward the tail.
#[must_use]
pub fn drive_position(torch: Length, direction: Direction, backlash: Length) -> Length {
    match direction {
        Direction::TowardTail => torch,
        Direction::TowardChuck => torch - backlash,
    }
}

/// One stretch of time with the powder coil on, counted from the start of the step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CoilInterval {
    /// When the coil goes on.
    pub on: Time,
    /// When it goes off.
    pub off: Time,
}

/// When the passes of a step run and the coil switches, as planned without waits for
/// temperature.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Timeline {
    /// Start and end of each pass's motion.
    pub passes: Vec<(Time, Time)>,
    /// The coil's intervals; those that touch are merged.
    pub coil: Vec<CoilInterval>,
    /// How long powder leaves the nozzle, all passes together, turns with powder on and whatever
    /// else keeps the coil on between windows included. As long as it leaves the nozzle it leaves
    /// the hopper: this, and not the coil's time, is what the feeder gives.
    pub arriving: Time,
    /// Turns with powder on.
    pub through: usize,
}

impl Timeline {
    /// Of a step under a ramp.
    #[must_use]
    pub fn of(step: &SprayStep, ramp: Acceleration) -> Self {
        let mut now = Time::ZERO;
        let mut line =
            Self { passes: Vec::new(), coil: Vec::new(), arriving: Time::ZERO, through: 0 };
        let mut previous: Option<&Pass> = None;
        for pass in &step.passes {
            let motion = LegMotion::new(pass, ramp);
            let dwell = if previous.is_some() { step.dwell } else { Time::ZERO };
            let rest = rest_before(pass, &motion, step.lead_on, dwell);
            let turn = previous.map_or(TurnPowder::Off, |before| turn_powder(before, pass));
            if turn == TurnPowder::Through {
                line.through += 1;
            }
            now += rest;
            for (index, window) in pass.powder.iter().enumerate() {
                let (on, off) = (motion.time_at(window.on), motion.time_at(window.off));
                let next =
                    CoilInterval { on: now + on - step.lead_on, off: now + off - step.lead_off };
                let joined = index == 0 && turn == TurnPowder::Through;
                line.add(next, joined);
            }
            line.passes.push((now, now + motion.total()));
            now += motion.total();
            previous = Some(pass);
        }
        line.arriving = line.leaving(step.lead_on, step.lead_off);
        line
    }

    /// From the first pass's start of motion to the last one's end, first rest included.
    #[must_use]
    pub fn total(&self) -> Time {
        self.passes.last().map_or(Time::ZERO, |(_, end)| *end)
    }

    /// The coil's intervals as they come out, late by their leads; those that meet there are one.
    fn leaving(&self, lead_on: Time, lead_off: Time) -> Time {
        let (mut sum, mut until) = (Time::ZERO, None::<Time>);
        for coil in &self.coil {
            let (on, off) = (coil.on + lead_on, coil.off + lead_off);
            let from = until.map_or(on, |until| on.max(until));
            sum += (off - from).max(Time::ZERO);
            until = Some(until.map_or(off, |until| until.max(off)));
        }
        sum
    }

    fn add(&mut self, next: CoilInterval, joined: bool) {
        match self.coil.last_mut() {
            Some(last) if joined || next.on <= last.off => last.off = last.off.max(next.off),
            _ => self.coil.push(next),
        }
    }
}

/// Where one edge of the powder lies and where it is commanded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgePlaces {
    /// Where powder begins or ceases to arrive: the torch.
    pub arrives: Length,
    /// Where the torch is when the coil must change.
    pub commanded: Length,
    /// Where the drive says it is then: the lost motion of a reversed carriage taken up.
    pub drive: Length,
}

/// The edges of one pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PassEdges {
    /// Which pass, counted from 1.
    pub pass: usize,
    /// Which way it goes.
    pub direction: Direction,
    /// The first ON; `None` when powder is on already.
    pub on: Option<EdgePlaces>,
    /// The last OFF; `None` when powder stays on through the turn.
    pub off: Option<EdgePlaces>,
}

/// The edges of every pass of a step.
#[must_use]
pub fn edges(step: &SprayStep, ramp: Acceleration, backlash: Length) -> Vec<PassEdges> {
    let after = step.passes.iter().skip(1).map(Some).chain(core::iter::once(None));
    let mut comes_on = TurnPowder::Off;
    let mut all = Vec::new();
    for ((index, pass), next) in step.passes.iter().enumerate().zip(after) {
        let motion = LegMotion::new(pass, ramp);
        let goes_on = next.map_or(TurnPowder::Off, |next| turn_powder(pass, next));
        let places = |arrives: Length, lead: Time| {
            let commanded = motion.position_at(motion.time_at(arrives) - lead);
            let drive = drive_position(commanded, motion.direction(), backlash);
            EdgePlaces { arrives, commanded, drive }
        };
        let on = pass.powder.first().filter(|_| comes_on == TurnPowder::Off);
        let off = pass.powder.last().filter(|_| goes_on == TurnPowder::Off);
        all.push(PassEdges {
            pass: index + 1,
            direction: motion.direction(),
            on: on.map(|window| places(window.on, step.lead_on)),
            off: off.map(|window| places(window.off, step.lead_off)),
        });
        comes_on = goes_on;
    }
    all
}
