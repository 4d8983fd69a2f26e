//! What one scan asks of the machine. The default is the safe value of everything.

use serde::{Deserialize, Serialize};

use super::signal::Level;
use super::tags::Coil;
use crate::moment::Moment;
use crate::quantity::{Acceleration, Length, Speed, SpindleSpeed};

/// A move of the carriage to an end point; its speed may be changed on the way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Travel {
    /// Where it ends.
    pub to: Length,
    /// The speed to run at now.
    pub at: Speed,
    /// The ramp up and down.
    pub ramp: Acceleration,
}

/// Homing of the carriage.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HomingRequest {
    /// Speed of the search.
    pub at: Speed,
}

/// What the carriage is asked to do.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AxisDemand {
    /// No torque (CiA 402: disable voltage).
    #[default]
    Off,
    /// Stop with the quick-stop ramp and stay without motion.
    QuickStop,
    /// Hold the position under torque.
    Still,
    /// Go to an end point.
    Travel(Travel),
    /// Look for the datum.
    Home(HomingRequest),
}

/// Whether the drive's fault may be cleared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DriveEnable {
    /// A drive in fault stays in fault.
    #[default]
    KeepFault,
    /// A person's reset: clear the fault once.
    ClearFault,
}

/// What the spindle is asked to do.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpindleDemand {
    /// Ramp to rest.
    #[default]
    Stop,
    /// Turn at a speed; with a gear table the speed is that of the lever.
    Turn(SpindleSpeed),
}

/// A switching of the powder feeder at its own instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PowderEdge {
    /// When the coil is to change in the I/O module.
    pub at: Moment,
    /// What it changes to.
    pub to: Level,
    /// The epoch it was planned in: an ON of an older epoch is void.
    pub epoch: u32,
}

/// What the powder feeder is asked to do: its level now and the edges that come next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct PowderDemand {
    /// The level wanted at the time of the scan. `Off` shuts the feeder at once, whatever edges
    /// were planned; `On` keeps it running but never starts it: only an edge does.
    pub now: Level,
    /// The next edge, if it is near enough to be known.
    pub next: Option<PowderEdge>,
    /// Counts up at every trip, hold or stop; voids older ON edges.
    pub epoch: u32,
}

/// Everything one scan asks for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Outputs {
    /// The coils, by [`Coil::index`], except the powder feeder's and the watchdog's, which have
    /// their own fields.
    pub coils: [Level; Coil::COUNT],
    /// The powder feeder.
    pub powder: PowderDemand,
    /// Whether the watchdog may beat.
    pub watchdog: Level,
    /// The carriage.
    pub axis: AxisDemand,
    /// Whether a drive fault may be cleared.
    pub drive: DriveEnable,
    /// The spindle.
    pub spindle: SpindleDemand,
}

impl Default for Outputs {
    fn default() -> Self {
        Self {
            coils: [Level::Off; Coil::COUNT],
            powder: PowderDemand::default(),
            watchdog: Level::Off,
            axis: AxisDemand::Off,
            drive: DriveEnable::KeepFault,
            spindle: SpindleDemand::Stop,
        }
    }
}

impl Outputs {
    /// The level asked of a coil.
    #[must_use]
    pub fn coil(&self, coil: Coil) -> Level {
        self.coils.get(coil.index()).copied().unwrap_or(Level::Off)
    }

    /// Asks a level of a coil.
    pub fn set(&mut self, coil: Coil, level: Level) {
        if let Some(slot) = self.coils.get_mut(coil.index()) {
            *slot = level;
        }
    }

    /// The same, energised: for a state that names its outputs one by one.
    #[must_use]
    pub fn with(mut self, coil: Coil) -> Self {
        self.set(coil, Level::On);
        self
    }
}
