//! Jobs that are cut off at any instant and taken up again: a run on the twin whose controller dies,
//! or whose mains fails, is read from what its journal kept, planned on and finished, and what then
//! lies on the part is held against the plan.
//!
//! Virtual time, one seed for everything. `EVENPASS_RESUMED=50` asks for more runs.

#![allow(
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test that cannot go on fails, and prints what it found"
)]

#[path = "../support/mod.rs"]
mod support;

mod changed;
mod cut;
mod ends;
mod every_entry;
mod power_cut;
mod records;
mod runs;
