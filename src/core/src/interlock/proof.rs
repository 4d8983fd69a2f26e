//! A row under proof: looked at whatever arms it, and armed on top of that for one scan at a time.
//!
//! It only ever adds a cause. A row that images and outputs arm stays armed by them, and nothing
//! here takes an effect, a delay or a set-point away.

use crate::image::{Contact, Level};
use crate::interlock::judge::{Finding, View, find, open};
use crate::interlock::matrix::{Row, Watch, row};

/// Which row is proved, and whether it counts as armed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProofWatch {
    /// The row's key.
    pub key: &'static str,
    /// Whether it counts as armed in the next scan although there is no gas, no powder and no
    /// motion to arm it.
    pub armed: Level,
}

/// What the last scan found of the row under proof.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProofFinding {
    /// What it watches is known to be as it should.
    Healthy,
    /// It is not.
    Unhealthy,
    /// It could not be judged: another row's transmitter or the silent module stands in its way.
    NotJudged,
}

impl ProofFinding {
    pub(super) const fn of(finding: Finding) -> Self {
        match finding {
            Finding::Clear => Self::Healthy,
            Finding::Present => Self::Unhealthy,
            Finding::Inhibited => Self::NotJudged,
        }
    }
}

/// The row at hand, for the slots.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Proved {
    number: Option<u16>,
    armed: Level,
}

impl Proved {
    pub(super) fn of(watch: Option<ProofWatch>) -> Self {
        let known = watch.and_then(|watch| row(watch.key).map(|row| (row, watch.armed)));
        known.map_or_else(Self::default, |(row, armed)| Self { number: Some(row.number), armed })
    }

    /// Whether that row is the one under proof.
    pub(super) fn is(self, row: &Row) -> bool {
        self.number == Some(row.number)
    }

    /// Whether that row counts as armed by its proof.
    pub(super) fn arms(self, row: &Row) -> bool {
        self.is(row) && self.armed.is_on()
    }
}

/// What a row under proof watches. A hard limit counts in a run only when the carriage is asked
/// that way; its proof looks at the switch.
pub(super) fn find_under_proof(watch: Watch, set_point: f64, view: &View<'_>) -> Finding {
    match watch {
        Watch::LimitTowardChuck => open(Contact::LimitMinus, view),
        Watch::LimitTowardTail => open(Contact::LimitPlus, view),
        _ => find(watch, set_point, view),
    }
}
