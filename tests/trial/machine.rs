//! The controller as a process that may be stopped: while it is, devices and wires go on, and what
//! arrives waits in the ports until it runs again.

use evenpass::clock::Master;
use evenpass_core::devices::Transmit;
use evenpass_core::line::Link;
use evenpass_core::moment::Moment;
use evenpass_core::rig::LineId;
use evenpass_core::scan::Controller;

/// A controller that may stand still.
#[derive(Debug, Clone)]
pub(crate) struct Machine {
    pub(crate) controller: Controller,
    stands_until: Moment,
    waiting: Vec<(LineId, Vec<u8>)>,
}

impl Machine {
    pub(crate) const fn new(controller: Controller) -> Self {
        Self { controller, stands_until: Moment::START, waiting: Vec::new() }
    }

    /// It stands still until then.
    pub(crate) const fn stand_until(&mut self, until: Moment) {
        self.stands_until = until;
    }
}

impl Master for Machine {
    fn handle_link(&mut self, now: Moment, line: LineId, link: Link) {
        self.controller.handle_link(now, line, link);
    }

    fn handle_bytes(&mut self, now: Moment, line: LineId, bytes: &[u8]) {
        if now < self.stands_until {
            self.waiting.push((line, bytes.to_vec()));
        } else {
            self.controller.handle_bytes(now, line, bytes);
        }
    }

    fn handle_time(&mut self, now: Moment) {
        if now < self.stands_until {
            return;
        }
        for (line, bytes) in core::mem::take(&mut self.waiting) {
            self.controller.handle_bytes(now, line, &bytes);
        }
        self.controller.handle_time(now);
    }

    fn poll_transmit(&mut self, now: Moment) -> Option<Transmit> {
        if now < self.stands_until { None } else { self.controller.poll_transmit(now) }
    }

    fn next_wake(&self) -> Moment {
        self.controller.next_wake().max(self.stands_until)
    }
}
