//! The reference job: a plain steel shaft D 50, coated from Z 100 to 220 mm, on a lathe with a gear
//! table at 125 rpm. All inputs are invented; each figure says where it comes from.
//!
//! Mass balance, here and below: with efficiency eta, powder m' (g/min), density rho and feed F
//! (mm/min) one pass adds h = eta m' / (rho pi D F) to a radius; on a growing round
//! R_N^2 = R_0^2 + N k with k = eta m' / (rho pi F).

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;

use std::f64::consts::PI;

use evenpass::comparison;
use evenpass_core::plan::Plan;
use evenpass_hil::Switched;
use support::jobs::{Texts, changed};
use support::{Begin, Rehearsal, near};

const SEED: u64 = 1;
/// 0.85 of 60 g/min stays, at 6.6 g/cm3, in mm3/min.
const STICKS: f64 = 0.85 * 60.0 / 0.0066;
/// 5 mm a turn at 125 rpm, mm/min.
const FEED: f64 = 5.0 * 125.0;
/// k = eta m' / (rho pi F), mm2.
const K: f64 = STICKS / (PI * FEED);

/// The shipped recipe and bench with a gear lever, preheated to 250 degC, and with powder that
/// arrives without a rise: 0.6 s after the coil.
fn texts() -> Texts {
    let (shipped, hot) = ("window = { from = \"240 degC\"", "window = { from = \"250 degC\"");
    let mut texts = Texts::of("reference-shaft").with_gears().recipe(shipped, hot);
    let (head, tail) =
        texts.torches.split_once("key = \"fuse-heavy\"").expect("the torch after the first");
    let head = changed(head, "powder_rise = \"0.1 s\"", "powder_rise = \"0 s\"");
    texts.torches = format!("{head}key = \"fuse-heavy\"{tail}");
    texts
}

fn rehearsal() -> Rehearsal {
    Rehearsal::new(texts().job(), SEED, Begin::Attended)
}

fn plan() -> Plan {
    rehearsal().plan
}

#[test]
fn the_plan_takes_the_nearest_gear_and_nine_passes() {
    let plan = plan();
    let zone = plan.forecast.zones.first().expect("a zone");
    println!(
        "plan: {} at {}, {} passes of {}, {} as sprayed, powder on {}, {}",
        zone.speed.spindle,
        zone.feed.low,
        zone.passes.planned,
        zone.thickness_per_pass,
        zone.sprayed,
        zone.powder_on,
        zone.powder
    );
    // n = 1000 v / (pi D) = 127.32 rpm; the nearest of R20/3 in log ratio is 125, -1.83 %.
    near("spindle, rpm", zone.speed.spindle.rpm(), 125.0, 1e-9);
    near("mismatch, %", zone.speed.mismatch.percent(), (125.0 / 127.324 - 1.0) * 100.0, 1e-3);
    // F = p n.
    near("feed, mm/min", zone.feed.low.mm_per_s() * 60.0, FEED, 1e-6);
    // Mass balance, less 3.1e-5 of a plume of 6 mm that passes a part of D 50: 2 Phi(25/6) - 1.
    let h = STICKS / (PI * 50.0 * FEED);
    near("one pass, mm (0.0787)", h, 0.078_709_4, 1e-6);
    near("one pass, mm", zone.thickness_per_pass.mm(), h, h * 5e-5);
    // (0.35 + 0.20) / 0.82 = 0.6707 mm as sprayed; over R_N^2 = R_0^2 + N k that is 8.64 passes.
    near("required, mm", zone.passes.required.mm(), 0.6707, 5e-4);
    assert_eq!(zone.passes.planned, 9);
    let build = (25.0_f64.powi(2) + 9.0 * K).sqrt() - 25.0;
    near("build by hand, mm (0.699)", build, 0.698_62, 5e-6);
    near("build, mm", zone.sprayed.mm(), build, 5e-5);
}

#[test]
fn the_plan_powders_nine_spans_of_150_mm() {
    let plan = plan();
    let zone = plan.forecast.zones.first().expect("a zone");
    // N (L + 2 overrun) / F = 9 x 150 / 625 min; 60 g/min for so long.
    near("powder on, s", zone.powder_on.s(), 9.0 * 150.0 / FEED * 60.0, 1e-6);
    near("powder on, s (129.6)", zone.powder_on.s(), 129.6, 1e-6);
    near("powder, g (129.6)", zone.powder.g(), 129.6, 1e-6);
    // (motion of a leg is t = s / v + v / a on 163.585 mm; nine of them, turns by the recipe)
    let leg = 163.585_07 / (FEED / 60.0) + FEED / 60.0 / 100.0;
    assert!(zone.motion.s() >= 9.0 * leg - 1e-3, "{} under nine legs", zone.motion);
}

#[test]
fn the_plan_switches_powder_one_lead_before_it_is_wanted() {
    let plan = plan();
    let zone = plan.forecast.zones.first().expect("a zone");
    // 85 - 10.41667 x 0.6, 235 - 10.41667 x 0.8, and mirrored; at constant feed.
    let [first, second, ..] = zone.commands.as_slice() else { panic!("nine passes") };
    let at = |edge: Option<evenpass_core::plan::powder::EdgePlaces>| {
        edge.expect("it is switched").commanded.mm()
    };
    near("ON moving +, mm", at(first.on), 78.75, 0.01);
    near("OFF moving +, mm", at(first.off), 226.667, 0.01);
    near("ON moving -, mm", at(second.on), 241.25, 0.01);
    near("OFF moving -, mm", at(second.off), 93.333, 0.01);
    println!(
        "plan: ON {:.3}, OFF {:.3} moving +; ON {:.3}, OFF {:.3} moving -",
        at(first.on),
        at(first.off),
        at(second.on),
        at(second.off)
    );
}

#[test]
fn the_plan_tells_the_diameters_hot_and_fused() {
    let plan = plan();
    let zone = plan.forecast.zones.first().expect("a zone");
    let fused = zone.fused.expect("it is fused");
    println!(
        "plan: sprayed D {}, at 250 degC {}, fused D {}",
        zone.sprayed_diameter, zone.sprayed_diameter_hot, fused.diameter
    );
    // Mass balance: D = 2 sqrt(R_0^2 + N k).
    let sprayed = 2.0 * (25.0_f64.powi(2) + 9.0 * K).sqrt();
    near("sprayed D by hand, mm (51.397)", sprayed, 51.397_25, 5e-6);
    near("sprayed D, mm", zone.sprayed_diameter.mm(), sprayed, 1e-4);
    // By area: (D_f^2 - D_0^2) = (D_s^2 - D_0^2) (1 - S), S from the densities 6.6 and 8.05 g/cm3.
    let (bare, shrunk) = (50.0_f64.powi(2), 6.6 / 8.05);
    let by_area = (bare + (sprayed.powi(2) - bare) * shrunk).sqrt();
    near("fused D by hand, mm (51.149)", by_area, 51.149, 1e-3);
    near("fused D, mm", fused.diameter.mm(), by_area, 1e-4);
    // EN 1993-1-2, 3.4.1.1: elongation of steel, 1.2e-5 T + 0.4e-8 T^2 - 2.416e-4 (20 to 750 degC).
    let grown = |t: f64| 1.0 + 1.2e-5 * t + 0.4e-8 * t * t - 2.416e-4;
    near("hot D at 250 degC by hand, mm (51.552)", sprayed * grown(250.0), 51.552, 5e-4);
    near("hot D, mm", zone.sprayed_diameter_hot.mm(), sprayed * grown(250.0), 1e-4);
}

#[test]
fn the_rehearsal_gives_what_the_plan_says() {
    let mut run = rehearsal();
    run.complete();
    let of = format!("seed {SEED}");
    assert_eq!(run.confirmed("trip"), Vec::<String>::new(), "{of}");
    assert_eq!(run.confirmed("hold"), Vec::<String>::new(), "{of}");
    let switches = run.feeder_switches();
    let [on, off, back_on, back_off, ..] = switches.as_slice() else {
        panic!("{} switches of the feeder, {of}", switches.len())
    };
    // The carriage's ramps lie outside: 10.41667 mm/s times 0.6 s and 0.8 s.
    near("ON moving +, mm", on.torch_z_mm, 78.75, 0.5);
    near("OFF moving +, mm", off.torch_z_mm, 226.667, 0.5);
    near("ON moving -, mm", back_on.torch_z_mm, 241.25, 0.5);
    near("OFF moving -, mm", back_off.torch_z_mm, 93.333, 0.5);
    assert_eq!(switches.len(), 18, "nine intervals, {of}");
    // Powder arrives for 129.6 s; the feeder runs 0.2 s less a pass, for off takes longer.
    let ran: f64 = switches.chunks(2).map(seconds).sum();
    near("feeder ran, s", ran, 129.6 - 9.0 * 0.2, 0.1);
    let truth = run.truth();
    near("powder through the nozzle, g", truth.powder_released_g, 129.6, 0.2);
    // The ninth pass goes toward the tail and ends at Z 235 for powder, as the first did.
    assert!(switches.last().is_some_and(|last| last.torch_z_mm > 220.0), "{of}");
    let build = run.bench().build_mm(160.0);
    near("build in the middle, mm", build, 0.698_62, 0.698_62 * 0.01);
    let plan = run.plan.clone();
    let zones = comparison::zones(&plan, run.bench());
    let zone = zones.first().expect("a zone");
    println!(
        "rehearsal: ON {:.3}, OFF {:.3}, ON {:.3}, OFF {:.3} mm; feeder {ran:.2} s, nozzle {:.2} g; \
         build {build:.4} mm in the middle, mean {:+.2} % off the plan; spindle {:.2} rpm under flame",
        on.torch_z_mm,
        off.torch_z_mm,
        back_on.torch_z_mm,
        back_off.torch_z_mm,
        truth.powder_released_g,
        zone.off_percent(),
        run.watch.slowest_under_flame_rpm
    );
    assert!(zone.off_percent().abs() < 1.0, "{of}");
    run.watch.always(&of);
}

fn seconds(interval: &[Switched]) -> f64 {
    match interval {
        [on, off] => (off.time_us - on.time_us) as f64 * 1e-6,
        _ => f64::NAN,
    }
}
