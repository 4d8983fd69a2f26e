//! The deciding core of Evenpass: values and time in, values out. No clock, no thread, no file,
//! no socket, no randomness.
//!
//! Layers, each using only those above it:

pub mod catalogue;
pub mod cia402;
pub mod image;
pub mod interlock;
pub mod ledger;
pub mod moment;
pub mod program;
pub mod quantity;
pub mod recipe;
pub mod request;
pub mod rig;
pub mod sequence;
