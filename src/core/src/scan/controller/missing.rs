//! What is missing for a start, in words, as the sequence is told it every scan.

use super::Controller;
use crate::image::{Inputs, Referenced};
use crate::scan::readiness::{self, DEVICES};
use crate::sequence::Phase;

/// The permissive that homing gives.
pub const NO_DATUM: &str = "The carriage has no datum: home it.";

impl Controller {
    /// What is missing for a start; looked for only where a start may be near.
    pub(super) fn look_for_permissives(&mut self, inputs: &Inputs) {
        self.missing.clear();
        if !matches!(
            self.sequence.phase(),
            Phase::Idle | Phase::Manual | Phase::Starting | Phase::Complete | Phase::Stopped
        ) {
            return;
        }
        self.interlocks.missing(inputs, &self.sequence.limits(), &mut self.missing);
        self.missing.extend_from_slice(&self.proofs.missing);
        if inputs.axis.value.referenced == Referenced::No {
            self.missing.push(NO_DATUM);
        }
        let rack = &self.rack;
        self.missing.extend(
            DEVICES
                .into_iter()
                .filter_map(|device| readiness::missing(device, rack.commissioned(device))),
        );
    }
}
