//! Scenario 9: the spindle stops under the flame.

use evenpass_core::sequence::{Phase, Suspect};
use evenpass_hil::{Coil, Fault, PlantFault, Target, Word};

use crate::bed::{PARK_FROM, must_be_told, off_at, shaft};
use crate::support::{Rehearsal, near};

/// Period of the pulses at 125 rpm and eight a turn, s.
const PULSE: f64 = 60.0 / 125.0 / 8.0;

/// Runs into pass 2 and lets something happen; says when.
fn in_pass_two(run: &mut Rehearsal, fault: Fault) -> f64 {
    run.until_pass_is_at(2, 160.0);
    run.bench().inject(fault);
    run.now().as_seconds()
}

#[track_caller]
fn gas_is_off_and_the_torch_leaves(run: &mut Rehearsal, what: &str, from: f64, within: f64) {
    run.expect("gas is off", within + 1.0, |this| {
        let truth = this.truth();
        !truth.fuel_open && !truth.oxygen_open && !truth.feeder_on
    });
    let offs = [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve]
        .map(|coil| off_at(run, coil, from) - from);
    println!("scenario 9, {what}: powder, fuel, oxygen off after {offs:.3?} s");
    for off in offs {
        assert!(off <= within, "{what}: after {off} s");
    }
    // It starts to leave at once, and takes its distance.
    run.wait(0.25);
    assert!(run.truth().torch_mm_s.abs() > 10.0, "{what}: {:?}", run.truth().torch_mm_s);
    run.expect("the torch is clear", 20.0, |this| this.truth().torch_z_mm > PARK_FROM);
    run.expect("the trip is carried out", 30.0, |this| this.phase() == Phase::Aborted);
    let first = run.controller().status().first_cause.expect("a first cause");
    println!("first-out: \"{first}\"");
    assert!(first.contains("pass 2, torch at 1"), "{first}");
    must_be_told(run, "overheat suspect at 1");
    assert_eq!(run.controller().status().suspect, Suspect::Inspect);
    assert_eq!(run.watch.flame_on_still_part_s, 0.0, "{what}: {:?}", run.watch);
}

#[test]
fn pulses_that_end_in_pass_two_trip_at_the_third_that_is_missing() {
    let mut run = shaft();
    let from = in_pass_two(&mut run, Fault::Signal { target: Target::Tachometer, word: Word::Off });
    // Three missed pulses, the registers' poll of 80 ms, then the reaction; not half a second.
    gas_is_off_and_the_torch_leaves(&mut run, "no pulses", from, 0.5);
    let first = run.controller().snapshot().verdict.first.expect("a first cause");
    near("confirmed, s", first.confirmed.as_seconds() - from, 3.0 * PULSE + 0.06, 0.1);
    assert_eq!(first.key, "spindle_stopped");
    run.wait(5.0);
    assert!(run.truth().spindle_rpm < 1.0, "it is not turned again: {:?}", run.truth());
}

#[test]
fn a_belt_that_comes_off_shuts_the_gas_before_the_part_stands_still() {
    let mut run = shaft();
    let from = in_pass_two(&mut run, Fault::Plant(PlantFault::BeltOff));
    // It coasts: 40 rpm/s from 125 rpm are 1.6 s to half its speed, where it counts.
    gas_is_off_and_the_torch_leaves(&mut run, "belt off", from, 1.5625 + 0.4);
    let verdict = run.controller().snapshot().verdict;
    let confirmed = verdict.first.expect("a first cause").confirmed.as_seconds();
    let gas = off_at(&run, Coil::FuelValve, from) - confirmed;
    assert!(gas <= 1.0, "gas off {gas} s after the cause counted");
}

#[test]
fn a_part_that_slips_in_a_turning_chuck_is_seen_on_the_part_itself() {
    let mut run = shaft();
    let from = in_pass_two(
        &mut run,
        Fault::Signal {
            target: Target::Discrete(evenpass_hil::Discrete::PartTurning),
            word: Word::Off,
        },
    );
    gas_is_off_and_the_torch_leaves(&mut run, "part stands in the chuck", from, 0.5);
}
