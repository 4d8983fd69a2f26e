//! What is known of a torch with a powder after everything that was measured.

use serde::Serialize;

use super::basis::{Finish, RunBasis};
use super::coats::CoatsMeasured;
use super::evidence::{DiameterReading, Evidence, PartMeasured, Witness};
use super::figures::{COUNT, Figure, Figures, Pair};
use super::fit::{Doubt, Fit, Group, fit};
use super::response::Landing;
use super::rows::{build_weights, cold, group, is_of_one_powder, readings_of};
use crate::coat::deposit::{area_of, build_of};
use crate::quantity::{Fraction, Length};

/// The tables of a fit are made anew around a footprint that moved further, as a logarithm.
const TABLE_HOLDS: f64 = 0.05;
/// How often at the most.
const MOST_TABLES: usize = 4;

/// A figure that is not known better than this share of the catalogue's uncertainty was not
/// learned, and stays the catalogue's (arbitrary).
const LEARNED_WITHIN: f64 = 0.8;

/// Whether something was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// It was.
    Yes,
    /// It was not.
    No,
}

impl Known {
    fn of(known: bool) -> Self {
        if known { Self::Yes } else { Self::No }
    }
}

/// What is known of a torch with a powder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Knowledge {
    /// What the catalogue says.
    pub catalogue: Figures,
    /// Logarithms of the figures over the catalogue's, most likely.
    mean: [f64; COUNT],
    /// Their covariance.
    covariance: [[f64; COUNT]; COUNT],
    /// Whether a part was weighed.
    pub weighed: Known,
    /// Whether the powder was weighed, caught or out of the hopper, well enough to teach its rate.
    pub powder_weighed: Known,
    /// Whether a coat was measured: a part or a stripe.
    pub coat_measured: Known,
    /// On what.
    pub coats: CoatsMeasured,
    /// What the diameters were of; `None` without any.
    pub finish: Option<Finish>,
    /// Where it comes from, in the order it was measured.
    pub sources: Vec<String>,
    /// The measurements that it comes from, by their numbers in the records.
    pub measurements: Vec<i64>,
    /// Readings that the others contradict, in words.
    pub doubts: Vec<String>,
}

/// What the evidence teaches of a pair whose catalogue says `figures`.
#[must_use]
pub fn learn(pair: &Pair, figures: &Figures, evidence: &[Evidence<'_>]) -> Knowledge {
    let catalogued = figures.footprint.mm() * 1e-3;
    let mut near = catalogued;
    let mut tries = 0;
    loop {
        let (sources, groups) = groups(pair, figures, evidence, near);
        let found = fit(&groups, catalogued);
        let moved = catalogued * exponential(found.mean, Figure::Footprint);
        tries += 1;
        if tries >= MOST_TABLES || (moved / near).ln().abs() <= TABLE_HOLDS {
            return Knowledge::of(pair, figures, evidence, (&found, &sources));
        }
        near = moved;
    }
}

/// Where the rows of a group come from.
struct Origins<'a> {
    source: &'a str,
    /// The measurement of each row, by its number.
    numbers: Vec<i64>,
}

/// One group for each piece of evidence; what was measured of one run twice, as sprayed and
/// fused, shares its luck.
fn groups<'a>(
    pair: &Pair,
    figures: &Figures,
    evidence: &[Evidence<'a>],
    near: f64,
) -> (Vec<Origins<'a>>, Vec<Group>) {
    let mut groups: Vec<(Origins<'_>, Group)> = Vec::new();
    for piece in evidence {
        let next = group(&piece.witness, pair, figures, near);
        let numbers = next.rows.iter().map(|_| piece.number);
        let same = groups.iter_mut().find(|(origins, group)| {
            origins.source == piece.source && group.centre.is_none() && next.centre.is_none()
        });
        match same {
            Some((origins, group)) => {
                origins.numbers.extend(numbers);
                group.rows.extend(next.rows);
            }
            None => {
                let origins = Origins { source: piece.source, numbers: numbers.collect() };
                groups.push((origins, next));
            }
        }
    }
    groups.into_iter().unzip()
}

fn doubt_in_words(doubt: &Doubt, origins: &Origins<'_>) -> String {
    let at = doubt.at.map_or_else(String::new, |at| format!(" at {at}"));
    let source = origins.source;
    let number = origins.numbers.get(doubt.row).map_or_else(String::new, i64::to_string);
    let more = if doubt.off > 0.0 { "more" } else { "less" };
    format!(
        "a reading{at} of {source} shows {more} than the others allow, by {:.1} of its standard \
         deviations: withdraw measurement {number} and measure again: `evenpass records withdraw \
         {number} --person NAME --reason WHY`",
        doubt.off.abs()
    )
}

fn exponential(mean: [f64; COUNT], figure: Figure) -> f64 {
    mean.get(figure as usize).map_or(1.0, |logarithm| logarithm.exp())
}

impl Knowledge {
    fn of(
        pair: &Pair,
        figures: &Figures,
        evidence: &[Evidence<'_>],
        (found, grouped): (&Fit, &[Origins<'_>]),
    ) -> Self {
        let any = |holds: &dyn Fn(&Witness<'_>) -> bool| {
            Known::of(evidence.iter().any(|piece| holds(&piece.witness)))
        };
        let weighed = any(&|witness| match witness {
            Witness::Part(part, basis) => part.weights.is_some() && is_of_one_powder(basis),
            Witness::Feeder(_) | Witness::Stripe(_) => false,
        });
        let powder_weighed = any(&|witness| match witness {
            Witness::Part(part, basis) => part.fed.is_some() && is_of_one_powder(basis),
            Witness::Feeder(_) => true,
            Witness::Stripe(_) => false,
        });
        let coats = CoatsMeasured::of(evidence, pair);
        // The newest says what the build factor is of.
        let finish = evidence.iter().rev().find_map(|piece| match piece.witness {
            Witness::Part(part, basis) => {
                readings_of(part, basis, pair).next().map(|_| part.finish)
            }
            Witness::Stripe(_) => Some(Finish::AsSprayed),
            Witness::Feeder(_) => None,
        });
        let mut sources: Vec<String> =
            evidence.iter().map(|piece| piece.source.to_owned()).collect();
        sources.dedup();
        let mut knowledge = Self {
            catalogue: *figures,
            mean: found.mean,
            covariance: found.covariance,
            weighed,
            powder_weighed,
            coat_measured: Known::of(coats.any()),
            coats,
            finish,
            sources,
            measurements: evidence.iter().map(|piece| piece.number).collect(),
            doubts: found
                .doubts
                .iter()
                .filter_map(|doubt| Some(doubt_in_words(doubt, grouped.get(doubt.group)?)))
                .collect(),
        };
        if !knowledge.has_learned(Figure::PowderRate) {
            knowledge.powder_weighed = Known::No;
        }
        knowledge
    }

    /// Whether a figure is known clearly better than from the catalogue alone.
    fn has_learned(&self, figure: Figure) -> bool {
        self.within(figure) < LEARNED_WITHIN * figure.catalogue_uncertainty()
    }

    /// Whether anything was measured.
    #[must_use]
    pub fn is_learned(&self) -> bool {
        !self.sources.is_empty()
    }

    /// The most likely value of each figure.
    #[must_use]
    pub fn most_likely(&self) -> Figures {
        Figure::ALL.iter().fold(self.catalogue, |figures, figure| {
            figures.times(*figure, exponential(self.mean, *figure))
        })
    }

    /// One standard deviation of a figure, as a share of it.
    #[must_use]
    pub fn within(&self, figure: Figure) -> f64 {
        let mut weights = [0.0; COUNT];
        if let Some(weight) = weights.get_mut(figure as usize) {
            *weight = 1.0;
        }
        self.within_of(weights)
    }

    /// Build factor, efficiency times rate over density, over the catalogue's.
    #[must_use]
    pub fn build_factor(&self, finish: Finish) -> f64 {
        let weights = build_weights(finish);
        weights.iter().zip(&self.mean).map(|(weight, mean)| weight * mean).sum::<f64>().exp()
    }

    /// One standard deviation of the build factor, as a share of it.
    #[must_use]
    pub fn build_factor_within(&self, finish: Finish) -> f64 {
        self.within_of(build_weights(finish))
    }

    /// The figures for a plan. What nobody weighed cannot be told apart: the build factor is
    /// then taken up by the efficiency, and the densities stay the catalogue's.
    #[must_use]
    pub fn for_the_plan(&self) -> Figures {
        let likely = self.most_likely();
        let learned = |from: Figures, figure: Figure| {
            let known = self.within(figure) < LEARNED_WITHIN * figure.catalogue_uncertainty();
            let change =
                if known { 1.0 + likely.change_from(&self.catalogue, figure) } else { 1.0 };
            from.times(figure, change)
        };
        let mut figures = learned(self.catalogue, Figure::Footprint);
        if self.powder_weighed == Known::Yes {
            figures.powder_rate = likely.powder_rate;
        }
        match (self.weighed, self.coat_measured) {
            (Known::Yes, _) => {
                figures = learned(figures, Figure::DensityAsSprayed);
                figures = learned(figures, Figure::DensityFused);
                let product = likely.efficiency.ratio() * likely.powder_rate.ratio();
                figures.efficiency = Fraction::from_ratio(product / figures.powder_rate.ratio());
            }
            (Known::No, Known::Yes) => {
                let factor = self.build_factor(self.finish.unwrap_or(Finish::AsSprayed));
                let rest = factor / figures.powder_rate.ratio();
                figures = figures.times(Figure::Efficiency, rest);
            }
            (Known::No, Known::No) => {}
        }
        figures
    }

    /// `weights C weights`, rooted.
    pub(super) fn within_of(&self, weights: [f64; COUNT]) -> f64 {
        self.shares_of(weights).iter().sum::<f64>().max(0.0).sqrt()
    }

    /// What each figure has in the variance of a product: `w_i (C w)_i`. They sum up to it.
    pub(super) fn shares_of(&self, weights: [f64; COUNT]) -> [f64; COUNT] {
        let mut shares = [0.0; COUNT];
        for ((share, row), weight) in shares.iter_mut().zip(&self.covariance).zip(&weights) {
            let along: f64 = row.iter().zip(&weights).map(|(entry, other)| entry * other).sum();
            *share = weight * along;
        }
        shares
    }
}

impl RunBasis {
    /// The diameter expected at a place, cold; `None` off the part.
    #[must_use]
    pub fn diameter_at(&self, at: Length, figures: &Figures, finish: Finish) -> Option<Length> {
        let density = match finish {
            Finish::AsSprayed => figures.density_as_sprayed,
            Finish::Fused => figures.density_fused,
        };
        let mut landing = Landing::of(self, figures.footprint.mm() * 1e-3)?;
        let landed = landing.at(at.mm() * 1e-3);
        let kept = landed * figures.efficiency.ratio() * figures.powder_rate.ratio();
        // g/mm over g/mm3: mm2.
        let area = kept / (density.g_per_cm3() * 1e-3);
        let before = self.part.diameter_at(at);
        Some(before + build_of(before, area) * 2.0)
    }
    /// Cross-section of coat that a diameter shows over the one that these figures make, 1 when
    /// they are right; `None` off the coat.
    #[must_use]
    pub fn build_ratio(
        &self,
        part: &PartMeasured,
        reading: &DiameterReading,
        figures: &Figures,
    ) -> Option<f64> {
        let drawn = self.part.diameter_at(reading.at);
        let before = reading.before.unwrap_or(drawn);
        let area = |before: Length, after: Length| area_of(before, (after - before) / 2.0);
        let expected = area(drawn, self.diameter_at(reading.at, figures, part.finish)?);
        let found = area(before, cold(part, self, reading.found));
        (expected > 0.0).then(|| found / expected)
    }

    /// Powder that lands on the part with this footprint, as a share of what left the nozzle, and
    /// so never more than all of it; `None` when nothing did.
    #[must_use]
    pub fn share_that_lands(&self, footprint: Length) -> Option<Fraction> {
        let landed = Landing::of(self, footprint.mm() * 1e-3)?.on_all();
        let fed = self.set_mass();
        // Sums over slices of the part are 1e-8 off.
        (fed > 0.0).then(|| Fraction::from_ratio((landed / fed).min(1.0)))
    }
}
