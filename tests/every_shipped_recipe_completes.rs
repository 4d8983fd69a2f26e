//! Every shipped recipe runs to its end on the twin, and gives the coat that was planned.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;

use evenpass::comparison;
use evenpass_core::program::{Program, Step};
use support::jobs::{RECIPES, Texts};
use support::{Begin, Rehearsal};

const SEED: u64 = 1;

/// A spindle that runs down takes a moment longer; a sensor errs by as much (arbitrary), K.
const COOLER_BY: f64 = 10.0;

/// Runs one to its end and holds it against its plan.
fn complete(recipe: &str) {
    let mut run = Rehearsal::new(Texts::of(recipe).job(), SEED, Begin::Attended);
    run.complete();
    let of = format!("in {recipe}, seed {SEED}");

    for class in ["trip", "hold", "stop", "warn"] {
        assert_eq!(run.confirmed(class), Vec::<String>::new(), "{class} {of}");
    }
    run.watch.always(&of);
    assert!(run.watch.flame_over_part_s > 10.0, "the flame was over the part {of}");
    assert_eq!(run.watch.feeder_at_rest_over_part_s, 0.0, "powder on one spot {of}");
    assert_eq!(run.watch.powder_without_flame_s, 0.0, "powder without flame {of}");
    let truth = run.truth();
    assert_eq!((truth.landed_cold_g, truth.landed_one_sided_g), (0.0, 0.0), "{of}");
    assert!(!truth.fuel_open && !truth.oxygen_open && !truth.supply_open && !truth.flame_lit);

    let plan = run.plan.clone();
    let (hottest, at) = hottest_place(&mut run, &plan.program);
    let allowed = cool_below(&plan.program);
    println!("{recipe}: at rest at {hottest:.0} degC at Z {at:.0} mm, allowed {allowed:.0} degC");
    assert!(hottest <= allowed + COOLER_BY, "Z {at:.0} mm stands still at {hottest:.0} degC {of}");
    for zone in comparison::zones(&plan, run.bench()) {
        println!(
            "{recipe}, {}: planned {:.4} mm, deposited {:.4} mm ({:+.2} %), {:.4} to {:.4}",
            zone.zone,
            zone.planned.mm(),
            zone.deposited.mm(),
            zone.off_percent(),
            zone.thinnest.mm(),
            zone.thickest.mm()
        );
        assert!(zone.off_percent().abs() <= 2.0, "coat of {} {of}: {zone:?}", zone.zone);
        let (thin, thick) = (zone.thinnest / zone.planned, zone.thickest / zone.planned);
        assert!(thin >= 0.98 && thick <= 1.02, "evenness of {} {of}: {zone:?}", zone.zone);
    }
    let worst = worst_inside(&mut run);
    println!("{recipe}: inside the edges {:+.3} % off the plan at the worst place", 100.0 * worst);
    assert!(worst.abs() <= 0.02, "inside the edges {of}: {worst}");
    // What the feeder gave came out, and that is what was planned: the hose makes no powder.
    let planned = comparison::planned_powder(&plan).g();
    println!(
        "{recipe}: nozzle {:.2} g, hopper {:.2} g, {planned:.2} planned; slowest under flame {:.1} \
         rpm, {:.0} s of flame over the part, {:.0} s in all",
        truth.powder_released_g,
        truth.powder_fed_g,
        run.watch.slowest_under_flame_rpm,
        run.watch.flame_over_part_s,
        run.now().as_seconds()
    );
    assert!((truth.powder_released_g / planned - 1.0).abs() <= 0.03, "powder {of}");
    assert!((truth.powder_fed_g - truth.powder_released_g).abs() <= 0.001, "hopper {of}");
    assert_eq!(run.controller().entries_lost(), 0, "entries lost {of}");
    let snapshot = run.controller().snapshot();
    assert_eq!(snapshot.beat.skipped, 0, "scans skipped {of}");
    assert_eq!(snapshot.beat.worst_late_us, 0, "scans late {of}");
}

/// Farthest that the coat lies off the plan at any station two standard deviations of the plume
/// inside its zone or more, as a share of the plan.
fn worst_inside(run: &mut Rehearsal) -> f64 {
    let torch = run.job.catalogue.torch(&run.job.recipe.spray.torch).expect("the torch");
    let margin = torch.plume * 2.0;
    let mut planned: Vec<(f64, f64)> = Vec::new();
    for (zone, of) in run.plan.forecast.zones.iter().zip(&run.job.recipe.zones) {
        let inside = of.from + margin..=of.to - margin;
        let before = planned.len();
        let stations = zone.along.iter().filter(|station| inside.contains(&station.at));
        planned.extend(stations.map(|station| (station.at.mm(), station.sprayed.mm())));
        assert!(planned.len() > before, "{} has an inside", zone.zone);
    }
    let places: Vec<f64> = planned.iter().map(|(at, _)| *at).collect();
    let found = run.bench().build_list_mm(&places);
    planned.iter().zip(found).fold(0.0, |worst: f64, ((_, planned), found)| {
        let off = found / planned - 1.0;
        if off.abs() > worst.abs() { off } else { worst }
    })
}

/// The hottest place of the part, degC, and where it is, mm.
fn hottest_place(run: &mut Rehearsal, program: &Program) -> (f64, f64) {
    let (low, high) = (program.part.low.mm(), program.part.high.mm());
    let places = (0..=200).map(|i| low + (high - low) * f64::from(i) / 200.0);
    places
        .filter_map(|at| run.bench().part_c(at).map(|celsius| (celsius, at)))
        .fold((f64::MIN, low), |a, b| if b.0 > a.0 { b } else { a })
}

/// Below what the part may stand still, degC.
fn cool_below(program: &Program) -> f64 {
    let below = program.steps.iter().find_map(|step| match step {
        Step::Cool(cool) => Some(cool.turn_until.celsius()),
        _ => None,
    });
    below.expect("a job cools")
}

#[test]
fn the_short_job_completes_with_the_coat_that_was_planned() {
    complete("short-job");
}

#[test]
fn the_reference_shaft_completes_with_the_coat_that_was_planned() {
    complete("reference-shaft");
}

#[test]
fn the_pump_sleeve_completes_with_the_coat_that_was_planned() {
    complete("pump-sleeve");
}

#[test]
fn the_stepped_shaft_completes_with_the_coat_that_was_planned() {
    complete("stepped-shaft");
}

#[test]
fn the_taper_spindle_completes_with_the_coat_that_was_planned() {
    complete("taper-spindle");
}

#[test]
fn no_shipped_recipe_is_left_out() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes");
    let shipped = std::fs::read_dir(folder).expect("the folder of recipes").count();
    assert_eq!(shipped, RECIPES.len());
}
