//! The record keeps what it promised when the power goes, and when the disk refuses.
//!
//! The disk is a shim under SQLite (`tests/disk`) that nothing in the program knows of.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod checked;
mod cuts;
mod job;
mod refusals;
#[path = "../support/mod.rs"]
mod support;
