//! Settings a device must have before it is trusted with energy: what it does by itself when the
//! controller falls silent.
//!
//! They are read first and written only when they differ (many devices keep them in a memory
//! that wears out), then read back. A device whose settings do not agree is not enabled.

use serde::Serialize;

use crate::line::{Answer, Reply, Request, Words};

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

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Read,
    Write,
    ReadBack,
    Done(Commissioned),
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
        Self { address: 0, wanted: Words::new(), step: Step::Done(Commissioned::Agreed) }
    }

    pub(super) const fn state(&self) -> Commissioned {
        match self.step {
            Step::Done(state) => state,
            Step::Read | Step::Write | Step::ReadBack => Commissioned::Pending,
        }
    }

    pub(super) fn is_agreed(&self) -> bool {
        self.state() == Commissioned::Agreed
    }

    /// What must be asked next, if anything.
    pub(super) fn next(&self) -> Option<Request> {
        match self.step {
            Step::Read | Step::ReadBack => Some(Request::ReadHoldingRegisters {
                address: self.address,
                count: u16::try_from(self.wanted.as_slice().len()).unwrap_or(0),
            }),
            Step::Write => {
                Some(Request::WriteRegisters { address: self.address, words: self.wanted })
            }
            Step::Done(_) => None,
        }
    }

    pub(super) fn handle(&mut self, answer: &Answer<'_>) {
        self.step = match (self.step, answer) {
            (step, Answer::Missed(_)) => step,
            (_, Answer::Refused(_)) => Step::Done(Commissioned::Refused),
            (Step::Write, Answer::Given(_)) => Step::ReadBack,
            (step, Answer::Given(Reply::Registers(found))) => {
                let agrees = found.iter().eq(self.wanted.as_slice().iter().copied());
                match step {
                    _ if agrees => Step::Done(Commissioned::Agreed),
                    Step::Read => Step::Write,
                    _ => Step::Done(Commissioned::Disagrees),
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
