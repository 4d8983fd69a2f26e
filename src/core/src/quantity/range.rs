//! From one value to another.

use serde::Serialize;

/// A closed range of a quantity, low end first.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Range<Q> {
    /// The low end, included.
    pub low: Q,
    /// The high end, included.
    pub high: Q,
}

impl<Q: PartialOrd + Copy> Range<Q> {
    /// Whether the value lies in the range, ends included.
    #[must_use]
    pub fn contains(&self, value: Q) -> bool {
        self.low <= value && value <= self.high
    }
}
