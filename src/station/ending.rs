//! How a station ends: a stop in order, then the scan, then the record.

use std::thread;
use std::time::{Duration, Instant};

use evenpass_core::image::Coil;
use evenpass_core::request::{Origin, Request};
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::Phase;
use tokio::sync::oneshot;

use super::scan::Scan;
use super::{Station, locked};
use crate::clock::orders::{Asked, Order};

/// How long the end of a program waits for a stop in order: longest retreat and purge, with room.
const STOPS_WITHIN: Duration = Duration::from_secs(60);
/// How often that is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);

impl Station {
    /// Whether the scan has ended by itself.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        locked(&self.inside.scan).as_ref().is_none_or(Scan::has_ended)
    }

    /// Ends everything: a stop in order, then the scan, then the record. Waits for as long as that
    /// takes, but not for the part to cool: the machine's own reaction keeps the spindle turning.
    ///
    /// # Errors
    /// What the scan broke down of.
    pub fn quit(&self) -> Result<(), String> {
        let (reply, _) = oneshot::channel();
        let asked = Asked { request: Request::Stop, origin: Origin::Watcher, person: None };
        if self.order(Order::Request(asked, reply)).is_ok() {
            let until = Instant::now() + STOPS_WITHIN;
            thread::sleep(LOOK_EVERY * 4);
            while Instant::now() < until && !self.has_ended() && !is_at_rest(&self.snapshot()) {
                thread::sleep(LOOK_EVERY);
            }
        }
        // The lock is let go before the thread is waited for.
        let scan = locked(&self.inside.scan).take();
        let ended = scan.map_or(Ok(()), Scan::quit);
        let keeper = locked(&self.inside.keeper).take();
        if let Some(keeper) = keeper {
            keeper.quit();
        }
        ended.map_err(|trouble| format!("the scan broke down: {trouble}"))
    }
}

/// Whether nothing burns and nothing of a job is under way but the cooling.
fn is_at_rest(snapshot: &Snapshot) -> bool {
    let shut = |coil| !snapshot.outputs.coil(coil).is_on();
    let gases = shut(Coil::Fuel) && shut(Coil::Oxygen);
    let phase = snapshot.status.phase;
    gases
        && matches!(
            phase,
            Phase::Idle | Phase::Stopped | Phase::Complete | Phase::Aborted | Phase::Manual
        )
}
