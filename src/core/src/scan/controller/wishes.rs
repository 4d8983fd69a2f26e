//! What the sequence wishes of the interlocks.

use super::Controller;
use crate::image::Inputs;
use crate::interlock::{Inspected, PurgeDone, Raised};
use crate::sequence::Wish;

impl Controller {
    /// Hands the sequence's wishes to the interlocks.
    pub(super) fn grant_wishes(&mut self, inputs: &Inputs) {
        while let Some(wish) = self.sequence.take_wish() {
            let now = self.now;
            match wish {
                Wish::Acknowledge => self.interlocks.acknowledge(now),
                Wish::Reset => {
                    // What is still needed stays in the verdict and is shown with it.
                    let _ =
                        self.interlocks.reset(inputs, &self.outputs, PurgeDone::No, Inspected::No);
                }
                Wish::Abort => {
                    self.interlocks.request(now, Raised::Abort);
                }
                Wish::BadFlame => {
                    self.interlocks.request(now, Raised::BadFlame);
                }
                Wish::CoatLifting => {
                    self.interlocks.request(now, Raised::CoatLifting);
                }
                Wish::Inspected => self.interlocks.inspected(),
                Wish::Unattended => {
                    self.interlocks.request(now, Raised::Attendance);
                }
                Wish::PurgeDone => self.interlocks.purged(),
                Wish::PurgeLeft => self.interlocks.purge_left(),
                Wish::Restarted | Wish::Ended => {
                    // Causes that are still there stay, and keep the job where it is.
                    let _ = self.interlocks.clear_holds(now);
                }
                Wish::IsolationLost => {
                    self.interlocks.raise(
                        now,
                        Raised::Abort,
                        "gas, spindle or axis is no longer proved isolated: leave the machine",
                    );
                }
                Wish::Stalled => {
                    self.interlocks.raise(
                        now,
                        Raised::Stalled,
                        "the controller stood still for too long",
                    );
                }
                Wish::LockedOut => {
                    self.interlocks.request(now, Raised::IgnitionLockout);
                }
            }
        }
    }
}
