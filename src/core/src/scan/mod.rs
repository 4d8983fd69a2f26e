//! The scan: read, judge, step, enforce, write, publish, in that order and nothing between.

mod controller;
mod readiness;
mod sample;
mod snapshot;
mod tell;

pub use controller::{Controller, NO_DATUM, ProofState, RigProblem};
pub use snapshot::{Beat, Snapshot};
