//! What a screen shows: the newest picture of the whole controller, made when asked for.

use core::time::Duration;
use std::sync::Arc;

use serde::Serialize;

use super::controller::{ByHand, ProofState};
use crate::devices::{PowderCounters, RawField};
use crate::image::{Inputs, Outputs};
use crate::interlock::{Permissive, PressureWindows, Verdict};
use crate::line::LineCounters;
use crate::moment::Moment;
use crate::program::Program;
use crate::request::Direction;
use crate::sequence::Status;

/// How the scan keeps its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Beat {
    /// Scans made.
    pub scans: u64,
    /// Scans that were due and skipped because an earlier one, or the machine, was late.
    pub skipped: u64,
    /// Worst lateness of a scan, microseconds.
    pub worst_late_us: u64,
    /// Lateness of the newest scan, microseconds.
    pub late_us: u64,
    /// Worst lateness of a scan in the last whole second, microseconds.
    pub worst_lately_us: u64,
}

impl Beat {
    /// A scan was so late.
    pub(super) fn late(&mut self, late: Duration) {
        self.late_us = u64::try_from(late.as_micros()).unwrap_or(u64::MAX);
        self.worst_late_us = self.worst_late_us.max(self.late_us);
    }
}

/// The newest picture of the controller.
#[derive(Debug, Clone, PartialEq)]
pub struct Snapshot {
    /// When it was made.
    pub at: Moment,
    /// The image of the last scan.
    pub inputs: Inputs,
    /// What the last scan asked for, after the interlocks.
    pub outputs: Outputs,
    /// The interlocks' verdict.
    pub verdict: Verdict,
    /// The sequence's state, in words and figures.
    pub status: Status,
    /// The job in hand, with what people have changed in it since it was planned.
    pub program: Option<Arc<Program>>,
    /// What must be so before a start, one by one.
    pub permissives: Vec<Permissive>,
    /// Why what is done from the seat while no job runs would be denied.
    pub by_hand: ByHand,
    /// Which way the carriage was last seen to move; `None` while it has not moved since its datum
    /// was found, or since it was silent.
    pub came: Option<Direction>,
    /// Between which pressures no interlock speaks.
    pub windows: PressureWindows,
    /// What the field module said last, as it was on the wire.
    pub field: RawField,
    /// The lines' counters.
    pub lines: Vec<LineCounters>,
    /// What became of powder edges.
    pub powder: PowderCounters,
    /// How the scan keeps its time.
    pub beat: Beat,
    /// Where the proof test under way, or the last one, stands.
    pub proof: Option<ProofState>,
}
