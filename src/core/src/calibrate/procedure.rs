//! The procedures, in a technician's words.

use serde::Serialize;

use super::FEWEST;

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
    /// What kind of quantity it is.
    pub kind: Kind,
    /// How often it is measured.
    pub times: Times,
}

/// A kind of quantity that is read off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A length.
    Length,
    /// A speed along the bed.
    Speed,
    /// A time.
    Time,
    /// Turns counted.
    Turns,
    /// A speed of the spindle.
    SpindleSpeed,
}

/// How often something is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Times {
    /// Once.
    Once,
    /// So often or more.
    Several(usize),
    /// Once, where it belongs to the one of two ways to measure that was chosen.
    OnceIfChosen,
    /// So often or more, where it is the one of two ways to measure that was chosen.
    SeveralIfChosen(usize),
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
                kind: Kind::Length,
                times: Times::Once,
            },
            Reading {
                key: "measured",
                title: "distance of the marks by the rule",
                kind: Kind::Length,
                times: Times::Once,
            },
            Reading {
                key: "reading",
                title: "how far the rule is usually read off",
                kind: Kind::Length,
                times: Times::Once,
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
                kind: Kind::Length,
                times: Times::Several(FEWEST),
            },
            Reading {
                key: "toward_chuck",
                title: "gauge after moving toward the chuck",
                kind: Kind::Length,
                times: Times::Several(FEWEST),
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
                kind: Kind::Time,
                times: Times::SeveralIfChosen(FEWEST),
            },
            Reading {
                key: "off",
                title: "by a watch, from the feeder's stop until no more arrives",
                kind: Kind::Time,
                times: Times::SeveralIfChosen(FEWEST),
            },
            Reading {
                key: "feed",
                title: "by a stripe, feed of the torch over the plate",
                kind: Kind::Speed,
                times: Times::OnceIfChosen,
            },
            Reading {
                key: "ran_on",
                title: "by a stripe, from the feeder's start to half its thickness",
                kind: Kind::Length,
                times: Times::SeveralIfChosen(FEWEST),
            },
            Reading {
                key: "ran_off",
                title: "by a stripe, from the feeder's stop to half its thickness",
                kind: Kind::Length,
                times: Times::SeveralIfChosen(FEWEST),
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
            Reading { key: "turns", title: "turns counted", kind: Kind::Turns, times: Times::Once },
            Reading {
                key: "time",
                title: "how long they took",
                kind: Kind::Time,
                times: Times::Once,
            },
            Reading {
                key: "read",
                title: "speed shown meanwhile",
                kind: Kind::SpindleSpeed,
                times: Times::Once,
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
            kind: Kind::Length,
            times: Times::Once,
        }],
        holder: Holder::Rig,
        writes: &["axis.park"],
    },
];
