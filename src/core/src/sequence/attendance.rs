//! Somebody must be there while a flame burns: a prompt at a set interval, a hold when nobody
//! answers. Any act at the machine is an answer, asked for or not.

use core::time::Duration;

use crate::moment::Moment;

/// What attendance demands of a scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Demand {
    /// Nothing.
    Nothing,
    /// Nobody answered.
    Hold,
}

/// When somebody was last seen, and what is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Attendance {
    /// No flame: nothing is asked.
    Idle,
    /// Seen at.
    Seen(Moment),
    /// Asked since.
    Asked(Moment),
}

impl Attendance {
    /// Somebody did something at the machine.
    pub(super) const fn act(&mut self, now: Moment) {
        if !matches!(self, Self::Idle) {
            *self = Self::Seen(now);
        }
    }

    /// One scan with the flame burning.
    pub(super) fn burning(&mut self, now: Moment, every: Duration, within: Duration) -> Demand {
        match *self {
            Self::Idle => *self = Self::Seen(now),
            Self::Seen(at) if now.since(at) >= every => *self = Self::Asked(now),
            Self::Asked(at) if now.since(at) >= within => {
                // The hold has its own end; asking starts anew with it.
                *self = Self::Seen(now);
                return Demand::Hold;
            }
            Self::Seen(_) | Self::Asked(_) => {}
        }
        Demand::Nothing
    }

    /// One scan without a flame.
    pub(super) const fn dark(&mut self) {
        *self = Self::Idle;
    }

    /// Since when an answer is waited for.
    pub(super) const fn asked(&self) -> Option<Moment> {
        match self {
            Self::Asked(at) => Some(*at),
            Self::Idle | Self::Seen(_) => None,
        }
    }
}
