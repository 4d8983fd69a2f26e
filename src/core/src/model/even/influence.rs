//! What each station feels of the torch at each place: its kernel against the hat functions
//! of the unknown weight.

use core::f64::consts::PI;

use super::kernel::{Cone, Kernel};
use super::limits::Row;
use crate::model::shape::Shape;
use crate::model::spray::Plume;

/// What a row leaves out at each of its ends, as a share of the whole: even at fifty times the mean
/// weight a twentieth of what the smooth feed may err.
const FAINT: f64 = 3e-7;
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
        let mut list: Vec<Station> = Vec::with_capacity(places.len());
        let rings: Vec<(f64, f64)> = places.iter().map(|at| shape.at(*at)).collect();
        let mut left = places.iter();
        // Places on one cylinder or one cone differ in their slope by rounding.
        for run in rings.chunk_by(|a, b| (a.1 - b.1).abs() < 1e-9) {
            let (low, high) = run.iter().fold((f64::INFINITY, 0.0_f64), |range, (radius, _)| {
                (range.0.min(*radius), range.1.max(*radius))
            });
            let slope = run.first().map_or(0.0, |(_, slope)| *slope);
            // So do their radii.
            let straight = high - low < 1e-9;
            let cone =
                if straight { None } else { Cone::new(plume, slope, (low, high), run.len()) };
            for (index, ((radius, slope), at)) in run.iter().zip(left.by_ref()).enumerate() {
                if index == 0 || !straight {
                    let between = cone.as_ref().and_then(|cone| cone.at(*radius));
                    kernels.push(between.unwrap_or_else(|| Kernel::new(plume, *radius, *slope)));
                }
                list.push(Station {
                    at: *at,
                    per_kept: 1.0 / (2.0 * PI * radius * slope.hypot(1.0) * plume.density),
                    kernel: kernels.len() - 1,
                });
            }
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
        let reach = self.kernels.get(station.kernel).map_or(0.0, Kernel::reach);
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
