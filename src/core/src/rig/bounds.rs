//! The ranges the figures of a rig file may lie in. Those marked "safety" can be tightened by
//! the file, never widened.

use core::ops::RangeInclusive;

use crate::document::Bounds;
use crate::quantity::{Acceleration, Length, Pressure, Speed, SpindleSpeed, Time};

const PRACTICE: &str = "common practice, no source";

/// The scan's period: the watchdog needs ten beats a second and the stop latency its share.
pub(super) const SCAN: Bounds<Time> =
    Bounds::new(Time::from_s(0.005), Time::from_s(0.1), "the watchdog's beat of 10 Hz");
/// Swing of the lathe.
pub(super) const SWING: Bounds<Length> =
    Bounds::new(Length::from_mm(20.0), Length::from_mm(2000.0), PRACTICE);
/// Speeds of RS-485 lines.
pub(super) const BAUDS: &[u32] = &[1200, 2400, 4800, 9600, 19_200, 38_400, 57_600, 115_200];
/// Unit addresses of the Modbus serial line specification; 0 is broadcast.
pub(super) const UNITS: RangeInclusive<u32> = 1..=247;
/// Coils from the first to the last of ours, which one request writes or reads: the bits of one machine
/// word. (The protocol allows 1968; no field module of a machine like this has that many.)
pub(crate) const COILS: u16 = 64;
/// The same of discrete inputs: the same word.
pub(crate) const INPUTS: u16 = 64;
/// The same of registers (MODBUS Application Protocol V1.1b3, 6.3).
pub(crate) const REGISTERS: u16 = 125;
/// Line budgets.
pub(super) const LINE_TIME: Bounds<Time> =
    Bounds::new(Time::from_s(0.0005), Time::from_s(0.5), PRACTICE);
/// Misses in a row after which a device is silent.
pub(super) const MISSES: RangeInclusive<u32> = 1..=5;
/// Safety: a device that fell silent is known to be so within this time.
pub(super) const SILENCE_KNOWN: Time = Time::from_s(0.3);
/// How often a silent device is tried.
pub(super) const PROBE: Bounds<Time> = Bounds::new(Time::from_s(0.2), Time::from_s(60.0), PRACTICE);
/// Safety: how old a signal may be before it counts as unknown.
pub(super) const AGE: Bounds<Time> =
    Bounds::new(Time::from_s(0.02), Time::from_s(0.3), "this project's safety rules");
/// How often a device is read.
pub(super) const POLL: Bounds<Time> =
    Bounds::new(Time::from_s(0.005), Time::from_s(0.15), "half the longest age budget");
/// From the end of a coil command to the coil's change.
pub(super) const COIL_LATENCY: Bounds<Time> =
    Bounds::new(Time::from_s(0.0), Time::from_s(0.1), PRACTICE);
/// Safety: the I/O module drops its outputs this soon after the last command.
pub(super) const FIELD_LOSS: Bounds<Time> =
    Bounds::new(Time::from_s(0.05), Time::from_s(0.3), "this project's safety rules");
/// Safety: a killed controller leaves the axis at rest within this time, by the drive alone.
pub(super) const AXIS_AT_REST: Time = Time::from_s(0.5);
/// Communication time-out of the drive.
pub(super) const AXIS_LOSS: Bounds<Time> =
    Bounds::new(Time::from_s(0.05), Time::from_s(0.5), "this project's safety rules");
/// Communication time-out of the inverter: a hot part is to go on turning for a while.
pub(super) const SPINDLE_LOSS: Bounds<Time> =
    Bounds::new(Time::from_s(0.2), Time::from_s(5.0), PRACTICE);
/// How long the inverter turns a hot part by itself.
pub(super) const RIDE_ON: Bounds<Time> =
    Bounds::new(Time::from_s(10.0), Time::from_s(600.0), PRACTICE);
/// Safety: the watchdog relay drops this soon after the last edge.
pub(super) const WATCHDOG_RELAY: Bounds<Time> =
    Bounds::new(Time::from_s(0.1), Time::from_s(0.3), "this project's safety rules");
/// Safety: the beat changes at least ten times a second.
pub(super) const WATCHDOG_BEAT: Bounds<Time> =
    Bounds::new(Time::from_s(0.005), Time::from_s(0.1), "this project's safety rules: 10 Hz");
/// Gas under this pressure counts as vented.
pub(super) const VENTED: Bounds<Pressure> =
    Bounds::new(Pressure::from_bar(0.01), Pressure::from_bar(0.1), PRACTICE);
/// How long a vented pipe may take to lose its pressure.
pub(super) const VENTING: Bounds<Time> =
    Bounds::new(Time::from_s(1.0), Time::from_s(60.0), PRACTICE);
/// Pulses of the tachometer in a turn: two missed ones are seen within 0.5 s at 31.5 rpm only
/// from 120 / (31.5 x 0.5) = 7.6 on.
pub(crate) const PULSES_PER_TURN: RangeInclusive<u32> = 8..=1024;
/// Drive pulses in a millimetre.
pub(crate) const PULSES_PER_MM: Bounds<f64> = Bounds::new(1.0, 100_000.0, PRACTICE);
/// Positions of the carriage.
pub(super) const POSITION: Bounds<Length> =
    Bounds::new(Length::from_mm(-1000.0), Length::from_mm(20_000.0), PRACTICE);
/// Speed between places, and of homing.
pub(super) const POSITIONING: Bounds<Speed> =
    Bounds::new(Speed::from_mm_per_s(1.0), Speed::from_mm_per_s(200.0), PRACTICE);
/// Safety: reduced speed with a person near.
pub(super) const JOG: Bounds<Speed> = Bounds::new(
    Speed::from_mm_per_s(0.5),
    Speed::from_mm_per_s(2000.0 / 60.0),
    "2 m/min, reduced speed of EN ISO 16090-1, from memory",
);
/// Ramps of the carriage.
pub(super) const RAMP: Bounds<Acceleration> =
    Bounds::new(Acceleration::from_mm_per_s2(5.0), Acceleration::from_mm_per_s2(5000.0), PRACTICE);
/// Lost motion.
pub(crate) const BACKLASH: Bounds<Length> =
    Bounds::new(Length::from_mm(0.0), Length::from_mm(2.0), PRACTICE);
/// How near the park is at the park.
pub(super) const PARK_TOLERANCE: Bounds<Length> =
    Bounds::new(Length::from_mm(0.1), Length::from_mm(10.0), PRACTICE);
/// Smallest change of speed worth a frame.
pub(super) const SPEED_STEP: Bounds<Speed> =
    Bounds::new(Speed::from_mm_per_s(0.01), Speed::from_mm_per_s(1.0), PRACTICE);
/// Spindle speeds.
pub(super) const SPINDLE: Bounds<SpindleSpeed> =
    Bounds::new(SpindleSpeed::from_rpm(5.0), SpindleSpeed::from_rpm(5000.0), PRACTICE);
/// Spindle rpm in one count of a speed reference.
pub(super) const RPM_PER_COUNT: Bounds<f64> = Bounds::new(0.001, 100.0, PRACTICE);
/// Speeds of a gearbox.
pub(super) const GEARS: RangeInclusive<usize> = 2..=60;
/// How often attendance is asked for.
pub(super) const ATTENDANCE: Bounds<Time> =
    Bounds::new(Time::from_s(60.0), Time::from_s(1800.0), PRACTICE);
/// How long an attendance request may stay unanswered.
pub(super) const ANSWER: Bounds<Time> =
    Bounds::new(Time::from_s(10.0), Time::from_s(120.0), PRACTICE);
/// Microamperes in one count of an analogue input.
pub(super) const MICROAMPERE: Bounds<f64> = Bounds::new(0.01, 100.0, PRACTICE);
/// Delay of an interlock; the row knows its limit.
pub(super) const DELAY: Bounds<Time> =
    Bounds::new(Time::from_s(0.0), Time::from_s(60.0), "the row of the matrix");
/// Seconds of a day.
pub(super) const DAY: u64 = 86_400;
/// Safety: from one proof test to the next; a year, which a rig can only shorten.
pub(super) const PROOF_INTERVAL: Bounds<Time> =
    Bounds::new(Time::from_s(86_400.0), Time::from_s(365.0 * 86_400.0), PRACTICE);
/// Safety: how long an overdue proof test is a warning only.
pub(super) const PROOF_GRACE: Bounds<Time> =
    Bounds::new(Time::from_s(0.0), Time::from_s(30.0 * 86_400.0), PRACTICE);
/// The share of a line's time its polls may fill; the rest is for trips and powder edges.
pub const LINE_LOAD: f64 = 0.8;
