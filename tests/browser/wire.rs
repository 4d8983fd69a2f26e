//! What went over the twin's lines, each burst with the wall time at which it was seen.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use std::time::SystemTime;

use evenpass::clock::virtual_time::{Way, Witness};
use evenpass_core::moment::Moment;
use evenpass_core::rig::LineId;

/// Bursts remembered: some minutes of a bench at life's own pace.
const REMEMBERED: usize = 60_000;
/// The line of the carriage's drive.
const MOTION: usize = 1;

/// One burst.
struct Burst {
    at: SystemTime,
    line: usize,
    way: Way,
    bytes: Vec<u8>,
}

impl Burst {
    /// Quick stop: bit 2 of the control word low, in a single register or at a block's head.
    fn is_quick_stop(&self) -> bool {
        self.line == MOTION
            && self.way == Way::Request
            && self.bytes.get(1) == Some(&6)
            && self.bytes.get(2..4) == Some(&[2, 0])
            && self.bytes.get(5).is_some_and(|low| low & 4 == 0)
    }
}

/// All that was seen. Its copies see the same.
#[derive(Clone, Default)]
pub(crate) struct Wire(Arc<Mutex<VecDeque<Burst>>>);

impl Wire {
    /// When the first quick-stop frame went out at that time or later.
    pub(crate) fn stop_sent_from(&self, from: SystemTime) -> Option<SystemTime> {
        let seen = self.0.lock().expect("a whole list");
        seen.iter().filter(|burst| burst.at >= from).find(|one| one.is_quick_stop()).map(|b| b.at)
    }

    /// How many bursts it remembers.
    pub(crate) fn count(&self) -> usize {
        self.0.lock().expect("a whole list").len()
    }
}

impl Witness for Wire {
    fn burst(&mut self, _: Moment, line: LineId, way: Way, bytes: &[u8]) {
        let mut seen = self.0.lock().expect("a whole list");
        if seen.len() == REMEMBERED {
            seen.pop_front();
        }
        let burst = Burst { at: SystemTime::now(), line: line.0, way, bytes: bytes.to_vec() };
        seen.push_back(burst);
    }
}
