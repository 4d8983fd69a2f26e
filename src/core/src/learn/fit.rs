//! The fit: the most likely figures, and how well they are known then.
//!
//! Every row says `value = exp(offset(footprint) + weights . figures + swing)`, the figures being
//! logarithms against the catalogue's. The catalogue is the prior, so that the fit has an answer
//! whatever was measured. Gauss-Newton, with the nuisances of each piece of evidence (its swing,
//! and where the middle of a stripe lay) as unknowns of their own: readings of one part share
//! that part's luck, and ten of them are not ten parts.

use super::figures::{COUNT, Figure};
use super::response::Response;
use crate::model::even::banded::Banded;
use crate::quantity::Length;

/// Most steps; a dozen readings settle in five.
const MOST_STEPS: usize = 40;
/// No step moves a logarithm further.
const LONGEST_STEP: f64 = 0.3;
/// Settled when no logarithm moves by more.
const SETTLED: f64 = 1e-10;
/// A reading further off than this many of its standard deviations is doubted: of honest ones
/// one in 16,000 is.
pub(super) const DOUBTED: f64 = 4.0;
/// One standard deviation of where the middle of a stripe lies, in footprints from the centroid
/// of its readings (arbitrary, wide).
const CENTRE_WITHIN: f64 = 3.0;

/// How a row's value depends on the footprint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Scale {
    /// Not at all: its logarithm.
    Fixed(f64),
    /// As tabulated.
    Tabulated(Response),
    /// A Gaussian across: logarithm of its cross-section (m2), and the place (m).
    Across { area: f64, place: f64 },
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Row {
    /// What was read.
    pub value: f64,
    /// One standard deviation of it.
    pub within: f64,
    /// Powers of the figures in it; that of the footprint is in `scale`.
    pub weights: [f64; COUNT],
    /// The rest of it.
    pub scale: Scale,
    /// Whether the swing of its evidence is in it.
    pub swings: Swings,
    /// Where it was read, along the part or across the stripe.
    pub at: Option<Length>,
}

/// A reading that the others contradict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Doubt {
    /// Its group, by place.
    pub group: usize,
    /// Its row in the group, by place.
    pub row: usize,
    /// Where it was read.
    pub at: Option<Length>,
    /// How far it is off, in its standard deviations.
    pub off: f64,
}

/// Whether the swing of the evidence is in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Swings {
    /// It is.
    WithTheRest,
    /// It is not.
    Alone,
}

/// Rows that share their luck.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Group {
    /// One standard deviation of what they share, in the logarithm.
    pub swing: f64,
    /// Where the middle of a stripe is guessed, m.
    pub centre: Option<f64>,
    pub rows: Vec<Row>,
}

/// What a fit gives.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fit {
    /// Logarithms of the figures against the catalogue's.
    pub mean: [f64; COUNT],
    /// Their covariance.
    pub covariance: [[f64; COUNT]; COUNT],
    /// Readings that the others contradict.
    pub doubts: Vec<Doubt>,
}

/// An unknown: what it is before anything was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Unknown {
    before: f64,
    precision: f64,
}

impl Unknown {
    fn within(before: f64, within: f64) -> Self {
        Self { before, precision: 1.0 / (within * within) }
    }
}

/// Where the unknowns of a group stand.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Places {
    swing: usize,
    centre: Option<usize>,
}

/// The fit of all rows; `footprint` is the catalogue's, m.
pub(super) fn fit(groups: &[Group], footprint: f64) -> Fit {
    let mut unknowns: Vec<Unknown> = Figure::ALL
        .iter()
        .map(|figure| Unknown::within(0.0, figure.catalogue_uncertainty()))
        .collect();
    let mut places = Vec::new();
    for group in groups {
        let swing = unknowns.len();
        unknowns.push(Unknown::within(0.0, group.swing));
        let centre = group.centre.map(|guess| {
            unknowns.push(Unknown::within(guess / footprint, CENTRE_WITHIN));
            swing + 1
        });
        places.push(Places { swing, centre });
    }
    let mut now: Vec<f64> = unknowns.iter().map(|unknown| unknown.before).collect();
    for _ in 0..MOST_STEPS {
        let (matrix, mut step) = normal(groups, &places, &unknowns, &now, footprint);
        matrix.factor().solve(&mut step);
        let longest = step.iter().fold(0.0_f64, |longest, by| longest.max(by.abs()));
        let share = if longest > LONGEST_STEP { LONGEST_STEP / longest } else { 1.0 };
        for (value, by) in now.iter_mut().zip(&step) {
            *value += by * share;
        }
        if longest < SETTLED {
            break;
        }
    }
    let factor = normal(groups, &places, &unknowns, &now, footprint).0.factor();
    let mut covariance = [[0.0; COUNT]; COUNT];
    for (index, row) in covariance.iter_mut().enumerate() {
        let mut unit = vec![0.0; unknowns.len()];
        if let Some(one) = unit.get_mut(index) {
            *one = 1.0;
        }
        factor.solve(&mut unit);
        row.iter_mut().zip(unit).for_each(|(entry, value)| *entry = value);
    }
    let mut mean = [0.0; COUNT];
    mean.iter_mut().zip(&now).for_each(|(mean, value)| *mean = *value);
    Fit { mean, covariance, doubts: doubts(groups, &places, &now, footprint) }
}

fn doubts(groups: &[Group], places: &[Places], now: &[f64], footprint: f64) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    for (place, (group, places)) in groups.iter().zip(places).enumerate() {
        for (index, row) in group.rows.iter().enumerate() {
            let off = (row.value - row.expected(*places, now, footprint, &mut [])) / row.within;
            if off.abs() > DOUBTED {
                doubts.push(Doubt { group: place, row: index, at: row.at, off });
            }
        }
    }
    doubts
}

/// The normal equations of one step.
fn normal(
    groups: &[Group],
    places: &[Places],
    unknowns: &[Unknown],
    now: &[f64],
    footprint: f64,
) -> (Banded, Vec<f64>) {
    let mut matrix = Banded::zero(unknowns.len(), unknowns.len().saturating_sub(1));
    matrix.add_diagonal(unknowns.iter().map(|unknown| unknown.precision));
    let mut pull: Vec<f64> = unknowns
        .iter()
        .zip(now)
        .map(|(unknown, now)| unknown.precision * (unknown.before - now))
        .collect();
    let mut slopes = vec![0.0; unknowns.len()];
    for (group, places) in groups.iter().zip(places) {
        for row in &group.rows {
            let expected = row.expected(*places, now, footprint, &mut slopes);
            slopes.iter_mut().for_each(|slope| *slope *= expected / row.within);
            let off = (row.value - expected) / row.within;
            matrix.add_outer(0, &slopes, 1.0);
            pull.iter_mut().zip(&slopes).for_each(|(pull, slope)| *pull += slope * off);
        }
    }
    (matrix, pull)
}

impl Row {
    /// What the row should read, and the slopes of its logarithm along every unknown.
    fn expected(&self, places: Places, now: &[f64], footprint: f64, slopes: &mut [f64]) -> f64 {
        slopes.fill(0.0);
        let value_of = |place: usize| now.get(place).copied().unwrap_or(0.0);
        let mut add = |place: usize, slope: f64| {
            if let Some(entry) = slopes.get_mut(place) {
                *entry += slope;
            }
        };
        let mut logarithm = 0.0;
        for (place, weight) in self.weights.iter().enumerate() {
            logarithm += weight * value_of(place);
            add(place, *weight);
        }
        if self.swings == Swings::WithTheRest {
            logarithm += value_of(places.swing);
            add(places.swing, 1.0);
        }
        let wide = Figure::Footprint as usize;
        let spread = footprint.ln() + value_of(wide);
        match self.scale {
            Scale::Fixed(value) => logarithm += value,
            Scale::Tabulated(response) => {
                let (value, slope) = response.at(spread);
                logarithm += value;
                add(wide, slope);
            }
            Scale::Across { area, place } => {
                let sigma = spread.exp();
                let middle = places.centre.map_or(0.0, value_of) * footprint;
                let u = (place - middle) / sigma;
                logarithm += area - spread - 0.5 * core::f64::consts::TAU.ln() - 0.5 * u * u;
                add(wide, u * u - 1.0);
                if let Some(centre) = places.centre {
                    add(centre, u * footprint / sigma);
                }
            }
        }
        logarithm.exp()
    }
}
