//! Time inside the core: whole microseconds since the controller was made, handed in by the caller.

use core::fmt;
use core::ops::{Add, Sub};
use core::time::Duration;

use serde::{Deserialize, Serialize};

/// An instant on the controller's own time line, in whole microseconds since it was made.
///
/// The core has no clock: whoever drives it says what time it is. Both drivers (wall time and
/// virtual time) count in the same unit, so nothing in the core can know which one it is on.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Moment(u64);

impl Moment {
    /// The moment the controller was made.
    pub const START: Self = Self(0);
    /// Later than anything that will happen: "no wake wanted".
    pub const NEVER: Self = Self(u64::MAX);

    /// A moment so many microseconds after the start.
    #[must_use]
    pub const fn from_micros(micros: u64) -> Self {
        Self(micros)
    }

    /// Microseconds since the start.
    #[must_use]
    pub const fn as_micros(self) -> u64 {
        self.0
    }

    /// Seconds since the start, for display and physics.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "2^53 us is 285 years")]
    pub fn as_seconds(self) -> f64 {
        self.0 as f64 * 1e-6
    }

    /// How long after `earlier` this is; zero when it is not after it (a clock set back can
    /// never make a duration negative).
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        Duration::from_micros(self.0.saturating_sub(earlier.0))
    }

    /// The moment `span` before this one, not before the start.
    #[must_use]
    pub fn before(self, span: Duration) -> Self {
        Self(self.0.saturating_sub(micros(span)))
    }
}

/// Whole microseconds of a duration, saturating.
fn micros(span: Duration) -> u64 {
    u64::try_from(span.as_micros()).unwrap_or(u64::MAX)
}

impl Add<Duration> for Moment {
    type Output = Self;
    fn add(self, span: Duration) -> Self {
        Self(self.0.saturating_add(micros(span)))
    }
}

impl Sub for Moment {
    type Output = Duration;
    fn sub(self, earlier: Self) -> Duration {
        self.since(earlier)
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3} s", self.as_seconds())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_duration_never_goes_negative_when_the_clock_is_set_back() {
        let later = Moment::from_micros(10);
        assert_eq!(Moment::START - later, Duration::ZERO);
        assert_eq!(later - Moment::START, Duration::from_micros(10));
    }

    #[test]
    fn adding_to_never_stays_never() {
        assert_eq!(Moment::NEVER + Duration::from_secs(1), Moment::NEVER);
    }
}
