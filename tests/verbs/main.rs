//! The three people at the command line: the real program asks the real `serve`, which has the twin
//! at a pace and people who sign in.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod messages;
mod scene;
mod stories;
mod terminal;

use scene::PATIENCE;
