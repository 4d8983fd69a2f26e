//! The carriage: its drive's registers, its travel and its ramps.

use serde::Serialize;

use super::line::LineId;
use crate::quantity::{Acceleration, Length, Range, Speed, Time};

/// Order of the two registers of a 32-bit value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum WordOrder {
    /// High word in the lower register.
    HighFirst,
    /// Low word in the lower register.
    LowFirst,
}

/// What the position that the drive reports comes from: what a stall shows in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PositionFrom {
    /// A scale or rod on the carriage: a stalled motor and a slipping nut both show.
    Carriage,
    /// An encoder on the motor: a stalled motor shows, a slipping nut does not.
    Motor,
    /// The steps the drive has made, without any measurement: no stall shows.
    Steps,
}

/// What a device does by itself when the controller falls silent.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct CommunicationLoss {
    /// After how long a silence.
    pub after: Time,
    /// The code of the reaction as written to the device. The rig file must name one that stops.
    pub reaction: u16,
}

/// Registers of the drive; all are holding registers.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct AxisRegisters {
    /// First register of the block that is read: status word, mode display, position (2),
    /// velocity (2), fault code, inputs, following error (2), sample time, referenced.
    pub read_block: u16,
    /// First register of the block that is written: control word, mode, target (2), profile
    /// velocity (2), acceleration (2), deceleration (2), quick-stop deceleration (2),
    /// communication time-out, communication reaction, homing speed (2).
    pub write_block: u16,
    /// Order of the two registers of a 32-bit value.
    pub word_order: WordOrder,
}

/// The carriage.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct AxisSpec {
    /// Its line.
    pub line: LineId,
    /// Its unit address.
    pub unit: u8,
    /// Its registers.
    pub registers: AxisRegisters,
    /// Drive pulses in a millimetre of travel.
    pub pulses_per_mm: f64,
    /// What its position comes from.
    pub position_from: PositionFrom,
    /// Where the drive's zero lies after homing, from the chuck face.
    pub datum: Length,
    /// Where the torch may travel.
    pub travel: Range<Length>,
    /// Where the torch parks: clear of part, chuck and centre.
    pub park: Length,
    /// How near the park counts as at the park.
    pub park_tolerance: Length,
    /// Speed between places without powder.
    pub positioning: Speed,
    /// Speed of jogging.
    pub jog: Speed,
    /// Speed of homing.
    pub homing: Speed,
    /// Ramp up and down.
    pub ramp: Acceleration,
    /// Quick-stop ramp.
    pub quick_stop: Acceleration,
    /// Lost motion between drive and torch when the direction changes.
    pub backlash: Length,
    /// Speed set-points go out when they differ by more than this.
    pub speed_step: Speed,
    /// How old its reading may be.
    pub age_budget: Time,
    /// How often it is read.
    pub poll_every: Time,
    /// Its own reaction to a silent controller.
    pub communication_loss: CommunicationLoss,
}
