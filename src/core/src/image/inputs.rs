//! What one scan knows of the machine.

use core::time::Duration;

use serde::{Deserialize, Serialize};

use super::signal::{Level, Signal};
use super::tags::{Analogue, Contact};
use crate::moment::Moment;
use crate::quantity::{Length, Speed, SpindleSpeed};

/// Whether a position can be believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Referenced {
    /// Not homed since the drive had power, or lost since.
    #[default]
    No,
    /// Homed, and the drive has kept its position.
    Yes,
}

/// What the carriage drive says.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct AxisReading {
    /// State of its power section by CiA 402.
    pub power: crate::cia402::PowerState,
    /// Position of the torch from the chuck face; only meaningful when referenced.
    pub position: Length,
    /// Speed along the axis, with its sign.
    pub velocity: Speed,
    /// Distance between where it should be and where it is.
    pub following_error: Length,
    /// Whether the position can be believed.
    pub referenced: Referenced,
    /// The drive's own fault code; zero without a fault.
    pub fault_code: u16,
    /// The drive reports its target reached (status bit 10).
    pub arrived: Level,
    /// The drive has attained its datum in homing (status bit 12 in homing mode).
    pub homing_attained: Level,
    /// The drive reports that homing failed (status bit 13 in homing mode).
    pub homing_failed: Level,
}

/// What is known of the spindle.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct SpindleReading {
    /// Speed by the tachometer; zero once more pulses are missing than the rig allows.
    pub measured: SpindleSpeed,
    /// How many pulses are missing at the speed last measured (time since the last pulse over
    /// the last period).
    pub missed_pulses: f64,
    /// Time since the last pulse.
    pub since_pulse: Duration,
}

/// Whether a serial line works.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineHealth {
    /// No port, or no device answers.
    #[default]
    Down,
    /// Devices answer within their budgets.
    Up,
}

/// Everything one scan knows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Inputs {
    /// When the scan began.
    pub now: Moment,
    /// The discrete inputs, by [`Contact::index`].
    pub contacts: [Signal<Level>; Contact::COUNT],
    /// The analogue inputs, by [`Analogue::index`].
    pub analogues: [Signal<f64>; Analogue::COUNT],
    /// The carriage.
    pub axis: Signal<AxisReading>,
    /// The spindle by its tachometer.
    pub spindle: Signal<SpindleReading>,
    /// The inverter: on when it reports neither fault nor an open run latch. Always on, and as
    /// fresh as the field I/O, for a lathe without an inverter.
    pub inverter_ok: Signal<Level>,
    /// State of the lines, field I/O first.
    pub lines: [LineHealth; 2],
}

impl Inputs {
    /// Nothing is known yet.
    #[must_use]
    pub fn unknown() -> Self {
        Self {
            now: Moment::START,
            contacts: [Signal::default(); Contact::COUNT],
            analogues: [Signal::default(); Analogue::COUNT],
            axis: Signal::default(),
            spindle: Signal::default(),
            inverter_ok: Signal::default(),
            lines: [LineHealth::Down; 2],
        }
    }

    /// The signal of a discrete input.
    #[must_use]
    pub fn contact(&self, tag: Contact) -> Signal<Level> {
        self.contacts.get(tag.index()).copied().unwrap_or_default()
    }

    /// The signal of an analogue input.
    #[must_use]
    pub fn analogue(&self, tag: Analogue) -> Signal<f64> {
        self.analogues.get(tag.index()).copied().unwrap_or_default()
    }

    /// Whether a discrete input is believed to be on; unknown and stale are not.
    #[must_use]
    pub fn is_on(&self, tag: Contact, budget: Duration) -> bool {
        self.contact(tag).trusted(self.now, budget) == Some(Level::On)
    }

    /// Whether a discrete input is believed to be off; unknown and stale are not.
    #[must_use]
    pub fn is_off(&self, tag: Contact, budget: Duration) -> bool {
        self.contact(tag).trusted(self.now, budget) == Some(Level::Off)
    }
}
