//! The spindle: run and speed, settings, a latch that drops, a gearbox.

use rmodbus::server::context::ModbusContext;

use super::{Bench, MOTION};
use crate::devices::{DeviceId, bench};
use crate::image::{Level, SpindleDemand};
use crate::line::Link;
use crate::quantity::SpindleSpeed;
use crate::rig::{GearTable, SpindleSpec};

fn turn(rpm: f64) -> SpindleDemand {
    SpindleDemand::Turn(SpindleSpeed::from_rpm(rpm))
}

#[test]
fn run_and_speed_go_out_together_and_only_on_change() {
    let mut bench = Bench::ready();
    bench.outputs.spindle = turn(31.5);
    bench.run(60_000);
    assert_eq!(bench.inverter.storage.get_holding(0x0010).unwrap(), 1);
    assert_eq!(bench.inverter.storage.get_holding(0x0011).unwrap(), 315);
    let from = bench.now;
    bench.run(1_000_000);
    assert!(!bench.asked(MOTION, 2, from).contains(&0x10));
    bench.outputs.spindle = SpindleDemand::Stop;
    bench.run(60_000);
    assert_eq!(bench.inverter.command(), 0);
}

#[test]
fn the_inverter_is_read_in_its_period_and_its_settings_are_not_written_when_they_agree() {
    let mut bench = Bench::ready();
    let from = bench.now;
    bench.run(2_000_000);
    assert_eq!(bench.asked(MOTION, 2, from).len(), 10);
    assert_eq!(bench.inverter.commissioned, 0);
}

#[test]
fn a_latch_that_dropped_takes_the_run_command_until_rest_was_asked_for() {
    let mut bench = Bench::ready();
    bench.outputs.spindle = turn(60.0);
    bench.run(500_000);
    assert_eq!(bench.inputs().inverter_ok.value, Level::On);
    bench.inverter.latch = false;
    bench.run(500_000);
    assert_eq!(bench.inputs().inverter_ok.value, Level::Off);
    assert_eq!(bench.inverter.command(), 0);
    bench.inverter.latch = true;
    bench.run(500_000);
    assert_eq!(bench.inverter.command(), 0);
    bench.outputs.spindle = SpindleDemand::Stop;
    bench.run(60_000);
    bench.outputs.spindle = turn(60.0);
    bench.run(60_000);
    assert_eq!(bench.inverter.command(), 1);
}

#[test]
fn a_hot_part_goes_on_turning_when_the_line_comes_back() {
    let mut bench = Bench::ready();
    bench.outputs.spindle = turn(60.0);
    bench.run(500_000);
    let from = bench.now;
    let now = bench.at();
    bench.rack.handle_link(now, MOTION, Link::Down);
    bench.rack.handle_link(now, MOTION, Link::Up);
    bench.run(500_000);
    let stopped = bench.log.iter().any(|heard| {
        heard.sent > from && heard.frame[..2] == [2, 0x10] && heard.frame[7..9] == [0, 0]
    });
    assert!(!stopped);
    assert_eq!(bench.inverter.command(), 1);
}

#[test]
fn a_spindle_found_at_rest_after_a_reconnection_is_not_started() {
    let mut bench = Bench::ready();
    bench.outputs.spindle = turn(60.0);
    bench.run(500_000);
    let now = bench.at();
    bench.rack.handle_link(now, MOTION, Link::Down);
    bench.inverter.storage.set_holding(0x0010, 0).unwrap();
    bench.run(100_000);
    bench.rack.handle_link(bench.at(), MOTION, Link::Up);
    bench.run(500_000);
    assert_eq!(bench.inverter.command(), 0);
}

#[test]
fn a_spindle_asked_to_turn_while_it_was_away_does_not_begin_when_it_answers_again() {
    let mut bench = Bench::ready();
    bench.rack.handle_link(bench.at(), MOTION, Link::Down);
    bench.run(500_000);
    bench.outputs.spindle = turn(60.0);
    bench.run(500_000);
    bench.rack.handle_link(bench.at(), MOTION, Link::Up);
    bench.run(1_000_000);
    assert_eq!(bench.inverter.command(), 0);
    bench.outputs.spindle = SpindleDemand::Stop;
    bench.run(60_000);
    bench.outputs.spindle = turn(60.0);
    bench.run(60_000);
    assert_eq!(bench.inverter.command(), 1);
}

#[test]
fn behind_a_gearbox_only_the_command_goes_out_and_the_motor_counts_as_well() {
    let mut rig = bench::rig();
    let motor = rig.spindle.motor().clone();
    rig.spindle = SpindleSpec::Gears(GearTable { speeds: Vec::new(), motor });
    let mut bench = Bench::with(&rig);
    bench.run(200_000);
    bench.outputs.spindle = turn(31.5);
    bench.run(300_000);
    assert_eq!(bench.inverter.command(), 1);
    assert_eq!(bench.inverter.storage.get_holding(0x0011).unwrap(), 0);
    let inputs = bench.inputs();
    assert_eq!(inputs.inverter_ok.value, Level::On);
    assert_eq!(inputs.inverter_ok.at, inputs.spindle.at);
    assert_eq!(bench.rack.commissioned(DeviceId::Spindle), crate::devices::Commissioned::Agreed);
}
