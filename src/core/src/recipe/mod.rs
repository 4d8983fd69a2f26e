//! The recipe: what the part is and what coat it gets.
//!
//! Positions are along the spindle axis from the chuck face, positive toward the tail.

mod bounds;
mod check;
mod read;

use serde::{Deserialize, Serialize};

pub(crate) use bounds::DIAMETER;
pub(crate) use check::{planned_feed, suits};

use crate::quantity::{Hardness, Length, MassFlow, Pitch, Range, Speed, Temperature, Time};

/// A checked recipe: every value inside its range and in agreement with the others.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Recipe {
    /// What it is called.
    pub title: String,
    /// Its revision, counted from 1.
    pub revision: u32,
    /// What a person should know before using it.
    pub note: Option<String>,
    /// The part.
    pub part: Part,
    /// The coated lengths, from the chuck side; they do not overlap.
    pub zones: Vec<Zone>,
    /// How the part is warmed before the first powder.
    pub preheat: Preheat,
    /// How the passes are sprayed.
    pub spray: Spray,
    /// How the coat is fused; `None` for a coat left as sprayed.
    pub fuse: Option<Fuse>,
    /// How the part cools.
    pub cool: Cool,
    /// What the finished part has to be; `None` where the recipe says nothing of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspection: Option<Inspection>,
}

/// What the part is made of, as far as heat is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Substrate {
    /// Plain carbon steel: thermal growth by EN 1993-1-2.
    PlainSteel,
    /// Steel that hardens in air: the coat and the part must cool slowly.
    AirHardeningSteel,
    /// Austenitic stainless steel.
    StainlessSteel,
    /// Cast iron.
    CastIron,
}

/// The part in the chuck.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct Part {
    /// What it is called.
    pub name: String,
    /// What it is made of.
    pub substrate: Substrate,
    /// The outline: at least two points with rising (or, at a step, equal) positions; the
    /// diameter runs straight between them.
    pub profile: Vec<ProfilePoint>,
    /// Diameter of a concentric bore; zero when solid.
    pub bore: Length,
}

/// One point of the outline.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ProfilePoint {
    /// Position from the chuck face.
    pub at: Length,
    /// Diameter there, before coating.
    pub diameter: Length,
}

impl Part {
    /// Where the part begins and ends.
    #[must_use]
    pub fn extent(&self) -> Range<Length> {
        let low = self.profile.first().map_or(Length::ZERO, |point| point.at);
        let high = self.profile.last().map_or(Length::ZERO, |point| point.at);
        Range { low, high }
    }

    /// The diameter at a position; at a step the value of the tail side holds. Outside the part
    /// the nearest end's.
    #[must_use]
    pub fn diameter_at(&self, at: Length) -> Length {
        let mut before: Option<ProfilePoint> = None;
        for point in &self.profile {
            if point.at > at {
                return match before {
                    None => point.diameter,
                    Some(start) => {
                        let share = (at - start.at) / (point.at - start.at);
                        start.diameter + (point.diameter - start.diameter) * share
                    }
                };
            }
            before = Some(*point);
        }
        before.map_or(Length::ZERO, |point| point.diameter)
    }
}

/// One coated length and its coat.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Zone {
    /// What it is called.
    pub name: String,
    /// Chuck-side edge.
    pub from: Length,
    /// Tail-side edge.
    pub to: Length,
    /// Radial thickness wanted on the finished part.
    pub finish: Length,
    /// Radial allowance for machining, on top of `finish`.
    pub allowance: Length,
    /// The powder, by its key in the catalogue.
    pub powder: String,
    /// Powder fed.
    pub powder_rate: MassFlow,
    /// Surface speed wanted.
    pub surface_speed: Speed,
    /// How the feed is chosen.
    pub feed: FeedChoice,
    /// How far powder stays on past each edge; where the recipe leaves it out the plan takes the
    /// one that needs the least powder for an even coat.
    pub overrun: Option<Length>,
    /// Passes, where the recipe insists on a number.
    pub passes: Option<u32>,
}

/// Longest overrun that a plan takes by itself, in standard deviations of the plume: beyond, less
/// than 1 % of the plume reaches the edge.
pub const LONGEST_OVERRUN_IN_PLUMES: f64 = 2.5;

impl Zone {
    /// The overrun, or the longest that a plan would take with this plume.
    #[must_use]
    pub fn overrun_at_most(&self, plume: Length) -> Length {
        self.overrun.unwrap_or(plume * LONGEST_OVERRUN_IN_PLUMES)
    }
}

/// How the feed of a pass is chosen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FeedChoice {
    /// Travel for each turn at the nominal spindle speed; fixed once planned, never slaved to a
    /// slipping spindle.
    Pitch(Pitch),
    /// A feed along the part.
    Feed(Speed),
    /// Whatever gives this radial thickness as sprayed for each pass.
    ThicknessPerPass(Length),
}

/// Warming the part before spraying.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Preheat {
    /// Temperature the part must reach and stay under.
    pub window: Range<Temperature>,
    /// How long it must stay in the window before spraying.
    pub soak: Time,
    /// Longest time allowed to reach it.
    pub longest: Time,
    /// Feed of the warming passes.
    pub feed: Speed,
}

/// Spraying.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Spray {
    /// The torch, by its key in the catalogue.
    pub torch: String,
    /// Distance nozzle to surface.
    pub standoff: Length,
    /// Temperature of the part while powder is on: below the low end spraying holds for
    /// preheat, above the high end the next pass waits.
    pub window: Range<Temperature>,
    /// A waiting pass starts again below this.
    pub resume_below: Temperature,
    /// Longest time since blasting before the surface must be asked about.
    pub blasted_within: Time,
    /// Rest at each turn.
    pub dwell: Time,
    /// Which end the first pass starts from.
    pub starts: End,
}

/// An end of the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// The end in the chuck (low positions).
    ChuckSide,
    /// The end at the tail (high positions).
    TailSide,
}

/// Fusing the sprayed coat.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Fuse {
    /// The torch; another than the spraying torch means an access to change it.
    pub torch: String,
    /// Reading of the pyrometer between which the coat is expected to wet.
    pub window: Range<Temperature>,
    /// Above this reading the torch is withdrawn.
    pub ceiling: Temperature,
    /// Surface speed wanted while fusing.
    pub surface_speed: Speed,
    /// Which end is fused first.
    pub starts: End,
    /// Length of coat that is fused at a time; the plan chooses it where the recipe leaves it out.
    pub band: Option<Length>,
    /// How far the flame goes past each end of a zone; the plan chooses it where the recipe leaves
    /// it out.
    pub overrun: Option<Length>,
    /// Speed of the oscillation.
    pub oscillation: Speed,
    /// Feed while the wet front is drawn along.
    pub feed: Speed,
    /// Longest time to wait for a person to call a band wet.
    pub longest: Time,
}

/// Cooling down.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Cool {
    /// The spindle turns until the part is below this.
    pub turn_until: Temperature,
    /// Shortest time it turns, whatever the sensor says.
    pub at_least: Time,
    /// Longest time before a person is asked.
    pub longest: Time,
    /// What a slow-cooling part gets when it leaves the machine.
    pub slow: SlowCooling,
}

/// Limits of the finished part. What is not limited is measured or not, as the shop likes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Inspection {
    /// Hardness of the coat, both ends on one scale.
    pub hardness: Option<Range<Hardness>>,
    /// Radial thickness of the coat on the finished part.
    pub thickness: Option<Range<Length>>,
    /// Largest total run-out of the coat.
    pub run_out: Option<Length>,
    /// Whether a dye check has to show nothing.
    pub dye_check: DyeCheck,
}

/// Whether the coat is looked at for cracks with a penetrant (ISO 3452-1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum DyeCheck {
    /// It may be, or not.
    NotNeeded,
    /// It has to be, and to show nothing.
    Needed,
}

/// Whether the part must cool slowly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SlowCooling {
    /// Still air will do.
    NotNeeded,
    /// It goes into lagging at `turn_until`.
    Needed,
}
