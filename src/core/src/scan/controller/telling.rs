//! What of a scan is written down: the sequence's events, and what a hold, a stop or a trip does.

use super::Controller;
use crate::image::Outputs;
use crate::quantity::Mass;
use crate::scan::effects::Look;
use crate::scan::episode::Turn;
use crate::sequence::{Happening, Leaf};

impl Controller {
    /// What a hold, a stop or a trip does, each with its time, and the images around its cause.
    pub(super) fn tell_effects(&mut self, before: &Outputs) {
        let verdict = self.interlocks.verdict();
        let turn = self.episodes.follow(self.inputs.now, verdict, self.sequence.phase());
        let rack = &self.rack;
        let look = Look {
            inputs: &self.inputs,
            before,
            written: &self.outputs,
            clear: self.interlocks.torch_clear(),
            coil: &|coil| rack.coil(coil),
        };
        match turn {
            Turn::Same => {}
            Turn::Began(episode) => {
                self.effects.begin(episode, &look, &mut self.ledger);
                self.around.begin(episode, &mut self.ledger);
            }
            Turn::Ended => self.effects.end(),
        }
        self.effects.look(&look, &mut self.ledger);
        self.around.look(&self.inputs, before, &mut self.ledger);
    }

    /// The sequence's events; those of a request with the person who made it.
    pub(super) fn tell_events(&mut self, person: Option<&str>) {
        while let Some(event) = self.sequence.take_event() {
            if let Happening::Moved { from: Leaf::Ready, to: Leaf::Checking, .. } = event.what {
                // The same job again is another part.
                self.coat.clone_from(&self.bare);
                self.coat_told = Mass::ZERO;
            }
            if let (Happening::PassBegan { step, .. }, Some(coat)) =
                (&event.what, self.coat.as_mut())
            {
                coat.select(step.saturating_sub(1));
            }
            let program = self.sequence.program().map(AsRef::as_ref);
            self.teller.event(&event, program, person, &mut self.ledger);
            if matches!(event.what, Happening::PassEnded { .. }) {
                self.write_coat(event.at);
            }
        }
    }
}
