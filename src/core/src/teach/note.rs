//! What is said beside a taught part, in words.

use core::fmt;

use serde::Serialize;

use crate::quantity::Length;
use crate::recipe::End;

/// Something a person should know about what was taken. Points and zones count from 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum TeachNote {
    /// The tail-side edge of a zone was taken first.
    Swapped {
        /// The zone.
        zone: usize,
        /// As taken first.
        first: Length,
        /// As taken second.
        second: Length,
    },
    /// A point was taken moving toward the chuck, with the lost motion on the other side.
    FromTheTail {
        /// The point.
        point: usize,
        /// By how much it may be off.
        backlash: Length,
    },
    /// Only one face was taken.
    FromTheChuckFace {
        /// That face.
        to: Length,
    },
    /// A zone reaches beyond the last diameter of a taper.
    DiameterHeld {
        /// The zone.
        zone: usize,
        /// Where the last diameter was measured.
        at: Length,
        /// That diameter.
        diameter: Length,
    },
    /// A shoulder with the same diameter on both sides.
    NoStep {
        /// Where.
        at: Length,
    },
    /// The part is longer or shorter than its drawing.
    NotAsDrawn {
        /// As taken.
        taught: Length,
        /// By the drawing.
        drawn: Length,
    },
}

impl fmt::Display for TeachNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Swapped { zone, first, second } => write!(
                f,
                "zone {zone}: the edges were taken from the tail side, {first} and then {second}; \
                 they are swapped"
            ),
            Self::FromTheTail { point, backlash } => write!(
                f,
                "point {point} was taken moving toward the chuck: with the lost motion of \
                 {backlash} it may be off by as much; jog past it and take it again moving toward \
                 the tail"
            ),
            Self::FromTheChuckFace { to } => write!(
                f,
                "the part is taken to begin at the chuck face and to end at {to}; take its other \
                 face too if it stands off the chuck"
            ),
            Self::DiameterHeld { zone, at, diameter } => write!(
                f,
                "zone {zone} reaches beyond the last diameter of its taper, {diameter} at {at}, \
                 which is held to its end; measure another one there if the taper goes on"
            ),
            Self::NoStep { at } => {
                write!(f, "the diameter is the same on both sides of the shoulder at {at}")
            }
            Self::NotAsDrawn { taught, drawn } => write!(
                f,
                "the part is {taught} long as taken and {drawn} by its drawing; look whether it is \
                 the right part and whether both faces were met"
            ),
        }
    }
}

/// What a taught part leaves open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Question {
    /// Which end the first pass starts from: the edges were taken from the other end than is
    /// usual, and that may or may not have been meant.
    FirstPass {
        /// Where the first edge was taken.
        taken_from: End,
    },
}

impl fmt::Display for Question {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FirstPass { taken_from } => {
                let from = match taken_from {
                    End::ChuckSide => "chuck side",
                    End::TailSide => "tail side",
                };
                write!(
                    f,
                    "which end does the first pass start from? The edges were taken from the {from}"
                )
            }
        }
    }
}
