//! An embedded twin for one verb: gas isolated and vented, key on, carriage at rest somewhere
//! without a datum. Nothing of it stays.

use std::sync::Arc;

use evenpass_core::request::{Answer, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::Snapshot;
use evenpass_hil::Button;

use super::{Own, Starts, reply};
use crate::cli::served::{Reply, Trouble};
use crate::proving::{Place as _, Twin};

/// Shown before anything moves.
pub(super) const NOTE: &str = "\
note: no serve runs with these records: this is an embedded twin that ends with this command.
Nothing that it moves stays. Start a serve, or name the machine's rig file or its ports.";

/// How long a finger stays on a button, of the twin's time.
const PRESS: std::time::Duration = std::time::Duration::from_millis(300);

/// The twin.
pub(in crate::cli) struct OnTwin {
    twin: Twin,
}

impl OnTwin {
    /// Power just on.
    ///
    /// # Errors
    /// The bench cannot be built: why.
    pub(in crate::cli) fn start(rig: &Rig) -> Result<Self, String> {
        Ok(Self { twin: Twin::new(rig, 1)? })
    }
}

impl Own for OnTwin {
    fn snapshot(&mut self) -> Result<Arc<Snapshot>, Trouble> {
        self.twin.look().map(Arc::new).map_err(Trouble::Failed)
    }

    fn request(&mut self, request: Request) -> Result<Reply, Trouble> {
        self.twin.ask(request).map(reply).map_err(Trouble::Failed)
    }

    fn starts(&self) -> Starts {
        Starts::Simulated
    }

    fn start(&mut self) -> Result<Reply, Trouble> {
        self.twin.bench().press(Button::Start);
        self.twin.wait(PRESS);
        self.twin.bench().release(Button::Start);
        Ok(reply(Answer::Accepted))
    }
}
