//! The deciding core of Evenpass: values and time in, values out. No clock, no thread, no file,
//! no socket, no randomness.
//!
//! Layers, each using only those above it:
//!
//! 1. [`moment`], [`quantity`]: time, and numbers that know what they measure.
//! 2. [`document`]: text to typed values, with every problem named and placed.
//! 3. [`cia402`]: a drive's power states.
//! 4. [`image`], [`request`], [`ledger`]: what a scan knows and asks, what people ask, what is
//!    written down. An image tells a drive's power state, so it uses [`cia402`].
//! 5. [`catalogue`], [`recipe`], [`rig`]: what is coated with what, and on which machine.
//! 6. [`model`], [`program`], [`coat`], [`plan`], [`learn`]: the physics of coat and heat, what to
//!    do, what it will give, how that is worked out, and what measured parts say of it.
//! 7. [`inspection`]: what is measured of a part while it is made and when it is finished, and what
//!    that says.
//! 8. [`teach`], [`calibrate`]: what points taken at a part make of it, and what measurements at
//!    the machine make of its file.
//! 9. [`batch`]: many parts alike: which is next, what it needs first, how far it drifted.
//! 10. [`interlock`]: causes, the latched verdict, and what is taken away.
//! 11. [`mod@line`], [`devices`]: one transaction at a time; what a scan demands as requests, and
//!     replies as its image.
//! 12. [`proof`]: interlocks proved at their field devices, one at a time.
//! 13. [`sequence`]: the job as a state machine, and its gate.
//! 14. [`scan`]: all of it, once a period.
//! 15. [`resume`]: a job that was cut off, from its record: where it stood, and what is left of it.

pub mod batch;
pub mod calibrate;
pub mod catalogue;
pub mod cia402;
pub mod coat;
pub mod devices;
pub mod document;
pub mod image;
pub mod inspection;
pub mod interlock;
pub mod learn;
pub mod ledger;
pub mod line;
pub mod model;
pub mod moment;
pub mod plan;
pub mod program;
pub mod proof;
pub mod quantity;
pub mod recipe;
pub mod request;
pub mod resume;
pub mod rig;
pub mod scan;
pub mod sequence;
pub mod teach;
