//! What is missing for a start, in words, as the sequence is told it every scan.

use super::Controller;
use crate::image::{Contact, Inputs, Referenced};
use crate::interlock::{Permissive, PermissiveState};
use crate::scan::readiness::{self, DEVICES};
use crate::sequence::Phase;

/// The permissive that homing gives.
pub const NO_DATUM: &str = "The carriage has no datum: home it.";

/// The name of the enabling key among what a start needs.
pub const KEY_PERMISSIVE: &str = "enabling_key";

/// The enabling key as a screen shows it before a start. No start is taken without it, but it keeps
/// nothing from being ready: whoever turns it on is the one who starts.
const KEY: Permissive = Permissive {
    key: KEY_PERMISSIVE,
    title: "Enabling key",
    state: PermissiveState::Given,
    found: String::new(),
    look: "Turn the enabling key at the machine on; then start.",
};

impl Controller {
    /// The enabling key, given or missing.
    pub(super) fn key_permissive(&self) -> Permissive {
        if self.inputs.is_on(Contact::EnablingKey, self.ages.0) {
            return KEY;
        }
        Permissive {
            state: PermissiveState::Missing,
            found: "off, or its state is unknown".to_owned(),
            ..KEY
        }
    }

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
