//! The field I/O module: where each wire ends.

use serde::Serialize;

use super::line::LineId;
use crate::image::{Analogue, Coil, Contact, Level};
use crate::quantity::{Pressure, Time};

/// How a bit becomes a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Sense {
    /// 1 is on.
    Straight,
    /// 0 is on. Refused for contacts whose broken wire would then read healthy.
    Inverted,
}

/// A discrete input.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct ContactSpec {
    /// What it tells.
    pub tag: Contact,
    /// Its discrete input in the module; `None` when the rig has no such device and the level
    /// below holds.
    pub input: Option<u16>,
    /// What an absent one reads. Only contacts that guard nothing on this rig may be absent.
    pub absent: Level,
    /// How the bit reads.
    pub sense: Sense,
}

/// A 4-20 mA input.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct AnalogueSpec {
    /// What it tells.
    pub tag: Analogue,
    /// Its input register; `None` when the rig has no such transmitter.
    pub register: Option<u16>,
    /// Microamperes in one count.
    pub microampere_per_count: f64,
    /// Value at 4 mA, in the unit of the tag.
    pub at_4_ma: f64,
    /// Value at 20 mA.
    pub at_20_ma: f64,
}

/// A discrete output.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct CoilSpec {
    /// What it switches.
    pub coil: Coil,
    /// Its coil in the module; `None` when not fitted.
    pub output: Option<u16>,
}

/// The tachometer's registers.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct TachometerSpec {
    /// Pulses in a turn.
    pub pulses_per_turn: u32,
    /// Input register of the period's high word; the low word follows. Microseconds.
    pub period_register: u16,
    /// Input register of the pulse count.
    pub count_register: u16,
    /// Input register of the time since the last pulse, ms.
    pub since_register: u16,
}

/// The watchdog relay.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct WatchdogSpec {
    /// The relay drops this long after the last edge.
    pub relay: Time,
    /// How often the beat changes.
    pub beat: Time,
}

/// How gas isolation is proved.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct IsolationSpec {
    /// Fuel and oxygen read under this count as vented.
    pub vented_below: Pressure,
    /// Longest time the pressure may take to fall.
    pub within: Time,
}

/// Whether the rig can swing the torch away from the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SwingAway {
    /// It can.
    Fitted,
    /// It cannot: clear means at the park.
    NotFitted,
}

/// The field I/O module.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct FieldSpec {
    /// Its line.
    pub line: LineId,
    /// Its unit address.
    pub unit: u8,
    /// Every contact, in the order of [`Contact::ALL`].
    pub contacts: Vec<ContactSpec>,
    /// Every analogue input, in the order of [`Analogue::ALL`].
    pub analogues: Vec<AnalogueSpec>,
    /// Every coil, in the order of [`Coil::ALL`].
    pub coils: Vec<CoilSpec>,
    /// The tachometer.
    pub tachometer: TachometerSpec,
    /// Input register of a counter that moves with each cycle of the module.
    pub cycle_register: u16,
    /// Holding register of the module's own communication time-out in ms; its reaction follows.
    pub communication_register: Option<u16>,
    /// The module's communication time-out as commissioned.
    pub communication_loss: Time,
    /// From the end of a coil command on the wire to the coil's change.
    pub coil_latency: Time,
    /// How old the inputs may be.
    pub age_budget: Time,
    /// How often the discrete inputs are read and the coils written.
    pub poll_every: Time,
    /// How often the registers are read.
    pub registers_every: Time,
    /// The watchdog relay.
    pub watchdog: WatchdogSpec,
    /// Gas isolation.
    pub isolation: IsolationSpec,
    /// Swing-away.
    pub swing_away: SwingAway,
}
