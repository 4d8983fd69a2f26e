//! What each station feels of the torch at each place: the deposit kernel against the hat functions
//! of the unknown weight.

use core::f64::consts::PI;

use super::limits::Row;
use crate::model::shape::Shape;
use crate::model::spray::{Plume, Ring};

/// Beyond this many standard deviations a station feels nothing: 2e-9 of the mass.
const REACH: f64 = 6.0;
/// What a row leaves out at each of its ends, as a share of the whole: even at fifty times the mean
/// weight a twentieth of what the smooth feed may err.
const FAINT: f64 = 3e-7;
/// Samples of the kernel per standard deviation. Cubic interpolation between them errs by 2e-5 of
/// the peak.
const SAMPLES: f64 = 8.0;
/// Strips of half a ring: 24 over the whole were as good as 48 in the reference's study.
const STRIPS: f64 = 24.0;
/// Gauss and Legendre's three points on 0 to 1, and their weights.
const GAUSS: [(f64, f64); 3] = [
    (0.112_701_665_379_258_3, 5.0 / 18.0),
    (0.5, 8.0 / 18.0),
    (0.887_298_334_620_741_7, 5.0 / 18.0),
];

/// The places between which the weight is linear, equally spaced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Grid {
    /// First place, m.
    pub(super) low: f64,
    /// Way from one to the next, m.
    pub(super) spacing: f64,
    /// Number of stretches between them.
    pub(super) cells: usize,
}

impl Grid {
    /// Over `low..high`, no wider than `widest` apart, and at least four stretches.
    pub(super) fn new(low: f64, high: f64, widest: f64) -> Self {
        let mut cells = 4;
        while (high - low) / (cells as f64) > widest * (1.0 + 1e-9) {
            cells += 1;
        }
        Self { low, spacing: (high - low) / cells as f64, cells }
    }

    /// Every place, m.
    pub(super) fn places(self) -> impl Iterator<Item = f64> {
        (0..=self.cells).map(move |index| self.low + index as f64 * self.spacing)
    }
}

/// What one ring keeps, sampled by the torch's offset.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Kernel {
    reach: f64,
    step: f64,
    kept: Vec<f64>,
}

impl Kernel {
    fn new(ring: &Ring, symmetric: bool) -> Self {
        let reach = ring.reach_of(REACH);
        let count = 2.0 * (REACH * SAMPLES).ceil();
        let step = 2.0 * reach / count;
        let mut kept = Vec::new();
        let mut offset = -reach;
        let end = if symmetric { 0.5 * step } else { reach + 0.5 * step };
        while offset < end {
            kept.push(ring.caught(offset).kept);
            offset += step;
        }
        if symmetric {
            let mirrored: Vec<f64> = kept.iter().rev().skip(1).copied().collect();
            kept.extend(mirrored);
        }
        Self { reach, step, kept }
    }

    /// kg per metre of part and kg sprayed, with the torch `offset` metres to the lower side.
    fn at(&self, offset: f64) -> f64 {
        let place = (offset + self.reach) / self.step;
        if !(0.0..=(self.kept.len() - 1) as f64).contains(&place) {
            return 0.0;
        }
        let mut index = self.guess(place);
        index = index.min(self.kept.len().saturating_sub(4));
        let t = place - index as f64;
        match self.kept.get(index..) {
            Some([a, b, c, d, ..]) => {
                let (u, v, w) = (t - 1.0, t - 2.0, t - 3.0);
                -a * u * v * w / 6.0 + b * t * v * w / 2.0 - c * t * u * w / 2.0
                    + d * t * u * v / 6.0
            }
            _ => 0.0,
        }
    }

    /// The first of the four samples around a place.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "the place was found inside the samples"
    )]
    fn guess(&self, place: f64) -> usize {
        (place as usize).saturating_sub(1)
    }
}

/// How many of the first weights are less than `faint` together; never all of them.
fn faint_ones<'a>(weights: impl ExactSizeIterator<Item = &'a f64>, faint: f64) -> usize {
    let most = weights.len().saturating_sub(1) / 2;
    let sums = weights.scan(0.0, |sum, weight| {
        *sum += weight;
        Some(*sum)
    });
    sums.take(most).take_while(|sum| *sum < faint).count()
}

/// One station with its kernel and its surface per length.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Station {
    /// Place, m.
    pub(super) at: f64,
    /// Thickness per kept mass and length, 1/(kg/m) m.
    per_kept: f64,
    kernel: usize,
}

/// All stations of a part; those of one radius and slope share one kernel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stations {
    pub(super) list: Vec<Station>,
    kernels: Vec<Kernel>,
}

impl Stations {
    pub(super) fn new(shape: &Shape, plume: &Plume, places: &[f64]) -> Self {
        let mut kernels: Vec<Kernel> = Vec::new();
        let mut seen: Option<(f64, f64)> = None;
        let mut list = Vec::with_capacity(places.len());
        for at in places {
            let (radius, slope) = shape.at(*at);
            // To a nanometre: places on one cylinder differ by rounding.
            let same =
                seen.is_some_and(|(r, s)| (radius - r).abs() < 1e-9 && (slope - s).abs() < 1e-9);
            if !same {
                let ring = plume.ring_of(radius, slope, STRIPS);
                kernels.push(Kernel::new(&ring, slope.abs() < 1e-12));
                seen = Some((radius, slope));
            }
            list.push(Station {
                at: *at,
                per_kept: 1.0 / (2.0 * PI * radius * slope.hypot(1.0) * plume.density),
                kernel: kernels.len() - 1,
            });
        }
        Self { list, kernels }
    }

    /// Thickness (m) at a station from one kilogram sprayed with the torch at `torch` m.
    pub(super) fn thickness(&self, station: &Station, torch: f64) -> f64 {
        let kernel = self.kernels.get(station.kernel);
        kernel.map_or(0.0, |kernel| kernel.at(station.at - torch) * station.per_kept)
    }

    /// The rows for a weight that is linear between the grid's places, in shares of `target` (m)
    /// with `rate` kg/s.
    pub(super) fn rows(&self, grid: Grid, rate: f64, target: f64) -> Vec<Row> {
        self.list.iter().map(|station| self.row(station, grid, rate / target)).collect()
    }

    fn row(&self, station: &Station, grid: Grid, per: f64) -> Row {
        let reach = self.kernels.get(station.kernel).map_or(0.0, |kernel| kernel.reach);
        let felt = |cell: &usize| {
            let low = grid.low + *cell as f64 * grid.spacing;
            low + grid.spacing > station.at - reach && low < station.at + reach
        };
        let mut first = 0;
        let mut weights: Vec<f64> = Vec::new();
        for cell in (0..grid.cells).filter(felt) {
            if weights.is_empty() {
                first = cell;
                weights.push(0.0);
            }
            let low = grid.low + cell as f64 * grid.spacing;
            let (mut here, mut next) = (0.0, 0.0);
            for (share, weight) in GAUSS {
                let torch = low + share * grid.spacing;
                let gives = self.thickness(station, torch) * weight * grid.spacing * per;
                here += gives * (1.0 - share);
                next += gives * share;
            }
            if let Some(last) = weights.last_mut() {
                *last += here;
            }
            weights.push(next);
        }
        // The matrix that is solved is as wide as the widest row, and the cost goes with its square.
        let faint = FAINT * weights.iter().sum::<f64>();
        let before = faint_ones(weights.iter(), faint);
        let after = faint_ones(weights.iter().rev(), faint);
        weights.truncate(weights.len() - after);
        weights.drain(..before);
        Row { first: first + before, weights, base: 0.0 }
    }
}
