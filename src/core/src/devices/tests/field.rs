//! Field I/O: first exchange, cycle, watchdog, trip, frozen module.

use rmodbus::server::context::ModbusContext;

use super::{Bench, FIELD, Fate};
use crate::devices::{Commissioned, DeviceId, Urgency};
use crate::image::{Analogue, Coil, Contact, Failure, Kind, Level};
use crate::line::Answering;
use crate::moment::Moment;

#[test]
fn the_first_thing_the_module_hears_de_energises_every_coil() {
    let mut bench = Bench::new();
    bench.module.storage.set_coils_bulk(0, &[true; 15]).unwrap();
    bench.outputs.set(Coil::Fuel, Level::On);
    bench.run(60_000);
    let first = bench.log.iter().find(|heard| heard.line == FIELD).unwrap();
    assert_eq!(first.frame[..9], [1, 0x0F, 0, 0, 0, 15, 2, 0, 0]);
    assert_eq!((0..15).filter(|coil| bench.module.coil(*coil)).count(), 0);
}

#[test]
fn every_contact_is_as_old_as_the_end_of_its_request_and_the_silence_behind_it() {
    let bench = Bench::ready();
    let read = bench.log.iter().rev().find(|heard| heard.frame[1] == 2).unwrap();
    let previous = bench.log.iter().rev().filter(|heard| heard.frame[1] == 2).nth(1).unwrap();
    let guard = bench.inputs().contact(Contact::Guard);
    assert_eq!((guard.value, guard.kind), (Level::On, Kind::Measured));
    let sampled = [read, previous].map(|heard| Moment::from_micros(heard.end + super::SILENCE));
    assert!(sampled.contains(&guard.at));
}

/// Computed here: 12 mA is half of 0 to 2.5 bar; 238,095 us and 8 pulses a turn are 31.5 rpm.
#[test]
fn currents_and_tachometer_arrive_in_their_units() {
    let bench = Bench::ready();
    let inputs = bench.inputs();
    assert!((inputs.analogue(Analogue::FuelPressure).value - 1.25).abs() < 1e-12);
    assert!((inputs.analogue(Analogue::FuseTemperature).value - 775.0).abs() < 1e-9);
    assert!((inputs.spindle.value.measured.rpm() - 31.5).abs() < 1e-3);
}

#[test]
fn the_module_is_polled_in_its_periods() {
    let mut bench = Bench::ready();
    let from = bench.now;
    bench.run(2_000_000);
    let asked = bench.asked(FIELD, 1, from);
    let count = |function| asked.iter().filter(|asked| **asked == function).count();
    assert_eq!(count(0x02), 100);
    assert_eq!(count(0x04), 50);
    assert_eq!(count(0x01), 2);
}

#[test]
fn the_watchdog_beats_only_while_scans_ask_for_it() {
    let mut bench = Bench::ready();
    bench.outputs.watchdog = Level::On;
    let from = bench.now;
    bench.run(2_000_000);
    let edges = bench.asked(FIELD, 1, from).iter().filter(|function| **function == 0x0F).count();
    assert!((47..=51).contains(&edges), "{edges} edges in 2 s at one every 40 ms");

    // The scan hangs: the rack lives on and makes no further edge.
    bench.scanning = false;
    bench.run(20_000);
    let from = bench.now;
    bench.run(2_000_000);
    assert!(!bench.asked(FIELD, 1, from).contains(&0x0F));
}

#[test]
fn a_watchdog_that_is_not_asked_for_makes_no_edge() {
    let mut bench = Bench::ready();
    let from = bench.now;
    bench.run(2_000_000);
    assert!(!bench.asked(FIELD, 1, from).contains(&0x0F));
}

#[test]
fn coils_go_out_on_change_and_the_powder_coil_never_with_them() {
    let mut bench = Bench::ready();
    let from = bench.now;
    bench.outputs.set(Coil::Extraction, Level::On);
    bench.outputs.set(Coil::CarrierAir, Level::On);
    bench.run(100_000);
    assert!(bench.module.coil(1) && bench.module.coil(6));
    let writes: Vec<_> =
        bench.log.iter().filter(|heard| heard.sent >= from && heard.frame[1] == 0x0F).collect();
    assert_eq!(writes.len(), 1);
    assert_eq!(writes[0].frame[2..6], [0, 1, 0, 14]);
    let switched: Vec<_> = bench.rack.switched().map(|switched| switched.coil).collect();
    assert_eq!(switched, [Coil::CarrierAir, Coil::Extraction]);
}

#[test]
fn commanded_acknowledged_and_confirmed_are_three_things() {
    let mut bench = Bench::ready();
    bench.outputs.set(Coil::CoolingAir, Level::On);
    bench.decide = Box::new(|heard| match heard.frame[1] {
        0x0F => Fate::ReplyLost,
        _ => Fate::Answered,
    });
    bench.scan_at = bench.now;
    bench.run(20_000);
    let belief = bench.rack.coil(Coil::CoolingAir);
    assert_eq!(belief.commanded, Some(Level::On));
    assert_eq!(belief.acknowledged, None);
    bench.decide = Box::new(|_| Fate::Answered);
    bench.run(1_200_000);
    let belief = bench.rack.coil(Coil::CoolingAir);
    assert_eq!(belief.acknowledged, Some(Level::On));
    assert_eq!(belief.confirmed, Some(Level::On));
}

#[test]
fn a_trip_is_one_frame_over_all_coils_and_leaves_after_the_running_exchange() {
    for delay in (0..40_000).step_by(1_900) {
        let mut bench = Bench::ready();
        bench.outputs.set(Coil::Extraction, Level::On);
        bench.run(100_000 + delay);
        bench.urgency = Urgency::Trip;
        bench.outputs.set(Coil::CarrierAir, Level::On);
        bench.scan_at = bench.now;
        let tripped = bench.now;
        let running = bench.log.iter().rfind(|heard| heard.line == FIELD).unwrap().clone();
        bench.run(20_000);
        let next =
            bench.log.iter().find(|heard| heard.line == FIELD && heard.sent >= tripped).unwrap();
        assert_eq!(next.frame[..7], [1, 0x0F, 0, 0, 0, 15, 2], "after {delay}");
        let longest = running.end + super::SILENCE + super::TURN_ROUND + super::wire(35);
        assert!(next.sent <= longest.max(tripped) + super::SILENCE, "after {delay}");
        assert!(bench.module.coil(6) && !bench.module.coil(0));
    }
}

#[test]
fn a_module_that_stands_still_is_not_believed() {
    let mut bench = Bench::ready();
    bench.module.stuck = true;
    bench.run(200_000);
    let inputs = bench.inputs();
    assert_eq!(inputs.contact(Contact::Guard).kind, Kind::Failed(Failure::Frozen));
    assert_eq!(inputs.analogue(Analogue::FuelPressure).kind, Kind::Failed(Failure::Frozen));
    assert_eq!(inputs.spindle.kind, Kind::Failed(Failure::Frozen));
    bench.module.stuck = false;
    bench.run(100_000);
    assert_eq!(bench.inputs().contact(Contact::Guard).kind, Kind::Measured);
}

#[test]
fn a_broken_wire_is_known_within_two_tenths_of_a_second() {
    let mut bench = Bench::ready();
    bench.module.storage.set_input(0, 0).unwrap();
    let broken = bench.now;
    while bench.inputs().analogue(Analogue::FuelPressure).kind == Kind::Measured {
        bench.run(1_000);
    }
    assert_eq!(
        bench.inputs().analogue(Analogue::FuelPressure).kind,
        Kind::Failed(Failure::BrokenWire)
    );
    assert!(bench.now - broken <= 60_000, "{} us", bench.now - broken);
}

#[test]
fn a_module_that_refuses_is_there_and_its_signals_are_refused() {
    let mut bench = Bench::ready();
    bench.decide = Box::new(|heard| match heard.frame[1] {
        4 => Fate::Refused(4),
        _ => Fate::Answered,
    });
    bench.run(100_000);
    let inputs = bench.inputs();
    assert_eq!(inputs.analogue(Analogue::FuelPressure).kind, Kind::Failed(Failure::Refused));
    assert_eq!(inputs.contact(Contact::Guard).kind, Kind::Measured);
    assert_eq!(bench.rack.answering(DeviceId::Field), Answering::Yes);
    assert!(bench.rack.counters(FIELD).unwrap().exceptions >= 2);
}

#[test]
fn settings_that_agree_are_not_written_and_others_are_written_once_and_read_back() {
    let mut bench = Bench::new();
    bench.module.storage.set_holdings_bulk(0, &[200, 1]).unwrap();
    bench.run(200_000);
    assert!(!bench.asked(FIELD, 1, 0).contains(&0x10));
    assert_eq!(bench.rack.commissioned(DeviceId::Field), Commissioned::Agreed);

    let bench = Bench::ready();
    let writes = bench.asked(FIELD, 1, 0).iter().filter(|function| **function == 0x10).count();
    assert_eq!(writes, 1);
    assert_eq!(bench.module.storage.get_holding(0).unwrap(), 200);
    assert_eq!(bench.rack.commissioned(DeviceId::Field), Commissioned::Agreed);
}

#[test]
fn nothing_is_energised_while_the_module_does_not_take_its_settings() {
    let mut bench = Bench::new();
    bench.decide = Box::new(|heard| match heard.frame[1] {
        0x10 => Fate::Refused(2),
        _ => Fate::Answered,
    });
    bench.outputs.set(Coil::Extraction, Level::On);
    bench.outputs.watchdog = Level::On;
    bench.run(500_000);
    assert_eq!(bench.rack.commissioned(DeviceId::Field), Commissioned::Refused);
    assert!(!bench.module.coil(6) && !bench.module.coil(7));
}

#[test]
fn a_module_too_busy_for_its_settings_is_asked_again() {
    let mut bench = Bench::new();
    bench.decide = Box::new(|heard| match heard.frame[1] {
        3 => Fate::Refused(6),
        _ => Fate::Answered,
    });
    bench.run(200_000);
    assert_eq!(bench.rack.commissioned(DeviceId::Field), Commissioned::Refused);
    bench.decide = Box::new(|_| Fate::Answered);
    bench.run(1_100_000);
    assert_eq!(bench.rack.commissioned(DeviceId::Field), Commissioned::Agreed);
}
