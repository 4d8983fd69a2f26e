//! Attacks on the panel: the real program with its panel on one side, raw sockets on the other.
//! Each attack is refused and written down; a stop is taken through all of them.
//!
//! `cargo test --release --test attacks -- --nocapture` prints how many wrong PINs reached the
//! hash, how long a stop took and how late the scan was during each flood, beside idle.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod added;
mod commands;
mod floods;
mod forged;
mod jog_line;
mod lateness;
mod malformed;
mod orders;
mod person;
mod pins;
#[path = "../ptys/mod.rs"]
mod ptys;
mod raw;
mod rights;
mod roll;
mod script;
mod seen;
mod served;
mod stops;
