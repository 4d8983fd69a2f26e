//! Whole plans of invented jobs.

mod heat;
mod limits;
mod reference;
mod shapes;
mod turns;

use super::{Plan, plan, support};
use crate::program::{SprayStep, Step};
use crate::recipe::Recipe;
use crate::rig::Rig;

/// The plan of a job that has one.
fn planned(recipe: &Recipe, rig: &Rig) -> Plan {
    match plan(recipe, rig, &support::catalogue()) {
        Ok(plan) => plan,
        Err(problems) => panic!("no plan: {problems}"),
    }
}

fn reference() -> Plan {
    planned(&support::recipe(), &support::rig())
}

/// The spraying steps of a plan.
fn sprayed(plan: &Plan) -> Vec<&SprayStep> {
    plan.program
        .steps
        .iter()
        .filter_map(|step| match step {
            Step::Spray(spray) => Some(spray),
            _ => None,
        })
        .collect()
}

#[track_caller]
fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} for {wanted} within {within}");
}
