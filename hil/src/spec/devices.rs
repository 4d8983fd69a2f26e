//! The figures of what is on the lines: lines, field I/O, drive, inverter.

use serde::Deserialize;

table! {
    /// Timing of the RS-485 lines.
    LineSpec {
        /// Line speed, bits per second.
        baud: u32,
        /// Bits of one character with start, parity and stop.
        bits_per_character: u32,
        /// Longest silence inside a frame (t1.5), us.
        inter_character_gap_us: u64,
        /// Silence that ends a frame (t3.5), us.
        frame_gap_us: u64,
    }
}

table! {
    /// The field I/O module.
    FieldIoSpec {
        /// Unit address.
        unit: u8,
        /// From the end of a request to the first byte of its reply, us.
        turn_round_us: u64,
        /// From the end of a request to the switching of its coils, us.
        module_cycle_us: u64,
        /// Communication time-out after power-up, ms; 0 = none.
        communication_timeout_ms: u16,
        /// Reaction to it after power-up: 0 keep, 1 all outputs off.
        communication_reaction: u16,
        /// The watchdog relay drops this long after the last edge of its coil, s.
        watchdog_hold_s: f64,
    }
}

/// Where the drive's position comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Feedback {
    /// A scale on the carriage: a slipping nut shows as following error.
    Carriage,
    /// The motor: a slipping nut does not show.
    Motor,
}

table! {
    /// The carriage drive.
    DriveSpec {
        /// Unit address.
        unit: u8,
        /// From the end of a request to the first byte of its reply, us.
        turn_round_us: u64,
        /// From power on to "switch on disabled", s.
        start_up_s: f64,
        /// Position unit, pulses per mm.
        pulses_per_mm: f64,
        /// Greatest acceleration of motor and inertia, mm/s2.
        acceleration_limit_mm_s2: f64,
        /// Greatest speed, mm/s.
        speed_limit_mm_s: f64,
        /// Deceleration by friction when torque is off, mm/s2.
        coast_deceleration_mm_s2: f64,
        /// Following error at which the drive faults, mm.
        following_error_limit_mm: f64,
        /// What the position register reports.
        position_feedback: Feedback,
        /// Profile velocity after power-up, mm/s.
        profile_speed_mm_s: f64,
        /// Profile acceleration and deceleration after power-up, mm/s2.
        acceleration_mm_s2: f64,
        /// Quick-stop deceleration after power-up, mm/s2.
        quick_stop_deceleration_mm_s2: f64,
        /// Homing speed after power-up, mm/s.
        homing_speed_mm_s: f64,
        /// Communication time-out after power-up, ms; 0 = none.
        communication_timeout_ms: u16,
        /// Reaction to it after power-up: 0 none, 1 warn, 2 quick stop then disable, 3 disable.
        communication_reaction: u16,
    }
}

table! {
    /// The spindle inverter.
    InverterSpec {
        /// Unit address.
        unit: u8,
        /// From the end of a request to the first byte of its reply, us.
        turn_round_us: u64,
        /// Communication time-out after power-up, ms; 0 = none.
        communication_timeout_ms: u16,
        /// Reaction to it after power-up: 0 none, 1 ride on then ramp down, 2 ramp down at once.
        communication_reaction: u16,
        /// Ride-on time after power-up, s.
        ride_on_s: u16,
        /// Motor current at speed, A.
        rated_current_a: f64,
    }
}
