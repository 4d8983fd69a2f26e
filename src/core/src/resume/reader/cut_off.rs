//! The end of a journal: where the pass in hand was left by then, and what has come of the coat.

use super::super::course::{At, Bound, Course, Side, farther, nearer, sign};
use super::super::interruption::{
    CEASED_AFTER, Fused, Interruption, JOURNAL_EVERY, PassInHand, WHOLE, stretches,
};
use super::super::stood::Stood;
use super::Reader;
use crate::image::Level;
use crate::plan::Direction;
use crate::program::{SprayStep, Step};
use crate::quantity::{Length, Time};
use crate::rig::Rig;
use crate::sequence::Leaf;

impl Reader {
    /// What is left of the job, where it was cut off; `stood` says where the carriage was found.
    pub(in crate::resume) fn end(mut self, rig: &Rig, stood: Option<Stood>) -> Interruption {
        let mut stood_elsewhere = Level::Off;
        let hand = self.left(rig, stood, &mut stood_elsewhere);
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
            suspect: self.suspect,
            lasted: self.last.since(self.began),
            stood_elsewhere,
            unclear: self.unclear,
        }
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
        let withdraws = matches!(self.leaf, Leaf::Holding | Leaf::Stopping);
        let sprays = matches!(self.leaf, Leaf::Approaching | Leaf::Crossing | Leaf::SprayTurning);
        let moves = sprays || (withdraws && self.pass_began.is_some());
        if !moves {
            // At rest, or on the way to it: what was lost is known, and nothing has come since.
            let place = self.lost.map_or(on, |lost| farther(pass, lost, on));
            return self.settled(&spray, self.pass, (place, place, place), Level::Off);
        }
        // A pass may have begun since the last entry.
        let began = self.pass_began.unwrap_or(self.last);
        let here = self.seen.filter(|seen| seen.at >= began);
        let last = At { pass: self.pass, place: here.map_or(pass.from, |seen| seen.place) };
        let since = here.map_or(began, |seen| seen.at);
        let course = Course { step: &spray, ramp: self.program.ramp };
        let found = stood.and_then(|stood| stood.ceased(&course, last, JOURNAL_EVERY, rig));
        *elsewhere = Level::from_bit(stood.is_some() && found.is_none());
        let waited = Time::from_duration(self.last.since(since)) + CEASED_AFTER;
        let time = match found {
            Some(ceased) => time_between(&course, last, ceased.at),
            None => waited.min(JOURNAL_EVERY),
        };
        let bound = self.lost.map(|place| Bound {
            pass: self.pass,
            place,
            side: if withdraws { Side::Before } else { Side::Beyond },
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
