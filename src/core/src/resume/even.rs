//! The feed of the passes that are left, from what lies on the part: where it has more than planned
//! they go faster, where it lacks they go slower.
//!
//! What the passes add at a place is linear in the time the torch spends at each other one. With a
//! factor on that time at places a standard deviation of the plume apart, linear between them, the
//! factors are found that come nearest to what is missing, by least squares with a little paid for
//! roughness; a narrower want than the plume cannot be filled by any feed. Each factor stays within
//! what torch and pitch bear.

use crate::coat::{Coat, LayerBasis};
use crate::plan::LegMotion;
use crate::program::{FeedPoint, Pass, SprayStep};
use crate::quantity::{Acceleration, Length, Speed};

/// Price of roughness and of any change at all, beside the square of a share of the coat (arbitrary:
/// a change of 3 % costs as much as a coat that is off by a thousandth).
const ROUGHNESS: f64 = 1e-3;
const CHANGE: f64 = 1e-5;
/// Rounds of the solver; it is exact to a thousandth long before.
const ROUNDS: usize = 400;
/// The passes are left as planned where no factor would be farther from one (arbitrary, a fifth of
/// what is known of a torch).
const WORTH_IT: f64 = 0.01;
/// The slowest and the fastest that a pass is made, as a share of the time planned.
const FACTORS: (f64, f64) = (0.5, 2.0);
/// Share of the carriage's ramp that a changing feed may ask for, as in the plan itself.
const SHARE_OF_RAMP: f64 = 0.5;
/// Way between two places where powder is counted, mm.
const PIECE: f64 = 0.5;

/// What the passes left of a zone are to do.
pub(super) struct Wanted<'a> {
    pub step: &'a SprayStep,
    pub layer: &'a LayerBasis,
    /// What the whole job was to leave.
    pub whole: &'a Coat,
    /// What there is, with all that comes but these passes.
    pub so_far: &'a Coat,
    pub ramp: Acceleration,
}

/// A place that is judged.
struct Station {
    /// Cross-section of coat that is missing, as a share of the whole.
    missing: f64,
    /// What a unit of each factor adds, alike.
    adds: Vec<f64>,
}

impl Wanted<'_> {
    /// The passes with their feed corrected, where that is worth it.
    pub(super) fn corrected(&self, passes: &[Pass]) -> Vec<Pass> {
        let knots = self.knots(passes);
        let stations = self.stations(passes, &knots);
        let limits = self.limits(passes, &knots);
        let mut factors = solve(&stations, &limits);
        for _ in 0..20 {
            if self.acceleration(passes, &knots, &factors) <= self.ramp.mm_per_s2() * SHARE_OF_RAMP
            {
                break;
            }
            factors.iter_mut().for_each(|factor| *factor = 1.0 + (*factor - 1.0) * 0.8);
        }
        if factors.iter().all(|factor| (factor - 1.0).abs() < WORTH_IT) {
            return passes.to_vec();
        }
        passes
            .iter()
            .map(|pass| Pass { feed: feed(pass, &knots, &factors), ..pass.clone() })
            .collect()
    }

    /// Places of the factors: over all windows, a standard deviation of the plume apart.
    fn knots(&self, passes: &[Pass]) -> Vec<f64> {
        let ends =
            || passes.iter().flat_map(|pass| &pass.powder).flat_map(|w| [w.on.mm(), w.off.mm()]);
        let (low, high) =
            (ends().fold(f64::INFINITY, f64::min), ends().fold(f64::NEG_INFINITY, f64::max));
        let spacing = self.layer.plume.mm().max(1.0);
        let mut knots = Vec::new();
        let mut at = low;
        while at < high + spacing && knots.len() < 400 {
            knots.push(at);
            at += spacing;
        }
        knots
    }

    fn stations(&self, passes: &[Pass], knots: &[f64]) -> Vec<Station> {
        let sprayed = self.sprayed(passes);
        let edges = self.step.edges;
        let part = self.whole.part();
        let apart = self.layer.plume / 3.0;
        let step_near = |at: Length| {
            part.profile
                .iter()
                .zip(part.profile.iter().skip(1))
                .any(|(a, b)| a.at == b.at && (a.at - at).abs() < self.layer.plume)
        };
        let mut stations = Vec::new();
        let mut at = edges.low + Length::from_mm(0.01);
        while at < edges.high && stations.len() < 2000 {
            let whole = self.whole.area_at(at);
            if !step_near(at) && whole > 0.0 {
                let diameter = part.diameter_at(at);
                let mut adds = vec![0.0; knots.len()];
                for (place, grams) in &sprayed {
                    let area =
                        grams * self.layer.area_of_a_gram(at, Length::from_mm(*place), diameter);
                    let (knot, share) = between(knots, *place);
                    if let Some(slot) = adds.get_mut(knot) {
                        *slot += area * (1.0 - share) / whole;
                    }
                    if let Some(slot) = adds.get_mut(knot + 1) {
                        *slot += area * share / whole;
                    }
                }
                let missing = (whole - self.so_far.area_at(at)) / whole;
                stations.push(Station { missing, adds });
            }
            at += apart;
        }
        stations
    }

    /// Powder of these passes as planned, g, by place.
    fn sprayed(&self, passes: &[Pass]) -> Vec<(f64, f64)> {
        let rate = self.layer.rate.g_per_min() / 60.0;
        let mut all: Vec<(f64, f64)> = Vec::new();
        for pass in passes {
            let motion = LegMotion::new(pass, self.ramp);
            for window in &pass.powder {
                let way = window.off - window.on;
                let pieces = (way.abs().mm() / PIECE).ceil().max(1.0);
                let mut done = 0.0;
                while done < pieces {
                    let from = window.on + way * (done / pieces);
                    let to = window.on + way * ((done + 1.0) / pieces);
                    let time = (motion.time_at(to) - motion.time_at(from)).s();
                    all.push((((from + to) / 2.0).mm(), rate * time));
                    done += 1.0;
                }
            }
        }
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut merged: Vec<(f64, f64)> = Vec::new();
        for (place, grams) in all {
            match merged.last_mut().filter(|last| place - last.0 < PIECE) {
                Some(last) => {
                    let sum = last.1 + grams;
                    last.0 =
                        if sum > 0.0 { (last.0 * last.1 + place * grams) / sum } else { place };
                    last.1 = sum;
                }
                None => merged.push((place, grams)),
            }
        }
        merged
    }

    /// Within what each factor stays.
    fn limits(&self, passes: &[Pass], knots: &[f64]) -> Vec<(f64, f64)> {
        let bounds = &self.step.bounds;
        let (slowest, fastest) =
            (bounds.feed.low.mm_per_s(), bounds.feed.high.min(bounds.smooth_up_to).mm_per_s());
        knots
            .iter()
            .map(|knot| {
                let feeds = || passes.iter().map(|pass| nominal(pass, *knot));
                let (low, high) =
                    (feeds().fold(f64::INFINITY, f64::min), feeds().fold(0.0, f64::max));
                let least = (high / fastest).clamp(FACTORS.0, 1.0);
                let most = (low / slowest).clamp(1.0, FACTORS.1);
                (least, most)
            })
            .collect()
    }

    /// The most that the carriage is asked for while its feed changes, mm/s2.
    fn acceleration(&self, passes: &[Pass], knots: &[f64], factors: &[f64]) -> f64 {
        let of = |pass: &Pass| {
            let points = feed(pass, knots, factors);
            let change = |(a, b): (&FeedPoint, &FeedPoint)| {
                let way = (b.at - a.at).mm().abs().max(1e-3);
                let (a, b) = (a.feed.mm_per_s(), b.feed.mm_per_s());
                ((b - a) / way).abs() * a.max(b)
            };
            points.iter().zip(points.iter().skip(1)).map(change).fold(0.0, f64::max)
        };
        passes.iter().map(of).fold(0.0, f64::max)
    }
}

/// The knot at or before a place, and how far the place is on to the next.
fn between(knots: &[f64], place: f64) -> (usize, f64) {
    let after = knots.partition_point(|knot| *knot <= place).max(1);
    let (Some(low), Some(high)) = (knots.get(after - 1), knots.get(after)) else {
        return (knots.len().saturating_sub(1), 0.0);
    };
    (after - 1, ((place - low) / (high - low)).clamp(0.0, 1.0))
}

fn nominal(pass: &Pass, at: f64) -> f64 {
    let points: Vec<f64> = pass.feed.iter().map(|point| point.at.mm()).collect();
    let (index, share) = between(&points, at);
    let speed = |index: usize| pass.feed.get(index).map(|point| point.feed.mm_per_s());
    let here = speed(index).unwrap_or(1.0);
    let next = speed(index + 1).unwrap_or(here);
    here + (next - here) * share
}

/// A pass's feed with the factors in it.
fn feed(pass: &Pass, knots: &[f64], factors: &[f64]) -> Vec<FeedPoint> {
    let mut places: Vec<f64> = knots.to_vec();
    places.extend(pass.feed.iter().map(|point| point.at.mm()));
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    places
        .into_iter()
        .map(|at| {
            let (index, share) = between(knots, at);
            let here = factors.get(index).copied().unwrap_or(1.0);
            let next = factors.get(index + 1).copied().unwrap_or(here);
            let factor = here + (next - here) * share;
            let feed = Speed::from_mm_per_s(nominal(pass, at) / factor);
            FeedPoint { at: Length::from_mm(at), feed }
        })
        .collect()
}

/// Least squares within the limits, one factor after the other (Gauss and Seidel, each step clamped).
fn solve(stations: &[Station], limits: &[(f64, f64)]) -> Vec<f64> {
    let count = limits.len();
    let mut matrix = vec![vec![0.0; count]; count];
    let mut wanted = vec![CHANGE; count];
    for station in stations {
        let used: Vec<(usize, f64)> =
            station.adds.iter().copied().enumerate().filter(|(_, add)| *add > 1e-9).collect();
        for (row, a) in &used {
            if let Some(slot) = wanted.get_mut(*row) {
                *slot += a * station.missing;
            }
            for (column, b) in &used {
                if let Some(slot) = matrix.get_mut(*row).and_then(|row| row.get_mut(*column)) {
                    *slot += a * b;
                }
            }
        }
    }
    let mut add = |row: usize, column: usize, value: f64| {
        if let Some(slot) = matrix.get_mut(row).and_then(|row| row.get_mut(column)) {
            *slot += value;
        }
    };
    for row in 0..count {
        add(row, row, CHANGE);
    }
    for middle in 1..count.saturating_sub(1) {
        let bend = [(middle - 1, 1.0), (middle, -2.0), (middle + 1, 1.0)];
        for (row, a) in bend {
            for (column, b) in bend {
                add(row, column, ROUGHNESS * a * b);
            }
        }
    }
    let mut factors = vec![1.0; count];
    for _ in 0..ROUNDS {
        for index in 0..count {
            let (Some(row), Some((least, most)), Some(want)) =
                (matrix.get(index), limits.get(index), wanted.get(index))
            else {
                continue;
            };
            let others: f64 = row
                .iter()
                .zip(&factors)
                .enumerate()
                .filter(|(other, _)| *other != index)
                .map(|(_, (a, factor))| a * factor)
                .sum();
            let own = row.get(index).copied().unwrap_or(CHANGE);
            if let Some(slot) = factors.get_mut(index) {
                *slot = ((want - others) / own).clamp(*least, *most);
            }
        }
    }
    factors
}
