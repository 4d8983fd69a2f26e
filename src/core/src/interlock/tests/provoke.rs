//! Every row of the matrix provoked, one by one, from a machine in order.

use core::time::Duration;

use super::bench::{Bench, SCAN};
use crate::cia402::PowerState;
use crate::image::{
    Analogue, AxisDemand, Coil, Contact, Failure, Level, Outputs, Signal, SpindleDemand,
};
use crate::interlock::matrix::{Raised, Row, Watch, rows};
use crate::interlock::{Class, Taken, enforce};
use crate::quantity::{Length, Speed};

/// Brings about what the row watches, and runs until its delay has passed. What is asked stands
/// unenforced, so that later stages of a cause come too.
pub(super) fn provoke(row: &Row) -> Bench {
    let mut bench = start(row);
    act(row, &mut bench);
    bench.run(row.delay.as_secs_f64() + 0.5);
    bench
}

/// The machine in order from which the row is provoked.
pub(super) fn start(row: &Row) -> Bench {
    match row.key {
        "flame_from_nothing" => {
            let mut bench = Bench::idle();
            bench.outputs.axis = AxisDemand::Still;
            bench.run(1.0);
            bench
        }
        "no_ignition" | "fuel_contact_wrong" => {
            let mut bench = Bench::idle();
            bench.limits = super::bench::limits();
            bench.contact(Contact::FuelShut, Level::Off);
            bench.contact(Contact::OxygenShut, Level::Off);
            bench.analogue(Analogue::FuelPressure, 0.5);
            bench.analogue(Analogue::OxygenPressure, 2.0);
            bench.outputs =
                Outputs::default().with(Coil::Supply).with(Coil::Fuel).with(Coil::Oxygen);
            bench.run(0.2);
            bench
        }
        "fuse_hot_warn" | "fuse_hot" | "fuse_overheat" | "fuse_sensor" => Bench::fusing(),
        _ => Bench::spraying(),
    }
}

/// Brings about what the row watches.
pub(super) fn act(row: &Row, bench: &mut Bench) {
    match row.watch {
        Watch::Open(tag) => bench.contact(tag, Level::Off),
        Watch::Pressed(tag) => bench.contact(tag, Level::On),
        Watch::Person(cause) | Watch::PressedOr(_, cause) => {
            let now = bench.inputs.now;
            assert_eq!(bench.interlocks.request(now, cause), Taken::Yes);
        }
        Watch::Failed(tag) => bench.fail_analogue(tag, Failure::BrokenWire),
        Watch::Below(..) | Watch::Above(..) => act_on_value(row.key, bench),
        _ => act_on_special(row.key, bench),
    }
}

fn act_on_value(key: &str, bench: &mut Bench) {
    let (tag, value) = match key {
        "fuel_low_warn" => (Analogue::FuelPressure, 0.42),
        "fuel_low" => (Analogue::FuelPressure, 0.34),
        "fuel_high_warn" => (Analogue::FuelPressure, 0.58),
        "fuel_high" => (Analogue::FuelPressure, 0.66),
        "fuel_limit" => (Analogue::FuelPressure, 1.04),
        "oxygen_low_warn" => (Analogue::OxygenPressure, 1.69),
        "oxygen_low" => (Analogue::OxygenPressure, 1.39),
        "oxygen_high_warn" => (Analogue::OxygenPressure, 2.31),
        "oxygen_high" => (Analogue::OxygenPressure, 2.61),
        "carrier_low_warn" => (Analogue::CarrierPressure, 2.54),
        "carrier_low" => (Analogue::CarrierPressure, 1.94),
        "extraction_flow_warn" => (Analogue::ExtractionFlow, 79.0),
        "extraction_flow" | "extraction_flow_trip" => (Analogue::ExtractionFlow, 59.0),
        "flammable_gas_warn" => (Analogue::FlammableGas, 11.0),
        "flammable_gas" => (Analogue::FlammableGas, 21.0),
        "oxygen_rich_air" => (Analogue::OxygenInAir, 23.6),
        "oxygen_poor_air" => (Analogue::OxygenInAir, 19.4),
        "part_hot_warn" => (Analogue::PartTemperature, 331.0),
        "part_hot" => (Analogue::PartTemperature, 351.0),
        "part_cold" => (Analogue::PartTemperature, 199.0),
        "fuse_hot_warn" => (Analogue::FuseTemperature, 1081.0),
        "fuse_hot" => (Analogue::FuseTemperature, 1101.0),
        "fuse_overheat" => (Analogue::FuseTemperature, 1141.0),
        "hopper_weight_low" => (Analogue::HopperWeight, 199.0),
        "hopper_empty" => (Analogue::HopperWeight, 19.0),
        other => panic!("no value provokes {other}"),
    };
    bench.analogue(tag, value);
}

fn act_on_special(key: &str, bench: &mut Bench) {
    let at_rest = |bench: &mut Bench| bench.axis(|axis| axis.velocity = Speed::ZERO);
    match key {
        "flame_lost" => bench.contact(Contact::Flame, Level::Off),
        "flame_from_nothing" => bench.contact(Contact::Flame, Level::On),
        "flame_remains_warn" | "flame_remains" | "fuel_not_shut" | "oxygen_not_shut" => {
            bench.outputs.set(Coil::Fuel, Level::Off);
            bench.outputs.set(Coil::Oxygen, Level::Off);
            bench.outputs.powder.now = Level::Off;
            bench.run(5.0);
        }
        "no_ignition" => bench.run(5.2),
        "fuel_contact_wrong" => bench.contact(Contact::FuelShut, Level::On),
        "powder_unlit" => {
            bench.outputs.set(Coil::Fuel, Level::Off);
            bench.contact(Contact::Flame, Level::Off);
        }
        "drive_silent" => bench.stale_axis = true,
        "drive_fault" => bench.axis(|axis| axis.power = PowerState::Fault),
        "drive_unknown" => bench.axis(|axis| axis.power = PowerState::Unknown),
        "following_error" => bench.axis(|axis| axis.following_error = Length::from_mm(-2.1)),
        "carriage_stalled" | "powder_still" => at_rest(bench),
        "flame_at_rest" => {
            at_rest(bench);
            bench.run(4.0);
        }
        "limit_minus" => bench.contact(Contact::LimitMinus, Level::Off),
        "limit_plus" => bench.contact(Contact::LimitPlus, Level::Off),
        "outside_travel" | "outside_travel_lit" => {
            let mut travel = super::bench::pass();
            travel.to = Length::from_mm(850.1);
            bench.outputs.axis = AxisDemand::Travel(travel);
        }
        "torque_contradicts" => bench.contact(Contact::TorqueAllowed, Level::Off),
        "park_contradicts" => bench.contact(Contact::ParkSwitch, Level::On),
        "spindle_stopped" => bench.inputs.spindle.value.missed_pulses = 3.0,
        "spindle_slow" => bench.spindle(62.0),
        "tachometer" => bench.stale_spindle = true,
        "overspeed" => bench.spindle(150.1),
        "speed_warn" => bench.spindle(118.0),
        "speed_error" => bench.spindle(106.0),
        "inverter" => bench.inputs.inverter_ok = Signal::measured(Level::Off, bench.inputs.now),
        "feed_falls" => {
            bench.feed = 0.4;
            bench.run(8.5);
        }
        "feed_pulses" => {
            bench.feed = 1.4;
            bench.run(8.5);
        }
        "hose_blocked" => bench.analogue(Analogue::BackPressure, 0.31),
        "field_silent" => {
            bench.stale_contacts = Contact::ALL.to_vec();
            bench.stale_analogues = Analogue::ALL.to_vec();
        }
        "field_frozen" => {
            for tag in Contact::ALL {
                bench.fail_contact(*tag, Failure::Frozen);
            }
        }
        "watchdog_dropped" => bench.contact(Contact::WatchdogRelay, Level::Off),
        "scan_late" => bench.scan_after(Duration::from_millis(301)),
        other => panic!("nothing provokes {other}"),
    }
}

#[test]
fn every_row_can_be_reached_by_some_input() {
    for row in rows() {
        let bench = provoke(row);
        assert!(bench.causes().contains(&row.key), "{}: {:?}", row.key, bench.causes());
    }
}

#[test]
fn a_machine_in_order_has_no_cause_at_rest_while_spraying_and_while_fusing() {
    for mut bench in [Bench::idle(), Bench::spraying(), Bench::fusing()] {
        bench.run(60.0);
        assert_eq!(bench.causes(), Vec::<&str>::new());
        assert_eq!(bench.verdict().class, None);
    }
}

#[test]
fn a_row_counts_when_its_delay_has_passed_and_not_a_scan_sooner() {
    for row in rows() {
        let bench = provoke(row);
        let verdict = bench.verdict();
        let all = verdict.first.iter().chain(&verdict.consequent);
        let occurrence = all
            .chain(&verdict.holds)
            .chain(&verdict.warnings)
            .find(|occurrence| occurrence.key == row.key)
            .expect("provoked above");
        let lasted = occurrence.confirmed.since(occurrence.since);
        assert!(lasted >= row.delay && lasted < row.delay + SCAN, "{}: {lasted:?}", row.key);
    }
}

#[test]
fn a_condition_that_ends_a_scan_before_its_delay_is_forgotten() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Flame, Level::Off);
    bench.run(0.3);
    assert_eq!(bench.first(), "no trip");
    bench.contact(Contact::Flame, Level::On);
    bench.run(1.0);
    assert_eq!(bench.first(), "no trip");
    bench.contact(Contact::Flame, Level::Off);
    bench.run(0.3 + 0.02);
    assert_eq!(bench.first(), "flame_lost");
}

#[test]
fn a_healthy_contact_that_is_open_stale_or_failed_counts_as_unsafe() {
    for row in rows() {
        let Watch::Open(tag) = row.watch else { continue };
        type Spoil = fn(&mut Bench, Contact);
        let spoils: [Spoil; 4] = [
            |bench, tag| bench.contact(tag, Level::Off),
            |bench, tag| bench.stale_contacts.push(tag),
            |bench, tag| bench.fail_contact(tag, Failure::Refused),
            |bench, tag| bench.fail_contact(tag, Failure::NeverRead),
        ];
        for spoil in spoils {
            let mut bench = start(row);
            spoil(&mut bench, tag);
            bench.run(row.delay.as_secs_f64() + 0.5);
            assert!(bench.causes().contains(&row.key), "{}", row.key);
        }
    }
}

#[test]
fn an_unknown_flame_is_no_flame() {
    for why in [Failure::NeverRead, Failure::Refused] {
        let mut bench = Bench::spraying();
        bench.fail_contact(Contact::Flame, why);
        bench.run(0.4);
        assert_eq!(bench.first(), "flame_lost");
    }
}

#[test]
fn a_broken_transmitter_is_told_as_that_and_inhibits_the_rows_of_its_value() {
    for row in rows() {
        let Watch::Failed(tag) = row.watch else { continue };
        let mut bench = start(row);
        bench.analogue(tag, -2.5);
        bench.fail_analogue(tag, Failure::BrokenWire);
        bench.run(14.0);
        assert!(bench.causes().contains(&row.key), "{}", row.key);
        for value in rows() {
            let judges =
                matches!(value.watch, Watch::Below(own, _) | Watch::Above(own, _) if own == tag);
            assert!(!(judges && bench.causes().contains(&value.key)), "{}", value.key);
        }
    }
}

#[test]
fn a_transmitter_row_confirms_within_its_permitted_time_and_before_any_value_row() {
    use crate::interlock::durations;
    for row in rows().filter(|row| matches!(row.watch, Watch::Failed(_))) {
        let is_later_stage = row.key.ends_with("_trip");
        assert!(is_later_stage || row.delay + SCAN <= durations::TRANSMITTER_FAULT, "{}", row.key);
    }
    for value in rows() {
        let (Watch::Below(tag, _) | Watch::Above(tag, _)) = value.watch else { continue };
        if value.class < Class::Hold {
            continue;
        }
        let covered = rows().any(|row| {
            row.watch == Watch::Failed(tag) && row.class <= value.class && row.delay < value.delay
        });
        assert!(covered, "{} has no transmitter row", value.key);
    }
}

#[test]
fn values_that_are_no_numbers_count_as_failed() {
    let mut bench = Bench::spraying();
    bench.analogue(Analogue::FuelPressure, f64::NAN);
    bench.run(0.2);
    assert_eq!(bench.first(), "fuel_transmitter");
    let mut bench = Bench::spraying();
    bench.axis(|axis| axis.position = Length::from_mm(f64::NAN));
    bench.run(0.1);
    assert_eq!(bench.first(), "drive_silent");
}

#[test]
fn a_silent_module_is_one_cause_and_not_thirty() {
    let mut bench = Bench::spraying();
    bench.stale_contacts = Contact::ALL.to_vec();
    bench.stale_analogues = Analogue::ALL.to_vec();
    bench.stale_spindle = true;
    bench.run(0.5);
    assert_eq!(bench.causes(), ["field_silent"]);
    let written = enforce(bench.verdict(), &bench.inputs, bench.outputs);
    assert_eq!(written.watchdog, Level::Off);
    assert_eq!(written.axis, AxisDemand::Off);
    assert!(matches!(written.spindle, SpindleDemand::Turn(_)));
}

#[test]
fn every_trip_shuts_fuel_oxygen_and_powder() {
    for row in rows().filter(|row| row.class == Class::Trip) {
        let bench = provoke(row);
        let written = enforce(bench.verdict(), &bench.inputs, bench.outputs);
        assert_eq!(written.coil(Coil::Fuel), Level::Off, "{}", row.key);
        assert_eq!(written.coil(Coil::Oxygen), Level::Off, "{}", row.key);
        assert_eq!(written.powder.now, Level::Off, "{}", row.key);
    }
}

#[test]
fn every_hold_and_stop_takes_the_powder_and_no_gas() {
    for row in rows().filter(|row| matches!(row.class, Class::Hold | Class::Stop)) {
        let mut bench = start(row);
        act(row, &mut bench);
        bench.scan();
        let effects = row.effects;
        assert!(effects.powder.is_imposed(), "{}", row.key);
        assert!(!effects.fuel.is_imposed() && !effects.oxygen.is_imposed(), "{}", row.key);
    }
}

#[test]
fn a_message_says_where_what_was_found_and_how_old_it_is() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Flame, Level::Off);
    bench.run(0.32);
    let first = bench.verdict().first.clone().expect("flame lost");
    assert_eq!(
        first.message,
        "Flame lost, torch at 160.0 mm toward the tail: flame sensor off (read 0.000 s ago), expected on"
    );
    let mut bench = Bench::spraying();
    bench.analogue(Analogue::FuelPressure, 0.31);
    bench.run(0.6);
    let first = bench.verdict().first.clone().expect("fuel low");
    assert_eq!(
        first.message,
        "Fuel pressure low, torch at 160.0 mm toward the tail: fuel pressure 0.31 bar (read 0.000 s ago), \
         expected at least 0.35 bar"
    );
}

#[test]
fn what_a_person_raises_about_the_flame_needs_gas_or_powder() {
    let mut bench = Bench::idle();
    let now = bench.inputs.now;
    assert_eq!(bench.interlocks.request(now, Raised::BadFlame), Taken::NothingToAct);
    assert_eq!(bench.interlocks.request(now, Raised::CoatLifting), Taken::NothingToAct);
    assert_eq!(bench.interlocks.request(now, Raised::Abort), Taken::Yes);
}
