//! What is physically so, for checkers and journals.

use serde::Serialize;

use crate::hands::Act;
use crate::wiring::Coil;

/// The bench's world at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Truth {
    /// Time since the bench was switched on, us.
    pub time_us: u64,
    /// True z of the torch, mm from the chuck face.
    pub torch_z_mm: f64,
    /// True speed of the torch, mm/s.
    pub torch_mm_s: f64,
    /// Position of the screw as the motor has turned it, mm on the same axis.
    pub screw_z_mm: f64,
    /// Position that the drive reports, mm from its datum.
    pub drive_position_mm: f64,
    /// Whether the drive is referenced.
    pub drive_homed: bool,
    /// Whether the carriage motor has torque.
    pub drive_torque: bool,
    /// Whether the safety circuit allows torque.
    pub torque_allowed: bool,
    /// Speed of chuck and part, rpm.
    pub spindle_rpm: f64,
    /// Speed that the inverter gives the motor, rpm of the spindle; without its belt the chuck does
    /// not follow.
    pub motor_rpm: f64,
    /// Whether the part turns.
    pub part_turns: bool,
    /// Whether the spindle's run latch is closed.
    pub run_latch_closed: bool,
    /// Whether the flame burns.
    pub flame_lit: bool,
    /// Mounted torch, by its place in the bench file.
    pub torch: usize,
    /// Outputs as the field I/O module drives them, bit by terminal.
    pub coils: u16,
    /// Outputs that are energised in fact, after relay and emergency stop, bit by terminal.
    pub energised: u16,
    /// Whether the fuel valve is energised.
    pub fuel_open: bool,
    /// Whether the oxygen valve is energised.
    pub oxygen_open: bool,
    /// Whether the isolation valve of the gas supply is energised.
    pub supply_open: bool,
    /// Whether the powder feeder is energised.
    pub feeder_on: bool,
    /// Whether carrier air is energised.
    pub carrier_on: bool,
    /// Whether the watchdog relay is up.
    pub watchdog_up: bool,
    /// Fuel pressure behind the isolation valve, bar above atmosphere.
    pub fuel_bar: f64,
    /// Oxygen pressure behind the isolation valve, bar above atmosphere.
    pub oxygen_bar: f64,
    /// Powder flow at the nozzle, g/s.
    pub powder_g_s: f64,
    /// Powder that has left the hopper, g.
    pub powder_fed_g: f64,
    /// Powder that has left the nozzle, g.
    pub powder_released_g: f64,
    /// Coat on the part, g.
    pub coat_g: f64,
    /// Powder that met the part without flame, g.
    pub landed_cold_g: f64,
    /// Powder that met the part through the flame while it stood still, g.
    pub landed_one_sided_g: f64,
    /// Powder left in the hopper, g.
    pub hopper_g: f64,
    /// Mean temperature of the part, degC.
    pub part_mean_c: f64,
    /// Highest temperature along the part, degC.
    pub part_highest_c: f64,
    /// Temperature of the part at the torch, degC; nothing off the part.
    pub part_at_torch_c: Option<f64>,
    /// Whether the guard is closed.
    pub guard_closed: bool,
    /// Whether the emergency-stop circuit is closed.
    pub emergency_ok: bool,
    /// Whether the key is on.
    pub key_on: bool,
    /// Buttons held, bit by their order.
    pub buttons: u16,
    /// What the person last set out to do.
    pub person: Act,
}

/// An output that switched in fact.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Switched {
    /// When, us.
    pub time_us: u64,
    /// Which output.
    pub coil: Coil,
    /// Whether it is energised now.
    pub energised: bool,
    /// True z of the torch at that instant, mm.
    pub torch_z_mm: f64,
}
