//! Mass balance of the coat: what a pass adds, how the radius grows, what fusing takes away.
//!
//! All formulas follow from mass = density x volume on a round part.

use core::f64::consts::PI;

use crate::catalogue::Powder;
use crate::quantity::{Density, Fraction, Length, MassFlow, Speed};

/// What settles on a part while the torch crosses it at a given feed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deposit {
    /// Powder fed.
    pub rate: MassFlow,
    /// Share of it that stays on the part: the powder's efficiency and what a narrow part
    /// catches of the plume, multiplied.
    pub efficiency: Fraction,
    /// Density of the coat as sprayed.
    pub density: Density,
}

impl Deposit {
    /// Cross-section of coat that one pass at this feed adds, in mm2: `eta m' / (rho F)`. The
    /// spindle speed does not enter.
    #[must_use]
    pub fn area_per_pass(&self, feed: Speed) -> f64 {
        self.volume_rate() / feed.mm_per_s()
    }

    /// Coat deposited in a second, mm3/s.
    #[must_use]
    pub fn volume_rate(&self) -> f64 {
        let grams_per_s = self.rate.g_per_min() / 60.0;
        let grams_per_mm3 = self.density.g_per_cm3() * 1e-3;
        self.efficiency.ratio() * grams_per_s / grams_per_mm3
    }

    /// Radial thickness of one thin pass: `eta m' / (rho pi D F)`.
    #[must_use]
    pub fn thickness_per_pass(&self, diameter: Length, feed: Speed) -> Length {
        Length::from_mm(self.area_per_pass(feed) / (PI * diameter.mm()))
    }

    /// The feed at which one thin pass is this thick.
    #[must_use]
    pub fn feed_for(&self, thickness: Length, diameter: Length) -> Speed {
        Speed::from_mm_per_s(self.volume_rate() / (PI * diameter.mm() * thickness.mm()))
    }

    /// How fast a lump grows where the carriage stands still with powder on, mm/s: the peak of
    /// the Gaussian, `eta m' / (rho pi D sigma sqrt(2 pi))`.
    #[must_use]
    pub fn lump_rate(&self, diameter: Length, plume: Length) -> Speed {
        Speed::from_mm_per_s(
            self.volume_rate() / (PI * diameter.mm() * plume.mm() * (2.0 * PI).sqrt()),
        )
    }
}

/// Radial build on a part of this diameter when coat of this cross-section (mm2) lies on it:
/// `R_N^2 = R_0^2 + A / pi`.
#[must_use]
pub fn build_of(diameter: Length, area: f64) -> Length {
    let radius = diameter.mm() / 2.0;
    Length::from_mm((radius * radius + area / PI).max(0.0).sqrt() - radius)
}

/// Cross-section (mm2) of a coat of this radial build.
#[must_use]
pub fn area_of(diameter: Length, build: Length) -> f64 {
    PI * build.mm() * (diameter.mm() + build.mm())
}

/// Radial build after fusing, by area: the mass stays, the density rises.
#[must_use]
pub fn fused_build(diameter: Length, sprayed: Length, shrink: Fraction) -> Length {
    build_of(diameter, area_of(diameter, sprayed) * (1.0 - shrink.ratio()))
}

/// How much of its thickness a coat loses in fusing, from its two densities. Sag and the
/// rolling back of edges are not in it.
#[must_use]
pub fn shrink(powder: &Powder) -> Fraction {
    Fraction::from_ratio(1.0 - powder.density_as_sprayed / powder.density_fused)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn deposit() -> Deposit {
        Deposit {
            rate: MassFlow::from_g_per_min(60.0),
            efficiency: Fraction::from_ratio(0.85),
            density: Density::from_g_per_cm3(6.6),
        }
    }

    fn feed() -> Speed {
        Speed::from_mm_per_s(625.0 / 60.0)
    }

    /// Computed here from the mass balance: 0.85 x 60 / (0.0066 pi D 625).
    #[test]
    fn thickness_per_pass_depends_on_diameter_and_feed_alone() {
        let found = deposit().thickness_per_pass(mm(50.0), feed()).mm();
        assert!((found - 0.078_709_4).abs() < 5e-8, "{found}");
        let found = deposit().thickness_per_pass(mm(80.0), feed()).mm();
        assert!((found - 0.049_193_3).abs() < 5e-8, "{found}");
        let back = deposit().feed_for(mm(0.078_709_351_4), mm(50.0)).mm_per_s();
        assert!((back - 10.416_67).abs() < 1e-4, "{back}");
    }

    /// Computed here from `R_N^2 = R_0^2 + N k`, k = 3.9354676 mm2.
    #[test]
    fn each_pass_adds_a_little_less_as_the_radius_grows() {
        let area = deposit().area_per_pass(feed());
        assert!((area / PI - 3.935_467_6).abs() < 1e-7, "{}", area / PI);
        for (passes, build) in [
            (1.0, 0.07859),
            (2.0, 0.15693),
            (3.0, 0.23502),
            (4.0, 0.31288),
            (5.0, 0.39050),
            (6.0, 0.46788),
            (7.0, 0.54502),
            (8.0, 0.62194),
            (9.0, 0.69862),
            (17.0, 1.30405),
        ] {
            let found = build_of(mm(50.0), area * passes).mm();
            assert!((found - build).abs() < 6e-6, "{passes}: {found}");
        }
    }

    /// Computed here: densities 6.6 and 8.05 g/cm3 give 18 %; 0.69862 mm fuse to 0.57428 mm.
    #[test]
    fn fusing_keeps_the_mass_and_loses_the_pores() {
        let shrink = Fraction::from_ratio(0.18);
        let fused = fused_build(mm(50.0), mm(0.698_625), shrink).mm();
        assert!((fused - 0.574_28).abs() < 6e-6, "{fused}");
    }

    /// Computed here: the peak of a Gaussian of 6 mm, 0.05451 mm in a second.
    #[test]
    fn a_stalled_carriage_grows_a_lump_at_the_peak_of_the_plume() {
        let found = deposit().lump_rate(mm(50.0), mm(6.0)).mm_per_s();
        assert!((found - 0.05451).abs() < 5e-6, "{found}");
    }
}
