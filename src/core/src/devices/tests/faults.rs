//! Lines and devices that fail: silence, late replies, a port that comes and goes.

use rmodbus::server::context::ModbusContext;

use super::{Bench, FIELD, Fate, MOTION};
use crate::devices::DeviceId;
use crate::image::{AxisDemand, Coil, Contact, Level, LineHealth, Referenced, Travel};
use crate::line::{Answering, Link};
use crate::moment::Moment;
use crate::quantity::{Acceleration, Length, Speed};

#[test]
fn three_misses_make_a_device_silent_and_it_is_then_tried_once_a_second() {
    let mut bench = Bench::ready();
    bench.decide = Box::new(|heard| match (heard.line, heard.frame[0]) {
        (MOTION, 2) => Fate::RequestLost,
        _ => Fate::Answered,
    });
    bench.run(1_000_000);
    assert!(matches!(bench.rack.answering(DeviceId::Spindle), Answering::Silent { .. }));
    let from = bench.now;
    bench.run(5_000_000);
    assert_eq!(bench.asked(MOTION, 2, from).len(), 5);
    // Its neighbour loses the three reads that each attempt's deadline and quarantine cover.
    let reads = bench.asked(MOTION, 1, from).len();
    assert!(reads >= 235, "{reads} of 250");
}

#[test]
fn a_silent_module_is_known_to_be_silent_within_three_tenths_of_a_second() {
    let mut bench = Bench::ready();
    bench.decide = Box::new(|heard| match heard.line {
        FIELD => Fate::RequestLost,
        _ => Fate::Answered,
    });
    let from = bench.now;
    while bench.rack.answering(DeviceId::Field) == Answering::Yes {
        bench.run(1_000);
    }
    println!("silent after {} us", bench.now - from);
    assert!(bench.now - from <= 300_000);
    assert_eq!(bench.inputs().lines, [LineHealth::Down, LineHealth::Up]);
}

#[test]
fn a_late_reply_is_never_taken_for_the_next_one() {
    // Replies later than the deadline and within the worst reply time the rig file names.
    for late in (24_000..=52_000).step_by(1_000) {
        let mut bench = Bench::ready();
        let mut next = 0;
        bench.decide = Box::new(move |heard| {
            next += 1;
            if heard.line == FIELD && next % 7 == 0 { Fate::Late(late) } else { Fate::Answered }
        });
        // The contacts change with every read; a stale one would show an older pattern.
        let mut last = Moment::START;
        for _ in 0..40 {
            bench.run(25_000);
            let guard = bench.inputs().contact(Contact::Guard);
            assert!(guard.at >= last);
            last = guard.at;
        }
        let counters = *bench.rack.counters(FIELD).unwrap();
        assert!(counters.late > 0, "{late}: {counters:?}");
        assert_eq!(counters.foreign, 0, "{late}: {counters:?}");
        assert_eq!(bench.module.powder, []);
    }
}

#[test]
fn nothing_is_sent_while_a_late_reply_may_still_come() {
    let mut bench = Bench::ready();
    bench.run(3_000);
    bench.decide = Box::new(|heard| match heard.line {
        FIELD => Fate::RequestLost,
        _ => Fate::Answered,
    });
    let from = bench.now;
    bench.run(200_000);
    let sent: Vec<_> = bench
        .log
        .iter()
        .filter(|heard| heard.line == FIELD && heard.sent > from)
        .map(|heard| (heard.sent, heard.end))
        .collect();
    for pair in sent.windows(2) {
        // 25 ms for the reply to begin, 30 ms of quarantine.
        assert!(pair[1].0 - pair[0].1 >= 55_000, "{pair:?}");
    }
    assert!(sent.len() >= 3);
}

#[test]
fn after_a_reconnection_no_valve_opens_before_the_scan_has_shut_it_once() {
    let mut bench = Bench::ready();
    bench.outputs.set(Coil::Fuel, Level::On);
    bench.outputs.set(Coil::Extraction, Level::On);
    bench.run(60_000);
    assert!(bench.module.coil(2));
    bench.rack.handle_link(bench.at(), FIELD, Link::Down);
    bench.run(40_000);
    bench.rack.handle_link(bench.at(), FIELD, Link::Up);
    bench.run(300_000);
    assert!(!bench.module.coil(2) && bench.module.coil(6));
    bench.outputs.set(Coil::Fuel, Level::Off);
    bench.run(60_000);
    bench.outputs.set(Coil::Fuel, Level::On);
    bench.run(60_000);
    assert!(bench.module.coil(2));
    assert_eq!(bench.rack.counters(FIELD).unwrap().reconnections, 1);
}

#[test]
fn after_a_reconnection_the_drive_s_word_for_its_datum_is_not_taken() {
    let mut bench = Bench::ready();
    bench.drive.homed = true;
    bench.run(60_000);
    assert_eq!(bench.inputs().axis.value.referenced, Referenced::Yes);
    bench.rack.handle_link(bench.at(), MOTION, Link::Down);
    bench.run(20_000);
    let axis = bench.inputs().axis;
    assert_eq!(axis.value.referenced, Referenced::No);
    assert_eq!(axis.trusted(bench.at(), core::time::Duration::from_secs(1)), None);
    bench.rack.handle_link(bench.at(), MOTION, Link::Up);
    bench.run(100_000);
    let axis = bench.inputs().axis;
    assert!(axis.trusted(bench.at(), core::time::Duration::from_secs(1)).is_some(), "it is read");
    assert_eq!(axis.value.referenced, Referenced::No, "it may have been moved: home it again");
}

#[test]
fn after_a_reconnection_no_torque_comes_before_the_scan_has_asked_for_rest() {
    let mut bench = Bench::ready();
    bench.outputs.axis = AxisDemand::Travel(Travel {
        to: Length::from_mm(100.0),
        at: Speed::from_mm_per_s(10.0),
        ramp: Acceleration::from_mm_per_s2(200.0),
    });
    bench.run(300_000);
    assert_eq!(bench.drive.state, super::machine::ENABLED);
    bench.rack.handle_link(bench.at(), MOTION, Link::Down);
    bench.drive.become_(super::machine::DISABLED);
    bench.run(100_000);
    bench.rack.handle_link(bench.at(), MOTION, Link::Up);
    bench.run(500_000);
    assert_eq!(bench.drive.state, super::machine::DISABLED);
    bench.outputs.axis = AxisDemand::Off;
    bench.run(40_000);
    bench.outputs.axis = AxisDemand::Still;
    bench.run(300_000);
    assert_eq!(bench.drive.state, super::machine::ENABLED);
}

#[test]
fn a_trip_is_sent_once_even_to_a_silent_module() {
    let mut bench = Bench::ready();
    bench.decide = Box::new(|heard| match heard.line {
        FIELD => Fate::RequestLost,
        _ => Fate::Answered,
    });
    bench.run(400_000);
    assert!(matches!(bench.rack.answering(DeviceId::Field), Answering::Silent { .. }));
    bench.urgency = crate::devices::Urgency::Trip;
    bench.scan_at = bench.now;
    let from = bench.now;
    bench.run(40_000);
    assert_eq!(bench.asked(FIELD, 1, from), [0x0F]);
    bench.run(800_000);
    assert_eq!(bench.asked(FIELD, 1, from).len(), 1);
}

#[test]
fn corrupt_replies_cost_one_exchange_and_are_counted() {
    let mut bench = Bench::ready();
    let mut count = 0;
    bench.decide = Box::new(move |heard| {
        count += 1;
        if heard.line == FIELD && count % 10 == 0 { Fate::Corrupt } else { Fate::Answered }
    });
    bench.run(2_000_000);
    let counters = *bench.rack.counters(FIELD).unwrap();
    assert!(counters.corrupt > 10);
    assert_eq!(counters.time_outs, 0);
    assert_eq!(bench.rack.answering(DeviceId::Field), Answering::Yes);
}

#[test]
fn spurious_calls_change_nothing() {
    let mut calm = Bench::ready();
    let mut nervous = Bench::ready();
    for _ in 0..2_000 {
        nervous.run(137);
        let now = nervous.at();
        nervous.rack.handle_time(now);
        nervous.rack.handle_time(now);
        assert_eq!(nervous.rack.poll_transmit(now), None);
    }
    calm.run(2_000 * 137);
    let frames = |bench: &Bench| -> Vec<_> {
        bench.log.iter().map(|heard| (heard.sent, heard.frame.clone())).collect()
    };
    assert_eq!(frames(&calm), frames(&nervous));
}

/// The module lets go of its outputs after 200 ms of silence; the program may have slept.
#[test]
fn after_a_long_sleep_the_first_frame_clears_the_module_and_no_valve_opens() {
    let mut bench = Bench::ready();
    bench.outputs.watchdog = Level::On;
    bench.outputs.set(Coil::Fuel, Level::On);
    bench.run(100_000);
    assert!(bench.module.coil(2));
    bench.now += 300_000;
    bench.module.storage.set_coils_bulk(0, &[false; 15]).unwrap();
    let from = bench.now;
    bench.run(300_000);
    let first = bench.log.iter().find(|heard| heard.line == FIELD && heard.sent >= from).unwrap();
    assert_eq!(first.frame[..9], [1, 0x0F, 0, 0, 0, 15, 2, 0, 0]);
    assert!(!bench.module.coil(2));
}

/// Everything at once for a simulated minute: losses, late replies, wrong bits, refusals. Then
/// the faults end and everything is as it was.
#[test]
fn chaos_ends_in_the_state_that_was_demanded() {
    for seed in 1..=8_u64 {
        let mut bench = Bench::ready();
        bench.drive.homed = true;
        bench.outputs.watchdog = Level::On;
        bench.outputs.set(Coil::Extraction, Level::On);
        let mut state = seed;
        let mut injected = 0;
        bench.decide = Box::new(move |_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let draw = state >> 33;
            match draw % 40 {
                0 => Fate::ReplyLost,
                1 => Fate::RequestLost,
                2 => Fate::Late(20_000 + draw % 30_000),
                3 => Fate::Corrupt,
                4 => Fate::Refused(6),
                _ => Fate::Answered,
            }
        });
        bench.run(60_000_000);
        for line in [FIELD, MOTION] {
            let counters = bench.rack.counters(line).unwrap();
            injected += counters.time_outs + counters.corrupt + counters.exceptions;
        }
        assert!(injected > 500, "seed {seed}: {injected} faults");
        bench.decide = Box::new(|_| Fate::Answered);
        // A person sets the machine to rest and starts again.
        bench.outputs.axis = AxisDemand::Off;
        bench.run(3_000_000);
        bench.outputs.axis = AxisDemand::Still;
        bench.run(1_000_000);
        assert!(bench.module.coil(6) && !bench.module.coil(0), "seed {seed}");
        assert_eq!(bench.drive.state, super::machine::ENABLED, "seed {seed}");
        let inputs = bench.inputs();
        assert_eq!(inputs.lines, [LineHealth::Up, LineHealth::Up]);
        assert!(inputs.is_on(Contact::Guard, core::time::Duration::from_millis(60)));
    }
}
