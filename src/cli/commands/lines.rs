//! A machine on serial lines that the verb itself owns, as `prove` does: the scan begins with it,
//! and ends with it.

use std::sync::Arc;
use std::thread;
use std::time::Duration;

use evenpass_core::request::{Origin, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::{Controller, Snapshot};
use tokio::sync::oneshot;

use super::{Own, Starts, reply};
use crate::cli::served::{Reply, Trouble};
use crate::clock::orders::{Asked, Order};
use crate::clock::wall_time::WallTime;
use crate::port::Port;

/// How often the controller is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// Shown before anything is energised.
const CAUTIONS: &str = "\
CAUTION: the carriage gets torque and moves. Gas isolated and vented, nobody within its reach. Evenpass
is no safety device: emergency stop and hard limits are wired and work without it. Ctrl-C stops.
";

/// The machine.
pub(in crate::cli) struct OnLines {
    clock: WallTime,
}

impl OnLines {
    /// Starts the scan, without a job.
    ///
    /// # Errors
    /// A port cannot be opened, or the scan not be started: why.
    pub(in crate::cli) fn start(rig: &Rig, mut ports: Vec<Port>) -> Result<Self, String> {
        crate::cli::run::check_ports(&mut ports)?;
        let controller = Controller::new(rig).map_err(|problem| problem.to_string())?;
        crate::cli::say::complain(CAUTIONS);
        // What is told is for a job's record; manual work has none.
        let clock = WallTime::start(controller, ports, drop)
            .map_err(|trouble| format!("the scan cannot be started: {trouble}"))?;
        Ok(Self { clock })
    }

    /// Ends the scan; the machine lets go.
    ///
    /// # Errors
    /// What it broke down of.
    pub(in crate::cli) fn quit(self) -> Result<(), String> {
        self.clock.quit().map_err(|trouble| format!("the scan broke down: {trouble}"))
    }
}

fn gone() -> Trouble {
    Trouble::Failed("the scan ended by itself\n".to_owned())
}

impl Own for OnLines {
    fn snapshot(&mut self) -> Result<Arc<Snapshot>, Trouble> {
        thread::sleep(LOOK_EVERY);
        if self.clock.has_ended() {
            return Err(gone());
        }
        Ok(self.clock.windows.snapshots.borrow().clone())
    }

    fn request(&mut self, request: Request) -> Result<Reply, Trouble> {
        let (to, answer) = oneshot::channel();
        let order = Order::Request(Asked { request, origin: Origin::Seat, person: None }, to);
        self.clock.orders.send(order).map_err(|_| gone())?;
        answer.blocking_recv().map(reply).map_err(|_| gone())
    }
    /// Nobody has signed in here.
    fn starts(&self) -> Starts {
        Starts::Button
    }

    fn start(&mut self) -> Result<Reply, Trouble> {
        Err(Trouble::Failed("the start button at the machine begins\n".to_owned()))
    }
}
