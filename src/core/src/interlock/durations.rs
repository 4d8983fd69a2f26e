//! How long each unsafe combination may last, in one table with the reason for each figure.
//!
//! The matrix's delays are chosen to stay inside these; a physical checker measures the machine
//! against the same figures. Where no standard is named the figure is common practice.

use core::time::Duration;

/// Powder flowing without a flame: until the feeder is off.
pub const POWDER_WITHOUT_FLAME: Duration = Duration::from_millis(500);
/// Powder flowing on the part with the carriage at rest: until the feeder is off.
pub const POWDER_WITHOUT_MOTION: Duration = Duration::from_millis(500);
/// Fuel flowing after the flame went out: until the valve has no current.
pub const FUEL_AFTER_FLAME_LOSS: Duration = Duration::from_millis(1_000);
/// Fuel flowing unlit while lighting, when the torch's handbook says nothing else.
pub const FUEL_UNLIT_AT_LIGHTING: Duration = Duration::from_secs(5);
/// Longest trial for ignition a handbook's figure is taken to.
pub const LONGEST_TRIAL: Duration = Duration::from_secs(10);
/// How long after the trial time the backstop trips: the trial's own end comes first.
pub const TRIAL_MARGIN: Duration = Duration::from_millis(200);
/// Flame on a part that stopped turning, at 31.5 rpm and eight pulses a turn.
pub const FLAME_ON_STILL_PART: Duration = Duration::from_millis(1_000);
/// Flame at rest over one spot of a turning part; the plan may give a shorter figure.
pub const FLAME_AT_REST: Duration = Duration::from_secs(3);
/// Powder, gas and torque after the field I/O or the controller died: by the machine alone.
pub const DEAD_CONTROLLER: Duration = Duration::from_millis(500);
/// Silence of the field I/O before it counts.
pub const FIELD_SILENCE: Duration = Duration::from_millis(300);
/// Silence of the carriage drive before it counts.
pub const DRIVE_SILENCE: Duration = Duration::from_millis(300);
/// A transmitter known as failed before it counts.
pub const TRANSMITTER_FAULT: Duration = Duration::from_millis(200);
/// A scan that is late by more than this is a stall of the controller.
pub const SCAN_GAP: Duration = Duration::from_millis(300);
/// Flame still seen after both valves were shut, before somebody is told.
pub const FLAME_AFTER_SHUT: Duration = Duration::from_millis(1_000);
/// Flame still seen after both valves were shut, before the supply is isolated.
pub const FLAME_BEFORE_ISOLATION: Duration = Duration::from_secs(5);
/// A valve told to shut that does not prove shut.
pub const VALVE_NOT_SHUT: Duration = Duration::from_millis(1_000);
/// Quick stop of the carriage before torque is removed.
pub const QUICK_STOP: Duration = Duration::from_millis(500);
/// Retreat of the carriage in a trip before torque is removed.
pub const RETREAT: Duration = Duration::from_secs(30);
/// How long a jog goes on without its key being seen again; part of the next figure.
pub const JOG_LEASE: Duration = Duration::from_millis(100);
/// Motion after a jog key is let go or its lease runs out: until the stop frame is on the wire.
pub const JOG_AFTER_RELEASE: Duration = Duration::from_millis(250);
/// Low extraction with the flame lit and the torch withdrawn, after the hold.
pub const FLAME_WITHOUT_EXTRACTION: Duration = Duration::from_secs(10);
/// Carrier air with both gases shut that counts as a purge of torch and hose.
pub const PURGE: Duration = Duration::from_secs(5);
/// How long purge air that was asked for is waited for before the purge is left to the next
/// lighting; arbitrary, several times what a hose takes to fill.
pub const PURGE_AIR: Duration = Duration::from_secs(5);

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Permitted {
    /// Its name.
    pub key: &'static str,
    /// The longest time.
    pub longest: Duration,
    /// What may last so long.
    pub what: &'static str,
    /// Why no longer, and where the figure comes from.
    pub why: &'static str,
}

/// All of them.
#[rustfmt::skip]
pub const PERMITTED: &[Permitted] = &[
    permitted("powder_without_flame", POWDER_WITHOUT_FLAME, "powder feeder on without a flame",
        "cold powder does not bond, and its dust is a fire load and nickel to breathe; flame filter 0.3 s, one scan and one frame fit in; common practice"),
    permitted("powder_without_motion", POWDER_WITHOUT_MOTION, "powder feeder on over the part with the carriage at rest",
        "0.055 mm of lump a second at 60 g/min on 50 mm, plume of 6 mm (computed here)"),
    permitted("fuel_after_flame_loss", FUEL_AFTER_FLAME_LOSS, "fuel valve open after the flame went out",
        "EN 298 and EN 746-2 ask for detection within 1 s (from memory); here the valve is in it"),
    permitted("fuel_unlit_at_lighting", FUEL_UNLIT_AT_LIGHTING, "fuel valve open unlit while lighting",
        "the gas of 5 s disperses in a cell with extraction; the torch's handbook may say otherwise, up to 10 s; common practice"),
    permitted("flame_on_still_part", FLAME_ON_STILL_PART, "flame over a part that does not turn",
        "a still spot gains 545 K in 1 s under 3 kW (computed here); three pulses missed at 31.5 rpm are 0.71 s"),
    permitted("flame_at_rest", FLAME_AT_REST, "flame at rest over one spot of a turning part",
        "a 40 mm ring of a 50 mm bar gains 39 K in 1 s and 88 K in 5 s under 3 kW (computed here); the plan gives a shorter figure where its flame heats faster"),
    permitted("dead_controller", DEAD_CONTROLLER, "powder, gas and torque after the controller died",
        "the watchdog relay drops after 0.3 s, devices time out after 0.2 s"),
    permitted("field_silence", FIELD_SILENCE, "field I/O silent before it counts",
        "three misses of 25 ms with their quarantine and the polls between fit in"),
    permitted("drive_silence", DRIVE_SILENCE, "carriage drive silent before it counts",
        "at 50 mm/s the carriage runs 15 mm blind"),
    permitted("transmitter_fault", TRANSMITTER_FAULT, "failed transmitter before it counts",
        "shorter than any row that judges its value, so that a broken wire is never told as a low pressure"),
    permitted("scan_gap", SCAN_GAP, "controller without a scan",
        "the watchdog relay's own time: longer, and the machine has stopped without us"),
    permitted("flame_after_shut", FLAME_AFTER_SHUT, "flame seen after both valves were shut before somebody is told",
        "hose and tip burn out in a fraction of a second"),
    permitted("flame_before_isolation", FLAME_BEFORE_ISOLATION, "flame seen after both valves were shut before the supply is isolated",
        "a glowing edge or sparks are gone by then, a leaking valve is not; common practice"),
    permitted("valve_not_shut", VALVE_NOT_SHUT, "valve without current that does not prove shut",
        "a solenoid valve closes in well under a second"),
    permitted("quick_stop", QUICK_STOP, "quick stop before torque is removed",
        "IEC 60204-1 stop category 1; 50 mm/s at 250 mm/s2 take 0.2 s"),
    permitted("retreat", RETREAT, "retreat in a trip before torque is removed",
        "1.5 m at 50 mm/s"),
    permitted("jog_after_release", JOG_AFTER_RELEASE, "motion after the jog key is let go",
        "a lease of 0.1 s, two scans and the line's queue"),
    permitted("flame_without_extraction", FLAME_WITHOUT_EXTRACTION, "flame with low extraction after the hold",
        "time to withdraw and to restart a fan; common practice"),
];

const fn permitted(
    key: &'static str,
    longest: Duration,
    what: &'static str,
    why: &'static str,
) -> Permitted {
    Permitted { key, longest, what, why }
}
