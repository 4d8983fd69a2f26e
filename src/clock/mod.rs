//! The two clocks that drive the same core and the same frames: virtual time, an event queue in
//! whole microseconds, and wall time, a thread with a precise timer. A third leads virtual time by
//! wall time, for a twin that people look at. [`orders`] is what threads that drive are told.

pub mod orders;
pub mod paced;
pub mod timer;
pub mod virtual_time;
pub mod wall_time;
pub mod wires;

use evenpass_core::devices::{Rack, Survey, Transmit};
use evenpass_core::line::Link;
use evenpass_core::moment::Moment;
use evenpass_core::rig::LineId;
use evenpass_core::scan::Controller;

/// Whoever speaks first on the lines, as a clock drives it: at one moment, first what came in,
/// then time, then what must go out.
pub trait Master {
    /// A line's port came or went.
    fn handle_link(&mut self, now: Moment, line: LineId, link: Link);
    /// Bytes that have just arrived, the last of them now.
    fn handle_bytes(&mut self, now: Moment, line: LineId, bytes: &[u8]);
    /// Time has passed.
    fn handle_time(&mut self, now: Moment);
    /// A frame whose first byte leaves now, if one is due.
    fn poll_transmit(&mut self, now: Moment) -> Option<Transmit>;
    /// When something is to be done next.
    fn next_wake(&self) -> Moment;
}

macro_rules! is_master {
    ($($kind:ty),+) => {$(
        impl Master for $kind {
            fn handle_link(&mut self, now: Moment, line: LineId, link: Link) {
                Self::handle_link(self, now, line, link);
            }
            fn handle_bytes(&mut self, now: Moment, line: LineId, bytes: &[u8]) {
                Self::handle_bytes(self, now, line, bytes);
            }
            fn handle_time(&mut self, now: Moment) {
                Self::handle_time(self, now);
            }
            fn poll_transmit(&mut self, now: Moment) -> Option<Transmit> {
                Self::poll_transmit(self, now)
            }
            fn next_wake(&self) -> Moment {
                Self::next_wake(self)
            }
        }
    )+};
}

is_master!(Controller, Survey, Rack);
