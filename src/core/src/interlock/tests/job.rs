//! A job as it should be.

use super::bench::{Bench, limits, pass};
use crate::cia402::PowerState;
use crate::image::{Analogue, AxisDemand, Coil, Contact, Level, Outputs, SpindleDemand};
use crate::quantity::{Length, Speed, SpindleSpeed};

/// Lights the torch by hand at the park: guard open, spindle at rest.
pub(super) fn light_by_hand(bench: &mut Bench) {
    open_gas_at_park(bench);
    bench.run(3.0);
    bench.contact(Contact::Flame, Level::On);
    bench.run(3.0);
}

/// The same up to the gas, 60 ms ago, and no flame yet.
pub(super) fn open_gas_at_park(bench: &mut Bench) {
    bench.limits = limits();
    bench.outputs.axis = AxisDemand::Still;
    bench.outputs.set(Coil::Extraction, Level::On);
    bench.outputs.watchdog = Level::On;
    bench.run(2.0);
    bench.axis(|axis| axis.power = PowerState::OperationEnabled);
    bench.outputs.set(Coil::CarrierAir, Level::On);
    bench.analogue(Analogue::CarrierPressure, 3.0);
    bench.contact(Contact::Guard, Level::Off);
    bench.run(5.0);
    bench.outputs.set(Coil::Supply, Level::On);
    for (fuel, oxygen) in [(0.2, 0.8), (0.4, 1.6), (0.5, 2.0)] {
        bench.run(0.3);
        bench.analogue(Analogue::FuelPressure, fuel);
        bench.analogue(Analogue::OxygenPressure, oxygen);
    }
    bench.outputs.set(Coil::Fuel, Level::On);
    bench.outputs.set(Coil::Oxygen, Level::On);
    bench.run(0.06);
    bench.contact(Contact::FuelShut, Level::Off);
    bench.contact(Contact::OxygenShut, Level::Off);
}

#[test]
fn the_guard_may_be_open_for_lighting_and_no_more_once_it_was_shut_over_the_flame() {
    let mut bench = Bench::idle();
    light_by_hand(&mut bench);
    bench.run(30.0);
    assert_eq!(bench.causes(), Vec::<&str>::new(), "open since before the gas");
    bench.contact(Contact::Guard, Level::On);
    bench.run(1.0);
    bench.contact(Contact::Guard, Level::Off);
    bench.run(0.1);
    assert_eq!(bench.first(), "guard_open");
}

#[test]
fn gas_or_torque_behind_an_open_guard_trips_where_nobody_lights_a_torch() {
    for (pressure, power) in
        [(0.3, PowerState::SwitchOnDisabled), (0.0, PowerState::OperationEnabled)]
    {
        let mut bench = Bench::idle();
        bench.limits = limits();
        bench.run(20.0);
        bench.contact(Contact::Guard, Level::Off);
        bench.run(5.0);
        assert_eq!(bench.causes(), Vec::<&str>::new(), "isolated");
        bench.outputs.set(Coil::Fuel, Level::Off);
        bench.axis(|axis| axis.power = power);
        if pressure > 0.0 {
            bench.outputs.set(Coil::Supply, Level::On);
            bench.run(0.1);
            bench.outputs.set(Coil::Supply, Level::Off);
            bench.analogue(Analogue::FuelPressure, pressure);
            bench.run(11.0);
        }
        bench.run(0.1);
        assert_eq!(bench.first(), "guard_open", "{pressure} bar, {power:?}");
    }
}

#[test]
fn a_job_without_a_fault_lights_by_hand_sprays_and_stops_without_any_cause() {
    let mut bench = Bench::idle();
    light_by_hand(&mut bench);
    assert_eq!(bench.causes(), Vec::<&str>::new(), "lighting");
    bench.contact(Contact::Guard, Level::On);
    bench.run(1.0);
    bench.outputs.spindle = SpindleDemand::Turn(SpindleSpeed::from_rpm(125.0));
    for rpm in [0.0, 30.0, 60.0, 90.0, 120.0, 125.0] {
        bench.spindle(rpm);
        bench.run(0.4);
    }
    assert_eq!(bench.causes(), Vec::<&str>::new(), "spinning up");
    bench.contact(Contact::ParkSwitch, Level::Off);
    travel(&mut bench, 241.8, 50.0);
    bench.outputs.powder.now = Level::On;
    travel(&mut bench, 78.2, 10.0);
    assert_eq!(bench.causes(), Vec::<&str>::new(), "first pass");
    travel(&mut bench, 241.8, 10.0);
    bench.outputs.powder.now = Level::Off;
    travel(&mut bench, 710.0, 50.0);
    bench.contact(Contact::ParkSwitch, Level::On);
    assert_eq!(bench.causes(), Vec::<&str>::new(), "back at the park");
    for coil in [Coil::Fuel, Coil::Oxygen, Coil::Supply] {
        bench.outputs.set(coil, Level::Off);
    }
    bench.run(0.06);
    bench.contact(Contact::FuelShut, Level::On);
    bench.contact(Contact::OxygenShut, Level::On);
    bench.run(0.1);
    bench.contact(Contact::Flame, Level::Off);
    bench.run(1.0);
    bench.analogue(Analogue::FuelPressure, 0.0);
    bench.analogue(Analogue::OxygenPressure, 0.0);
    bench.run(6.0);
    bench.outputs = Outputs::default();
    bench.spindle(0.0);
    bench.axis(|axis| axis.power = PowerState::SwitchOnDisabled);
    bench.run(1.0);
    bench.contact(Contact::Guard, Level::Off);
    bench.run(10.0);
    assert_eq!(bench.causes(), Vec::<&str>::new(), "stopped, cooled, opened");
}

/// Travels as a drive would, with its ramps and 60 ms behind the demand.
fn travel(bench: &mut Bench, to: f64, speed: f64) {
    let mut travel = pass();
    travel.to = Length::from_mm(to);
    travel.at = Speed::from_mm_per_s(speed);
    bench.outputs.axis = AxisDemand::Travel(travel);
    bench.run(0.06);
    let mut now = bench.inputs.axis.value.velocity.mm_per_s();
    let mut at = bench.inputs.axis.value.position.mm();
    while (to - at).abs() > 0.02 {
        let toward = (to - at).signum();
        let most = (2.0 * 100.0 * (to - at).abs()).sqrt().min(speed).max(0.4);
        now += (toward * most - now).clamp(-2.0, 2.0);
        at += now * 0.02;
        if (to - at) * toward <= 0.0 {
            at = to;
        }
        bench.axis(|axis| {
            axis.position = Length::from_mm(at);
            axis.velocity = Speed::from_mm_per_s(now);
        });
        bench.scan();
    }
    bench.axis(|axis| axis.velocity = Speed::ZERO);
    bench.scan();
}
