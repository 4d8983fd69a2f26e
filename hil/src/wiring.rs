//! Numbers of the terminals of the field I/O module.

use serde::{Deserialize, Serialize};

/// Coils, by terminal; energised is 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Coil {
    /// Powder feeder runs.
    PowderFeeder = 0,
    /// Carrier air flows.
    CarrierAir = 1,
    /// Fuel valve open.
    FuelValve = 2,
    /// Oxygen valve open.
    OxygenValve = 3,
    /// Igniter sparks.
    Igniter = 4,
    /// Cooling air flows.
    CoolingAir = 5,
    /// Extraction runs.
    Extraction = 6,
    /// Watchdog beat; every edge counts.
    WatchdogBeat = 7,
    /// Red lamp.
    LampRed = 8,
    /// Yellow lamp.
    LampYellow = 9,
    /// Green lamp.
    LampGreen = 10,
    /// Blue lamp: a person is wanted.
    LampBlue = 11,
    /// White lamp.
    LampWhite = 12,
    /// Horn.
    Horn = 13,
    /// Isolation valve of the gas supply open; shut, it vents what is behind it.
    GasSupply = 14,
    /// Torch swung away; not fitted on this bench.
    SwingAway = 15,
}

/// All coils, by terminal.
pub(crate) const COILS: [Coil; 16] = [
    Coil::PowderFeeder,
    Coil::CarrierAir,
    Coil::FuelValve,
    Coil::OxygenValve,
    Coil::Igniter,
    Coil::CoolingAir,
    Coil::Extraction,
    Coil::WatchdogBeat,
    Coil::LampRed,
    Coil::LampYellow,
    Coil::LampGreen,
    Coil::LampBlue,
    Coil::LampWhite,
    Coil::Horn,
    Coil::GasSupply,
    Coil::SwingAway,
];

impl Coil {
    /// The coil's bit.
    pub(crate) const fn mask(self) -> u16 {
        1 << self as u16
    }
}

/// Coils whose switching is worth a line in the log: all that move energy or matter.
pub(crate) const LOGGED: u16 = Coil::PowderFeeder.mask()
    | Coil::CarrierAir.mask()
    | Coil::FuelValve.mask()
    | Coil::OxygenValve.mask()
    | Coil::Igniter.mask()
    | Coil::CoolingAir.mask()
    | Coil::Extraction.mask()
    | Coil::GasSupply.mask();

/// Coils that the watchdog relay gates.
const BEHIND_RELAY: u16 =
    Coil::PowderFeeder.mask() | Coil::FuelValve.mask() | Coil::OxygenValve.mask();

/// Coils whose supply the emergency stop cuts.
const BEHIND_EMERGENCY_STOP: u16 = BEHIND_RELAY | Coil::Igniter.mask() | Coil::GasSupply.mask();

/// What is energised in fact: the outputs, less what relay and emergency stop cut.
pub(crate) fn energised(outputs: u16, relay_up: bool, emergency_ok: bool) -> u16 {
    let cut = if relay_up { 0 } else { BEHIND_RELAY };
    let stopped = if emergency_ok { 0 } else { BEHIND_EMERGENCY_STOP };
    outputs & !cut & !stopped
}

/// Discrete inputs, by terminal; closed is 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Discrete {
    /// Emergency-stop circuit closed.
    EmergencyStopOk = 0,
    /// Guard closed.
    GuardClosed = 1,
    /// Work clamp holds.
    ClampOk = 2,
    /// Limit toward the chuck free.
    LimitMinusOk = 3,
    /// Limit toward the tailstock free.
    LimitPlusOk = 4,
    /// Flame seen.
    FlamePresent = 5,
    /// Flashback arrestor not tripped.
    ArrestorOk = 6,
    /// Extraction flow sufficient.
    ExtractionOk = 7,
    /// Plant air sufficient.
    PlantAirOk = 8,
    /// Gas detector healthy and quiet.
    GasDetectorOk = 9,
    /// Oxygen monitor healthy and quiet.
    OxygenMonitorOk = 10,
    /// Fire detection quiet.
    FireDetectionOk = 11,
    /// Enabling key on.
    KeyOn = 12,
    /// Start pressed.
    StartPressed = 13,
    /// Hold not pressed.
    HoldReleased = 14,
    /// Stop not pressed.
    StopReleased = 15,
    /// Reset pressed.
    ResetPressed = 16,
    /// Accept pressed.
    AcceptPressed = 17,
    /// Wet pressed.
    WetPressed = 18,
    /// Bad flame pressed.
    BadFlamePressed = 19,
    /// Coat lifting pressed.
    CoatLiftingPressed = 20,
    /// Hold-to-run pressed.
    HoldToRunPressed = 21,
    /// Torch not bumped.
    StandOffOk = 22,
    /// Watchdog relay up.
    WatchdogRelayUp = 23,
    /// Fuel valve proven shut.
    FuelValveShut = 24,
    /// Oxygen valve proven shut.
    OxygenValveShut = 25,
    /// Torque of the carriage drive allowed.
    TorqueAllowed = 26,
    /// Powder above the hopper's low level.
    HopperLevelOk = 27,
    /// Torch at park.
    AtPark = 28,
    /// The part itself turns.
    PartTurning = 29,
    /// Abort not pressed.
    AbortReleased = 30,
    /// Not wired.
    Spare = 31,
}

/// Analogue inputs, by terminal; 4-20 mA in microamperes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Analogue {
    /// Fuel pressure.
    FuelPressure = 0,
    /// Oxygen pressure.
    OxygenPressure = 1,
    /// Carrier air pressure.
    CarrierPressure = 2,
    /// Extraction flow.
    ExtractionFlow = 3,
    /// Long-wave temperature, 0 to 1000 degC.
    PreheatTemperature = 4,
    /// Short-wave temperature, 250 to 1300 degC.
    PyrometerTemperature = 5,
    /// Hopper weight, 0 to 5000 g.
    HopperWeight = 6,
    /// Carrier back-pressure, 0 to 1 bar.
    CarrierBackPressure = 7,
    /// Flammable gas, 0 to 100 % of the lower explosive limit.
    FlammableGas = 8,
    /// Oxygen in air, 0 to 25 %.
    OxygenInAir = 9,
}

/// Buttons at the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Button {
    /// Start.
    Start,
    /// Hold.
    Hold,
    /// Stop.
    Stop,
    /// Abort.
    Abort,
    /// Reset.
    Reset,
    /// Accept: "done", "go on", "I am here".
    Accept,
    /// The coat is wet.
    Wet,
    /// The flame pops or squeals.
    BadFlame,
    /// The coat lifts.
    CoatLifting,
    /// Hold to run.
    HoldToRun,
    /// Emergency stop; stays in until it is pulled out.
    EmergencyStop,
}

impl Button {
    /// The button's bit among the pressed ones.
    pub(crate) const fn mask(self) -> u16 {
        1 << self as u16
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coils_stand_at_their_terminals() {
        for (terminal, coil) in COILS.iter().enumerate() {
            assert_eq!(*coil as usize, terminal);
        }
    }

    #[test]
    fn a_dropped_relay_takes_gas_and_powder_and_leaves_the_rest() {
        assert_eq!(energised(0xFFFF, false, true), 0xFFF2);
        assert_eq!(energised(0xFFFF, true, true), 0xFFFF);
    }

    #[test]
    fn the_emergency_stop_takes_gas_powder_spark_and_supply() {
        let left = energised(0xFFFF, true, false);
        assert_eq!(left & (Coil::GasSupply.mask() | Coil::Igniter.mask() | 0b1101), 0);
        assert_ne!(left & Coil::Extraction.mask(), 0);
    }
}
