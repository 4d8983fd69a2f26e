//! The program: what a plan tells the sequence to do. Values only; no decisions.

mod feed;
mod waiting;

pub use feed::{FeedPoint, feed_at};
pub use waiting::Rises;

use core::time::Duration;

use serde::Serialize;

use crate::catalogue::{GasSetting, LightingRules, ShutOrder};
use crate::image::Level;
use crate::quantity::{
    Acceleration, Length, Mass, MassFlow, Pressure, Range, Speed, SpindleSpeed, Temperature, Time,
};
use crate::recipe::{End, SlowCooling};
use crate::request::Trim;

/// A planned job.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Program {
    /// The recipe's title.
    pub title: String,
    /// Where the torch parks.
    pub park: Length,
    /// The part's extent: a torch inside it, widened by `clear_by`, is over the part.
    pub part: Range<Length>,
    /// Distance beyond the part at which the torch is clear of it: three standard deviations of
    /// the wider of plume and flame.
    pub clear_by: Length,
    /// Ramp of the carriage.
    pub ramp: Acceleration,
    /// Speed between places without powder.
    pub positioning: Speed,
    /// The steps, in order.
    pub steps: Vec<Step>,
    /// The torches in the order they are used; a step names its torch by the place in this list.
    pub torches: Vec<TorchPlan>,
    /// Longest time since blasting before the surface is asked about.
    pub blasted_within: Time,
    /// Which parts it is for.
    #[serde(skip_serializing_if = "Parts::is_any")]
    pub parts: Parts,
}

/// Which parts a program is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Parts {
    /// One after another, all alike.
    Any,
    /// The one in the chuck: it is the rest of a job, and fits what lies on that part alone.
    TheOneInTheChuck,
}

impl Parts {
    /// Whether it is for one after another. By reference as serde asks for it.
    #[must_use]
    pub const fn is_any(&self) -> bool {
        matches!(self, Self::Any)
    }
}

/// What the sequence needs to know of a torch.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct TorchPlan {
    /// Its key in the catalogue.
    pub key: String,
    /// Its title.
    pub title: String,
    /// How it is lit.
    pub lighting: LightingRules,
    /// Gas setting of its steps.
    pub gas: GasSetting,
    /// Longest time its flame may rest over one spot of the turning part, from the heat rate; no
    /// shorter than the planned turns need. It can only tighten the interlock's own figure.
    pub longest_rest: Time,
    /// Fuel pressure it is set to.
    pub fuel_pressure: Pressure,
    /// Highest fuel gauge pressure its gas may be used at.
    pub fuel_pressure_limit: Pressure,
    /// Oxygen pressure it is set to.
    pub oxygen_pressure: Pressure,
    /// Carrier pressure it is set to.
    pub carrier_pressure: Pressure,
    /// Order of an ordinary stop.
    pub shut_order: ShutOrder,
    /// Lag between the gases at an ordinary stop.
    pub shut_lag: Time,
    /// Purge after the gases are shut.
    pub purge_after: Time,
    /// Whether its carrier may purge after the fuel is shut: on unless the carrier is oxygen.
    pub carrier_may_purge: Level,
}

/// One step of a job.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Warm the part.
    Preheat(PreheatStep),
    /// Spray a zone.
    Spray(SprayStep),
    /// Isolate the gas and let a person in to change to the torch at this place in the list.
    ChangeTorch(usize),
    /// Fuse a zone.
    Fuse(FuseStep),
    /// Let the part cool.
    Cool(CoolStep),
}

impl Step {
    /// The spindle speed the step asks for; `None` for one that leaves it as it was.
    #[must_use]
    pub fn spindle(&self) -> Option<SpindleSpeed> {
        match self {
            Self::Preheat(step) => Some(step.spindle),
            Self::Spray(step) => Some(step.spindle),
            Self::Fuse(step) => Some(step.spindle),
            Self::Cool(step) => Some(step.spindle),
            Self::ChangeTorch(_) => None,
        }
    }
}

/// Warming by passes of the flame.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct PreheatStep {
    /// The torch, by its place in the program's list.
    pub torch: usize,
    /// Spindle speed.
    pub spindle: SpindleSpeed,
    /// Feed of the warming passes.
    pub feed: Speed,
    /// Turning points of the warming passes.
    pub span: Range<Length>,
    /// The window to reach and stay under.
    pub window: Range<Temperature>,
    /// What the flame heats to, seen with the torch off the part: far enough inside the window
    /// that the soak does not fall out of it.
    pub aim: Temperature,
    /// How long it must stay in the window, with the torch at the park.
    pub soak: Time,
    /// Longest time to reach it.
    pub longest: Time,
    /// What the forecast expects.
    pub expected: Time,
}

/// One switching window of the powder along a pass: where powder is to be at full flow on the
/// part. The carriage positions are those of the torch, in the pass's own direction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PowderWindow {
    /// Where powder begins to arrive.
    pub on: Length,
    /// Where powder ceases to arrive.
    pub off: Length,
}

/// One crossing of a zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Pass {
    /// Where the carriage starts from rest.
    pub from: Length,
    /// Where it comes to rest.
    pub to: Length,
    /// Feed along the way, by rising position whatever the direction; never empty.
    pub feed: Vec<FeedPoint>,
    /// Where powder is wanted, in the order of the pass's direction.
    pub powder: Vec<PowderWindow>,
    /// By how much a person has changed its feed, all trims together: part of `feed` already.
    pub trim: Trim,
}

/// How long before an ON edge the line must know it: an exchange in flight, a free guard window
/// and the edge's own exchange at 115,200 baud, with room; arbitrary within those.
pub const POWDER_NOTICE: Duration = Duration::from_millis(80);

impl Pass {
    /// Where the carriage starts this pass with its powder off, as it does after a wait: so far
    /// out, inside the travel, that powder commanded on the way arrives where it is first wanted.
    /// Nobody rests there for the powder's sake. Its own start where that has room for the lead.
    #[must_use]
    pub fn starts_anew_at(
        &self,
        lead_on: Time,
        ramp: Acceleration,
        travel: Range<Length>,
    ) -> Length {
        let toward_tail = self.to >= self.from;
        let end = if toward_tail { self.feed.first() } else { self.feed.last() };
        let (Some(end), Some(window)) = (end, self.powder.first()) else { return self.from };
        let (feed, ramp) = (end.feed.mm_per_s(), ramp.mm_per_s2());
        // A carriage without feed or ramp gets nowhere, however long it is given.
        if feed.is_nan() || ramp.is_nan() || feed <= 0.0 || ramp <= 0.0 {
            return self.from;
        }
        let way = |time: f64| {
            let up = feed / ramp;
            if time <= up { ramp * time * time / 2.0 } else { feed * (time - up / 2.0) }
        };
        let own = (window.on - self.from).abs().mm();
        if way(lead_on.s()) <= own {
            return self.from;
        }
        let wanted = Length::from_mm(way(lead_on.s() + POWDER_NOTICE.as_secs_f64()));
        if toward_tail {
            (window.on - wanted).max(travel.low).min(self.from)
        } else {
            (window.on + wanted).min(travel.high).max(self.from)
        }
    }
}

/// Spraying one zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct SprayStep {
    /// Name of the zone.
    pub zone: String,
    /// Its edges.
    pub edges: Range<Length>,
    /// The torch, by its place in the program's list.
    pub torch: usize,
    /// Spindle speed.
    pub spindle: SpindleSpeed,
    /// Powder fed.
    pub powder_rate: MassFlow,
    /// From the coil's on until powder arrives at full flow.
    pub lead_on: Time,
    /// From the coil's off until no more powder arrives.
    pub lead_off: Time,
    /// Part temperature while powder is on.
    pub window: Range<Temperature>,
    /// A waiting pass starts again below this.
    pub resume_below: Temperature,
    /// Rest at each turn.
    pub dwell: Time,
    /// The passes, in order.
    pub passes: Vec<Pass>,
    /// Powder the step needs.
    pub powder: Mass,
    /// Thickness as sprayed that each pass adds at its planned feed, radial.
    pub thickness_per_pass: Length,
    /// Coat that lies there before the first of them, as sprayed, radial, beyond what their number
    /// would leave: zero but for a job that goes on after an interruption.
    pub lies: Length,
    /// Passes at the end of the list that a person has added.
    pub touch_ups: usize,
    /// Within what a person may change its passes.
    pub bounds: PassBounds,
}

/// Within what a person may change the passes of a zone while the job runs: the plan's own limits,
/// kept so that a change is held against them without planning anew.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct PassBounds {
    /// From where to where powder is wanted: the zone with its overruns.
    pub span: Range<Length>,
    /// Mean diameter of the zone.
    pub diameter: Length,
    /// Feeds that the torch works at.
    pub feed: Range<Speed>,
    /// Feed at which the pitch is the widest that stays smooth.
    pub smooth_up_to: Speed,
    /// Where the torch may travel.
    pub travel: Range<Length>,
    /// Lost motion of the carriage at a turn.
    pub backlash: Length,
    /// The thickest coat as sprayed that the powder bears, radial.
    pub thickest: Length,
}

/// A stretch that is fused at a time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct FuseBand {
    /// The coat that a person watches and calls wet.
    pub coat: Range<Length>,
    /// Turning points of the flame, which goes ahead of the coat in hand.
    pub travel: Range<Length>,
}

impl FuseBand {
    /// A stretch of coat with the flame's turning points.
    #[must_use]
    pub const fn new(coat: Range<Length>, travel: Range<Length>) -> Self {
        Self { coat, travel }
    }
}

/// Fusing one zone band by band.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct FuseStep {
    /// Name of the zone.
    pub zone: String,
    /// The torch, by its place in the program's list.
    pub torch: usize,
    /// Spindle speed.
    pub spindle: SpindleSpeed,
    /// Which end is first.
    pub starts: End,
    /// The zone's edges.
    pub edges: Range<Length>,
    /// The bands in the order they are fused.
    pub bands: Vec<FuseBand>,
    /// Speed of the oscillation.
    pub oscillation: Speed,
    /// Feed from band to band.
    pub feed: Speed,
    /// Reading of the pyrometer between which the coat is expected to wet.
    pub window: Range<Temperature>,
    /// Above this reading the torch is withdrawn.
    pub ceiling: Temperature,
    /// Longest time to wait for "wet" in one band.
    pub longest: Time,
}

impl FuseStep {
    /// Where the flame turns ahead of the coat in hand: the wet front is drawn along to there.
    #[must_use]
    pub const fn leading_end(&self, band: &FuseBand) -> Length {
        match self.starts {
            End::ChuckSide => band.travel.high,
            End::TailSide => band.travel.low,
        }
    }
}

/// Cooling with the spindle turning.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct CoolStep {
    /// Spindle speed.
    pub spindle: SpindleSpeed,
    /// Turns until the part is below this.
    pub turn_until: Temperature,
    /// Shortest time.
    pub at_least: Time,
    /// Shortest time once fusing has begun: what the hottest place may need from the ceiling of
    /// fusing. The part's sensor looks at one place, which may have cooled long before.
    pub after_fusing: Time,
    /// Longest time before a person is asked.
    pub longest: Time,
    /// What the part gets when it leaves the machine.
    pub slow: SlowCooling,
}
