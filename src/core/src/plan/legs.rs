//! The legs of a zone: where each pass starts and ends, and where powder is wanted on it.

use super::motion::LegMotion;
use super::powder::TurnPowder;
use crate::program::{FeedPoint, Pass, PowderWindow};
use crate::quantity::{Acceleration, Length, Range, Speed, Time};
use crate::recipe::End;
use crate::request::Trim;

/// What the legs of a zone are made from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LegPlan {
    /// Where powder is wanted.
    pub span: Range<Length>,
    /// The feed, by rising position; never empty.
    pub feed: Vec<FeedPoint>,
    /// Ramp of the carriage.
    pub ramp: Acceleration,
    /// From the coil's on until powder arrives.
    pub lead_on: Time,
    /// From the coil's off until no more powder arrives.
    pub lead_off: Time,
    /// Rest at each turn.
    pub dwell: Time,
    /// Where the torch may travel.
    pub travel: Range<Length>,
    /// Lost motion of the carriage at a turn.
    pub backlash: Length,
    /// Whether switching at each turn would blur the edges more than the plume does.
    pub switching: TurnPowder,
    /// Which end is first.
    pub starts: End,
    /// How many.
    pub passes: u32,
}

/// Turning points that do not fit into the travel even without a lead.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct NoRoom {
    /// Which end.
    pub end: End,
    /// Where the carriage would have to turn at the least.
    pub needed: Length,
    /// Where its travel ends.
    pub bound: Length,
}

impl LegPlan {
    /// Feed at an end of the span.
    fn feed_at(&self, end: End) -> Speed {
        let point = match end {
            End::ChuckSide => self.feed.first(),
            End::TailSide => self.feed.last(),
        };
        point.map_or(Speed::ZERO, |point| point.feed)
    }

    /// Way from rest to the feed of an end, and the lost motion that is taken up first.
    fn shortest_run_up(&self, end: End) -> Length {
        let v = self.feed_at(end).mm_per_s();
        Length::from_mm(v * v / (2.0 * self.ramp.mm_per_s2())) + self.backlash
    }

    /// The way of the lead at full feed, on top of the ramp.
    fn lead_way(&self, end: End) -> Length {
        Length::from_mm(self.feed_at(end).mm_per_s() * self.lead_on.s())
    }

    /// The turning point of an end, with room for this much more than the ramp where the travel
    /// has it.
    fn turning_point(&self, end: End, more: Length) -> Result<Length, NoRoom> {
        let least = self.shortest_run_up(end);
        let (needed, wished, bound) = match end {
            End::ChuckSide => {
                (self.span.low - least, self.span.low - least - more, self.travel.low)
            }
            End::TailSide => {
                (self.span.high + least, self.span.high + least + more, self.travel.high)
            }
        };
        let (fits, clipped) = match end {
            End::ChuckSide => (needed >= bound, wished.max(bound)),
            End::TailSide => (needed <= bound, wished.min(bound)),
        };
        if fits { Ok(clipped) } else { Err(NoRoom { end, needed, bound }) }
    }

    /// The passes.
    ///
    /// # Errors
    /// [`NoRoom`] when the powder span and the ramps do not fit into the travel.
    pub(crate) fn passes(&self) -> Result<Vec<Pass>, NoRoom> {
        let separate = self.alternate(&self.turning_points(TurnPowder::Off)?);
        if self.passes < 2 {
            return Ok(separate);
        }
        if self.switching == TurnPowder::Through || self.commands_meet(&separate) {
            return Ok(through_turns(self.alternate(&self.turning_points(TurnPowder::Through)?)));
        }
        Ok(separate)
    }

    /// Where the passes turn. Powder that stays on needs the room of its lead before the first
    /// pass alone; at the turns it would only land beside the zone.
    fn turning_points(&self, powder: TurnPowder) -> Result<TurningPoints, NoRoom> {
        let (first, other) = match self.starts {
            End::ChuckSide => (End::ChuckSide, End::TailSide),
            End::TailSide => (End::TailSide, End::ChuckSide),
        };
        let at_turns = |end| match powder {
            TurnPowder::Off => self.lead_way(end),
            TurnPowder::Through => Length::ZERO,
        };
        Ok(TurningPoints {
            start: self.turning_point(first, self.lead_way(first))?,
            near: self.turning_point(first, at_turns(first))?,
            far: self.turning_point(other, at_turns(other))?,
        })
    }

    fn alternate(&self, points: &TurningPoints) -> Vec<Pass> {
        let (first_edge, other_edge) = match self.starts {
            End::ChuckSide => (self.span.low, self.span.high),
            End::TailSide => (self.span.high, self.span.low),
        };
        (0..self.passes)
            .map(|index| {
                let (from, to, on, off) = if index == 0 {
                    (points.start, points.far, first_edge, other_edge)
                } else if index % 2 == 0 {
                    (points.near, points.far, first_edge, other_edge)
                } else {
                    (points.far, points.near, other_edge, first_edge)
                };
                Pass {
                    from,
                    to,
                    feed: self.feed.clone(),
                    powder: vec![PowderWindow { on, off }],
                    trim: Trim::NONE,
                }
            })
            .collect()
    }

    /// Whether the next ON would be due no later than the last OFF at some turn.
    fn commands_meet(&self, passes: &[Pass]) -> bool {
        let (dwell, lead_on, lead_off) = (self.dwell, self.lead_on, self.lead_off);
        passes.iter().zip(passes.iter().skip(1)).any(|(before, after)| {
            time_off(before, after, dwell, self.ramp)
                .is_some_and(|without| without + lead_off <= lead_on)
        })
    }
}

/// From where powder ceases to be wanted on a pass to where it is wanted again on the next; `None`
/// where one of them has no powder.
pub(crate) fn time_off(
    before: &Pass,
    after: &Pass,
    dwell: Time,
    ramp: Acceleration,
) -> Option<Time> {
    let (last, next) = (before.powder.last()?, after.powder.first()?);
    let out = LegMotion::new(before, ramp);
    let back = LegMotion::new(after, ramp);
    Some(out.total() - out.time_at(last.off) + dwell + back.time_at(next.on))
}

/// Where the passes of a zone start and turn.
#[derive(Debug, Clone, Copy)]
struct TurningPoints {
    start: Length,
    near: Length,
    far: Length,
}

/// The same passes with powder on through every turn.
fn through_turns(passes: Vec<Pass>) -> Vec<Pass> {
    let count = passes.len();
    passes
        .into_iter()
        .enumerate()
        .map(|(index, mut pass)| {
            if index > 0
                && let Some(window) = pass.powder.first_mut()
            {
                window.on = pass.from;
            }
            if index + 1 < count
                && let Some(window) = pass.powder.last_mut()
            {
                window.off = pass.to;
            }
            pass
        })
        .collect()
}
