//! The plan of a job of which a part is done already: its steps are given, what they will give is
//! forecast as for any other.

use super::forecast::{self, Forecast, FusingForecast};
use super::problem::Findings;
use super::torches::Torches;
use super::zone::{ZoneContext, ZonePlan, plan_zone};
use super::{EdgeBasis, Plan, PlanProblems};
use crate::catalogue::Catalogue;
use crate::coat::CoatBasis;
use crate::program::{Program, Step};
use crate::recipe::Recipe;
use crate::rig::Rig;

/// What is left of a job.
pub(crate) struct Left {
    pub program: Program,
    pub coat: CoatBasis,
    /// What a person should know of it: place and words.
    pub notes: Vec<(String, String)>,
}

/// Its plan: bands of fusing chosen anew, since the part is as cold as any when it begins.
pub(crate) fn plan_left(
    recipe: &Recipe,
    rig: &Rig,
    catalogue: &Catalogue,
    left: Left,
) -> Result<Plan, PlanProblems> {
    let mut findings = Findings::default();
    for (place, text) in left.notes {
        findings.note(place, text);
    }
    let made = make(recipe, rig, catalogue, (left.program, &left.coat), &mut findings);
    let notes = findings.into_notes()?;
    match made {
        Some((program, forecast)) => Ok(Plan { program, forecast, notes, coat: left.coat }),
        None => Err(PlanProblems::nothing_to_coat()),
    }
}

fn make(
    recipe: &Recipe,
    rig: &Rig,
    catalogue: &Catalogue,
    (mut program, coat): (Program, &CoatBasis),
    findings: &mut Findings,
) -> Option<(Program, Forecast)> {
    let torches = Torches::find(recipe, catalogue, findings)?;
    let edges = EdgeBasis::AsTaught;
    let clear_by = torches.clear_by();
    let context = ZoneContext { recipe, rig, catalogue, torch: torches.spray, edges, clear_by };
    let mut zones: Vec<ZonePlan<'_>> = Vec::new();
    for step in &program.steps {
        let Step::Spray(step) = step else { continue };
        let zone = recipe.zones.iter().find(|zone| zone.name == step.zone)?;
        // What it says of the zone was said when the job was planned.
        let planned = plan_zone(&context, zone, &mut Findings::default())?;
        zones.push(ZonePlan { step: step.clone(), ..planned });
    }
    let basis = forecast::Basis { recipe, rig, catalogue, torches: &torches };
    let forecast = Forecast::of(&basis, &program, &zones, coat, findings);
    let mut fused = forecast.fusing.iter();
    for step in &mut program.steps {
        match step {
            Step::Fuse(fuse) => {
                fuse.bands = fused.next().map(FusingForecast::chosen).unwrap_or_default();
            }
            Step::Cool(cool) => cool.after_fusing = forecast.after_fusing,
            Step::Preheat(_) | Step::Spray(_) | Step::ChangeTorch(_) => {}
        }
    }
    Some((program, forecast))
}
