//! An embedded twin for one verb: gas isolated and vented, key on, carriage at rest somewhere
//! without a datum. Nothing of it stays.

use evenpass_core::request::{Answer, Request};
use evenpass_core::rig::Rig;
use evenpass_hil::Button;

use super::{Commands, Starts, reply};
use crate::cli::served::{Reply, Trouble};
use crate::panel::asked;
use crate::panel::told::MachineTold;
use crate::people::Units;
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

    fn request(&mut self, request: Request) -> Result<Reply, Trouble> {
        self.twin.ask(request).map(reply).map_err(Trouble::Failed)
    }
}

impl Commands for OnTwin {
    fn look(&mut self) -> Result<MachineTold, Trouble> {
        let snapshot = self.twin.look().map_err(Trouble::Failed)?;
        Ok(MachineTold::of(&snapshot, self.units()))
    }

    fn ask(&mut self, word: &str, value: &str) -> Result<Reply, Trouble> {
        let (request, _) = asked(word, value).map_err(Trouble::Input)?;
        self.request(request)
    }

    fn stop(&mut self) -> Result<(), Trouble> {
        self.request(Request::Stop).map(drop)
    }

    fn units(&self) -> Units {
        Units::default()
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
