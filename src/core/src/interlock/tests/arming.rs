//! Nothing trips for nothing: when rows count and when they do not.

use super::bench::{Bench, pass, rig};
use super::job::{light_by_hand, open_gas_at_park};
use crate::cia402::PowerState;
use crate::image::{
    Analogue, AxisDemand, Coil, Contact, Failure, Inputs, Level, Outputs, Referenced, SpindleDemand,
};
use crate::interlock::{CarriageEffect, Interlocks, Limits, PermissiveState};
use crate::moment::Moment;
use crate::quantity::{Length, Speed, SpindleSpeed, Time};
use crate::rig::LitBy;

#[test]
fn a_machine_at_rest_may_be_opened_and_stopped_without_a_trip_and_the_permissives_say_so() {
    for tag in [
        Contact::EmergencyStop,
        Contact::Guard,
        Contact::Clamp,
        Contact::AbortButtonRest,
        Contact::StopButtonRest,
        Contact::Arrestor,
        Contact::GasDetector,
        Contact::FireDetection,
        Contact::LimitMinus,
        Contact::PlantAir,
    ] {
        let mut bench = Bench::idle();
        if tag == Contact::EmergencyStop {
            bench.contact(Contact::TorqueAllowed, Level::Off);
        }
        bench.contact(tag, Level::Off);
        bench.run(20.0);
        assert_eq!(bench.causes(), Vec::<&str>::new(), "{tag:?}");
        if tag == Contact::LimitMinus {
            continue;
        }
        let missing: Vec<_> = bench
            .interlocks
            .permissives(&bench.inputs, &Limits::default())
            .into_iter()
            .filter(|permissive| permissive.state == PermissiveState::Missing)
            .collect();
        let told = missing.iter().any(|permissive| permissive.found.contains(tag.title()));
        assert!(told, "{tag:?}: {missing:?}");
        assert!(missing.iter().all(|permissive| !permissive.look.is_empty()));
    }
}

#[test]
fn a_machine_in_order_lacks_no_permissive() {
    let bench = Bench::idle();
    let all = bench.interlocks.permissives(&bench.inputs, &bench.limits);
    println!("permissives: {}", all.len());
    assert!(all.len() > 20);
    for permissive in &all {
        assert_eq!(permissive.state, PermissiveState::Given, "{permissive:?}");
        assert_eq!(permissive.found, "");
    }
}

#[test]
fn a_machine_of_which_nothing_is_known_yet_is_not_ready_and_not_tripped() {
    let mut interlocks = Interlocks::new(&rig()).expect("good figures");
    let mut inputs = Inputs::unknown();
    for scan in 1..100 {
        inputs.now = Moment::from_micros(scan * 20_000);
        interlocks.step(&inputs, &Outputs::default(), &Limits::default());
    }
    assert!(!interlocks.verdict().tripped());
    let lacking = interlocks.permissives(&inputs, &Limits::default());
    let missing = lacking.iter().filter(|one| one.state == PermissiveState::Missing);
    assert!(missing.count() > 20);
}

#[test]
fn a_flame_that_is_seen_at_rest_is_a_missing_permissive_and_a_trip_once_energised() {
    let mut bench = Bench::idle();
    bench.contact(Contact::Flame, Level::On);
    bench.run(10.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
    let all = bench.interlocks.permissives(&bench.inputs, &bench.limits);
    let flame = all.iter().find(|permissive| permissive.key == "flame_from_nothing");
    assert_eq!(flame.map(|permissive| permissive.state), Some(PermissiveState::Missing));
    bench.outputs.set(Coil::Supply, Level::On);
    bench.run(0.6);
    assert_eq!(bench.first(), "flame_from_nothing");
}

#[test]
fn extraction_is_a_permissive_once_it_is_asked_to_run() {
    let mut bench = Bench::idle();
    bench.contact(Contact::Extraction, Level::Off);
    bench.analogue(Analogue::ExtractionFlow, 0.0);
    bench.scan();
    let lacks = |bench: &Bench| {
        bench
            .interlocks
            .permissives(&bench.inputs, &bench.limits)
            .iter()
            .filter(|permissive| permissive.state == PermissiveState::Missing)
            .map(|permissive| permissive.key)
            .collect::<Vec<_>>()
    };
    assert_eq!(lacks(&bench), Vec::<&str>::new());
    bench.outputs.set(Coil::Extraction, Level::On);
    bench.scan();
    assert_eq!(lacks(&bench), ["extraction_flow", "extraction_lost"]);
}

#[test]
fn the_guard_counts_again_as_soon_as_hand_lighting_is_anything_else() {
    type Change = fn(&mut Bench);
    let changes: [Change; 5] = [
        |bench| bench.outputs.spindle = SpindleDemand::Turn(SpindleSpeed::from_rpm(125.0)),
        |bench| bench.spindle(20.0),
        |bench| bench.outputs.axis = AxisDemand::Travel(pass()),
        |bench| bench.outputs.powder.now = Level::On,
        |bench| {
            bench.contact(Contact::ParkSwitch, Level::Off);
            bench.axis(|axis| axis.position = Length::from_mm(600.0));
        },
    ];
    for change in changes {
        let mut bench = Bench::idle();
        light_by_hand(&mut bench);
        change(&mut bench);
        bench.run(0.1);
        assert_eq!(bench.first(), "guard_open");
    }
    let mut machine = rig();
    machine.lit_by = LitBy::Igniter;
    let mut bench = Bench::idle_with(&machine);
    light_by_hand(&mut bench);
    assert_eq!(bench.first(), "guard_open");
}

#[test]
fn a_guard_opened_before_the_gas_has_vented_trips() {
    let mut bench = Bench::spraying();
    bench.outputs = Outputs::default();
    bench.contact(Contact::FuelShut, Level::On);
    bench.contact(Contact::OxygenShut, Level::On);
    bench.contact(Contact::Flame, Level::Off);
    bench.axis(|axis| {
        axis.power = PowerState::SwitchOnDisabled;
        axis.velocity = Speed::ZERO;
    });
    bench.spindle(0.0);
    bench.analogue(Analogue::FuelPressure, 0.3);
    bench.run(2.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
    let mut vented = bench.clone();
    bench.contact(Contact::Guard, Level::Off);
    bench.scan();
    assert_eq!(bench.first(), "guard_open");
    vented.analogue(Analogue::FuelPressure, 0.0);
    vented.analogue(Analogue::OxygenPressure, 0.0);
    vented.run(0.1);
    let mut blind = vented.clone();
    vented.contact(Contact::Guard, Level::Off);
    vented.run(20.0);
    assert_eq!(vented.causes(), Vec::<&str>::new());
    // A transmitter that fails after the pipe was seen to vent takes nothing back.
    blind.fail_analogue(Analogue::FuelPressure, Failure::BrokenWire);
    blind.contact(Contact::Guard, Level::Off);
    blind.run(1.0);
    assert_eq!(blind.causes(), Vec::<&str>::new());
}

#[test]
fn pressures_that_still_build_up_or_vent_are_not_low() {
    let mut bench = Bench::spraying();
    bench.outputs.set(Coil::Fuel, Level::Off);
    bench.outputs.set(Coil::Oxygen, Level::Off);
    bench.outputs.powder.now = Level::Off;
    bench.contact(Contact::FuelShut, Level::On);
    bench.contact(Contact::OxygenShut, Level::On);
    bench.contact(Contact::Flame, Level::Off);
    bench.outputs.set(Coil::Supply, Level::Off);
    bench.analogue(Analogue::FuelPressure, 0.1);
    bench.analogue(Analogue::OxygenPressure, 0.3);
    bench.run(5.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
}

#[test]
fn an_open_valve_without_a_figure_to_compare_its_pressure_with_counts_as_unsafe() {
    let mut bench = Bench::idle();
    bench.outputs = Outputs::default().with(Coil::Supply).with(Coil::Fuel).with(Coil::Oxygen);
    bench.analogue(Analogue::FuelPressure, 0.5);
    bench.contact(Contact::FuelShut, Level::Off);
    bench.contact(Contact::OxygenShut, Level::Off);
    bench.run(1.0);
    assert_eq!(bench.first(), "fuel_high");
    let words = &bench.verdict().first.as_ref().expect("tripped").message;
    assert!(words.ends_with("but nobody has set a figure to compare it with"), "{words}");
}

#[test]
fn a_change_of_spindle_speed_is_given_time_in_both_directions() {
    let mut bench = Bench::spraying();
    for rpm in [63.0, 125.0, 250.0, 180.0] {
        bench.limits.spindle = Some(SpindleSpeed::from_rpm(rpm));
        bench.outputs.spindle = SpindleDemand::Turn(SpindleSpeed::from_rpm(rpm));
        bench.run(3.0);
        bench.spindle(rpm);
        bench.run(15.0);
        assert_eq!(bench.causes(), Vec::<&str>::new(), "{rpm}");
    }
}

#[test]
fn a_spindle_under_half_of_the_lower_of_two_references_is_slow_while_it_changes() {
    let mut bench = Bench::spraying();
    bench.limits.spindle = Some(SpindleSpeed::from_rpm(250.0));
    bench.run(0.5);
    assert_eq!(bench.causes(), Vec::<&str>::new());
    bench.spindle(62.0);
    bench.run(0.2);
    assert_eq!(bench.first(), "spindle_slow");
}

#[test]
fn a_carriage_asked_away_from_an_open_limit_may_leave_it() {
    let mut bench = Bench::idle();
    bench.contact(Contact::LimitPlus, Level::Off);
    bench.axis(|axis| {
        axis.power = PowerState::OperationEnabled;
        axis.position = Length::from_mm(840.0);
        axis.velocity = Speed::from_mm_per_s(-5.0);
        axis.referenced = Referenced::No;
    });
    let mut away = pass();
    away.at = Speed::from_mm_per_s(5.0);
    away.to = Length::from_mm(800.0);
    bench.outputs.axis = AxisDemand::Travel(away);
    bench.run(0.5);
    assert_eq!(bench.causes(), Vec::<&str>::new());
    away.to = Length::from_mm(845.0);
    bench.outputs.axis = AxisDemand::Travel(away);
    bench.scan();
    assert_eq!(bench.first(), "limit_plus");
}

#[test]
fn a_flame_at_rest_counts_over_the_part_and_not_at_the_park() {
    let mut bench = Bench::fusing();
    bench.contact(Contact::ParkSwitch, Level::On);
    bench.axis(|axis| {
        axis.position = Length::from_mm(710.0);
        axis.velocity = Speed::ZERO;
    });
    bench.outputs.axis = AxisDemand::Still;
    bench.run(30.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
    bench.contact(Contact::ParkSwitch, Level::Off);
    bench.axis(|axis| axis.position = Length::from_mm(160.0));
    bench.run(1.9);
    assert_eq!(bench.first(), "no trip");
    bench.run(0.2);
    assert_eq!(bench.first(), "flame_at_rest");
}

#[test]
fn a_plan_shortens_the_longest_rest_of_a_flame_and_never_lengthens_it() {
    for (given, lasts) in [(Some(1.0), 1.0), (Some(3.0), 3.0), (Some(9.0), 3.0), (None, 3.0)] {
        let mut bench = Bench::fusing();
        bench.limits.longest_rest = given.map(Time::from_s);
        bench.outputs.axis = AxisDemand::Still;
        bench.axis(|axis| axis.velocity = Speed::ZERO);
        bench.run(lasts - 0.1);
        assert_eq!(bench.first(), "no trip", "{given:?}");
        bench.run(0.2);
        assert_eq!(bench.first(), "flame_at_rest", "{given:?}");
    }
}

#[test]
fn the_chuck_side_of_the_part_is_not_clear_when_the_park_is_on_the_other() {
    let mut bench = Bench::fusing();
    bench.outputs.axis = AxisDemand::Still;
    bench.axis(|axis| {
        axis.position = Length::from_mm(-46.0);
        axis.velocity = Speed::ZERO;
    });
    bench.run(5.0);
    assert_eq!(bench.first(), "flame_at_rest");
}

#[test]
fn a_park_switch_that_position_contradicts_does_not_make_the_torch_clear() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::ParkSwitch, Level::On);
    bench.spindle(125.0);
    bench.inputs.spindle.value.missed_pulses = 3.0;
    bench.run(0.1);
    assert_eq!(bench.first(), "spindle_stopped");
}

#[test]
fn a_trial_that_runs_out_trips_even_when_a_flame_flickered() {
    let mut bench = Bench::idle();
    open_gas_at_park(&mut bench);
    bench.run(4.7);
    bench.contact(Contact::Flame, Level::On);
    bench.run(0.5);
    assert_eq!(bench.first(), "no trip");
    bench.contact(Contact::Flame, Level::Off);
    bench.scan();
    assert_eq!(bench.first(), "no_ignition");
}

#[test]
fn pulses_missing_while_the_part_turns_clear_of_the_flame_trip_nothing() {
    let mut bench = Bench::idle();
    light_by_hand(&mut bench);
    bench.contact(Contact::Guard, Level::On);
    bench.inputs.spindle.value.missed_pulses = 50.0;
    bench.run(5.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
}

#[test]
fn rows_of_devices_the_rig_does_not_have_say_nothing() {
    let mut machine = rig();
    for spec in &mut machine.field.analogues {
        spec.register = None;
    }
    let mut bench = Bench::spraying_with(&machine);
    for tag in Analogue::ALL {
        bench.fail_analogue(*tag, Failure::NeverRead);
    }
    bench.run(20.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
}

#[test]
fn a_stop_ends_by_itself_once_nothing_is_energised() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::StopButtonRest, Level::Off);
    bench.scan();
    assert_eq!(bench.causes(), ["stop_button"]);
    bench.contact(Contact::StopButtonRest, Level::On);
    bench.run(1.0);
    assert_eq!(bench.causes(), ["stop_button"]);
    let mut rest = Bench::idle();
    rest.inputs.now = bench.inputs.now;
    rest.interlocks = bench.interlocks.clone();
    rest.run(0.1);
    assert_eq!(rest.causes(), Vec::<&str>::new());
}

#[test]
fn valves_stroked_in_a_proof_test_behind_a_vented_pipe_trip_nothing() {
    let mut bench = Bench::idle();
    bench.run(6.0);
    bench.contact(Contact::Guard, Level::Off);
    bench.contact(Contact::Extraction, Level::Off);
    bench.outputs = Outputs::default().with(Coil::Fuel).with(Coil::Oxygen);
    bench.contact(Contact::FuelShut, Level::Off);
    bench.contact(Contact::OxygenShut, Level::Off);
    bench.run(20.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
    // The same with gas in the pipe, or with nobody knowing, is gas open unlit.
    let mut blind = bench.clone();
    blind.fail_analogue(Analogue::FuelPressure, Failure::BrokenWire);
    blind.run(0.1);
    assert_eq!(blind.first(), "no_ignition");
    bench.analogue(Analogue::FuelPressure, 0.3);
    bench.run(0.1);
    assert_eq!(bench.first(), "no_ignition");
}

#[test]
fn a_pressure_behind_a_shut_supply_is_gas() {
    let mut bench = Bench::idle();
    bench.contact(Contact::Guard, Level::Off);
    bench.run(10.0);
    assert_eq!(bench.causes(), Vec::<&str>::new());
    bench.axis(|axis| axis.velocity = Speed::from_mm_per_s(1.0));
    bench.analogue(Analogue::OxygenPressure, 0.06);
    bench.scan();
    assert_eq!(bench.first(), "guard_open");
}

#[test]
fn a_hold_stops_the_carriage_only_while_its_condition_lasts() {
    let mut bench = Bench::spraying();
    bench.axis(|axis| axis.position = Length::from_mm(600.0));
    let mut travel = pass();
    travel.to = Length::from_mm(860.0);
    bench.outputs.axis = AxisDemand::Travel(travel);
    bench.scan();
    assert_eq!(bench.causes(), ["outside_travel"]);
    assert_eq!(bench.verdict().effects.carriage, CarriageEffect::Stop);
    travel.to = Length::from_mm(710.0);
    bench.outputs.axis = AxisDemand::Travel(travel);
    bench.scan();
    assert_eq!(bench.verdict().effects.carriage, CarriageEffect::Free);
    assert!(bench.verdict().effects.powder_off.is_imposed());
}
