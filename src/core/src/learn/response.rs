//! How what lands depends on the footprint: the coat of [`model`](crate::model), tabulated.

use super::basis::RunBasis;
use crate::coat::index_of;
use crate::model::{Coverage, Plume, Release, Shape};
use crate::quantity::Length;

/// Step of the table, in the logarithm of the footprint.
const STEP: f64 = 0.1;
/// Slices of the part over which masses are summed, in footprints: a Gaussian sampled twice in a
/// standard deviation sums to 1e-8.
const SLICE: f64 = 0.5;
/// Places of a table of what a ring keeps, to each side: 40 in a standard deviation, between
/// which a straight line is 8e-5 of the peak off at the most.
const KERNEL_STEPS: i32 = 280;

/// The logarithm of something against the logarithm of the footprint: a parabola through three
/// values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Response {
    centre: f64,
    values: [f64; 3],
}

impl Response {
    /// Through three values that are not negative, a step below, at, and above a footprint (m).
    fn through(footprint: f64, values: [f64; 3]) -> Self {
        let values = values.map(|value| value.max(f64::MIN_POSITIVE).ln());
        Self { centre: footprint.ln(), values }
    }

    /// The same with something added to all of it.
    pub(super) fn plus(mut self, more: f64) -> Self {
        self.values = self.values.map(|value| value + more);
        self
    }

    /// Its value and its slope at the logarithm of a footprint (m).
    pub(super) fn at(&self, footprint: f64) -> (f64, f64) {
        let [low, middle, high] = self.values;
        let u = (footprint - self.centre) / STEP;
        let (slope, bend) = (0.5 * (high - low), high - 2.0 * middle + low);
        (middle + slope * u + 0.5 * bend * u * u, (slope + bend * u) / STEP)
    }
}

/// The outline of a run's part; `None` for one without length, which no recipe has.
fn shape_of(basis: &RunBasis) -> Option<Shape> {
    let points = basis.part.profile.iter();
    Shape::new(points.map(|p| (p.at.mm() * 1e-3, p.diameter.mm() * 0.5e-3)).collect())
}

/// Powder released by place, kg, at the rate that was set.
fn coverage(basis: &RunBasis) -> Coverage {
    let mut releases: Vec<Release> = Vec::new();
    for zone in &basis.zones {
        let rate = zone.rate();
        let mut at = zone.first;
        for seconds in &zone.full_flow_s {
            if *seconds > 0.0 {
                releases.push(Release { at: at.mm() * 1e-3, mass: rate * seconds });
            }
            at += zone.spacing;
        }
    }
    releases.sort_by(|a, b| a.at.total_cmp(&b.at));
    Coverage { releases }
}

/// The plume of a footprint (m) at an efficiency of 1, on this run's part.
fn plume(basis: &RunBasis, footprint: f64) -> Plume {
    let middle = basis.zones.first().map_or(Length::ZERO, |zone| (zone.from + zone.to) / 2.0);
    Plume {
        standoff: basis.standoff.mm() * 1e-3,
        reference_radius: basis.part.diameter_at(middle).mm() * 0.5e-3,
        sigma_axial: footprint,
        sigma_lateral: footprint,
        growth: 0.0,
        exponent: 0.0,
        efficiency: 1.0,
        density: 1.0,
    }
}

/// What lands of a run's powder with an efficiency of 1: what sticks is that times the
/// efficiency.
pub(super) struct Landing {
    shape: Shape,
    coverage: Coverage,
    plume: Plume,
    kernel: Option<Kernel>,
}

/// What a ring keeps by how far the torch is from it, kg per metre and kg sprayed.
struct Kernel {
    ring: (f64, f64),
    reach: f64,
    values: Vec<f64>,
}

impl Landing {
    /// Of a run with a footprint (m); `None` for a part without length, which no recipe has.
    pub(super) fn of(basis: &RunBasis, footprint: f64) -> Option<Self> {
        let plume = plume(basis, footprint);
        Some(Self { shape: shape_of(basis)?, coverage: coverage(basis), plume, kernel: None })
    }

    /// At a place (m), kg per metre of the part.
    pub(super) fn at(&mut self, z: f64) -> f64 {
        let ring = self.shape.at(z);
        // Most of a part is cylinders: one table serves all of one.
        let kernel = match self.kernel.take() {
            Some(kernel) if kernel.ring == ring => kernel,
            _ => Kernel::of(&self.plume, ring),
        };
        let releases = &self.coverage.releases;
        let first = releases.partition_point(|release| release.at < z - kernel.reach);
        let near = releases.iter().skip(first).take_while(|r| r.at <= z + kernel.reach);
        let landed = near.map(|release| release.mass * kernel.at(z - release.at)).sum();
        self.kernel = Some(kernel);
        landed
    }

    /// On all of the part, kg.
    pub(super) fn on_all(&mut self) -> f64 {
        let slices = self.shape.slices(SLICE * self.plume.sigma_axial);
        slices.into_iter().map(|(z, width)| self.at(z) * width).sum()
    }
}

impl Kernel {
    fn of(plume: &Plume, (radius, slope): (f64, f64)) -> Self {
        let ring = plume.ring(radius, slope);
        let reach = ring.reach();
        let step = reach / f64::from(KERNEL_STEPS);
        let steps = -KERNEL_STEPS..=KERNEL_STEPS;
        let values = steps.map(|place| ring.caught(f64::from(place) * step).kept).collect();
        Self { ring: (radius, slope), reach, values }
    }

    /// Linear between the places of the table.
    fn at(&self, offset: f64) -> f64 {
        let place = (offset / self.reach + 1.0) * f64::from(KERNEL_STEPS);
        let Some(before) = index_of(place, self.values.len()) else { return 0.0 };
        let value = |index: usize| self.values.get(index).copied().unwrap_or(0.0);
        value(before) + (value(before + 1) - value(before)) * place.fract()
    }
}

/// What lands with a footprint a step below, at, and above another.
pub(super) struct Landings {
    footprint: f64,
    around: [Landing; 3],
}

impl Landings {
    /// Around a footprint (m).
    pub(super) fn around(basis: &RunBasis, footprint: f64) -> Option<Self> {
        let of = |step: f64| Landing::of(basis, footprint * step.exp());
        Some(Self { footprint, around: [of(-STEP)?, of(0.0)?, of(STEP)?] })
    }

    /// At a place (m).
    pub(super) fn at(&mut self, z: f64) -> Response {
        Response::through(self.footprint, self.around.each_mut().map(|landing| landing.at(z)))
    }

    /// On all of the part.
    pub(super) fn on_all(&mut self) -> Response {
        Response::through(self.footprint, self.around.each_mut().map(Landing::on_all))
    }
}
