//! The spindle: an inverter, or a gear table with a person at the lever.

use serde::Serialize;

use super::axis::CommunicationLoss;
use super::line::LineId;
use crate::quantity::{Range, SpindleSpeed, Time};

/// Registers of the inverter; all are holding registers.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct InverterRegisters {
    /// First register written: command word, speed reference, communication time-out in ms,
    /// communication reaction, ride-on time in s.
    pub write_block: u16,
    /// First register read: status word, output speed, current, fault code.
    pub read_block: u16,
}

/// An inverter.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct InverterSpec {
    /// Its line.
    pub line: LineId,
    /// Its unit address.
    pub unit: u8,
    /// Its registers.
    pub registers: InverterRegisters,
    /// Spindle rpm in one count of the speed reference.
    pub rpm_per_count: f64,
    /// Speeds it can run the spindle at.
    pub speeds: Range<SpindleSpeed>,
    /// How old its status may be.
    pub age_budget: Time,
    /// How often it is read.
    pub poll_every: Time,
    /// Its own reaction to a silent controller.
    pub communication_loss: CommunicationLoss,
    /// How long it keeps turning a hot part by itself before it ramps down.
    pub ride_on: Time,
}

/// A gearbox lathe: the speeds of its lever.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct GearTable {
    /// The speeds, rising.
    pub speeds: Vec<SpindleSpeed>,
    /// The contactor that runs the motor, as an inverter without speed: run and status only.
    pub motor: InverterSpec,
}

/// How the spindle is turned.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SpindleSpec {
    /// By an inverter at any speed in its range.
    Inverter(InverterSpec),
    /// By a gearbox at the speeds of its lever.
    Gears(GearTable),
}

impl SpindleSpec {
    /// The device on the line that runs the motor.
    #[must_use]
    pub fn motor(&self) -> &InverterSpec {
        match self {
            Self::Inverter(inverter) => inverter,
            Self::Gears(table) => &table.motor,
        }
    }
}
