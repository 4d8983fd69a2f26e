//! The running estimate of the coat: fed by every scan, written down where a pass ends and wherever
//! powder ceases to arrive, so that a job that was cut off can be taken up from its record.

use super::Controller;
use crate::image::{AxisReading, Coil, Contact, Inputs, Level, Referenced};
use crate::moment::Moment;
use crate::quantity::Mass;
use crate::scan::tell::CoatSoFar;

impl Controller {
    /// Powder that comes without a flame makes no coat; what is in the hose when the carrier's air
    /// goes stays there until a purge, clear of the part.
    pub(super) fn estimate_coat(&mut self, inputs: &Inputs) {
        let AxisReading { position, velocity, referenced, .. } = inputs.axis.value;
        let believed = |coil| {
            let coil = self.rack.coil(coil);
            coil.acknowledged.or(coil.commanded).unwrap_or(Level::Off)
        };
        let (powder, air) = (believed(Coil::Powder), believed(Coil::CarrierAir));
        let Some(coat) = self.coat.as_mut() else { return };
        let span = inputs.now.since(self.inputs.now);
        let (budget, _) = self.ages;
        if !air.is_on() {
            coat.cut();
        } else if inputs.is_off(Contact::Flame, budget) || referenced != Referenced::Yes {
            coat.miss(span, powder);
        } else {
            coat.step(span, position, velocity, powder);
        }
    }

    /// Writes the coat down once nothing arrives any more.
    pub(super) fn tell_coat(&mut self) {
        if self.coat.as_ref().is_some_and(|coat| !coat.is_arriving()) {
            self.write_coat(self.inputs.now);
        }
    }

    /// Writes down what has arrived in the step that sprays, if anything has since the last time.
    pub(super) fn write_coat(&mut self, at: Moment) {
        let Some(coat) = &self.coat else { return };
        let arrived = coat.arrived();
        if (arrived - self.coat_told).abs() <= Mass::ZERO {
            return;
        }
        self.coat_told = arrived;
        let program = self.sequence.program().map(AsRef::as_ref);
        if let Some(told) = CoatSoFar::of(coat, program) {
            told.write(at, &mut self.ledger);
        }
    }
}
