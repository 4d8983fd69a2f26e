//! The scan behind a station: on serial lines, or on the twin at the pace of life. The station asks
//! both the same.

use std::io;

use crate::clock::orders::{Order, Windows};
use crate::clock::paced::{AtBench, Gone, Paced};
use crate::clock::wall_time::WallTime;

/// A running scan.
pub(super) enum Scan {
    /// Of a machine on its lines.
    Lines(WallTime),
    /// Of the twin.
    Twin(Paced),
}

impl Scan {
    /// What is to be seen of it.
    pub(super) const fn windows(&self) -> &Windows {
        match self {
            Self::Lines(clock) => &clock.windows,
            Self::Twin(paced) => &paced.windows,
        }
    }

    /// Tells it something.
    ///
    /// # Errors
    /// It has ended.
    pub(super) fn tell(&self, order: Order) -> Result<(), Gone> {
        match self {
            Self::Lines(clock) => clock.orders.send(order).map_err(|_| Gone),
            Self::Twin(paced) => paced.orders.send(order),
        }
    }

    /// Does something at the twin's bench; a machine has none.
    ///
    /// # Errors
    /// There is no twin, or it has ended.
    pub(super) fn at_bench(&self, act: AtBench) -> Result<(), Gone> {
        match self {
            Self::Lines(_) => Err(Gone),
            Self::Twin(paced) => paced.orders.at_bench(act),
        }
    }

    /// Whether it has ended by itself.
    pub(super) fn has_ended(&self) -> bool {
        match self {
            Self::Lines(clock) => clock.has_ended(),
            Self::Twin(paced) => paced.has_ended(),
        }
    }

    /// Ends it and waits for that.
    ///
    /// # Errors
    /// What it broke down of.
    pub(super) fn quit(self) -> io::Result<()> {
        match self {
            Self::Lines(clock) => clock.quit(),
            Self::Twin(paced) => paced.quit(),
        }
    }
}
