//! Promises about input from outside, as functions that take any bytes and panic where a promise
//! is broken.
//!
//! - [`frames`]: what a serial line brings, to the controller and to the bench's devices.
//! - [`rig`], [`recipe`], [`catalogue`]: files that a person wrote.
//!
//! The same functions run under the coverage-guided fuzzer (`targets/`, nightly), under dice
//! (`targets/dice.rs`, any toolchain) and in `cargo test`, there with the seeds alone.

mod checksum;
mod dice;
mod frames;
mod shipped;
mod texts;

pub use dice::{Dice, damaged};
pub use frames::frames;
pub use shipped::{SHIPPED, Shipped, TARGETS};
pub use texts::{catalogue, recipe, rig};
