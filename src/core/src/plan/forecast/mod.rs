//! What is expected of a planned job: thickness, times, powder, gas, and where the powder is
//! commanded.
//!
//! Times of motion are exact for the planned ramps. Times of heating and cooling are first
//! estimates of one lump (see [`super::heat`]) and say so; a person's part is not forecast.

mod each_pass;
mod gas;
mod print;
mod temperature;
mod zone;

use serde::Serialize;

pub use super::rest::STALL_RISE;
pub use each_pass::{PassByPass, pass_by_pass};
pub use gas::{CylinderNeed, DRAW_CONTINUOUS, DRAW_INTERMITTENT, GasUse, contents_for};
pub use print::{Page, clock};
pub use zone::{EdgeGrowth, FusedForecast, Station, ZoneForecast};

use super::job::{heated, net_into};
use super::problem::Findings;
use super::rest;
use super::torches::Torches;
use super::zone::ZonePlan;
use crate::catalogue::Catalogue;
use crate::coat::CoatBasis;
use crate::program::{Program, Step};
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
    /// Temperature of the heated stretch at its end.
    pub leaves_at: Temperature,
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
    /// Powder by kind.
    pub powder: Vec<PowderUse>,
    /// Gas by torch and setting.
    pub gas: Vec<GasUse>,
    /// How long a carriage may stall under the spraying flame before the surface is
    /// [`STALL_RISE`] hotter, at the zone where it is shortest.
    pub stall: Time,
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
        let steps = temperature::steps(basis, program, planned, findings);
        let total = steps.last().map_or(Time::ZERO, |step| step.done_at);
        let zones = zone::zones(basis, program, planned, coat);
        let gas = gas::uses(basis, program, &steps);
        let spray = basis.torches.spray;
        let stall = rest::stall(basis.recipe.part.bore, planned, spray, &spray.spraying);
        let powder = powder(planned, &zones);
        Self { title: program.title.clone(), zones, steps, total, powder, gas, stall }
    }
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

/// The thinnest mean diameter of the zones: what catches least of a flame.
fn thinnest(planned: &[ZonePlan<'_>]) -> Length {
    planned.iter().map(|zone| zone.mean).reduce(Length::min).unwrap_or(Length::ZERO)
}

/// What one step is called on the page.
fn title_of(step: &Step, program: &Program) -> String {
    match step {
        Step::Preheat(step) => format!("preheat to {}, soak", step.aim),
        Step::Spray(step) => {
            format!("spray \"{}\", {}", step.zone, counted(step.passes.len(), "pass"))
        }
        Step::ChangeTorch(place) => {
            let title = program.torches.get(*place).map_or("", |torch| torch.title.as_str());
            format!("change to {title}")
        }
        Step::Fuse(step) => {
            format!("fuse \"{}\", {}", step.zone, counted(step.bands.len(), "band"))
        }
        Step::Cool(step) => format!("cool to {}", step.turn_until),
    }
}

/// "1 pass", "2 passes".
fn counted(count: usize, what: &str) -> String {
    let ending = match (count, what.ends_with('s')) {
        (1, _) => "",
        (_, true) => "es",
        (_, false) => "s",
    };
    format!("{count} {what}{ending}")
}
