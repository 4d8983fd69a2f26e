//! A value with its age and its kind: what a scan may believe about one input.

use core::time::Duration;

use serde::{Deserialize, Serialize};

use crate::moment::Moment;

/// A two-valued level: a contact closed or open, a coil energised or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Open, de-energised, false: the safe side of every output and of every healthy contact.
    #[default]
    Off,
    /// Closed, energised, true.
    On,
}

impl Level {
    /// From a wire's truth value.
    #[must_use]
    pub const fn from_bit(bit: bool) -> Self {
        if bit { Self::On } else { Self::Off }
    }

    /// As a wire's truth value.
    #[must_use]
    pub const fn is_on(self) -> bool {
        matches!(self, Self::On)
    }
}

/// Why a signal is no measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Failure {
    /// Never read since the controller was made.
    NeverRead,
    /// At or under the low failure current of NAMUR NE 43: a broken wire.
    BrokenWire,
    /// At or over the high failure current of NAMUR NE 43: a short circuit.
    ShortCircuit,
    /// In NE 43's uncertain bands for longer than 0.3 s.
    Uncertain,
    /// The device answers, but its own cycle counter stands still.
    Frozen,
    /// The device answered that it cannot say.
    Refused,
    /// A jump no real process makes.
    Implausible,
}

/// How a value came to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Read from the device at its time.
    Measured,
    /// The last good value, kept for a short while.
    Held,
    /// No measurement; the value is the last one and must not be believed.
    Failed(Failure),
}

/// A value, when it was true, and what kind of value it is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Signal<T> {
    /// The value; without meaning when failed.
    pub value: T,
    /// When it was true at the device.
    pub at: Moment,
    /// How it came to be.
    pub kind: Kind,
}

impl<T: Copy + Default> Default for Signal<T> {
    fn default() -> Self {
        Self { value: T::default(), at: Moment::START, kind: Kind::Failed(Failure::NeverRead) }
    }
}

impl<T: Copy> Signal<T> {
    /// A measurement made at a time.
    #[must_use]
    pub const fn measured(value: T, at: Moment) -> Self {
        Self { value, at, kind: Kind::Measured }
    }

    /// A failed signal that last had a value.
    #[must_use]
    pub const fn failed(value: T, at: Moment, why: Failure) -> Self {
        Self { value, at, kind: Kind::Failed(why) }
    }

    /// How old it is.
    #[must_use]
    pub const fn age(&self, now: Moment) -> Duration {
        now.since(self.at)
    }

    /// The value, if it is no failure and not older than `budget`. This is the only door through
    /// which deciding code reads a value: unknown or stale gives `None`, and `None` is unsafe.
    #[must_use]
    pub fn trusted(&self, now: Moment, budget: Duration) -> Option<T> {
        match self.kind {
            Kind::Failed(_) => None,
            Kind::Measured | Kind::Held if self.age(now) > budget => None,
            Kind::Measured | Kind::Held => Some(self.value),
        }
    }
}
