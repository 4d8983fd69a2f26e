//! Times that a batch must not forget: since a part was blasted, and of flame since the torch's
//! tip was cleaned.

use serde::Serialize;

use crate::quantity::Time;

/// Share of the longest time since blasting after which it is warned: 90 of 120 min (the trade's own
/// figures; 2 h between preparation and spraying stand in coating standards, from memory).
const WARNED_FROM: f64 = 0.75;

/// From when a blasted surface counts as getting old, and as too old.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BlastLimits {
    /// Warned from here on.
    pub warn: Time,
    /// Not sprayed from here on, unless an engineer says so with a reason.
    pub block: Time,
}

impl BlastLimits {
    /// Of a recipe's longest time between blasting and spraying.
    #[must_use]
    pub fn within(longest: Time) -> Self {
        Self { warn: longest * WARNED_FROM, block: longest }
    }
}

/// When a part was blasted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Blasted {
    /// Nobody has said, since it was last in the flame.
    NotTold,
    /// Somebody has, and the clocks contradict each other.
    NotKnown,
    /// So long ago.
    Ago(Time),
}

/// How a part's surface stands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "surface")]
pub enum Blasting {
    /// Nobody has said when it was blasted since it was last in the flame: it counts as too old.
    NotTold,
    /// The clocks contradict each other about when it was blasted: it counts as too old.
    NotKnown,
    /// It may be sprayed.
    Fresh {
        /// Time since it was blasted.
        since: Time,
    },
    /// It may be sprayed, and soon no more.
    Aging {
        /// Time since it was blasted.
        since: Time,
        /// Time left until it is too old.
        left: Time,
    },
    /// It is blasted again before it is sprayed.
    TooOld {
        /// Time since it was blasted.
        since: Time,
    },
}

/// How a surface stands that was blasted then.
#[must_use]
pub fn blasting(blasted: Blasted, limits: BlastLimits) -> Blasting {
    match blasted {
        Blasted::NotTold => Blasting::NotTold,
        Blasted::NotKnown => Blasting::NotKnown,
        Blasted::Ago(since) if since >= limits.block => Blasting::TooOld { since },
        Blasted::Ago(since) if since >= limits.warn => {
            Blasting::Aging { since, left: limits.block - since }
        }
        Blasted::Ago(since) => Blasting::Fresh { since },
    }
}

/// How the torch's tip stands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Tip {
    /// How long its flame has burned since it was cleaned, as far as the record knows.
    pub burned: Time,
    /// How long it burns from one cleaning to the next.
    pub every: Time,
    /// How long it burns in the next part.
    pub in_part: Time,
    /// Whether it is to be cleaned before the next part: it would burn past its time in it.
    pub is_due: bool,
}

impl Tip {
    /// Whether it burns past its time in one part alone: it is then cleaned before each.
    #[must_use]
    pub fn is_outlasted(&self) -> bool {
        self.in_part > self.every
    }
}

/// Whether the tip is cleaned before a part in which its flame burns for so long.
#[must_use]
pub fn tip(burned: Time, every: Time, in_part: Time) -> Tip {
    Tip { burned, every, in_part, is_due: burned + in_part > every }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn minutes(value: f64) -> Time {
        Time::from_s(value * 60.0)
    }

    #[test]
    fn a_blasted_surface_is_warned_of_from_90_minutes_and_blocked_from_120() {
        let limits = BlastLimits::within(minutes(120.0));
        assert_eq!(limits.warn, minutes(90.0));
        let after = |value| blasting(Blasted::Ago(minutes(value)), limits);
        assert_eq!(after(89.0), Blasting::Fresh { since: minutes(89.0) });
        let aging = Blasting::Aging { since: minutes(90.0), left: minutes(30.0) };
        assert_eq!(after(90.0), aging);
        assert!(matches!(after(119.9), Blasting::Aging { .. }));
        assert_eq!(after(120.0), Blasting::TooOld { since: minutes(120.0) });
    }

    #[test]
    fn a_surface_of_which_nobody_spoke_is_none_to_spray_on() {
        let limits = BlastLimits::within(minutes(120.0));
        assert_eq!(blasting(Blasted::NotTold, limits), Blasting::NotTold);
        assert_eq!(blasting(Blasted::NotKnown, limits), Blasting::NotKnown);
    }

    #[test]
    fn a_tip_is_cleaned_before_the_part_in_which_its_time_would_run_out() {
        assert!(!tip(minutes(230.0), minutes(240.0), minutes(10.0)).is_due);
        let due = tip(minutes(231.0), minutes(240.0), minutes(10.0));
        assert!(due.is_due && !due.is_outlasted());
        assert!(tip(Time::ZERO, minutes(30.0), minutes(54.0)).is_outlasted());
    }
}
