//! The plume: a Gaussian mass flux that spreads with distance, and what a ring of the part
//! catches and keeps of it.

use core::f64::consts::PI;

/// The plume never gets narrower than this share of its nominal width: nearer to the nozzle the
/// cone would end in a point (arbitrary, that of the reference model).
const NARROWEST: f64 = 0.2;
/// Beyond this many standard deviations nothing is counted: 3e-12 of the mass.
const REACH: f64 = 7.0;

/// A torch's plume over a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plume {
    /// Nozzle to surface at the reference radius, m.
    pub standoff: f64,
    /// Radius that the nozzle's place is set from, m: it does not follow the outline.
    pub reference_radius: f64,
    /// Standard deviation along the part at the standoff, m.
    pub sigma_axial: f64,
    /// Standard deviation across the part at the standoff, m.
    pub sigma_lateral: f64,
    /// Growth of both per metre of distance: the tangent of the one-sigma half angle.
    pub growth: f64,
    /// Exponent m of the sticking law `eta cos^m`; an assumption without a source.
    pub exponent: f64,
    /// Share that sticks at square impact, eta.
    pub efficiency: f64,
    /// Density of the coat as sprayed, kg/m3.
    pub density: f64,
}

/// What a ring catches and what it keeps, kg per metre of part and kg sprayed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Caught {
    /// What meets the surface.
    pub intercepted: f64,
    /// What stays on it.
    pub kept: f64,
}

/// One strip of the ring, seen from the torch.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Strip {
    /// Spread along the part there, m.
    spread: f64,
    /// Flux across times the strip's width, 1/m.
    weight: f64,
    /// Facing without the slope.
    facing: f64,
    /// Ray slope across.
    across: f64,
}

/// A ring of the part, ready to be asked for any position of the torch.
#[derive(Debug, Clone, PartialEq)]
pub struct Ring {
    strips: Vec<Strip>,
    slope: f64,
    tilt: f64,
    plume: Plume,
}

impl Plume {
    /// Spread along and across at a distance from the nozzle, m.
    #[must_use]
    pub fn spread(&self, distance: f64) -> (f64, f64) {
        let more = self.growth * (distance - self.standoff);
        (
            (self.sigma_axial + more).max(NARROWEST * self.sigma_axial),
            (self.sigma_lateral + more).max(NARROWEST * self.sigma_lateral),
        )
    }

    /// The ring of this radius (m) and slope. Strips are no wider than half a standard deviation
    /// of the plume, and symmetric about the torch's side, so that half of them are counted twice.
    #[must_use]
    pub fn ring(&self, radius: f64, slope: f64) -> Ring {
        self.ring_of(radius, slope, 48.0)
    }

    /// The same with at least this many strips.
    pub(super) fn ring_of(&self, radius: f64, slope: f64, least: f64) -> Ring {
        let count = (PI * radius / self.sigma_lateral).ceil().max(least);
        let step = PI / 2.0 / count;
        let mut strips = Vec::new();
        let mut done = 0.0;
        while done < count {
            let angle = (done + 0.5) * step;
            let distance = self.reference_radius + self.standoff - radius * angle.cos();
            let y = radius * angle.sin();
            let (along, wide) = self.spread(distance);
            let across = self.growth * y / wide;
            let flux = (-y * y / (2.0 * wide * wide)).exp() / (2.0 * PI * along * wide);
            strips.push(Strip {
                spread: along,
                weight: 2.0 * step * radius * flux,
                facing: angle.cos() - across * angle.sin(),
                across,
            });
            done += 1.0;
        }
        Ring { strips, slope, tilt: slope.hypot(1.0), plume: *self }
    }
}

impl Ring {
    /// What it catches with the torch `offset` metres to its lower side (`z - zeta`).
    #[must_use]
    pub fn caught(&self, offset: f64) -> Caught {
        let mut caught = Caught::default();
        for strip in &self.strips {
            let away = offset / strip.spread;
            if away.abs() > REACH {
                continue;
            }
            let along = self.plume.growth * away;
            let facing = strip.facing + along * self.slope;
            if facing <= 0.0 {
                continue;
            }
            let met = strip.weight * (-0.5 * away * away).exp() * facing;
            let ray = (1.0 + along * along + strip.across * strip.across).sqrt();
            let cosine = facing / (self.tilt * ray);
            caught.intercepted += met;
            caught.kept += met * self.plume.efficiency * cosine.powf(self.plume.exponent);
        }
        caught
    }

    /// Beyond this offset it catches nothing, m.
    #[must_use]
    pub fn reach(&self) -> f64 {
        self.reach_of(REACH)
    }

    /// This many standard deviations of the widest strip, m.
    pub(super) fn reach_of(&self, deviations: f64) -> f64 {
        self.strips.iter().fold(0.0, |reach, strip| strip.spread.max(reach)) * deviations
    }
}
