//! Puts a planned job's part into the bench's chuck: the only place where core and bench meet,
//! and all they share is what the job card on the machine would say.

use evenpass_core::coat::Bins;
use evenpass_core::plan::Plan;
use evenpass_core::program::Step;
use evenpass_core::quantity::Length;
use evenpass_core::recipe::Substrate;
use evenpass_core::rig::{PositionFrom, RigKind};
use evenpass_hil::spec::{Feedback, Steel};
use evenpass_hil::{Bench, BenchSpec, PartInChuck, SpecError};

use crate::files::Job;

/// Density of austenitic stainless steel, kg/m3 (EN 10088-1, grade 1.4301, from memory).
const STAINLESS_KG_PER_M3: f64 = 7900.0;

/// A bench with the job's part in the chuck, with the coat that earlier runs have left on it, its torches at hand and its powder in the hopper.
///
/// # Errors
/// The bench cannot turn, heat or coat this part.
pub fn bench(job: &Job, plan: &Plan, seed: u64) -> Result<Bench, SpecError> {
    let mut spec = BenchSpec::default_bench()?;
    fit_torches(&mut spec, job, plan);
    set_feeder(&mut spec, job);
    match job.recipe.part.substrate {
        Substrate::StainlessSteel => {
            spec.heat.steel = Steel::Stainless;
            spec.heat.density_kg_m3 = STAINLESS_KG_PER_M3;
        }
        Substrate::AirHardeningSteel => spec.heat.steel = Steel::Alloyed,
        // The bench knows no iron: plain steel stands for it.
        Substrate::PlainSteel | Substrate::CastIron => {}
    }
    // Drive and scale as the rig file says they are.
    spec.drive.position_feedback = match job.rig.axis.position_from {
        PositionFrom::Carriage => Feedback::Carriage,
        PositionFrom::Motor | PositionFrom::Steps => Feedback::Motor,
    };
    // The preheat sensor is aimed at the middle of the first zone, as a fitter would aim it.
    if let Some(zone) = job.recipe.zones.first() {
        spec.sensors.preheat_at_mm = Some(((zone.from + zone.to) / 2.0).mm());
    }
    if let evenpass_core::rig::SpindleSpec::Gears(table) = &job.rig.spindle {
        spec.spindle.kind = evenpass_hil::spec::SpindleKind::Lever;
        let planned = plan.program.steps.iter().find_map(Step::spindle);
        if let Some(speed) = planned.or_else(|| table.speeds.first().copied()) {
            spec.spindle.lever_rpm = speed.rpm();
        }
    }
    let mut bench = Bench::new(&spec, &part(job, plan), seed)?;
    bench.lay(&lying(plan));
    Ok(bench)
}

/// Powder that earlier runs have left on the part, by the torch's place, mm and g.
fn lying(plan: &Plan) -> Vec<(f64, f64)> {
    let layers = plan.coat.lies.iter();
    let bins = layers.flat_map(|layer| {
        let Bins { low, width, grams } = &layer.bins;
        let places = core::iter::successors(Some(*low), |at| Some(*at + *width));
        places.zip(grams).map(|(at, grams)| (at.mm(), *grams))
    });
    bins.filter(|(_, grams)| *grams > 0.0).collect()
}

/// The torches of the job, as the catalogue describes them.
fn fit_torches(spec: &mut BenchSpec, job: &Job, plan: &Plan) {
    let Some(pattern) = spec.torch.first().cloned() else { return };
    spec.torch.clear();
    for planned in &plan.program.torches {
        let Some(torch) = job.catalogue.torch(&planned.key) else { continue };
        if spec.torch.iter().any(|known| known.name == torch.key) {
            continue;
        }
        let mut fitted = pattern.clone();
        fitted.name.clone_from(&torch.key);
        fitted.net_power_w = planned.gas.net_power.kw() * 1000.0;
        // A round flame: as wide across the part as along it.
        fitted.heat_sigma_axial_mm = torch.flame.mm();
        fitted.heat_sigma_lateral_mm = torch.flame.mm();
        fitted.fuel_bar = Some(torch.fuel_pressure.bar());
        fitted.oxygen_bar = Some(torch.oxygen_pressure.bar());
        fitted.takes_powder = torch.powder_rate.is_some();
        spec.torch.push(fitted);
    }
    if let Some(first) = plan.program.torches.first() {
        spec.gas.carrier_air_bar = first.carrier_pressure.bar();
        spec.gas.fuel_bar = first.fuel_pressure.bar();
        spec.gas.oxygen_bar = first.oxygen_pressure.bar();
    }
}

/// Feeder, powder and plume of the first zone. The twin's own coats come as they are written,
/// whatever a plan has learned of them; where it stands in for a machine, they come as that
/// machine's are known to.
fn set_feeder(spec: &mut BenchSpec, job: &Job) {
    let (recipe, spraying) = match job.rig.kind {
        RigKind::Twin => job.as_written(),
        RigKind::Machine => (&job.recipe, &job.catalogue),
    };
    let Some(zone) = recipe.zones.first() else { return };
    spec.powder.rate_g_min = zone.powder_rate.g_per_min();
    if let Some(powder) = spraying.powder(&zone.powder) {
        spec.plume.efficiency = powder.efficiency.ratio();
        spec.plume.as_sprayed_density_kg_m3 = powder.density_as_sprayed.g_per_cm3() * 1000.0;
    }
    if let Some(torch) = spraying.torch(&job.recipe.spray.torch) {
        spec.powder.transport_delay_on_s = torch.powder_delay_on.s();
        spec.powder.transport_delay_off_s = torch.powder_delay_off.s();
        spec.powder.rise_time_constant_s = torch.powder_rise.s();
        spec.powder.fall_time_constant_s = torch.powder_rise.s();
        spec.plume.sigma_axial_mm = torch.plume.mm();
        spec.plume.sigma_lateral_mm = torch.plume.mm();
    }
    let middle = (zone.from + zone.to) / 2.0;
    spec.plume.stand_off_mm = job.recipe.spray.standoff.mm();
    spec.plume.reference_radius_mm = job.recipe.part.diameter_at(middle).mm() / 2.0;
}

/// The part of a job with its job card.
#[must_use]
pub fn part(job: &Job, plan: &Plan) -> PartInChuck {
    let metres = |length: Length| length.mm() / 1000.0;
    let mut torch_order: Vec<String> =
        plan.program.torches.iter().map(|torch| torch.key.clone()).collect();
    torch_order.dedup();
    PartInChuck {
        profile_m: job
            .recipe
            .part
            .profile
            .iter()
            .map(|point| (metres(point.at), metres(point.diameter) / 2.0))
            .collect(),
        bore_radius_m: metres(job.recipe.part.bore) / 2.0,
        torch_order,
        watched_mm: plan.program.steps.iter().filter_map(watched).collect(),
        initial_c: spec_ambient(),
    }
}

/// What the job card has a person watch in a step, mm.
fn watched(step: &Step) -> Option<Vec<(f64, f64)>> {
    let Step::Fuse(fuse) = step else { return None };
    let coats = fuse.bands.iter().map(|band| (band.coat.low.mm(), band.coat.high.mm()));
    Some(coats.collect())
}

/// A part that has lain in the shop.
const fn spec_ambient() -> f64 {
    20.0
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use evenpass_core::plan::plan;

    use super::*;
    use crate::files::{self, Places};

    #[test]
    fn a_torch_at_the_bench_heats_along_and_across_as_wide_as_the_catalogue_says() {
        let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let recipe = config.join("recipes/short-job.toml");
        let job = files::job(&recipe, Places { catalogue: Some(&config), rig: None }).unwrap();
        let plan = plan(&job.recipe, &job.rig, &job.catalogue).unwrap();
        let mut spec = BenchSpec::default_bench().unwrap();
        fit_torches(&mut spec, &job, &plan);
        let wide = job.catalogue.torch(&job.recipe.spray.torch).unwrap().flame.mm();
        let fitted = &spec.torch[0];
        assert_eq!((fitted.heat_sigma_axial_mm, fitted.heat_sigma_lateral_mm), (wide, wide));
    }
}
