//! The procedures, in a technician's words.

use serde::Serialize;

/// Which file a calibration writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Holder {
    /// The rig file.
    Rig,
    /// The torches of the catalogue.
    Torches,
}

/// One thing that is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Reading {
    /// Its name, as in problems.
    pub key: &'static str,
    /// What it is.
    pub title: &'static str,
    /// The kind of quantity, as [`Quantity::NAME`](crate::quantity::Quantity::NAME) calls it.
    pub kind: &'static str,
    /// How often it is measured at least; 0 where it is one of two ways to measure.
    pub times: usize,
}

/// How something is calibrated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Procedure {
    /// Its name.
    pub key: &'static str,
    /// What it is called.
    pub title: &'static str,
    /// When it is made.
    pub when: &'static str,
    /// What the person does, step by step.
    pub steps: &'static [&'static str],
    /// What is measured.
    pub readings: &'static [Reading],
    /// The file it writes.
    pub holder: Holder,
    /// The fields it writes; `KEY` stands for the torch's key.
    pub writes: &'static [&'static str],
}

/// The procedure of that name.
#[must_use]
pub fn procedure(key: &str) -> Option<&'static Procedure> {
    PROCEDURES.iter().find(|procedure| procedure.key == key)
}

/// Every procedure.
pub const PROCEDURES: &[Procedure] = &[
    Procedure {
        key: "axis_scale",
        title: "Scale of the carriage",
        when: "After a drive, a motor, a screw or a scale was changed, and when a taught length is not what a rule says.",
        steps: &[
            "Gas isolated, key on, carriage homed.",
            "Clamp a rule along the bed, or set two marks as far apart as the travel allows, 100 mm at the least.",
            "Jog past the first mark toward the chuck, come back to it moving toward the tail, and note the position shown.",
            "Go on to the second mark without moving back, and note the position shown.",
            "Give the difference of the two positions as commanded, and the distance of the marks by the rule as measured.",
        ],
        readings: &[
            Reading {
                key: "commanded",
                title: "difference of the two positions shown",
                kind: "length",
                times: 1,
            },
            Reading {
                key: "measured",
                title: "distance of the marks by the rule",
                kind: "length",
                times: 1,
            },
            Reading {
                key: "reading",
                title: "how far the rule is usually read off",
                kind: "length",
                times: 1,
            },
        ],
        holder: Holder::Rig,
        writes: &["axis.pulses_per_mm"],
    },
    Procedure {
        key: "backlash",
        title: "Lost motion of the carriage",
        when: "Twice a year, and when the edges of a coat differ between passes to and fro (common practice, no source).",
        steps: &[
            "Gas isolated, key on, carriage homed.",
            "Fix a dial gauge to the bed with its tip on the torch's holder, along the bed, and preload it by a millimetre or two.",
            "Choose a position. Jog below it by 5 mm, come to it moving toward the tail, and note the gauge.",
            "Jog beyond it by 5 mm, come back to the same position shown moving toward the chuck, and note the gauge.",
            "Do both three times or more.",
        ],
        readings: &[
            Reading {
                key: "toward_tail",
                title: "gauge after moving toward the tail",
                kind: "length",
                times: 3,
            },
            Reading {
                key: "toward_chuck",
                title: "gauge after moving toward the chuck",
                kind: "length",
                times: 3,
            },
        ],
        holder: Holder::Rig,
        writes: &["axis.backlash"],
    },
    Procedure {
        key: "powder_delay",
        title: "Delay of the powder",
        when: "For each torch, after a hose, a nozzle, a feeder or a carrier pressure was changed.",
        steps: &[
            "Flame out, extraction on, torch at the park, respirator on. Carrier air as for spraying.",
            "By a watch: hold a sheet of paper before the nozzle. Time from the feeder's start until the first powder meets it; then from its stop until no more does.",
            "Or by a stripe: drive the torch over a plate at a steady feed, start the feeder as it passes a mark, and measure from the mark to where the stripe has half its thickness; the same for its end and the feeder's stop.",
            "Do each three times or more.",
        ],
        readings: &[
            Reading {
                key: "on",
                title: "by a watch, from the feeder's start until powder arrives",
                kind: "time",
                times: 0,
            },
            Reading {
                key: "off",
                title: "by a watch, from the feeder's stop until no more arrives",
                kind: "time",
                times: 0,
            },
            Reading {
                key: "feed",
                title: "by a stripe, feed of the torch over the plate",
                kind: "speed",
                times: 0,
            },
            Reading {
                key: "ran_on",
                title: "by a stripe, from the feeder's start to half its thickness",
                kind: "length",
                times: 0,
            },
            Reading {
                key: "ran_off",
                title: "by a stripe, from the feeder's stop to half its thickness",
                kind: "length",
                times: 0,
            },
        ],
        holder: Holder::Torches,
        writes: &["torch[KEY].powder_delay_on", "torch[KEY].powder_delay_off"],
    },
    Procedure {
        key: "tachometer",
        title: "Pulses of the tachometer",
        when: "After its sensor or its targets were changed, and when a speed shown is not what is counted.",
        steps: &[
            "Gas isolated, no part in the chuck, guard shut.",
            "Mark a jaw so that it is seen from outside the guard.",
            "Turn the spindle at some 60 rpm, slow enough to count, and wait until the speed shown is steady. Note it.",
            "Count 60 turns or more and time them by a watch.",
        ],
        readings: &[
            Reading { key: "turns", title: "turns counted", kind: "number of turns", times: 1 },
            Reading { key: "time", title: "how long they took", kind: "time", times: 1 },
            Reading {
                key: "read",
                title: "speed shown meanwhile",
                kind: "spindle speed",
                times: 1,
            },
        ],
        holder: Holder::Rig,
        writes: &["field.tachometer.pulses_per_turn"],
    },
    Procedure {
        key: "park",
        title: "Place of the park",
        when: "When the machine is set up, and when longer parts are to be coated.",
        steps: &[
            "Gas isolated, key on, carriage homed, the longest part in the chuck.",
            "Jog to where the flame is lit and rests: clear of part, chuck and centre. Come to it moving toward the tail.",
            "Take the position.",
        ],
        readings: &[Reading {
            key: "at",
            title: "position of the torch",
            kind: "length",
            times: 1,
        }],
        holder: Holder::Rig,
        writes: &["axis.park"],
    },
];
