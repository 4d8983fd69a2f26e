//! The feed that coats a zone evenly to its ends, within what torch, pitch and carriage bear.

use super::passes::ZoneFeed;
use super::powder::TurnPowder;
use crate::coat::plume::WIDEST_PITCH_IN_PLUMES;
use crate::model::even::{
    End as ModelEnd, Even, Field, Obstacle, Problem, Turns, Unsolvable, stations,
};
use crate::model::{Plume, Shape};
use crate::plan::zone::ZoneContext;
use crate::program::FeedPoint;
use crate::quantity::{Density, Fraction, Length, Mass, MassFlow, Range, Speed, SpindleSpeed};
use crate::recipe::{End, LONGEST_OVERRUN_IN_PLUMES, Part, Zone};

/// A constant feed is kept where it errs no more than this: what a torch is known to is ten times
/// as much, and a carriage that keeps its feed is the simpler machine (arbitrary).
const CONSTANT_IS_EVEN: f64 = 0.005;
/// A coat less even than this is told with what keeps it so (arbitrary, a tenth of what a torch is
/// known to).
const WORTH_TELLING: f64 = 0.01;
/// Stations of a zone at the least, and how far apart they are in standard deviations of the plume.
const STATIONS: f64 = 50.0;
const STATIONS_PER_PLUME: f64 = 3.0;
/// A feed is told by as many points as keep it this near, as a share; a hundredth of what a torch
/// is known to.
const NEAR: f64 = 5e-4;
/// Overruns are tried in steps of this many standard deviations of the plume.
const OVERRUN_STEP: f64 = 0.25;
/// Share of the carriage's ramp that a changing feed may ask for: the rest is the drive's own.
const SHARE_OF_RAMP: f64 = 0.5;

/// What the feed of a zone is made from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted<'a> {
    pub context: &'a ZoneContext<'a>,
    pub zone: &'a Zone,
    /// Diameter that the reference feed is for.
    pub mean: Length,
    /// Density of the coat as sprayed.
    pub density: Density,
    /// Share of the powder that stays on a wide part.
    pub efficiency: Fraction,
    /// Thickness of the whole coat as sprayed, normal to the surface, on the bare part.
    pub thickness: Length,
    /// How far powder stays on past each edge.
    pub overrun: Length,
    /// Powder fed.
    pub rate: MassFlow,
    pub spindle: SpindleSpeed,
    pub passes: u32,
    /// The constant feed that would be right at the mean diameter.
    pub reference: Speed,
}

/// An even feed and how even it is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct EvenFeed {
    pub feed: ZoneFeed,
    /// Largest departure from the wanted thickness at the stations.
    pub worst: Fraction,
    /// The same with the best constant feed.
    pub constant_worst: Fraction,
    /// Powder that all passes spray between the ends of the overruns.
    pub powder: Mass,
    /// What keeps the coat from being more even, where that is worth telling.
    pub obstacles: Vec<Obstacle>,
}

impl Wanted<'_> {
    /// From where to where powder is wanted, by the edges that the plan takes.
    pub(crate) fn span(&self) -> Range<Length> {
        let place = |at| self.context.edges.place(self.context.recipe, at);
        Range {
            low: place(self.zone.from) - self.overrun,
            high: place(self.zone.to) + self.overrun,
        }
    }

    /// The feed along the zone and its overruns: `plain` where a constant feed is even enough.
    ///
    /// # Errors
    /// [`Unsolvable`] when a place of the zone is out of the torch's reach.
    pub(crate) fn feed(
        &self,
        plain: &ZoneFeed,
        powder: TurnPowder,
    ) -> Result<EvenFeed, Unsolvable> {
        let problem = self.problem(powder)?;
        let field = Field::new(&problem)?;
        let constant = field.constant(self.passes);
        if powder == TurnPowder::Off
            && constant.worst <= CONSTANT_IS_EVEN
            && plain.range.low == plain.range.high
        {
            let even = Fraction::from_ratio(constant.worst);
            return Ok(EvenFeed {
                feed: plain.clone(),
                worst: even,
                constant_worst: even,
                powder: self.mass(&constant),
                obstacles: Vec::new(),
            });
        }
        let even = field.solve(self.passes);
        let ramp = self.context.rig.axis.ramp.mm_per_s2() * 1e-3 * SHARE_OF_RAMP;
        if even.acceleration() <= ramp {
            return Ok(self.told(&field, &even));
        }
        let limited = Problem { acceleration: Some(ramp), ..problem.clone() };
        let field = Field::new(&limited)?;
        Ok(self.told(&field, &field.solve(self.passes)))
    }

    /// The same with the overrun that needs the least powder for a coat that is even enough, or the
    /// most even one where none is.
    ///
    /// # Errors
    /// As [`Wanted::feed`].
    pub(crate) fn with_chosen_overrun(self, plain: &ZoneFeed) -> Result<Self, Unsolvable> {
        let plume = self.context.torch.plume;
        let mut best: Option<(EvenFeed, Length)> = None;
        let mut steps = 0.0;
        while steps * OVERRUN_STEP <= LONGEST_OVERRUN_IN_PLUMES {
            let overrun = plume * (steps * OVERRUN_STEP);
            let even = Self { overrun, ..self }.feed(plain, TurnPowder::Off)?;
            let better = best.as_ref().is_none_or(|(best, _)| {
                let enough = |even: &EvenFeed| even.worst.ratio() <= WORTH_TELLING;
                match (enough(&even), enough(best)) {
                    (true, true) => even.powder < best.powder,
                    (false, false) => even.worst < best.worst,
                    (enough, _) => enough,
                }
            });
            if better {
                best = Some((even, overrun));
            }
            steps += 1.0;
        }
        let overrun = best.map_or(self.overrun, |(_, overrun)| overrun);
        Ok(Self { overrun, ..self })
    }

    fn problem(&self, powder: TurnPowder) -> Result<Problem, Unsolvable> {
        let (context, zone, torch) = (self.context, self.zone, self.context.torch);
        let recipe = context.recipe;
        let sigma = torch.plume.mm() * 1e-3;
        let edge = |cold| context.edges.place(recipe, cold).mm() * 1e-3;
        let span = (edge(zone.from), edge(zone.to));
        let shape =
            outline(&recipe.part, edge).ok_or(Unsolvable::Reversed("outline of the part"))?;
        let spacing = ((span.1 - span.0) / STATIONS).min(sigma / STATIONS_PER_PLUME);
        let overrun = self.overrun.mm() * 1e-3;
        let pitch = torch.plume.mm() * WIDEST_PITCH_IN_PLUMES * self.spindle.rpm() / 60.0;
        let fastest = torch.feed.high.mm_per_s().min(pitch).max(self.reference.mm_per_s()) * 1e-3;
        let slowest = torch.feed.low.min(self.reference).mm_per_s() * 1e-3;
        let turns = match powder {
            TurnPowder::Off => None,
            TurnPowder::Through => Some(Turns {
                dwell: recipe.spray.dwell.s(),
                acceleration: context.rig.axis.ramp.mm_per_s2() * 1e-3,
                home: match recipe.spray.starts {
                    End::ChuckSide => ModelEnd::Low,
                    End::TailSide => ModelEnd::High,
                },
            }),
        };
        Ok(Problem {
            stations: stations(&shape, span, spacing, sigma),
            plume: Plume {
                standoff: recipe.spray.standoff.mm() * 1e-3,
                reference_radius: self.mean.mm() * 0.5e-3,
                sigma_axial: sigma,
                sigma_lateral: sigma,
                growth: 0.0,
                exponent: 0.0,
                efficiency: self.efficiency.ratio(),
                density: self.density.g_per_cm3() * 1e3,
            },
            shape,
            rate: self.rate.g_per_min() * 1e-3 / 60.0,
            zone: span,
            overrun: (overrun, overrun),
            target: self.thickness.mm() * 1e-3,
            feed: (slowest, fastest),
            acceleration: None,
            turns,
        })
    }

    fn mass(&self, even: &Even) -> Mass {
        Mass::from_g(even.powder(self.rate.g_per_min() / 60.0))
    }

    fn told(&self, field: &Field<'_>, even: &Even) -> EvenFeed {
        let range = even.feed_range();
        let speed = |v: f64| Speed::from_mm_per_s(v * 1e3);
        let points = thinned(&even.feed())
            .into_iter()
            .map(|(z, v)| FeedPoint { at: Length::from_mm(z * 1e3), feed: speed(v) })
            .collect();
        EvenFeed {
            feed: ZoneFeed {
                points,
                range: Range { low: speed(range.0), high: speed(range.1) },
                mean: self.reference,
            },
            worst: Fraction::from_ratio(even.worst),
            constant_worst: Fraction::from_ratio(even.constant_worst),
            powder: self.mass(even),
            obstacles: field.obstacles(even, WORTH_TELLING),
        }
    }
}

/// The part's outline where it lies, in metres; `None` for one that has no length.
fn outline(part: &Part, place: impl Fn(Length) -> f64) -> Option<Shape> {
    let point =
        |point: &crate::recipe::ProfilePoint| (place(point.at), point.diameter.mm() * 0.5e-3);
    Shape::new(part.profile.iter().map(point).collect())
}

/// The fewest points, from the first on, between which a straight line keeps [`NEAR`] to all that
/// are left out; one where all are alike.
fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let Some((first, rest)) = points.split_first() else { return Vec::new() };
    if rest.iter().all(|(_, v)| (v / first.1 - 1.0).abs() <= NEAR) {
        return vec![*first];
    }
    let mut kept = vec![*first];
    let mut from = *first;
    let mut open: Vec<(f64, f64)> = Vec::new();
    for point in rest {
        let line = |z: f64| from.1 + (point.1 - from.1) * (z - from.0) / (point.0 - from.0);
        if open.iter().any(|(z, v)| (line(*z) / v - 1.0).abs() > NEAR)
            && let Some(last) = open.last().copied()
        {
            kept.push(last);
            from = last;
            open.clear();
        }
        open.push(*point);
    }
    kept.extend(open.last().copied());
    kept
}

#[cfg(test)]
mod tests {
    use super::{NEAR, thinned};

    #[test]
    fn a_feed_that_hardly_changes_is_one_point() {
        let flat: Vec<(f64, f64)> = (0..50).map(|i| (f64::from(i), 10.0)).collect();
        assert_eq!(thinned(&flat), [(0.0, 10.0)]);
        assert!(thinned(&[]).is_empty());
    }

    #[test]
    fn a_thinned_feed_keeps_near_every_point_that_is_left_out() {
        let bent: Vec<(f64, f64)> =
            (0..=100).map(|i| (f64::from(i), 10.0 + 3.0 * (f64::from(i) / 20.0).sin())).collect();
        let kept = thinned(&bent);
        assert!(kept.len() < 50, "{}", kept.len());
        assert_eq!((kept.first(), kept.last()), (bent.first(), bent.last()));
        for (z, v) in &bent {
            let after = kept.iter().position(|(at, _)| at >= z).expect("inside").max(1);
            let ((a, va), (b, vb)) = (kept[after - 1], kept[after]);
            let line = va + (vb - va) * (z - a) / (b - a);
            assert!((line / v - 1.0).abs() <= NEAR * 1.001, "{z}");
        }
    }
}
