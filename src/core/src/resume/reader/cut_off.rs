//! The end of a journal: where the pass in hand was left by then, and what has come of the coat.

use super::super::course::{At, Bound, Course, Side, farther, nearer, sign};
use super::super::interruption::{
    CEASED_AFTER, Fused, Interruption, JOURNAL_EVERY, PassInHand, WHOLE, stretches,
};
use super::super::stood::Stood;
use super::{Reader, Seen};
use crate::image::Level;
use crate::moment::Moment;
use crate::plan::Direction;
use crate::program::{Pass, SprayStep, Step};
use crate::quantity::{Length, Time};
use crate::rig::Rig;
use crate::sequence::{Leaf, Phase};

/// What the torch does, as far as the pass in hand is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Going {
    /// It goes along it, or turns to it.
    Along,
    /// It comes from elsewhere to where powder is to begin.
    ToIt,
    /// It stands, or goes elsewhere.
    Nowhere,
}

/// Where the torch was last seen in a pass, and for how long it went on from there unseen.
#[derive(Debug, Clone, Copy)]
struct Went {
    place: Length,
    for_so_long: Time,
}

impl Reader {
    /// What is left of the job, where it was cut off; `stood` says where the carriage was found.
    pub(in crate::resume) fn end(mut self, rig: &Rig, stood: Option<Stood>) -> Interruption {
        let mut stood_elsewhere = Level::Off;
        let hand = self.left(rig, stood, &mut stood_elsewhere);
        let suspect = self.suspect.take().or_else(|| self.molten());
        let ceased = self.ceased.unwrap_or(self.last);
        for (step, done) in self.done.iter_mut().enumerate() {
            let planned = match self.program.steps.get(step) {
                Some(Step::Spray(spray)) => spray.passes.len(),
                _ => 0,
            };
            *done = (*done).min(planned);
        }
        let fused = self
            .fused
            .iter()
            .filter_map(|(step, wet)| match self.program.steps.get(*step) {
                Some(Step::Fuse(fuse)) => Some(Fused {
                    step: *step,
                    zone: fuse.zone.clone(),
                    wet: wet.clone(),
                    of: fuse.bands.len(),
                }),
                _ => None,
            })
            .collect();
        Interruption {
            stretches: stretches(&self.program, &self.coat, hand.as_ref()),
            program: self.program,
            leaf: self.leaf,
            hand,
            done: self.done,
            coat: self.coat,
            fused,
            torch_changed: self.torch_changed,
            suspect,
            lasted: ceased.since(self.began),
            over: self.last.since(ceased),
            stood_elsewhere,
            unclear: self.unclear,
        }
    }

    /// What a controller that died in a fusing, or while the part cooled from it, cannot have told:
    /// nobody kept the spindle turning.
    fn molten(&self) -> Option<String> {
        if self.leaf.phase() == Phase::Cooling {
            let (step, _) = self.fused.last()?;
            let Some(Step::Fuse(fuse)) = self.program.steps.get(*step) else { return None };
            return Some(format!(
                "it was cut off while it cooled from fusing {}, and its spindle may have stopped under \
                 a coat still soft, which sags, or a part still hot, which bends",
                fuse.zone
            ));
        }
        let alive = matches!(
            self.leaf.phase(),
            Phase::Fusing | Phase::Holding | Phase::Held | Phase::Restarting
        );
        let fuse = self.fuses().filter(|_| alive)?;
        Some(format!(
            "it was cut off while {} was being fused, and its spindle may have stopped under a molten \
             coat, which sags",
            fuse.zone
        ))
    }

    /// The next pass that is not done, if any zone has one.
    fn go_to_next(&mut self) -> Option<SprayStep> {
        for step in self.step..self.program.steps.len() {
            let Some(spray) = self.spray(step).cloned() else { continue };
            if step != self.step {
                (self.step, self.pass, self.pass_began, self.lost) = (step, 0, None, None);
            }
            if self.pass < spray.passes.len() {
                return Some(spray);
            }
            if let Some(done) = self.done.get_mut(step) {
                *done = usize::MAX;
            }
        }
        None
    }

    /// What the torch does by the last entry.
    fn going(&self) -> Going {
        match self.leaf {
            Leaf::Crossing | Leaf::SprayTurning => Going::Along,
            Leaf::Approaching => Going::ToIt,
            // Until the hose is empty it goes on along the pass; then it withdraws.
            Leaf::Holding | Leaf::Stopping if self.lost.is_some() && self.coat.is_arriving() => {
                Going::Along
            }
            _ => Going::Nowhere,
        }
    }

    /// Where the torch was last seen in the pass in hand; `None` when all that came of it is known.
    fn went(&self, going: Going, pass: &Pass, on: Length, course: &Course<'_>) -> Option<Went> {
        let from = |began: Moment, seen: Option<Seen>, until: Moment| {
            let seen = seen.filter(|seen| seen.at >= began);
            let since = seen.map_or(began, |seen| seen.at);
            Went {
                place: seen.map_or(pass.from, |seen| seen.place),
                for_so_long: Time::from_duration(until.since(since)),
            }
        };
        match going {
            // A pass may have begun since the last entry.
            Going::Along => Some(from(self.pass_began.unwrap_or(self.last), self.seen, self.last)),
            // It comes to the pass, or back to where powder was lost, without powder.
            Going::ToIt => {
                Some(Went { place: self.lost.unwrap_or(pass.from), for_so_long: Time::ZERO })
            }
            // Where powder was lost is told unless the drive was silent, or none had come.
            Going::Nowhere if self.lost.is_some() => None,
            Going::Nowhere => {
                let (left, began) = self.left.zip(self.pass_began)?;
                let went = (left.at >= began).then(|| from(began, left.seen, left.at))?;
                let last = At { pass: self.pass, place: went.place };
                let end = course.after(last, went.for_so_long);
                let came = end.pass > self.pass || farther(pass, end.place, on) != on;
                came.then_some(went)
            }
        }
    }

    /// Where the pass in hand was left, its coat counted up to there.
    fn left(
        &mut self,
        rig: &Rig,
        stood: Option<Stood>,
        elsewhere: &mut Level,
    ) -> Option<PassInHand> {
        let spray = self.go_to_next()?;
        let pass = spray.passes.get(self.pass)?;
        let on = pass.powder.first().map_or(pass.from, |window| window.on);
        let course = Course { step: &spray, ramp: self.program.ramp };
        let going = self.going();
        // No carriage stands beyond its travel, whatever it was doing.
        let travel = rig.axis.travel;
        let nowhere = stood.is_some_and(|stood| !travel.contains(stood.place()));
        *elsewhere = Level::from_bit(nowhere);
        let Some(went) = self.went(going, pass, on, &course) else {
            // At rest, or on the way to it: what was lost is known, and nothing has come since.
            let place = self.lost.map_or(on, |lost| farther(pass, lost, on));
            return self.settled(&spray, self.pass, (place, place, place), Level::Off);
        };
        let last = At { pass: self.pass, place: went.place };
        let found = stood.filter(|_| going != Going::Nowhere);
        let found = found.and_then(|stood| stood.ceased(&course, last, JOURNAL_EVERY, rig));
        // Where it comes to a pass it may stand anywhere.
        let unlike = going == Going::Along && stood.is_some() && found.is_none();
        *elsewhere = Level::from_bit(nowhere || unlike);
        let time = match (found, going) {
            (Some(ceased), _) => time_between(&course, last, ceased.at),
            (None, Going::Along) => (went.for_so_long + CEASED_AFTER).min(JOURNAL_EVERY),
            (None, Going::ToIt) => Time::ZERO,
            (None, Going::Nowhere) => went.for_so_long.min(JOURNAL_EVERY),
        };
        // A hold's hose empties until there.
        let empties = matches!(self.leaf, Leaf::Holding | Leaf::Stopping);
        let bound = self.lost.map(|place| Bound {
            pass: self.pass,
            place,
            side: if empties { Side::Before } else { Side::Beyond },
        });
        self.coat.select(self.step);
        let ceased = course.spray(&mut self.coat, last, time, bound);
        let end = course.after(last, JOURNAL_EVERY);
        let (place, in_hand) = (ceased.place, spray.passes.get(ceased.pass)?);
        let mut earliest = if ceased.pass == last.pass { last.place } else { in_hand.from };
        let mut latest = if end.pass == ceased.pass { end.place } else { in_hand.to };
        if let Some(found) = found.filter(|found| found.at.pass == ceased.pass) {
            let off = Length::from_mm(found.within.mm() * sign(in_hand));
            earliest = farther(in_hand, earliest, place - off);
            latest = nearer(in_hand, latest, place + off);
        }
        let mut place = place;
        if let Some(lost) = self.lost.filter(|_| ceased.pass == self.pass) {
            match bound.map(|bound| bound.side) {
                Some(Side::Before) => {
                    (place, latest) = (nearer(pass, place, lost), nearer(pass, latest, lost));
                }
                _ => {
                    place = farther(pass, place, lost);
                    latest = farther(pass, latest, place);
                }
            }
        }
        self.settled(&spray, ceased.pass, (earliest, place, latest), self.coil)
    }

    /// The pass in hand with its places; the next one where all of its powder has come.
    fn settled(
        &mut self,
        spray: &SprayStep,
        index: usize,
        (earliest, place, latest): (Length, Length, Length),
        powder: Level,
    ) -> Option<PassInHand> {
        let pass = spray.passes.get(index)?;
        let on = pass.powder.first().map_or(pass.from, |window| window.on);
        let off = pass.powder.last().map_or(pass.to, |window| window.off);
        if ((off - place) * sign(pass)).mm() <= WHOLE.mm() {
            (self.pass, self.pass_began, self.lost) = (index + 1, None, None);
            if let Some(done) = self.done.get_mut(self.step) {
                *done = (*done).max(index + 1);
            }
            let spray = self.go_to_next()?;
            let pass = spray.passes.get(self.pass)?;
            let on = pass.powder.first().map_or(pass.from, |window| window.on);
            return Some(self.told(&spray, self.pass, (on, on, on), Level::Off));
        }
        if let Some(done) = self.done.get_mut(self.step) {
            *done = (*done).max(index);
        }
        let place = farther(pass, place, on);
        Some(self.told(spray, index, (earliest, place, latest), powder))
    }

    fn told(
        &self,
        spray: &SprayStep,
        index: usize,
        (earliest, ceased, latest): (Length, Length, Length),
        powder: Level,
    ) -> PassInHand {
        let (from, to) = spray.passes.get(index).map_or_else(Default::default, |p| (p.from, p.to));
        PassInHand {
            step: self.step,
            zone: spray.zone.clone(),
            pass: index + 1,
            of: spray.passes.len(),
            direction: Direction::of(from, to),
            earliest,
            latest,
            ceased,
            powder,
        }
    }
}

/// How long the course takes from a place to one farther on, to a fiftieth of a second.
fn time_between(course: &Course<'_>, from: At, to: At) -> Time {
    let step = Time::from_s(0.02);
    let mut time = Time::ZERO;
    while time < JOURNAL_EVERY {
        let at = course.after(from, time);
        let Some(pass) = course.step.passes.get(to.pass) else { return time };
        let there = at.pass > to.pass
            || (at.pass == to.pass && ((at.place - to.place) * sign(pass)).mm() >= 0.0);
        if there {
            return time;
        }
        time += step;
    }
    JOURNAL_EVERY
}
