//! What the interlocks have decided: latched causes in their order and the effects in force.

use core::time::Duration;

use serde::Serialize;

use super::matrix::row;
use crate::image::Level;
use crate::moment::Moment;
use crate::quantity::SpindleSpeed;

/// How severe a cause is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
    /// Shown and recorded.
    Warn,
    /// An ordered retreat; may restart when the cause is gone.
    Hold,
    /// The job ends in order.
    Stop,
    /// Energy is removed now; latched, reset at the machine.
    Trip,
}

/// One cause that was confirmed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Occurrence {
    /// The row's key in the matrix.
    pub key: &'static str,
    /// How severe.
    pub class: Class,
    /// Since when the condition held.
    pub since: Moment,
    /// When its delay had passed and it counted.
    pub confirmed: Moment,
    /// What happened, in words: what, where, found and expected.
    pub message: String,
    /// What to do now.
    pub advice: &'static str,
    /// Whether the condition holds still.
    pub present: Presence,
    /// How often it was confirmed again since.
    pub repeats: u32,
}

/// Whether a latched cause's condition holds still.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Presence {
    /// It does.
    Active,
    /// It is gone, the cause still latched.
    Returned,
}

/// What happens to the carriage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CarriageEffect {
    /// Nothing.
    #[default]
    Free,
    /// It may leave the part for the park, if position and drive are trusted; else it stops.
    Retreat,
    /// Quick stop, then without torque.
    Stop,
    /// Without torque.
    Cut,
}

/// What happens to the spindle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SpindleEffect {
    /// Nothing.
    #[default]
    Free,
    /// Keeps the speed it had; may not start from rest.
    Turn,
    /// Ramps to rest.
    Stop,
}

/// What is in force. Each only takes energy away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Effects {
    /// The feeder is off.
    pub powder_off: Veto,
    /// The fuel valve is shut.
    pub fuel_shut: Veto,
    /// The oxygen valve is shut.
    pub oxygen_shut: Veto,
    /// Gas supply isolation is shut.
    pub supply_shut: Veto,
    /// Carrier and purge air is off.
    pub air_off: Veto,
    /// No cooling jet.
    pub no_cooling: Veto,
    /// The carriage.
    pub carriage: CarriageEffect,
    /// The spindle.
    pub spindle: SpindleEffect,
    /// The watchdog may not beat.
    pub watchdog_off: Veto,
}

/// Whether an output is taken away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Veto {
    /// It is left to the sequence.
    #[default]
    None,
    /// It is taken away.
    Imposed,
}

impl Veto {
    /// Whether the output is taken away.
    #[must_use]
    pub const fn is_imposed(self) -> bool {
        matches!(self, Self::Imposed)
    }
}

/// The latched verdict of one scan.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Verdict {
    /// The severest class among causes that still count: trips until reset, holds until their
    /// cause is gone and the job restarted or ended, warnings while they last.
    pub class: Option<Class>,
    /// The first trip, latched until reset.
    pub first: Option<Occurrence>,
    /// Causes that came after it, in order; bounded, repeats counted.
    pub consequent: Vec<Occurrence>,
    /// How many came after those, not listed; their effects are in force all the same.
    pub more_consequent: u32,
    /// Holds in force.
    pub holds: Vec<Occurrence>,
    /// Warnings in force.
    pub warnings: Vec<Occurrence>,
    /// What is taken away.
    pub effects: Effects,
    /// The speed a spindle that keeps turning in a trip may keep; it may fall, never rise.
    pub turn_at_most: Option<SpindleSpeed>,
    /// Whether the torch is clear of the part by a retreat from elsewhere than the park; it stays
    /// so when the carriage has lost its torque since.
    pub withdrawn: Level,
    /// Effects that come later in the order of the trip or hold, and in how long.
    pub pending: Vec<(Duration, Effects)>,
    /// Whether somebody has acknowledged the trip.
    pub acknowledged: Acknowledged,
    /// What a reset still needs, in words; empty when it may be reset.
    pub reset_needs: Vec<&'static str>,
}

/// Whether a trip has been seen by somebody.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Acknowledged {
    /// Not yet, or nothing to acknowledge.
    #[default]
    No,
    /// Yes.
    Yes,
}

/// What a reset needs after a flashback, until somebody has done it.
pub(super) const INSPECTION: &str =
    "Inspect torch, hoses and arrestors, and write down what was found.";

impl Verdict {
    /// Whether a reset still needs an inspection.
    #[must_use]
    pub fn needs_inspection(&self) -> bool {
        self.reset_needs.contains(&INSPECTION)
    }

    /// Holds in force, but for those whose later, severer stage has tripped since: what that trip
    /// says is newer, and what a hold promised is over.
    pub fn holds_not_overtaken(&self) -> impl Iterator<Item = &Occurrence> {
        let trips = || self.first.iter().chain(&self.consequent);
        self.holds.iter().filter(move |hold| {
            let is_later = |trip: &Occurrence| {
                row(hold.key).zip(row(trip.key)).is_some_and(|(hold, trip)| hold.escalates_to(trip))
            };
            !trips().any(is_later)
        })
    }

    /// Whether a trip is latched.
    #[must_use]
    pub fn tripped(&self) -> bool {
        self.first.is_some()
    }
}
