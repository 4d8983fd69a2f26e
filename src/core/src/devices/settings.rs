//! Settings a device must have before it is trusted with energy: what it does by itself when the
//! controller falls silent.
//!
//! They are read first and written only when they differ (many devices keep them in a memory
//! that wears out), then read back. A device whose settings do not agree is not enabled.

use core::time::Duration;

use serde::Serialize;

use crate::line::{Answer, Reply, Request, Words};
use crate::moment::Moment;

/// Whether a device has the settings of the rig file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Commissioned {
    /// Not read since the device appeared.
    #[default]
    Pending,
    /// Read from the device and equal.
    Agreed,
    /// Written, read back, and still different.
    Disagrees,
    /// The device has no such registers or does not take the values.
    Refused,
}

/// How long a device that refused or disagrees is left alone before it is read again. Arbitrary:
/// a busy device is given time, a wrong one costs the line nothing.
const AGAIN_AFTER: Duration = Duration::from_secs(1);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// Read, and write when different.
    Read,
    Write,
    ReadBack,
    Agreed,
    /// Read once more at that moment, and write when different.
    RefusedUntil(Moment),
    /// Read once more at that moment. Never written again: the device had its chance.
    DisagreesUntil(Moment),
}

/// The settings of one device: consecutive holding registers.
#[derive(Debug, Clone, Copy)]
pub(super) struct Settings {
    address: u16,
    wanted: Words,
    step: Step,
}

impl Settings {
    pub(super) const fn new(address: u16, wanted: Words) -> Self {
        Self { address, wanted, step: Step::Read }
    }

    /// For a device that has none.
    pub(super) const fn none() -> Self {
        Self { address: 0, wanted: Words::new(), step: Step::Agreed }
    }

    pub(super) const fn state(&self) -> Commissioned {
        match self.step {
            Step::Read | Step::Write | Step::ReadBack => Commissioned::Pending,
            Step::Agreed => Commissioned::Agreed,
            Step::RefusedUntil(_) => Commissioned::Refused,
            Step::DisagreesUntil(_) => Commissioned::Disagrees,
        }
    }

    /// The values of the rig file.
    pub(super) fn wanted(&self) -> &[u16] {
        self.wanted.as_slice()
    }

    pub(super) fn is_agreed(&self) -> bool {
        self.state() == Commissioned::Agreed
    }

    /// When the next request is wanted.
    pub(super) const fn due(&self) -> Moment {
        match self.step {
            Step::Read | Step::Write | Step::ReadBack => Moment::START,
            Step::RefusedUntil(again) | Step::DisagreesUntil(again) => again,
            Step::Agreed => Moment::NEVER,
        }
    }

    /// What must be asked next, if anything.
    pub(super) fn next(&self) -> Option<Request> {
        match self.step {
            Step::Agreed => None,
            Step::Write => {
                Some(Request::WriteRegisters { address: self.address, words: self.wanted })
            }
            _ => Some(Request::ReadHoldingRegisters {
                address: self.address,
                count: u16::try_from(self.wanted.as_slice().len()).unwrap_or(0),
            }),
        }
    }

    /// The answer to a request of ours that ended now.
    pub(super) fn handle(&mut self, answer: &Answer<'_>, now: Moment) {
        self.step = match (self.step, answer) {
            (step, Answer::Missed(_)) => step,
            (_, Answer::Refused(_)) => Step::RefusedUntil(now + AGAIN_AFTER),
            (Step::Write, Answer::Given(_)) => Step::ReadBack,
            (step, Answer::Given(Reply::Registers(found))) => {
                let agrees = found.iter().eq(self.wanted.as_slice().iter().copied());
                match step {
                    _ if agrees => Step::Agreed,
                    Step::Read | Step::RefusedUntil(_) => Step::Write,
                    _ => Step::DisagreesUntil(now + AGAIN_AFTER),
                }
            }
            (step, Answer::Given(_)) => step,
        };
    }

    /// The device was away: nothing is known of it any more.
    pub(super) fn forget(&mut self) {
        if !self.wanted.as_slice().is_empty() {
            self.step = Step::Read;
        }
    }
}
