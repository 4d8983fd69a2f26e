//! What keeps a coat from being more even, and what would free it. Found by lifting one limit
//! after the other and solving again, so that each figure is one that was reached.

use super::problem::Problem;
use super::solve::{Even, Field};

/// A feed limit is lifted by this factor, which is as good as not there.
const LIFTED: f64 = 20.0;
/// Overrun in standard deviations with which an end is no longer felt: 2 % of the plume lie
/// beyond, which a feed makes good.
const ENOUGH_OVERRUN: f64 = 2.0;
/// Lifting a limit has to take away this share of the error, and this much of it, to be told.
const WORTH: (f64, f64) = (0.1, 5e-4);
/// A limit this near is touched.
const TOUCHED: f64 = 1.002;

/// One limit that binds: what it is, and what it would have to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limit {
    /// The feed may not be slower: a slower one, more passes, or more powder.
    SlowestFeed {
        /// As it is, m/s.
        is: f64,
        /// As it would have to be with as many passes, m/s.
        needed: f64,
    },
    /// The feed may not be faster: a faster one, fewer passes, or less powder.
    FastestFeed {
        /// As it is, m/s.
        is: f64,
        /// As it would have to be with as many passes, m/s.
        needed: f64,
    },
    /// The feed may not change faster: more acceleration, or a slower feed by fewer passes.
    Acceleration {
        /// As it is, m/s2.
        is: f64,
        /// As it would have to be with as many passes, m/s2.
        needed: f64,
    },
    /// The powder goes off too near to the zone's low end.
    OverrunLow {
        /// As it is, m.
        is: f64,
        /// As it would have to be, m.
        needed: f64,
    },
    /// The powder goes off too near to the zone's high end.
    OverrunHigh {
        /// As it is, m.
        is: f64,
        /// As it would have to be, m.
        needed: f64,
    },
    /// The outline itself: a step or a slope at this place that no feed evens out. A margin, or a
    /// softer outline.
    Outline {
        /// Place of the largest error, m.
        at: f64,
    },
}

/// Limits that together keep the coat uneven.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// They have to be lifted together where there are several.
    pub limits: Vec<Limit>,
    /// Worst error without them; that of the plan itself for the outline.
    pub without: f64,
}

impl core::fmt::Display for Limit {
    /// As a person says what to change: from what to what.
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::SlowestFeed { is, needed } => write!(
                f,
                "a slowest feed of {:.1} mm/s instead of {:.1} mm/s, or {:.1} times the passes",
                needed * 1e3,
                is * 1e3,
                is / needed
            ),
            Self::FastestFeed { is, needed } => write!(
                f,
                "a fastest feed of {:.1} mm/s instead of {:.1} mm/s, or {:.2} times the passes",
                needed * 1e3,
                is * 1e3,
                is / needed
            ),
            Self::Acceleration { is, needed } => write!(
                f,
                "a feed that may change by {:.0} mm/s2 instead of {:.0} mm/s2, or {:.2} times the \
                 passes",
                needed * 1e3,
                is * 1e3,
                (is / needed).sqrt()
            ),
            Self::OverrunLow { is, needed } => write!(
                f,
                "an overrun of {:.1} mm instead of {:.1} mm on the chuck side",
                needed * 1e3,
                is * 1e3
            ),
            Self::OverrunHigh { is, needed } => write!(
                f,
                "an overrun of {:.1} mm instead of {:.1} mm on the tail side",
                needed * 1e3,
                is * 1e3
            ),
            Self::Outline { at } => {
                write!(f, "an outline without the step or slope at {:.1} mm", at * 1e3)
            }
        }
    }
}

/// The kinds of limit that can be lifted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lift {
    Slowest,
    Fastest,
    Acceleration,
    Low,
    High,
}

impl Field<'_> {
    /// What keeps `even` from an error of `wanted` or less: the obstacle whose lifting helps most
    /// first. None where it is even enough.
    #[must_use]
    pub fn obstacles(&self, even: &Even, wanted: f64) -> Vec<Obstacle> {
        if even.worst <= wanted {
            return Vec::new();
        }
        let lifts = self.touched(even);
        let mut found: Vec<Obstacle> =
            lifts.iter().filter_map(|lift| self.without(even, &[*lift])).collect();
        // Two ends that are both too short hide each other.
        let both = [Lift::Low, Lift::High];
        let told = |o: &Obstacle| {
            let end = |l: &Limit| matches!(l, Limit::OverrunLow { .. } | Limit::OverrunHigh { .. });
            o.limits.iter().any(end)
        };
        if both.iter().all(|end| lifts.contains(end)) && !found.iter().any(told) {
            found.extend(self.without(even, &both));
        }
        if found.is_empty() && lifts.len() > 1 {
            found.extend(self.without(even, &lifts));
        }
        if found.is_empty() {
            let errors = self.errors(even);
            let worst = errors.into_iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            let limits = worst.map(|(at, _)| Limit::Outline { at }).into_iter().collect();
            found.push(Obstacle { limits, without: even.worst });
        }
        found.sort_by(|a, b| a.without.total_cmp(&b.without));
        found
    }

    /// The limits that the feed touches, and overruns that may be too short.
    fn touched(&self, even: &Even) -> Vec<Lift> {
        let problem = self.problem();
        let (slowest, fastest) = even.feed_range();
        let overrun = ENOUGH_OVERRUN * problem.plume.sigma_axial;
        let all = [
            (Lift::Slowest, slowest <= problem.feed.0 * TOUCHED),
            (Lift::Fastest, fastest >= problem.feed.1 / TOUCHED),
            // The rounds leave it a little below.
            (
                Lift::Acceleration,
                problem.acceleration.is_some_and(|a| even.acceleration() > 0.8 * a),
            ),
            (Lift::Low, problem.overrun.0 < overrun / TOUCHED),
            (Lift::High, problem.overrun.1 < overrun / TOUCHED),
        ];
        all.into_iter().filter(|(_, touched)| *touched).map(|(lift, _)| lift).collect()
    }

    /// The feed without some limits, where that is worth telling.
    fn without(&self, even: &Even, lifts: &[Lift]) -> Option<Obstacle> {
        let is = self.problem();
        let mut freed: Problem = is.clone();
        let overrun = ENOUGH_OVERRUN * is.plume.sigma_axial;
        for lift in lifts {
            match lift {
                Lift::Slowest => freed.feed.0 /= LIFTED,
                Lift::Fastest => freed.feed.1 *= LIFTED,
                Lift::Acceleration => freed.acceleration = None,
                Lift::Low => freed.overrun.0 = overrun,
                Lift::High => freed.overrun.1 = overrun,
            }
        }
        let better = Field::new(&freed).ok()?.solve(even.passes);
        let gain = even.worst - better.worst;
        if gain < (WORTH.0 * even.worst).max(WORTH.1) {
            return None;
        }
        let (slowest, fastest) = better.feed_range();
        // A limit that the better feed keeps as well was in nobody's way.
        let kept = |lift: &Lift| match lift {
            Lift::Slowest => slowest >= is.feed.0,
            Lift::Fastest => fastest <= is.feed.1,
            Lift::Acceleration => is.acceleration.is_some_and(|a| better.acceleration() <= a),
            Lift::Low | Lift::High => false,
        };
        if lifts.iter().all(kept) {
            return None;
        }
        let limits = lifts.iter().map(|lift| match lift {
            Lift::Slowest => Limit::SlowestFeed { is: is.feed.0, needed: slowest },
            Lift::Fastest => Limit::FastestFeed { is: is.feed.1, needed: fastest },
            Lift::Acceleration => Limit::Acceleration {
                is: is.acceleration.unwrap_or(f64::INFINITY),
                needed: better.acceleration(),
            },
            Lift::Low => Limit::OverrunLow { is: is.overrun.0, needed: overrun },
            Lift::High => Limit::OverrunHigh { is: is.overrun.1, needed: overrun },
        });
        Some(Obstacle { limits: limits.collect(), without: better.worst })
    }
}
