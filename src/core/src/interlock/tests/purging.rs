//! What counts as a purge, and what a reset and a lighting make of one that was not made.

use super::bench::Bench;
use super::latching::calm;
use super::provoke::provoke;
use crate::image::{Analogue, AxisDemand, Coil, Contact, Level};
use crate::interlock::matrix::row;
use crate::interlock::{Inspected, PurgeDone};

#[test]
fn a_reset_needs_the_purge_of_what_was_in_the_hose() {
    let mut bench = calm(provoke(row("flame_lost").expect("in the matrix")));
    let now = bench.inputs.now;
    bench.interlocks.acknowledge(now);
    let needs = bench
        .interlocks
        .reset(&bench.inputs, &bench.outputs, PurgeDone::No, Inspected::No)
        .expect_err("not purged");
    assert_eq!(needs, ["Purge torch and hose, clear of the part."]);
    assert_eq!(bench.verdict().reset_needs, needs);
    bench.outputs.set(Coil::CarrierAir, Level::On);
    bench.analogue(Analogue::CarrierPressure, 3.0);
    bench.run(4.9);
    assert!(!bench.verdict().reset_needs.is_empty());
    bench.run(0.3);
    assert_eq!(bench.verdict().reset_needs, Vec::<&str>::new());
    let done = bench.interlocks.reset(&bench.inputs, &bench.outputs, PurgeDone::No, Inspected::No);
    assert_eq!(done, Ok(()));
}

#[test]
fn a_coil_that_is_on_purges_nothing_while_no_air_is_seen() {
    let mut bench = calm(provoke(row("flame_lost").expect("in the matrix")));
    bench.interlocks.acknowledge(bench.inputs.now);
    bench.outputs.set(Coil::CarrierAir, Level::On);
    for without in [0.0, 1.9] {
        bench.analogue(Analogue::CarrierPressure, without);
        bench.run(20.0);
        assert_eq!(bench.verdict().reset_needs, ["Purge torch and hose, clear of the part."]);
    }
    bench.analogue(Analogue::CarrierPressure, 3.0);
    bench.stale_analogues.push(Analogue::CarrierPressure);
    bench.run(20.0);
    assert!(bench.interlocks.owes_purge(), "a stale reading shows no air");
    bench.stale_analogues.clear();
    bench.run(5.3);
    assert!(!bench.interlocks.owes_purge() && bench.verdict().reset_needs.is_empty());
}

#[test]
fn a_purge_that_is_left_to_the_next_lighting_stays_owed_and_lets_the_trip_be_reset() {
    let mut bench = calm(provoke(row("flame_lost").expect("in the matrix")));
    bench.interlocks.acknowledge(bench.inputs.now);
    bench.interlocks.purge_left();
    assert_eq!(bench.verdict().reset_needs, Vec::<&str>::new());
    assert!(bench.interlocks.owes_purge());
    let done = bench.interlocks.reset(&bench.inputs, &bench.outputs, PurgeDone::No, Inspected::No);
    assert_eq!(done, Ok(()));
    assert!(bench.interlocks.owes_purge(), "a reset purges nothing");
}

#[test]
fn a_trip_of_a_jog_owes_no_purge() {
    let mut bench = Bench::idle();
    bench.outputs.axis = AxisDemand::Still;
    bench.run(0.1);
    bench.contact(Contact::EmergencyStop, Level::Off);
    bench.contact(Contact::TorqueAllowed, Level::Off);
    bench.scan();
    assert_eq!(bench.first(), "emergency_stop");
    let mut bench = calm(bench);
    let now = bench.inputs.now;
    bench.interlocks.acknowledge(now);
    let done = bench.interlocks.reset(&bench.inputs, &bench.outputs, PurgeDone::No, Inspected::No);
    assert_eq!(done, Ok(()));
}
