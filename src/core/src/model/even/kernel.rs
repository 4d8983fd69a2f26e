//! What a ring of the part keeps of the plume, by the torch's offset along it.

use crate::model::spray::{Plume, Ring};

/// Beyond this many standard deviations a station feels nothing: 2e-9 of the mass.
const REACH: f64 = 6.0;
/// Samples of the kernel per standard deviation. Cubic interpolation between them errs by 2e-5 of
/// the peak.
const SAMPLES: f64 = 8.0;
/// Strips of half a ring: 24 over the whole were as good as 48 in the reference's study.
const STRIPS: f64 = 24.0;
/// Radii of which the kernels along a cone are worked out: no further apart than this share of the
/// plume's width across, and four at least. Cubic interpolation between them errs by 1e-5.
const PER_WIDTH: f64 = 0.25;

/// What one ring keeps, sampled by the torch's offset.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Kernel {
    reach: f64,
    step: f64,
    kept: Vec<f64>,
}

impl Kernel {
    /// Of one radius (m) and slope.
    pub(super) fn new(plume: &Plume, radius: f64, slope: f64) -> Self {
        let ring = plume.ring_of(radius, slope, STRIPS);
        Self::of(&ring, ring.reach_of(REACH), slope)
    }

    fn of(ring: &Ring, reach: f64, slope: f64) -> Self {
        let symmetric = slope.abs() < 1e-12;
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

    /// Half the width in which it gives anything, m.
    pub(super) const fn reach(&self) -> f64 {
        self.reach
    }

    /// kg per metre of part and kg sprayed, with the torch `offset` metres to the lower side.
    pub(super) fn at(&self, offset: f64) -> f64 {
        let place = (offset + self.reach) / self.step;
        if !(0.0..=(self.kept.len() - 1) as f64).contains(&place) {
            return 0.0;
        }
        let index = before(place).min(self.kept.len().saturating_sub(4));
        match self.kept.get(index..) {
            Some([a, b, c, d, ..]) => {
                let [of_a, of_b, of_c, of_d] = cubic(place - index as f64);
                of_a * a + of_b * b + of_c * c + of_d * d
            }
            _ => 0.0,
        }
    }
}

/// The kernels of one slope between two radii.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cone {
    /// Least radius and way to the next one, m.
    low: f64,
    step: f64,
    kernels: Vec<Kernel>,
}

impl Cone {
    /// Between two radii (m); `None` where it would take as many kernels as are `wanted`.
    pub(super) fn new(
        plume: &Plume,
        slope: f64,
        (low, high): (f64, f64),
        wanted: usize,
    ) -> Option<Self> {
        let mut count = 3;
        while (high - low) / (count as f64) > PER_WIDTH * plume.sigma_lateral && count < wanted {
            count += 1;
        }
        if high <= low || count + 1 >= wanted {
            return None;
        }
        let step = (high - low) / count as f64;
        let radii = (0..=count).map(|index| low + index as f64 * step);
        let rings: Vec<Ring> = radii.map(|radius| plume.ring_of(radius, slope, STRIPS)).collect();
        let reach = rings.iter().fold(0.0_f64, |most, ring| most.max(ring.reach_of(REACH)));
        let kernels = rings.iter().map(|ring| Kernel::of(ring, reach, slope)).collect();
        Some(Self { low, step, kernels })
    }

    /// The kernel of a radius (m) between them.
    pub(super) fn at(&self, radius: f64) -> Option<Kernel> {
        let place = ((radius - self.low) / self.step).max(0.0);
        let first = before(place).min(self.kernels.len().saturating_sub(4));
        let Some([a, b, c, d, ..]) = self.kernels.get(first..) else { return None };
        let [of_a, of_b, of_c, of_d] = cubic(place - first as f64);
        let all = a.kept.iter().zip(&b.kept).zip(c.kept.iter().zip(&d.kept));
        let kept = all.map(|((a, b), (c, d))| of_a * a + of_b * b + of_c * c + of_d * d);
        Some(Kernel { kept: kept.collect(), ..*a })
    }
}

/// The first of the four samples around a place, counted in steps.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the place was found not to be negative"
)]
fn before(place: f64) -> usize {
    (place as usize).saturating_sub(1)
}

/// Shares of four equally spaced samples in the cubic through them, `t` steps after the first.
fn cubic(t: f64) -> [f64; 4] {
    let (u, v, w) = (t - 1.0, t - 2.0, t - 3.0);
    [-u * v * w / 6.0, t * v * w / 2.0, -t * u * w / 2.0, t * u * v / 6.0]
}
