//! What a procedure says.

use core::time::Duration;

use serde::Serialize;

use crate::image::Level;

/// What is energised for a proof, so that the row under proof has something to take away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize)]
pub struct Strokes {
    /// The fuel valve, open to an isolated and vented pipe.
    pub fuel: Level,
    /// The oxygen valve, the same.
    pub oxygen: Level,
    /// The extraction.
    pub extraction: Level,
    /// The carriage drive under torque, at rest.
    pub torque: Level,
}

/// How one row is proved at its field device.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Procedure {
    /// The row's key.
    pub key: &'static str,
    /// What is energised before the act.
    pub strokes: Strokes,
    /// What a person does first; empty when the device at rest is all it needs.
    pub prepare: &'static str,
    /// What a person does at the device, and what not.
    pub act: &'static str,
    /// How the device is put back.
    pub restore: &'static str,
    /// How soon after the act the controller must see it.
    pub within: Duration,
    /// What is said before a start when the proof is overdue or was never made.
    pub missing: &'static str,
}

/// A holding or tripping row that nobody can prove at a field device, and what covers it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Covered {
    /// The row's key.
    pub key: &'static str,
    /// Why not, and what stands in for it.
    pub why: &'static str,
}
