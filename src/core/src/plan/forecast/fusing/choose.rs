//! Choosing the bands of a zone: tried on the part in the model, as hot as it is by then.

use super::super::course::Course;
use super::oscillation::{called_after, nearer, oscillate};
use crate::model::Source;
use crate::plan::fuse::Fused;
use crate::program::{FuseBand, FuseStep};
use crate::quantity::{Length, Speed, Temperature, Time};

/// How often all turning points are tried again along one zone: a plan is made while somebody
/// waits. Most zones need two; arbitrary.
const SEARCHES: usize = 8;
/// A flame that heats the coldest place by less than this (K) in this time never gets it wet; arbitrary.
const PATIENCE: Time = Time::from_s(60.0);
const GETS_NO_HOTTER: f64 = 2.0;
/// A zone is given up after so many bands.
const MOST_BANDS: usize = 1000;

/// What a way of fusing is good for: wet all along or not, how far too hot the hottest place gets,
/// how long it takes. The less the better.
type Rank = (bool, f64, f64);

/// What a choice is made from.
pub(super) struct Wanted<'a> {
    pub fused: Fused,
    pub step: &'a FuseStep,
    pub flame: &'a Source,
    /// Speed on the way to the first band.
    pub positioning: Speed,
}

/// A band that was tried.
struct Tried {
    band: FuseBand,
    /// Highest temperature of the part while it was heated.
    hottest: Temperature,
    takes: Time,
    /// Whether it got wet all along.
    wet: bool,
    /// Whether it never would: the flame is too weak.
    hopeless: bool,
    /// The part after it.
    course: Course,
}

/// A zone that was tried.
struct Way {
    bands: Vec<FuseBand>,
    hottest: Temperature,
    takes: Time,
    wet: bool,
}

impl Wanted<'_> {
    /// The hottest that any place may get: half way from the window to the ceiling, so that a
    /// person who hesitates does not take it above that.
    fn hot_enough(&self) -> Temperature {
        let (high, ceiling) = (self.step.window.high, self.step.ceiling);
        high + (ceiling - high) / 2.0
    }

    fn rank(&self, wet: bool, hottest: Temperature, takes: Time) -> Rank {
        (!wet, hottest.max(self.hot_enough()).celsius(), takes.s())
    }
}

/// The bands of the zone in the order they are fused: each wet all along before any place of the
/// part is too hot, as soon as that can be. Where it cannot, as little too hot as can be.
pub(super) fn bands(wanted: &Wanted<'_>, course: &Course) -> Vec<FuseBand> {
    let mut best: Option<(Rank, Way)> = None;
    for length in wanted.fused.lengths(Length::ZERO) {
        let bound = best.as_ref().map(|(rank, _)| *rank);
        let way = along(wanted, length, bound, course);
        let rank = wanted.rank(way.wet, way.hottest, way.takes);
        if bound.is_none_or(|bound| rank < bound) {
            best = Some((rank, way));
        }
    }
    best.map(|(_, best)| best.bands).unwrap_or_default()
}

/// The whole zone in bands of one length, or as much of it as it takes to be worse than the bound.
fn along(wanted: &Wanted<'_>, length: Length, bound: Option<Rank>, course: &Course) -> Way {
    let whole = wanted.fused.edges.high - wanted.fused.edges.low;
    let mut way =
        Way { bands: Vec::new(), hottest: course.hottest(), takes: Time::ZERO, wet: true };
    let mut now = course.ahead();
    let mut kept: Option<usize> = None;
    let mut searches = 0;
    while way.bands.len() < MOST_BANDS {
        #[expect(clippy::cast_precision_loss, reason = "bands are counted in dozens")]
        let done = length * way.bands.len() as f64;
        let rank = wanted.rank(way.wet, way.hottest, way.takes);
        // What is left by rounding is no band.
        if done > whole - length / 2.0 || bound.is_some_and(|bound| rank > bound) {
            break;
        }
        let first = way.bands.is_empty();
        let all = wanted.fused.bands(done, length);
        let again = kept
            .and_then(|index| all.get(index))
            .map(|band| attempt(wanted, *band, first, None, &now));
        let high = wanted.hot_enough();
        let may_search = way.wet && searches < SEARCHES;
        let tried = match again {
            Some(tried) if (tried.wet && tried.hottest <= high) || !may_search => tried,
            _ if may_search => {
                searches += 1;
                let Some((index, tried)) = search(wanted, &all, first, &now) else { break };
                kept = Some(index);
                tried
            }
            _ => match all.first() {
                Some(band) => attempt(wanted, *band, first, None, &now),
                None => break,
            },
        };
        // What the first band's flame turns past the zone's end, no other's does.
        if way.bands.is_empty() {
            kept = None;
        }
        way.hottest = way.hottest.max(tried.hottest);
        way.takes += tried.takes;
        way.wet &= tried.wet;
        way.bands.push(tried.band);
        now = tried.course;
    }
    way
}

/// The best of several turning points.
fn search(
    wanted: &Wanted<'_>,
    all: &[FuseBand],
    first: bool,
    now: &Course,
) -> Option<(usize, Tried)> {
    let mut best: Option<(Rank, usize, Tried)> = None;
    for (index, band) in all.iter().enumerate() {
        let bound = best.as_ref().map(|(rank, ..)| *rank);
        let tried = attempt(wanted, *band, first, bound, now);
        let rank = wanted.rank(tried.wet, tried.hottest, tried.takes);
        // A flame that is too weak from here is so from a little farther on.
        let hopeless = tried.hopeless;
        if bound.is_none_or(|bound| rank < bound) {
            best = Some((rank, index, tried));
        }
        if hopeless {
            break;
        }
    }
    best.map(|(_, index, tried)| (index, tried))
}

/// One band with its turning points, on the part as it is; given up when it is worse than the bound.
fn attempt(
    wanted: &Wanted<'_>,
    band: FuseBand,
    first: bool,
    bound: Option<Rank>,
    now: &Course,
) -> Tried {
    let (step, flame) = (wanted.step, Some(wanted.flame));
    let mut course = now.ahead();
    let began = course.now();
    let mut hottest = course.hottest();
    let (to, speed) = if first {
        (nearer(band.travel, course.torch()), wanted.positioning)
    } else {
        (step.leading_end(&band), step.feed)
    };
    course.go(to, speed, flame, |course| {
        hottest = hottest.max(course.hottest());
        false
    });
    let low = step.window.low;
    let (mut wet, mut stuck) = (false, false);
    let (mut looked_at, mut coldest) = (course.now(), course.wetted(band.coat));
    let ended = oscillate(band.travel, step, &mut course, wanted.flame, |course| {
        hottest = hottest.max(course.hottest());
        wet = course.wetted(band.coat) >= low;
        let so_far = wanted.rank(false, hottest, course.now() - began);
        if course.now() - looked_at >= PATIENCE {
            stuck = course.wetted(band.coat).above(coldest).kelvin() < GETS_NO_HOTTER;
            (looked_at, coldest) = (course.now(), course.wetted(band.coat));
        }
        wet || stuck
            || bound.is_some_and(|(dry, hot, takes)| !dry && (so_far.1, so_far.2) > (hot, takes))
    });
    let called = course.now() + called_after(band.travel, step);
    if wet {
        oscillate(band.travel, step, &mut course, wanted.flame, |course| {
            hottest = hottest.max(course.hottest());
            course.now() >= called
        });
    }
    let hopeless = stuck || !ended;
    Tried { band, hottest, takes: course.now() - began, wet, hopeless, course }
}
