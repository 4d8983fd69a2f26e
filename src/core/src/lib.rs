//! The deciding core of Evenpass: values and time in, values out. No clock, no thread, no file,
//! no socket, no randomness.
//!
//! Layers, each using only those above it:
//!
//! 1. [`moment`], [`quantity`]: time, and numbers that know what they measure.
//! 2. [`document`]: text to typed values, with every problem named and placed.
//! 3. [`catalogue`], [`recipe`], [`rig`]: what is coated with what, and on which machine.
//! 4. [`program`], [`coat`], [`plan`]: what to do, what it will give, and how that is worked out.
//! 5. [`image`], [`request`], [`ledger`]: what a scan knows and asks, what people ask, what is
//!    written down.
//! 6. [`interlock`]: causes, the latched verdict, and what is taken away.
//! 7. [`line`], [`cia402`], [`devices`]: frames, one transaction at a time, and the devices.
//! 8. [`sequence`]: the job as a state machine, and its gate. 9. [`scan`]: all of it, once a period.

pub mod catalogue;
pub mod cia402;
pub mod coat;
pub mod devices;
pub mod document;
pub mod image;
pub mod interlock;
pub mod ledger;
pub mod line;
pub mod moment;
pub mod plan;
pub mod program;
pub mod quantity;
pub mod recipe;
pub mod request;
pub mod rig;
pub mod scan;
pub mod sequence;
