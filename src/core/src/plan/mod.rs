//! The plan: recipe, rig and catalogue in; a program, a forecast and notes out. Pure.
//!
//! What it goes through, in this order: torches, then for each zone speed, feed, number of
//! passes and legs ([`speeds`], [`crate::coat`], [`motion`], [`powder`]), then the steps
//! of the job, then the forecast. Every limit that binds is collected, so that a person learns
//! of all of them at once; each says where, what was found, what is accepted and what would
//! free it.

pub mod change;
mod checks;
mod even;
pub mod forecast;
mod fuse;
pub mod heat;
mod job;
pub(crate) mod left;
mod legs;
pub mod material;
pub mod motion;
mod outline;
mod passes;
pub mod powder;
mod problem;
mod rest;
pub mod setup;
pub mod speeds;
mod torches;
mod zone;

#[cfg(test)]
pub(crate) mod support;
#[cfg(test)]
mod tests;

use serde::Serialize;

pub use motion::{Direction, LegMotion};
pub use passes::{MOST_PASSES, PassCount};
#[cfg(test)]
pub(crate) use rest::{FLAME_RESTS, POWDER_RESTS};

pub use problem::{Limit, Note, PlanProblem, PlanProblems, Weight};

use self::forecast::{Forecast, FusingForecast};
use self::problem::Findings;
use self::torches::Torches;
use self::zone::{ZoneContext, ZonePlan, plan_zone};
use crate::catalogue::Catalogue;
use crate::coat::{CoatBasis, LayerBasis};
use crate::program::{Program, Step};
use crate::quantity::{Length, Range, Temperature};
use crate::recipe::Recipe;
use crate::rig::Rig;

/// A planned job.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Plan {
    /// What the sequence is to do.
    pub program: Program,
    /// What is expected of it.
    pub forecast: Forecast,
    /// What a person should know and may change.
    pub notes: Vec<Note>,
    /// What the running estimate of the coat starts from.
    pub coat: CoatBasis,
}

impl Plan {
    /// The plan as a page for a practitioner: at most 100 columns, ending in a line end.
    #[must_use]
    pub fn page(&self) -> forecast::Page<'_> {
        forecast::Page::new(&self.forecast, &self.notes)
    }
}

/// Which edges a plan takes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum EdgeBasis {
    /// As taught, cold: right before anything is warm, and the fallback when no temperature can
    /// be trusted.
    AsTaught,
    /// Grown from the chuck face on, the whole part at this trusted temperature.
    Grown(Temperature),
}

impl EdgeBasis {
    /// Where a place of the cold part lies.
    #[must_use]
    pub fn place(self, recipe: &Recipe, cold: Length) -> Length {
        match self {
            Self::AsTaught => cold,
            Self::Grown(temperature) => material::grown(cold, recipe.part.substrate, temperature),
        }
    }
}

/// Plans a job with its edges as taught.
///
/// # Errors
/// [`PlanProblems`]: everything in the way, each with the limit that binds and what would free
/// it.
pub fn plan(recipe: &Recipe, rig: &Rig, catalogue: &Catalogue) -> Result<Plan, PlanProblems> {
    plan_with(recipe, rig, catalogue, EdgeBasis::AsTaught)
}

/// Plans a job with its edges where they are on a part of a known temperature.
///
/// # Errors
/// As [`plan`].
pub fn plan_with(
    recipe: &Recipe,
    rig: &Rig,
    catalogue: &Catalogue,
    edges: EdgeBasis,
) -> Result<Plan, PlanProblems> {
    let mut findings = Findings::default();
    let made = make(recipe, rig, catalogue, edges, &mut findings);
    let notes = findings.into_notes()?;
    match made {
        Some((program, forecast, coat)) => Ok(Plan { program, forecast, notes, coat }),
        // Only a recipe without zones comes here: there is nothing to plan.
        None => Err(PlanProblems::nothing_to_coat()),
    }
}

fn make(
    recipe: &Recipe,
    rig: &Rig,
    catalogue: &Catalogue,
    edges: EdgeBasis,
    findings: &mut Findings,
) -> Option<(Program, Forecast, CoatBasis)> {
    let torches = Torches::find(recipe, catalogue, findings)?;
    let context = ZoneContext {
        recipe,
        rig,
        catalogue,
        torch: torches.spray,
        edges,
        clear_by: torches.clear_by(),
    };
    let planned: Vec<Option<ZonePlan<'_>>> =
        recipe.zones.iter().map(|zone| plan_zone(&context, zone, findings)).collect();
    let zones: Vec<ZonePlan<'_>> = planned.into_iter().collect::<Option<_>>()?;
    let mut program = job::assemble(recipe, rig, &torches, &zones, edges, findings)?;
    let coat = coat_basis(recipe, &program, &zones, torches.spray.plume);
    let forecast = Forecast::of(
        &forecast::Basis { recipe, rig, catalogue, torches: &torches },
        &program,
        &zones,
        &coat,
        findings,
    );
    let mut fused = forecast.fusing.iter();
    for step in &mut program.steps {
        match step {
            Step::Fuse(fuse) => {
                let told = fused.next();
                fuse.bands = told.map(FusingForecast::chosen).unwrap_or_default();
            }
            Step::Cool(cool) => cool.after_fusing = forecast.after_fusing,
            Step::Preheat(_) | Step::Spray(_) | Step::ChangeTorch(_) => {}
        }
    }
    Some((program, forecast, coat))
}

/// What the running estimate of the coat needs of each spraying step.
fn coat_basis(
    recipe: &Recipe,
    program: &Program,
    zones: &[ZonePlan<'_>],
    plume: Length,
) -> CoatBasis {
    let sprayed = program.steps.iter().enumerate().filter_map(|(index, step)| match step {
        Step::Spray(spray) => Some((index, spray)),
        Step::Preheat(_) | Step::ChangeTorch(_) | Step::Fuse(_) | Step::Cool(_) => None,
    });
    let layers = sprayed
        .zip(zones)
        .map(|((step, spray), zone)| {
            let ends = || spray.passes.iter().flat_map(|pass| [pass.from, pass.to]);
            LayerBasis {
                step,
                travel: Range {
                    low: ends().reduce(Length::min).unwrap_or(Length::ZERO),
                    high: ends().reduce(Length::max).unwrap_or(Length::ZERO),
                },
                plume,
                efficiency: zone.powder.efficiency,
                density: zone.powder.density_as_sprayed,
                rate: spray.powder_rate,
                lead_on: spray.lead_on,
                lead_off: spray.lead_off,
            }
        })
        .collect();
    CoatBasis { part: recipe.part.clone(), layers, lies: Vec::new() }
}
