//! A part taught at the machine: the torch is jogged to its faces, shoulders and zone edges, each
//! place is taken, diameters are typed, and the geometry of a new recipe comes of it.
//!
//! - [`Teaching`] collects the points in the order they are taken.
//! - [`judge`] makes a [`Taught`] of them, or tells everything that is wrong: points in the wrong
//!   order are exchanged and said so, equal, too close or out of travel they are refused, and
//!   inches typed for millimetres are found out.
//! - [`recipe_text`] writes it into the text of another recipe, or of a [`blank`] one.
//!
//! The park is the machine's and no part of a recipe: [`crate::calibrate::park`] takes it.

mod judge;
mod note;
mod outline;
mod recipe;
mod units;

#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

pub use judge::judge;
pub use note::{Question, TeachNote};
pub use recipe::{Particulars, blank, blank_torch, recipe_text};

use crate::catalogue::Torch;
use crate::plan::setup::TeachOrder;
use crate::quantity::{Length, Range};
use crate::recipe::{End, LONGEST_OVERRUN_IN_PLUMES, ProfilePoint};
use crate::request::Direction;
use crate::rig::Rig;

/// What a point is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PointKind {
    /// An end face of the part. One alone is that of the tail side, and the part begins at the
    /// chuck face; two are both, in any order.
    PartFace,
    /// An edge of a zone. Each two of them, as they are taken, make a zone.
    ZoneEdge,
    /// A shoulder: the diameter changes at once. A diameter typed with it is that of its tail
    /// side.
    Shoulder,
    /// A place whose diameter is typed. Several between two shoulders make a taper: straight
    /// between them, and beyond the outermost as they are there.
    Diameter,
}

impl PointKind {
    /// Every kind, as they are offered.
    pub const ALL: [Self; 4] = [Self::PartFace, Self::ZoneEdge, Self::Shoulder, Self::Diameter];

    /// What it is called.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::PartFace => "part face",
            Self::ZoneEdge => "zone edge",
            Self::Shoulder => "shoulder",
            Self::Diameter => "diameter",
        }
    }
}

/// One point as it was taken.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TaughtPoint {
    /// What it is of.
    pub what: PointKind,
    /// Where the torch is, from the chuck face.
    pub at: Length,
    /// Which way the carriage moved last before it was taken; `None` when that is not known, or
    /// the place was typed.
    pub approached: Option<Direction>,
    /// The diameter there, where it was typed.
    pub diameter: Option<Length>,
}

/// All that was taken of a part.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Teaching {
    /// The points, in the order they were taken.
    pub points: Vec<TaughtPoint>,
    /// Which end the first pass starts from, once somebody has said.
    pub starts: Option<End>,
    /// Length of the part by its drawing, where it was typed.
    pub drawn_length: Option<Length>,
}

/// What a taught part is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Where the torch may travel.
    pub travel: Range<Length>,
    /// Largest diameter that turns clear.
    pub swing: Length,
    /// Lost motion of the carriage.
    pub backlash: Length,
    /// Standard deviation of the torch's plume.
    pub plume: Length,
    /// How far powder stays on past each edge.
    pub overrun: Length,
}

impl Limits {
    /// Of a torch on a rig; without an `overrun` the longest that a plan takes by itself.
    #[must_use]
    pub fn of(rig: &Rig, torch: &Torch, overrun: Option<Length>) -> Self {
        Self {
            travel: rig.axis.travel,
            swing: rig.swing,
            backlash: rig.axis.backlash,
            plume: torch.plume,
            overrun: overrun.unwrap_or(torch.plume * LONGEST_OVERRUN_IN_PLUMES),
        }
    }
}

/// A zone as it was taught.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct ZonePlaces {
    /// Its edges, chuck side first.
    pub edges: Range<Length>,
    /// In which order they were taken.
    pub order: TeachOrder,
    /// Where the torch is with powder on: the edges and the overrun. The carriage goes further by
    /// its run-up, which is checked with the whole recipe.
    pub powder_on: Range<Length>,
}

/// The geometry of a taught part.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Taught {
    /// The outline.
    pub profile: Vec<ProfilePoint>,
    /// The zones, from the chuck side.
    pub zones: Vec<ZonePlaces>,
    /// Which end the first pass starts from; `None` to leave it as the recipe it is written into
    /// has it.
    pub starts: Option<End>,
    /// What must be answered before it becomes a recipe.
    pub question: Option<Question>,
    /// What the person should know.
    pub notes: Vec<TeachNote>,
}
