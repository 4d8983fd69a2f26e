//! How much faster or slower than planned a person has the passes go.

use core::fmt;

use serde::{Deserialize, Serialize};

/// A change of feed in whole percent of the planned one. Faster is thinner: `+5 %` of feed is
/// 1/1.05 of the coat of a pass. No trim is zero.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize,
)]
pub struct Trim {
    percent: i8,
}

impl Trim {
    /// As planned.
    pub const NONE: Self = Self { percent: 0 };

    /// The most that all trims of a pass may come to, percent either way. What needs more is another
    /// plan (arbitrary; within it the heat and the ripple of a pass stay near the forecast).
    pub const MOST: i8 = 10;

    /// So many percent more feed; less when negative.
    #[must_use]
    pub const fn of_percent(percent: i8) -> Self {
        Self { percent }
    }

    /// The change in percent.
    #[must_use]
    pub const fn percent(self) -> i8 {
        self.percent
    }

    /// The feed over the planned one.
    #[must_use]
    pub fn of_feed(self) -> f64 {
        1.0 + f64::from(self.percent) / 100.0
    }

    /// The coat of a thin pass over that of the planned one: it goes with the time the torch takes.
    #[must_use]
    pub fn of_coat(self) -> f64 {
        1.0 / self.of_feed()
    }

    /// Both together; `None` beyond [`Trim::MOST`].
    #[must_use]
    pub fn with(self, more: Self) -> Option<Self> {
        let percent = self.percent.checked_add(more.percent)?;
        (-Self::MOST..=Self::MOST).contains(&percent).then_some(Self { percent })
    }
}

/// With its sign and unit: `+5 %`, `-3 %`, `0 %`.
impl fmt::Display for Trim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.percent {
            0 => f.write_str("0 %"),
            percent => write!(f, "{percent:+} %"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trims_add_up_to_ten_percent_either_way_and_no_farther() {
        let of = Trim::of_percent;
        assert_eq!(of(4).with(of(6)), Some(of(10)));
        assert_eq!(of(-4).with(of(-6)), Some(of(-10)));
        assert_eq!(of(5).with(of(-5)), Some(Trim::NONE));
        for (one, other) in [(5, 6), (-5, -6), (0, 11), (i8::MAX, 1), (i8::MIN, -1)] {
            assert_eq!(of(one).with(of(other)), None, "{one} and {other}");
        }
    }

    #[test]
    fn a_faster_pass_is_thinner_by_as_much() {
        assert!((Trim::of_percent(5).of_coat() - 0.952_381).abs() < 1e-6);
        assert!((Trim::of_percent(-5).of_coat() - 1.052_632).abs() < 1e-6);
        assert_eq!(Trim::of_percent(-5).to_string(), "-5 %");
        assert_eq!(Trim::of_percent(5).to_string(), "+5 %");
    }
}
