//! The rig: what this machine is. Lines, devices, register maps, scaling, limits, tags and
//! set-points, as read and checked from its file.

mod axis;
mod bounds;
mod check;
mod field;
mod fitting;
mod line;
mod read;
mod spindle;
#[cfg(test)]
pub(crate) mod support;
mod together;

use serde::Serialize;

pub use axis::{AxisRegisters, AxisSpec, CommunicationLoss, PositionFrom, WordOrder};
pub use bounds::LINE_LOAD;
pub(crate) use bounds::{BACKLASH, COILS, INPUTS, PULSES_PER_MM, PULSES_PER_TURN, REGISTERS};
pub use field::{
    AnalogueSpec, CoilSpec, ContactSpec, FieldSpec, IsolationSpec, Sense, SwingAway,
    TachometerSpec, WatchdogSpec,
};
pub use fitting::{Fitting, analogue_fitting, coil_fitting, contact_fitting};
pub use line::{LineId, LineSpec, Parity, StopBits};
pub use spindle::{GearTable, InverterRegisters, InverterSpec, SpindleSpec};
pub use together::check_together;

use crate::quantity::{Length, Measure, Time};

/// Whether the rig is the bench's twin or a machine that can hurt somebody.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum RigKind {
    /// The twin: no gas, no motion.
    Twin,
    /// A machine.
    Machine,
}

/// How a torch is lit on this rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LitBy {
    /// By hand: at park, spindle stopped, guard open for it.
    Hand,
    /// By an igniter: guard shut.
    Igniter,
}

/// Who watches the flame on this rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FlameWatch {
    /// Its operator, who sees it from where he works: up to 70 kW.
    Operator,
    /// An automatic burner control (EN 298) in the wired circuit, whatever the heat.
    BurnerControl,
}

/// One interlock's figures as the rig file tightens them. A figure that is absent keeps the
/// value of the source.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct InterlockFigures {
    /// The row's key in the matrix.
    pub key: String,
    /// Set-point, in a unit of the row's dimension.
    pub set_point: Option<Measure>,
    /// Delay before it counts.
    pub delay: Option<Time>,
    /// How long all must be in order before it counts as gone.
    pub delay_off: Option<Time>,
    /// Instrument tag printed with the cause.
    pub tag: Option<String>,
}

/// A checked rig.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Rig {
    /// What it is called.
    pub title: String,
    /// Twin or machine.
    pub kind: RigKind,
    /// How the torch is lit.
    pub lit_by: LitBy,
    /// Who watches the flame.
    pub flame_watch: FlameWatch,
    /// The scan's period.
    pub scan: Time,
    /// Largest diameter that turns clear of bed, carriage and torch mount.
    pub swing: Length,
    /// The lines; [`LineId`] is the place in this list.
    pub lines: Vec<LineSpec>,
    /// The field I/O.
    pub field: FieldSpec,
    /// The carriage.
    pub axis: AxisSpec,
    /// The spindle.
    pub spindle: SpindleSpec,
    /// How long an attendance request may stay unanswered, and how often it comes.
    pub attendance: Attendance,
    /// Tightened figures of interlocks.
    pub interlocks: Vec<InterlockFigures>,
    /// How often each interlock is proved at its field device.
    pub proof: ProofInterval,
}

/// How often proofs are made, and how late one may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[non_exhaustive]
pub struct ProofInterval {
    /// From one proof to the next, days.
    pub days: u32,
    /// Overdue by no more than this is a warning, by more refuses a start; days.
    pub grace: u32,
}

impl ProofInterval {
    /// A year, and a month of grace: common practice, no source. IEC 61511 leaves the interval to
    /// the calculation of each loop (from memory). A rig file can only shorten both.
    pub const LONGEST: Self = Self { days: 365, grace: 30 };

    /// Of a rig that is stricter; never longer than [`Self::LONGEST`].
    #[must_use]
    pub fn within(days: u32, grace: u32) -> Self {
        Self { days: days.min(Self::LONGEST.days), grace: grace.min(Self::LONGEST.grace) }
    }
}

/// The attendance request while a flame is lit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Attendance {
    /// How often somebody must show that they are there.
    pub every: Time,
    /// How long they have to answer before the job holds.
    pub answer_within: Time,
}
