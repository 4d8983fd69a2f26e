//! What was released where, and the coat it makes.

use core::f64::consts::PI;

use super::feeding::Flow;
use super::shape::Shape;
use super::spray::{Plume, Ring};
use super::travel::{Leg, Travel};

/// Slices of the part over which masses are summed, m.
const SLICE: f64 = 1e-3;

/// Powder released with the carriage at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Release {
    /// Carriage, m.
    pub at: f64,
    /// Mass, kg.
    pub mass: f64,
}

/// Where a motion and a flow release the powder, all passes together, places rising.
#[derive(Debug, Clone, PartialEq)]
pub struct Coverage {
    /// Everything released.
    pub releases: Vec<Release>,
}

impl Coverage {
    /// Sums what every pass releases in each cell, and puts what is fed at rest at its place.
    #[must_use]
    pub fn of(travel: &Travel, flow: &Flow) -> Self {
        let mut releases: Vec<Release> = travel
            .cells()
            .map(|((a, _), (b, _))| Release { at: f64::midpoint(a, b), mass: 0.0 })
            .collect();
        for leg in travel.legs() {
            match leg {
                Leg::Pass { rising, from, to } => {
                    let fed = |time: f64| flow.fed(if *rising { from + time } else { to - time });
                    for (release, ((_, a), (_, b))) in releases.iter_mut().zip(travel.cells()) {
                        release.mass += (fed(b) - fed(a)).abs();
                    }
                }
                Leg::LeadIn { at, from, to } | Leg::Dwell { at, from, to } => {
                    releases.push(Release { at: *at, mass: flow.fed(*to) - flow.fed(*from) });
                }
            }
        }
        let rest = flow.total() - flow.fed(travel.total_time());
        releases.push(Release { at: travel.ends_at(), mass: rest });
        releases.retain(|release| release.mass > 0.0);
        releases.sort_by(|a, b| a.at.total_cmp(&b.at));
        Self { releases }
    }

    /// What a ring at z catches and keeps, kg per metre of part.
    pub(crate) fn on(&self, ring: &Ring, z: f64) -> (f64, f64) {
        let reach = ring.reach();
        let first = self.releases.partition_point(|release| release.at < z - reach);
        self.releases.iter().skip(first).take_while(|release| release.at <= z + reach).fold(
            (0.0, 0.0),
            |sum, release| {
                let caught = ring.caught(z - release.at);
                (sum.0 + caught.intercepted * release.mass, sum.1 + caught.kept * release.mass)
            },
        )
    }
}

/// What became of the powder, kg.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Masses {
    /// Met the part.
    pub intercepted: f64,
    /// Stayed on it.
    pub on_part: f64,
}

/// A coat as sprayed.
#[derive(Debug, Clone, PartialEq)]
pub struct Coat {
    /// Thickness normal to the surface at each station, m.
    pub thickness: Vec<f64>,
    /// What became of the powder.
    pub masses: Masses,
}

/// The coat on a part at these stations (z, m).
#[must_use]
pub fn coat(shape: &Shape, plume: &Plume, coverage: &Coverage, stations: &[f64]) -> Coat {
    let ring = |z: f64| {
        let (radius, slope) = shape.at(z);
        (plume.ring(radius, slope), radius, slope)
    };
    let thickness = stations
        .iter()
        .map(|z| {
            let (ring, radius, slope) = ring(*z);
            let around = 2.0 * PI * radius * slope.hypot(1.0) * plume.density;
            coverage.on(&ring, *z).1 / around
        })
        .collect();
    let masses = shape.slices(SLICE).into_iter().fold(Masses::default(), |sum, (z, width)| {
        let (caught, kept) = coverage.on(&ring(z).0, z);
        Masses {
            intercepted: sum.intercepted + caught * width,
            on_part: sum.on_part + kept * width,
        }
    });
    Coat { thickness, masses }
}
