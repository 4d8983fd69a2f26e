//! The scan: read, judge, step, enforce, write, publish, in that order and nothing between.

mod around;
mod came;
mod controller;
mod effects;
mod episode;
mod reaction;
mod readiness;
mod sample;
mod snapshot;
mod tell;

pub use controller::{ByHand, Controller, KEY_PERMISSIVE, NO_DATUM, ProofState, RigProblem};
pub use reaction::{Reaction, RowTimes, times};
pub use snapshot::{Beat, Snapshot};
