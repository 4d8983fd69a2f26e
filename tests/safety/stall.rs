//! Scenario 10: the carriage stalls.

use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::Phase;
use evenpass_hil::{Coil, Fault, PlantFault};

use crate::bed::{off_at, shaft};
use crate::support::Rehearsal;
use crate::support::jobs::{Texts, changed};

/// A lump's peak for each second of a stalled carriage with powder on, mm:
/// eta m' / (rho pi D sigma sqrt(2 pi)) of the reference shaft.
const LUMP_MM_S: f64 = 0.054_51;

fn coat(run: &mut Rehearsal) -> Vec<f64> {
    let places: Vec<f64> = (0..=240).map(|index| 140.0 + 0.25 * f64::from(index)).collect();
    run.bench().thickness_list_mm(&places)
}

/// The nut slips at Z 170 in a pass; when the torch stood still, and how the coat was then.
fn stall(run: &mut Rehearsal, pass: usize) -> (f64, Vec<f64>) {
    run.until_pass_is_at(pass, if pass % 2 == 1 { 165.0 } else { 175.0 });
    run.bench().inject(Fault::Plant(PlantFault::NutSlips(170.0)));
    run.look_once();
    run.expect("the torch stands still", 5.0, |this| this.truth().torch_mm_s == 0.0);
    (run.now().as_seconds(), coat(run))
}

#[test]
fn a_slipping_nut_takes_powder_and_flame_within_half_a_second_and_leaves_no_lump() {
    for pass in [3, 4] {
        let mut run = shaft();
        let (stood, before) = stall(&mut run, pass);
        run.expect("all is off", 2.0, |this| {
            let truth = this.truth();
            !truth.feeder_on && !truth.fuel_open && !truth.oxygen_open && !truth.flame_lit
        });
        let offs = [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve]
            .map(|coil| off_at(&run, coil, stood - 0.1) - stood);
        run.expect("the trip is carried out", 30.0, |this| this.phase() == Phase::Aborted);
        let lump = coat(&mut run)
            .iter()
            .zip(&before)
            .map(|(after, before)| after - before)
            .fold(0.0, f64::max);
        let first = run.controller().status().first_cause.expect("a first cause");
        println!(
            "scenario 10, pass {pass}: off after {offs:.3?} s, lump {lump:.4} mm; \"{first}\""
        );
        for off in offs {
            assert!(off <= 0.5, "after {off} s: {}", run.told());
        }
        assert!(lump <= 0.5 * LUMP_MM_S, "a lump of {lump} mm");
        assert!(first.starts_with("Carriage stalled") || first.starts_with("Carriage does not"));
        assert!(first.contains(&format!("pass {pass}, torch at 1")), "{first}");
        let place: f64 = first
            .split_once(", torch at ")
            .and_then(|(_, rest)| rest.split([' ', ':']).next())
            .and_then(|z| z.parse().ok())
            .expect("a place");
        assert!((place - 170.0).abs() <= 0.5, "stalled at 170, told {place}");
        // No retry: it stays where it is, without torque in the end, until somebody resets.
        let there = run.truth().torch_z_mm;
        run.leave();
        run.wait(30.0);
        assert!((run.truth().torch_z_mm - there).abs() < 0.01, "it was moved");
        assert!(!run.truth().drive_torque, "torque is left on");
        assert!(matches!(run.ask(Request::Restart), Answer::Denied(_)), "no retry");
        run.watch.always("scenario 10");
    }
}

#[test]
fn a_rig_whose_drive_counts_its_own_steps_is_told_that_a_stall_is_not_seen() {
    let texts = Texts::of("reference-shaft");
    let blind = changed(&texts.rig, "position_from = \"carriage\"", "position_from = \"steps\"");
    let job = Texts { rig: blind, ..texts.clone() }.job();
    let said = job.rig.warnings().to_string();
    println!("scenario 10, open loop: {said}");
    assert!(said.contains("a stalled carriage is not seen"), "{said}");
    // A motor's own encoder sees the motor, not a nut that slips.
    let motor = changed(&texts.rig, "position_from = \"carriage\"", "position_from = \"motor\"");
    let said = Texts { rig: motor, ..texts.clone() }.job().rig.warnings().to_string();
    assert!(said.contains("a slipping nut is not seen"), "{said}");
    let sees = texts.job().rig.warnings().to_string();
    assert!(!sees.contains("not seen"), "{sees}");
}

#[test]
fn steps_that_were_lost_show_at_the_park_switch_before_a_flame_rests_there() {
    // The drive counts its own steps, and the nut slips in mid-pass: position says all is well.
    let mut run = crate::bed::blind_shaft();
    let (_, _) = stall(&mut run, 4);
    let flame = |this: &mut Rehearsal| this.truth().flame_lit;
    run.expect("gas is shut", 900.0, |this| !flame(this));
    run.expect("it is tripped or held", 60.0, |this| {
        matches!(this.phase(), Phase::Aborted | Phase::Held)
    });
    let told = run.told();
    assert!(told.contains("Park switch and position disagree"), "{told}");
}
