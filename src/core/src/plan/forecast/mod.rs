//! What is expected of a planned job: thickness, times, powder, gas, and where the powder is
//! commanded.
//!
//! Times of motion are exact for the planned ramps. Heating and cooling are those of
//! [`crate::model::Bar`], the whole part, under a torch that goes where the sequence will send it
//! and waits by the sequence's own rule; they are estimates and say so. A person's part is not
//! forecast.

mod course;
mod each_pass;
mod fusing;
mod gas;
mod history;
mod print;
mod stall;
mod temperature;
mod zone;

use serde::Serialize;

pub use super::rest::STALL_RISE;
pub use each_pass::{PassByPass, pass_by_pass};
pub use fusing::{BandForecast, FusingForecast};
pub use gas::{CylinderNeed, DRAW_CONTINUOUS, DRAW_INTERMITTENT, GasUse, contents_for};
pub use history::TemperaturePoint;
pub use print::{EXPECTED_TO_FAIL, Page, clock};
pub use stall::{Flame, StallForecast};
pub(crate) use zone::drive;
pub use zone::{EdgeGrowth, FusedForecast, GrownEdges, GrownWhen, Sizes, Station, ZoneForecast};

use super::problem::Findings;
use super::torches::Torches;
use super::zone::ZonePlan;
use crate::catalogue::Catalogue;
use crate::coat::CoatBasis;
use crate::program::Program;
use crate::quantity::{Length, Mass, Temperature, Time};
use crate::recipe::Recipe;
use crate::rig::Rig;

/// How well a time is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// From the planned motion.
    Planned,
    /// A first estimate.
    Estimated,
    /// At least this; people and conduction add to it.
    AtLeast,
    /// A person's work: not counted.
    ByPerson,
}

/// One step's time.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct StepForecast {
    /// What is done.
    pub what: String,
    /// How long it takes.
    pub takes: Time,
    /// When it is done, counted from the job's start.
    pub done_at: Time,
    /// How well that is known.
    pub certainty: Certainty,
    /// What the part sensor sees at its end; after fusing the hottest place.
    pub leaves_at: Temperature,
    /// How often the part waits in it for being too hot.
    pub waits: usize,
    /// How long it waits in all, on the way to the park and back included.
    pub waiting: Time,
    /// How long a torch burns in it; the torch by its place in the program's list.
    #[serde(skip)]
    pub(crate) flame: Option<(usize, Time)>,
}

/// Powder of one kind.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct PowderUse {
    /// Its key in the catalogue.
    pub key: String,
    /// What it is, for people.
    pub title: String,
    /// How long it arrives.
    pub arriving: Time,
    /// How much is fed, overruns and turns included.
    pub fed: Mass,
}

/// The forecast of a job.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Forecast {
    /// The job's title.
    pub title: String,
    /// Each zone.
    pub zones: Vec<ZoneForecast>,
    /// Each step in its order.
    pub steps: Vec<StepForecast>,
    /// All steps together, people's work aside.
    pub total: Time,
    /// The part's temperature over the job, by rising time, from its start to its end: straight
    /// between the points, of which there are at most 400.
    pub temperatures: Vec<TemperaturePoint>,
    /// How each zone is fused, in the order in which it is done.
    pub fusing: Vec<FusingForecast>,
    /// How long the part turns after fusing at the least, wherever its sensor looks; zero for a
    /// part that is not fused.
    pub after_fusing: Time,
    /// Powder by kind.
    pub powder: Vec<PowderUse>,
    /// Gas by torch and setting.
    pub gas: Vec<GasUse>,
    /// How long a carriage may stall under the spraying flame before the surface is
    /// [`STALL_RISE`] hotter, at the zone where it is shortest.
    pub stall: Time,
    /// The same under each flame, the spraying one first, with what the interlock does about it.
    pub stalls: Vec<StallForecast>,
}

/// What a forecast is made from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Basis<'a> {
    pub recipe: &'a Recipe,
    pub rig: &'a Rig,
    pub catalogue: &'a Catalogue,
    pub torches: &'a Torches<'a>,
}

impl Forecast {
    /// Of a planned job.
    pub(crate) fn of(
        basis: &Basis<'_>,
        program: &Program,
        planned: &[ZonePlan<'_>],
        coat: &CoatBasis,
        findings: &mut Findings,
    ) -> Self {
        let heat = temperature::forecast(basis, program, findings);
        let steps = heat.steps;
        let total = steps.last().map_or(Time::ZERO, |step| step.done_at);
        let zones = zone::zones(basis, program, planned, coat, &heat.grown);
        for (zone, plan) in zones.iter().zip(planned) {
            tell_coat(zone, plan, findings);
            tell_neighbours(zone, findings);
        }
        tell_standoff(basis, findings);
        let gas = gas::uses(basis, program, &steps);
        let stalls = stall::stalls(basis, program, &heat.fusing);
        let stall = stalls.first().map_or(Time::ZERO, |stall| stall.too_hot);
        let powder = powder(planned, &zones);
        let title = program.title.clone();
        Self {
            title,
            zones,
            steps,
            total,
            temperatures: heat.temperatures,
            fusing: heat.fusing,
            after_fusing: heat.after_fusing,
            powder,
            gas,
            stall,
            stalls,
        }
    }
}

/// A coat further off than this is told (arbitrary, a fifth of what an unmeasured torch is known to).
const WORTH_TELLING: f64 = 0.02;

/// What of a coat a person would want to change before it is sprayed.
fn tell_coat(zone: &ZoneForecast, plan: &ZonePlan<'_>, findings: &mut Findings) {
    let place = format!("zone \"{}\"", zone.zone);
    if zone.alone_uneven.ratio() > zone.feed_uneven.ratio() + WORTH_TELLING {
        findings.note(
            place.clone(),
            format!(
                "its feed is made to coat it to +-{:.1} %, as driven, on the radius that grows, it is \
                 expected to be +-{:.1} %: split the zone where its diameter changes most",
                zone.feed_uneven.percent(),
                zone.alone_uneven.percent()
            ),
        );
    }
    let over = zone.fused.map_or(zone.sprayed - plan.zone.finish, |fused| fused.over_finish);
    if over < Length::ZERO {
        findings.failing(
            place,
            format!("the coat ends {:.3} under the finish: it needs more passes", over.abs()),
        );
    }
}

/// A zone that its neighbours make less even by more than this does not get the coat that is asked
/// for (arbitrary, twice what an unmeasured torch is known to).
const NEIGHBOURS_SPOIL: f64 = 0.2;

/// What zones that are near each other add to each other's coats.
fn tell_neighbours(zone: &ZoneForecast, findings: &mut Findings) {
    let added = zone.uneven.ratio() - zone.alone_uneven.ratio();
    if added <= WORTH_TELLING {
        return;
    }
    let place = format!("zone \"{}\"", zone.zone);
    let text = format!(
        "its own passes coat it to +-{:.1} %, with what reaches it from other zones it is \
         +-{:.1} %: move the zones apart, or make one of them",
        zone.alone_uneven.percent(),
        zone.uneven.percent()
    );
    if added > NEIGHBOURS_SPOIL {
        findings.failing(place, text);
    } else {
        findings.note(place, text);
    }
}

/// A standoff changes how wide the powder spreads, and nobody has said by how much.
fn tell_standoff(basis: &Basis<'_>, findings: &mut Findings) {
    let (standoff, torch) = (basis.recipe.spray.standoff, basis.torches.spray);
    findings.note(
        "spray, standoff",
        format!(
            "the spread of powder and flame, and what of the powder stays, are as measured at the \
             torch's own standoff; what {standoff} does to them is not forecast: spray a \
             single-pass stripe at it, take it in by `evenpass records stripe {}`, and plan again",
            torch.key
        ),
    );
}

fn powder(planned: &[ZonePlan<'_>], zones: &[ZoneForecast]) -> Vec<PowderUse> {
    let mut uses: Vec<PowderUse> = Vec::new();
    for (plan, zone) in planned.iter().zip(zones) {
        match uses.iter_mut().find(|used| used.key == plan.powder.key) {
            Some(used) => {
                used.arriving += zone.powder_on;
                used.fed += zone.powder;
            }
            None => uses.push(PowderUse {
                key: plan.powder.key.clone(),
                title: plan.powder.title.clone(),
                arriving: zone.powder_on,
                fed: zone.powder,
            }),
        }
    }
    uses
}

/// "1 pass", "2 passes": a count of things by the name of one.
#[must_use]
pub fn counted(count: usize, what: &str) -> String {
    let ending = match (count, what.ends_with('s') || what.ends_with("ch")) {
        (1, _) => "",
        (_, true) => "es",
        (_, false) => "s",
    };
    format!("{count} {what}{ending}")
}

#[cfg(test)]
mod tests {
    use super::counted;

    #[test]
    fn one_thing_is_counted_in_the_singular() {
        let said = |count| ["pass", "catch", "diameter"].map(|what| counted(count, what));
        assert_eq!(said(1), ["1 pass", "1 catch", "1 diameter"]);
        assert_eq!(said(2), ["2 passes", "2 catches", "2 diameters"]);
        assert_eq!(counted(0, "wait"), "0 waits");
    }
}
