//! Proof tests led from preparation to result, on the twin and on a machine.
//!
//! - [`lead`] takes one interlock through its proof at a [`Place`]: it enters proving, says what to
//!   do, waits for what the controller measures, and sees the device put back and the trip reset.
//! - [`Twin`] is the bench in virtual time, with [`technician`] for the hands at its devices.
//! - [`keeping`] writes results to the record and reads when each proof is due.

pub mod keeping;
mod leading;
pub mod technician;
mod twin;

pub use leading::{Instruction, Led, Place, Said, lead};
pub use twin::Twin;
