//! The plume as a Gaussian: what a narrow part catches of it, how a coat falls off at an edge,
//! and the ripple that a turning part keeps from it.
//!
//! All figures follow from the normal distribution; nothing here is fitted.

use core::f64::consts::{PI, SQRT_2};

use crate::quantity::{Fraction, Length, Pitch};

/// Widest pitch in standard deviations of the plume: the ripple stays under 3 % peak to peak
/// (2.877 %, from the first harmonic of a row of Gaussian bands).
pub const WIDEST_PITCH_IN_PLUMES: f64 = 2.0;

/// Share of a Gaussian plume, centred on the axis, that a part of this diameter catches:
/// `erf(R / (sigma sqrt 2))`, the lateral normal distribution between -R and +R.
#[must_use]
pub fn capture(diameter: Length, plume: Length) -> Fraction {
    Fraction::from_ratio(libm::erf(diameter / plume / (2.0 * SQRT_2)))
}

/// Share of the full thickness that a coat has `beyond` inside the place where powder begins or
/// ceases to arrive: the cumulative normal distribution.
#[must_use]
pub fn edge_share(beyond: Length, plume: Length) -> Fraction {
    Fraction::from_ratio(normal_share(beyond / plume))
}

/// Ripple of the coat along the part relative to its mean, peak to peak: the first harmonic of
/// Gaussian bands a pitch apart, `4 exp(-2 (pi sigma / p)^2)`. An upper bound on a round part.
#[must_use]
pub fn ripple(pitch: Pitch, plume: Length) -> Fraction {
    let turns = plume.mm() / pitch.mm_per_turn();
    Fraction::from_ratio(4.0 * (-2.0 * (PI * turns) * (PI * turns)).exp())
}

/// Relative change of the coat at an edge when powder is switched `shift` away from where it
/// should be, `beyond` outside the edge: the slope of [`edge_share`].
#[must_use]
pub fn edge_error(shift: Length, beyond: Length, plume: Length) -> Fraction {
    let u = beyond / plume;
    let density = (-0.5 * u * u).exp() / (2.0 * PI).sqrt();
    Fraction::from_ratio(shift / plume * density)
}

/// The cumulative normal distribution.
pub(crate) fn normal_share(u: f64) -> f64 {
    0.5 * libm::erfc(-u / SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    /// Figures of the error function (any table of the normal distribution).
    #[test]
    fn a_narrow_part_catches_what_the_normal_distribution_says() {
        for (diameter, share) in [
            (6.0, 0.38292),
            (12.0, 0.68269),
            (18.0, 0.86639),
            (24.0, 0.95450),
            (25.0, 0.96278),
            (36.0, 0.99730),
            (50.0, 0.999_969),
        ] {
            let found = capture(mm(diameter), mm(6.0)).ratio();
            assert!((found - share).abs() < 6e-6, "{diameter}: {found}");
        }
    }

    /// Figures of the normal distribution: 15 mm of overrun with a plume of 6 mm is 2.5 sigma.
    #[test]
    fn a_coat_falls_off_at_its_edge_like_the_normal_distribution() {
        for (sigmas, share) in [
            (0.0, 0.5),
            (1.0, 0.84134),
            (1.645, 0.95),
            (2.0, 0.97725),
            (2.054, 0.98),
            (2.5, 0.99379),
            (3.0, 0.99865),
        ] {
            let found = edge_share(mm(6.0 * sigmas), mm(6.0)).ratio();
            assert!((found - share).abs() < 2e-5, "{sigmas}: {found}");
        }
        assert!((edge_share(mm(14.18), mm(6.0)).ratio() - 0.9909).abs() < 5e-5);
    }

    /// Computed here from the first harmonic of the sum of Gaussian bands.
    #[test]
    fn ripple_stays_under_three_percent_up_to_two_sigma_of_pitch() {
        for (pitch, percent) in
            [(1.0, 1.07e-6), (1.5, 0.0619), (2.0, 2.877), (2.5, 17.00), (3.0, 44.62), (3.5, 79.85)]
        {
            let found = ripple(Pitch::from_mm_per_turn(6.0 * pitch), mm(6.0)).percent();
            assert!((found / percent - 1.0).abs() < 3e-3, "{pitch}: {found}");
        }
    }

    /// Computed here: the slope of the normal distribution at 0 and at 2.5 sigma.
    #[test]
    fn lost_motion_hurts_least_when_powder_is_switched_far_outside_the_edge() {
        assert!((edge_error(mm(0.30), mm(0.0), mm(6.0)).percent() - 1.99).abs() < 0.006);
        assert!((edge_error(mm(0.30), mm(15.0), mm(6.0)).percent() - 0.088).abs() < 0.0005);
    }
}
