//! Whole stories at the panel, in a browser: the server runs in the test's own process, on the
//! twin; a person signs in, reads, presses buttons that can be seen and reached, and waits for
//! words. They need Chromium and its driver, and are therefore left out unless they are asked for:
//!
//! `cargo test --release --test browser -- --ignored --nocapture --test-threads=1`
//!
//! `EVENPASS_SHOTS` names a folder for pictures of every page.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod cut;
mod driver;
mod engineer;
mod flame_lost;
mod inspector;
mod jogging;
mod looks;
mod many_pages;
mod operator;
mod orders;
mod pages;
mod printed;
mod proofs;
#[path = "../ptys/mod.rs"]
mod ptys;
mod resources;
mod restarted;
mod scene;
mod screen;
mod taken_up;
mod units;
mod weight;
mod wire;
