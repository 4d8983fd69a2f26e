//! A coat that is measured between two passes, or after the last one: what is missing, and what
//! makes it good.
//!
//! By cross-section, since a growing part takes ever thinner layers: `R_N^2 = R_0^2 + N k`. What
//! was measured over what was expected is what the efficiency has to be corrected by; so many
//! passes of the corrected size are missing.

use serde::{Deserialize, Serialize};

use crate::coat::deposit::area_of;
use crate::learn::LARGEST_CHANGE;
use crate::quantity::{Fraction, Length};

/// A part of a pass this small is not worth a pass (arbitrary: nobody measures it).
const NO_PASS: f64 = 0.02;

/// No zone has more passes (arbitrary: twice what a recipe can ask for).
const MOST_PASSES: u32 = 1000;

/// A whole number of passes from zero to `most`.
fn whole(passes: f64, most: u32) -> u32 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a whole number from zero to what a count holds"
    )]
    let passes = passes.clamp(0.0, f64::from(most)) as u32;
    passes
}

/// Passes of a zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PassesMade {
    /// Those that are done; at least one.
    pub done: u32,
    /// Those that are planned, with what people changed.
    pub planned: u32,
}

/// What was measured in a zone, and what was expected there. All cold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoatFound {
    /// The diameter before coating.
    pub before: Length,
    /// Radial build expected of the passes that are done.
    pub expected: Length,
    /// Radial build measured.
    pub measured: Length,
    /// One standard deviation of that.
    pub within: Length,
    /// The passes.
    pub passes: PassesMade,
    /// What all planned passes leave, in passes of the size that one more would have: as many as
    /// there are, unless people changed the feed of some.
    pub alike: f64,
    /// The efficiency that was expected.
    pub efficiency: Fraction,
}

/// Who decides what becomes of a change of the efficiency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Decides {
    /// Whoever measures: it is small.
    Measuring,
    /// The engineer.
    Engineer,
}

/// What a measured coat says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CoatCheck {
    /// Radial build expected of the passes that are done.
    pub expected: Length,
    /// Radial build measured.
    pub measured: Length,
    /// One standard deviation of that.
    pub within: Length,
    /// The passes.
    pub passes: PassesMade,
    /// The efficiency that was expected.
    pub efficiency: Fraction,
    /// The one that was measured: with the density as it is believed to be.
    pub efficiency_found: Fraction,
    /// One standard deviation of it.
    pub efficiency_within: Fraction,
    /// Passes missing at the end of the planned ones, each of the size that was measured; below
    /// zero where there is too much.
    pub missing: f64,
}

impl CoatCheck {
    /// Of a coat; `None` where no pass is done, or nothing was expected or measured, so that a
    /// pass has no size.
    #[must_use]
    pub fn of(found: &CoatFound) -> Option<Self> {
        let expected = area_of(found.before, found.expected);
        let measured = area_of(found.before, found.measured);
        if found.passes.done == 0 || expected <= 0.0 || measured <= 0.0 {
            return None;
        }
        let ratio = measured / expected;
        // d(area)/d(build) over the area, to first order.
        let slope = area_of(found.before, found.measured + found.within) - measured;
        Some(Self {
            expected: found.expected,
            measured: found.measured,
            within: found.within,
            passes: found.passes,
            efficiency: found.efficiency,
            efficiency_found: found.efficiency * ratio,
            efficiency_within: found.efficiency * (slope / expected),
            missing: found.alike * (1.0 / ratio - 1.0),
        })
    }

    /// Whole passes that have to be added to those planned, at the efficiency that was measured.
    #[must_use]
    pub fn extra(&self) -> u32 {
        whole((self.missing - NO_PASS).ceil(), MOST_PASSES)
    }

    /// Whole passes of those planned that are too many; none that is done already.
    #[must_use]
    pub fn spare(&self) -> u32 {
        let left = self.passes.planned.saturating_sub(self.passes.done);
        whole((-self.missing + NO_PASS).floor(), left)
    }

    /// How the efficiency changes, as a share of what was expected.
    #[must_use]
    pub fn change(&self) -> f64 {
        self.efficiency_found / self.efficiency - 1.0
    }

    /// Who decides whether that is so.
    #[must_use]
    pub fn decides(&self) -> Decides {
        if self.change().abs() > LARGEST_CHANGE { Decides::Engineer } else { Decides::Measuring }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reference(measured: f64, done: u32, expected: f64) -> CoatFound {
        CoatFound {
            before: Length::from_mm(50.0),
            expected: Length::from_mm(expected),
            measured: Length::from_mm(measured),
            within: Length::from_mm(0.005),
            passes: PassesMade { done, planned: 9 },
            alike: 9.0,
            efficiency: Fraction::from_ratio(0.85),
        }
    }

    /// The reference job, D 50, 9 passes of k = 3.9354676 mm2: 0.69862 mm expected. With 0.620 mm
    /// the ratio of (R^2 - R_0^2) is 0.886084, the efficiency 0.75317, and 9 (1 / 0.886084 - 1) =
    /// 1.157 passes are missing; -11.4 % is more than the tenth that nobody has to ask about.
    /// Computed here from the mass balance.
    #[test]
    fn a_thin_coat_after_nine_passes_wants_two_more_and_the_engineer() {
        let check = CoatCheck::of(&reference(0.620, 9, 0.698_625)).expect("a coat");
        assert!((check.efficiency_found.ratio() - 0.75317).abs() < 5e-6, "{check:?}");
        assert!((check.missing - 1.157).abs() < 5e-4, "{}", check.missing);
        assert_eq!(check.extra(), 2);
        assert!((check.change() + 0.114).abs() < 5e-4, "{}", check.change());
        assert_eq!(check.decides(), Decides::Engineer);
        // 5 um of 620 um, by area.
        assert!((check.efficiency_within.ratio() - 0.75317 * 0.005 / 0.620).abs() < 1e-4);
    }

    /// The same efficiency seen after five of the nine passes: 0.39050 mm expected, and the same
    /// two passes are missing at the end.
    #[test]
    fn a_thin_coat_is_seen_in_mid_job_and_misses_as_many_passes_at_the_end() {
        let build = (625.0_f64 + 5.0 * 3.935_467_6 * 0.886_084).sqrt() - 25.0;
        let check = CoatCheck::of(&reference(build, 5, 0.390_500_5)).expect("a coat");
        assert!((check.efficiency_found.ratio() - 0.75317).abs() < 2e-5, "{check:?}");
        assert!((check.missing - 1.157).abs() < 1e-3, "{}", check.missing);
        assert_eq!((check.extra(), check.spare()), (2, 0));
    }

    #[test]
    fn a_coat_as_expected_wants_nothing_and_nobody() {
        let check = CoatCheck::of(&reference(0.698_625, 9, 0.698_625)).expect("a coat");
        assert_eq!((check.extra(), check.spare()), (0, 0));
        assert_eq!(check.decides(), Decides::Measuring);
    }

    /// 1.3 times the coat after five passes: 9 (1 / 1.3 - 1) = -2.08, so two of the four that are
    /// left can go; after nine none can.
    #[test]
    fn a_thick_coat_says_which_of_the_passes_left_are_too_many() {
        let build = (625.0_f64 + 5.0 * 3.935_467_6 * 1.3).sqrt() - 25.0;
        let check = CoatCheck::of(&reference(build, 5, 0.390_500_5)).expect("a coat");
        assert_eq!((check.extra(), check.spare()), (0, 2));
        assert_eq!(check.decides(), Decides::Engineer);
        let late = CoatCheck::of(&reference(0.9, 9, 0.698_625)).expect("a coat");
        assert_eq!(late.spare(), 0);
    }

    /// Five passes as planned and four at 5 % more feed leave 5 * 1.05 + 4 = 9.25 of the size of the
    /// last: with 0.886084 of the coat 9.25 (1 / 0.886084 - 1) = 1.189 of those are missing. Computed
    /// here.
    #[test]
    fn missing_passes_are_of_the_size_that_one_more_would_have() {
        let trimmed = CoatFound { alike: 9.25, ..reference(0.620, 9, 0.698_625) };
        let check = CoatCheck::of(&trimmed).expect("a coat");
        assert!((check.missing - 1.189).abs() < 5e-4, "{}", check.missing);
    }

    #[test]
    fn without_a_pass_or_a_coat_nothing_is_said() {
        assert!(CoatCheck::of(&reference(0.620, 0, 0.698_625)).is_none());
        assert!(CoatCheck::of(&reference(-0.01, 9, 0.698_625)).is_none());
        assert!(CoatCheck::of(&reference(0.620, 9, 0.0)).is_none());
    }
}
