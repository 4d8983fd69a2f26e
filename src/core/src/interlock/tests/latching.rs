//! First-out, consequents, holds, what comes later, and what a reset needs.

use core::time::Duration;

use super::bench::Bench;
use super::provoke::{act, provoke, start};
use crate::cia402::PowerState;
use crate::image::{
    Analogue, AxisDemand, Coil, Contact, Level, Outputs, SpindleDemand, SpindleReading,
};
use crate::interlock::matrix::{Raised, ResetRule, Watch, row, rows};
use crate::interlock::{
    Acknowledged, Change, Class, Inspected, Presence, PurgeDone, SpindleEffect, Taken,
};
use crate::moment::Moment;
use crate::quantity::Speed;

#[test]
fn the_first_cause_stays_first_and_later_ones_are_consequent() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Flame, Level::Off);
    bench.run(0.4);
    bench.contact(Contact::EmergencyStop, Level::Off);
    bench.run(0.1);
    assert_eq!(bench.first(), "flame_lost");
    let consequent: Vec<_> =
        bench.verdict().consequent.iter().map(|occurrence| occurrence.key).collect();
    assert_eq!(consequent, ["powder_unlit", "emergency_stop"]);
}

#[test]
fn of_several_causes_in_one_scan_the_one_of_highest_priority_is_first() {
    let trips: Vec<_> = rows()
        .filter(|row| row.class == Class::Trip && row.delay.is_zero())
        .filter(|row| matches!(row.watch, Watch::Open(_)))
        .collect();
    for one in &trips {
        for other in &trips {
            let mut bench = start(one);
            act(one, &mut bench);
            act(other, &mut bench);
            bench.scan();
            let expected = if (one.priority, one.number) <= (other.priority, other.number) {
                one.key
            } else {
                other.key
            };
            assert_eq!(bench.first(), expected);
        }
    }
}

#[test]
fn chatter_is_counted_and_can_not_evict_the_first_cause() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Clamp, Level::Off);
    bench.scan();
    for _ in 0..500 {
        bench.contact(Contact::Guard, Level::Off);
        bench.scan();
        bench.contact(Contact::Guard, Level::On);
        bench.run(0.24);
    }
    assert_eq!(bench.first(), "clamp_lost");
    let consequent = &bench.verdict().consequent;
    assert_eq!(consequent.len(), 1);
    assert_eq!(consequent[0].repeats, 499);
    let told = bench.interlocks.drain_news().filter(|news| news.key == "guard_open").count();
    assert_eq!(told, 2, "confirmed once, returned once");
}

#[test]
fn consequents_beyond_those_listed_are_counted_until_the_trip_is_reset() {
    use crate::interlock::latch::Latch;
    use crate::interlock::slot::Slot;
    let mut latch = Latch::default();
    let trips = crate::interlock::matrix::ROWS.iter().filter(|row| row.class == Class::Trip);
    let mut slots: Vec<Slot> = trips.map(Slot::new).collect();
    for slot in &mut slots {
        latch.confirm(slot, Moment::START, |slot| slot.row.title.to_owned());
    }
    let listed = 1 + latch.verdict.consequent.len();
    assert_eq!(listed, 33);
    assert_eq!(listed + latch.verdict.more_consequent as usize, slots.len());
    latch.clear_trips(&mut slots, Moment::START);
    assert_eq!(latch.verdict.more_consequent, 0);
}

#[test]
fn every_trip_that_comes_after_the_first_keeps_its_effects() {
    let mut bench = Bench::spraying();
    for row in rows().filter(|row| row.class == Class::Trip) {
        if matches!(row.watch, Watch::Open(_) | Watch::Failed(_) | Watch::Person(_)) {
            act(row, &mut bench);
        }
    }
    bench.run(14.0);
    assert!(bench.verdict().effects.supply_shut.is_imposed());
    assert_eq!(bench.verdict().effects.spindle, SpindleEffect::Stop);
}

#[test]
fn news_are_told_once_and_do_not_pile_up_for_ever() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::CoatLiftingButton, Level::On);
    bench.run(0.5);
    let news: Vec<_> = bench.interlocks.drain_news().map(|news| (news.key, news.change)).collect();
    assert_eq!(news, [("coat_lifting", Change::Confirmed)]);
    for _ in 0..2_000 {
        let now = bench.inputs.now;
        bench.interlocks.request(now, Raised::Hold);
        bench.scan();
        let now = bench.inputs.now;
        let _ = bench.interlocks.clear_holds(now);
    }
    assert!(bench.interlocks.lost_news() > 0);
    assert_eq!(bench.interlocks.drain_news().count(), 256);
}

/// Everything off and healthy again for longer than any row's delay before gone.
pub(super) fn calm(bench: Bench) -> Bench {
    let mut rest = Bench::idle();
    rest.inputs.now = bench.inputs.now;
    rest.interlocks = bench.interlocks;
    rest.run(5.1);
    rest
}

fn reset(bench: &mut Bench) -> Result<(), Vec<&'static str>> {
    bench.interlocks.reset(&bench.inputs, &bench.outputs, PurgeDone::Yes, Inspected::Yes)
}

#[test]
fn every_trip_can_be_reset_once_its_cause_is_gone_and_it_is_acknowledged() {
    for row in rows().filter(|row| row.class == Class::Trip) {
        let mut bench = calm(provoke(row));
        assert!(reset(&mut bench).is_err(), "{}: not acknowledged", row.key);
        let now = bench.inputs.now;
        bench.interlocks.acknowledge(now);
        assert_eq!(reset(&mut bench), Ok(()), "{}", row.key);
        assert_eq!(bench.verdict().class.filter(|class| *class == Class::Trip), None);
        bench.run(1.0);
        assert!(!bench.verdict().tripped(), "{}", row.key);
    }
}

#[test]
fn a_trip_whose_cause_is_there_is_not_reset_even_when_nothing_is_energised() {
    for row in rows().filter(|row| row.class == Class::Trip && row.reset != ResetRule::AtRest) {
        let Watch::Open(tag) = row.watch else { continue };
        let mut bench = calm(provoke(row));
        bench.contact(tag, Level::Off);
        bench.run(1.0);
        let now = bench.inputs.now;
        bench.interlocks.acknowledge(now);
        let needs = reset(&mut bench).expect_err(row.key);
        assert!(needs.contains(&row.advice), "{}: {needs:?}", row.key);
    }
}

#[test]
fn a_flashback_is_reset_only_after_an_inspection_and_blows_no_air_before_it() {
    let mut bench = calm(provoke(row("flashback").expect("in the matrix")));
    let now = bench.inputs.now;
    bench.interlocks.acknowledge(now);
    bench.run(0.1);
    assert!(bench.verdict().effects.air_off.is_imposed());
    let needs = bench
        .interlocks
        .reset(&bench.inputs, &bench.outputs, PurgeDone::Yes, Inspected::No)
        .expect_err("not inspected");
    assert_eq!(needs, ["Inspect torch, hoses and arrestors, and write down what was found."]);
    bench.interlocks.inspected();
    assert!(!bench.verdict().effects.air_off.is_imposed());
    assert_eq!(reset(&mut bench), Ok(()));
}

#[test]
fn a_purge_that_gets_no_air_after_a_fire_tells_that_it_waits_for_an_inspection() {
    let mut bench = calm(provoke(row("fire").expect("in the matrix")));
    bench.run(0.1);
    assert!(bench.verdict().effects.air_off.is_imposed());
    assert!(bench.verdict().needs_inspection(), "{:?}", bench.verdict().reset_needs);
    bench.interlocks.inspected();
    assert!(!bench.verdict().needs_inspection());
    assert!(!bench.verdict().effects.air_off.is_imposed(), "the purge can be made");
}

#[test]
fn an_inspection_does_not_count_for_a_flashback_that_comes_after_it() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Clamp, Level::Off);
    bench.run(0.1);
    bench.interlocks.inspected();
    bench.contact(Contact::Arrestor, Level::Off);
    bench.run(0.1);
    assert!(bench.causes().contains(&"flashback"), "{:?}", bench.causes());
    let wanted = "Inspect torch, hoses and arrestors, and write down what was found.";
    assert!(bench.verdict().reset_needs.contains(&wanted));
    assert!(bench.verdict().needs_inspection());
    bench.interlocks.inspected();
    assert!(!bench.verdict().reset_needs.contains(&wanted));
    assert!(!bench.verdict().needs_inspection());
    bench.contact(Contact::Arrestor, Level::On);
    bench.run(1.0);
    bench.contact(Contact::Arrestor, Level::Off);
    bench.run(0.1);
    assert!(bench.verdict().reset_needs.contains(&wanted), "a second one wants a second look");
}

#[test]
fn a_trip_that_comes_back_after_the_acknowledgement_wants_another() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Clamp, Level::Off);
    bench.scan();
    let now = bench.inputs.now;
    bench.interlocks.acknowledge(now);
    bench.contact(Contact::Clamp, Level::On);
    bench.run(6.0);
    bench.contact(Contact::Clamp, Level::Off);
    bench.scan();
    assert_eq!(bench.verdict().acknowledged, Acknowledged::No);
}

#[test]
fn a_new_cause_after_the_acknowledgement_wants_another() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Clamp, Level::Off);
    bench.scan();
    let now = bench.inputs.now;
    bench.interlocks.acknowledge(now);
    assert_eq!(bench.verdict().acknowledged, Acknowledged::Yes);
    bench.contact(Contact::EmergencyStop, Level::Off);
    bench.scan();
    assert_eq!(bench.verdict().acknowledged, Acknowledged::No);
}

#[test]
fn a_reset_is_refused_while_gas_or_powder_is_asked() {
    let mut bench = Bench::spraying();
    let now = bench.inputs.now;
    bench.interlocks.request(now, Raised::Abort);
    bench.run(0.1);
    let now = bench.inputs.now;
    bench.interlocks.acknowledge(now);
    let needs = reset(&mut bench).expect_err("gas is on");
    assert_eq!(needs, ["Gas or powder is still asked for: wait until it is shut."]);
}

#[test]
fn a_restart_clears_holds_whose_condition_is_gone_and_keeps_the_others() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::PlantAir, Level::Off);
    bench.run(1.1);
    let now = bench.inputs.now;
    bench.interlocks.request(now, Raised::Attendance);
    assert_eq!(bench.verdict().class, Some(Class::Hold));
    let remain = bench.interlocks.clear_holds(now).expect_err("plant air is missing");
    assert_eq!(remain, [row("plant_air").expect("in the matrix").advice]);
    assert_eq!(bench.causes(), ["plant_air"]);
    bench.contact(Contact::PlantAir, Level::On);
    bench.run(0.24);
    assert_eq!(bench.verdict().holds[0].present, Presence::Returned);
    assert!(bench.verdict().effects.powder_off.is_imposed());
    let now = bench.inputs.now;
    assert_eq!(bench.interlocks.clear_holds(now), Ok(()));
    assert_eq!(bench.verdict().class, None);
    assert!(!bench.verdict().effects.powder_off.is_imposed());
}

#[test]
fn low_extraction_holds_announces_the_trip_and_trips_ten_seconds_later() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Extraction, Level::Off);
    bench.run(3.02);
    assert_eq!(bench.verdict().class, Some(Class::Hold));
    let (left, effects) = bench.verdict().pending[0];
    assert_eq!(left, Duration::from_secs(10));
    assert!(effects.fuel_shut.is_imposed());
    bench.run(9.98);
    assert_eq!(bench.verdict().class, Some(Class::Hold));
    bench.scan();
    assert_eq!(bench.first(), "extraction_lost_trip");
    assert!(bench.verdict().pending.is_empty());
}

#[test]
fn low_extraction_trips_also_when_the_hold_has_stopped_the_powder() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Extraction, Level::Off);
    bench.run_enforced(13.1);
    assert_eq!(bench.first(), "extraction_lost_trip");
}

#[test]
fn warnings_last_as_long_as_their_condition() {
    let mut bench = Bench::spraying();
    bench.analogue(Analogue::FuelPressure, 0.42);
    bench.run(0.6);
    assert_eq!(bench.verdict().class, Some(Class::Warn));
    bench.analogue(Analogue::FuelPressure, 0.5);
    bench.run(1.9);
    assert_eq!(bench.verdict().class, Some(Class::Warn), "in order, but not for 2 s yet");
    bench.run(0.2);
    assert_eq!(bench.verdict().class, None);
}

#[test]
fn a_cause_is_gone_only_after_all_was_in_order_for_its_delay_without_a_break() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::PlantAir, Level::Off);
    bench.run(1.1);
    // A flicker of the contact begins the wait anew, though it is too short to count again.
    for _ in 0..20 {
        bench.contact(Contact::PlantAir, Level::On);
        bench.run(0.18);
        bench.contact(Contact::PlantAir, Level::Off);
        bench.scan();
    }
    assert_eq!(bench.verdict().holds[0].present, Presence::Active);
    assert_eq!(bench.verdict().holds[0].repeats, 0, "one cause all the while");
    bench.contact(Contact::PlantAir, Level::On);
    bench.run(0.18);
    assert_eq!(bench.verdict().holds[0].present, Presence::Active);
    bench.run(0.06);
    assert_eq!(bench.verdict().holds[0].present, Presence::Returned);
}

#[test]
fn a_trip_whose_cause_has_just_gone_is_not_reset_before_its_delay_is_over() {
    let mut bench = provoke(row("gas_detector").expect("in the matrix"));
    let mut rest = Bench::idle();
    rest.inputs.now = bench.inputs.now;
    core::mem::swap(&mut rest.interlocks, &mut bench.interlocks);
    rest.run(4.8);
    let now = rest.inputs.now;
    rest.interlocks.acknowledge(now);
    let needs = reset(&mut rest).expect_err("the cell has aired for 4.8 s of 5 s");
    assert_eq!(needs, [row("gas_detector").expect("in the matrix").advice]);
    rest.run(0.3);
    assert_eq!(reset(&mut rest), Ok(()));
}

#[test]
fn a_warning_of_something_that_means_nothing_any_more_is_gone_with_its_arming() {
    let mut bench = Bench::spraying();
    bench.analogue(Analogue::FuelPressure, 0.42);
    bench.run(0.6);
    assert_eq!(bench.verdict().class, Some(Class::Warn));
    bench.outputs.set(Coil::Fuel, Level::Off);
    bench.outputs.powder.now = Level::Off;
    bench.scan();
    assert_eq!(bench.causes(), Vec::<&str>::new());
}

#[test]
fn a_cause_raised_with_words_tells_them() {
    let mut bench = Bench::idle();
    let now = bench.inputs.now;
    let taken = bench.interlocks.raise(now, Raised::IgnitionLockout, "third try failed");
    assert_eq!(taken, Taken::Yes);
    let first = bench.verdict().first.clone().expect("locked out");
    assert_eq!(first.message, "Torch does not light: third try failed");
}

#[test]
fn a_flame_lost_in_mid_pass_is_told_first_and_takes_powder_gas_and_air_at_once() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Flame, Level::Off);
    bench.run_enforced(0.32);
    let first = bench.verdict().first.clone().expect("tripped");
    assert_eq!(first.key, "flame_lost");
    assert_eq!(first.confirmed.since(first.since), Duration::from_millis(300));
    assert!(bench.outputs.powder.now == Level::Off);
    for coil in [Coil::Fuel, Coil::Oxygen, Coil::CarrierAir] {
        assert_eq!(bench.outputs.coil(coil), Level::Off);
    }
    assert!(matches!(bench.outputs.axis, AxisDemand::Travel(_)));
    assert!(matches!(bench.outputs.spindle, SpindleDemand::Turn(_)));
}

#[test]
fn a_spindle_that_stops_under_the_flame_is_not_turned_again() {
    let mut bench = Bench::spraying();
    bench.inputs.spindle.value =
        SpindleReading { missed_pulses: 3.1, ..bench.inputs.spindle.value };
    bench.run_enforced(0.04);
    assert_eq!(bench.first(), "spindle_stopped");
    assert_eq!(bench.outputs.spindle, SpindleDemand::Stop);
    assert_eq!(bench.outputs.coil(Coil::Fuel), Level::Off);
}

#[test]
fn the_watchdog_stops_beating_with_a_silent_module_even_at_rest() {
    let mut bench = Bench::idle();
    bench.outputs = Outputs { watchdog: Level::On, ..Outputs::default() };
    bench.stale_contacts = Contact::ALL.to_vec();
    bench.run_enforced(0.4);
    assert_eq!(bench.outputs.watchdog, Level::Off);
    assert!(!bench.verdict().tripped());
}

#[test]
fn a_carriage_that_rests_under_powder_holds_before_half_a_second() {
    let mut bench = Bench::spraying();
    bench.limits.longest_rest = None;
    bench.outputs.axis = AxisDemand::Still;
    bench.axis(|axis| axis.velocity = Speed::ZERO);
    bench.run_enforced(0.34);
    assert_eq!(bench.causes(), ["powder_still"]);
    assert_eq!(bench.outputs.powder.now, Level::Off);
    // Without a figure from the plan the matrix's own three seconds are in force.
    bench.run_enforced(2.6);
    assert_eq!(bench.first(), "no trip");
    bench.run_enforced(0.2);
    assert_eq!(bench.first(), "flame_at_rest");
}

#[test]
fn a_drive_in_fault_does_not_hinder_the_reset_that_clears_it_and_trips_again_when_it_stays() {
    let mut bench = calm(provoke(row("drive_fault").expect("in the matrix")));
    bench.axis(|axis| axis.power = PowerState::Fault);
    bench.run(0.1);
    let now = bench.inputs.now;
    bench.interlocks.acknowledge(now);
    assert_eq!(reset(&mut bench), Ok(()));
    bench.run(0.1);
    assert!(!bench.verdict().tripped());
    bench.outputs.axis = AxisDemand::Still;
    bench.scan();
    assert_eq!(bench.first(), "drive_fault");
}

#[test]
fn a_hold_whose_later_stage_has_tripped_is_not_told_beside_it_and_others_are() {
    let mut bench = Bench::spraying();
    bench.contact(Contact::Extraction, Level::Off);
    bench.run(4.0);
    let told = |bench: &Bench| -> Vec<&'static str> {
        bench.verdict().holds_not_overtaken().map(|hold| hold.key).collect()
    };
    assert_eq!(told(&bench), ["extraction_lost"], "nothing has tripped yet");
    let now = bench.inputs.now;
    bench.interlocks.request(now, Raised::Hold);
    bench.run(12.0);
    assert_eq!(bench.first(), "extraction_lost_trip");
    let held: Vec<_> = bench.verdict().holds.iter().map(|hold| hold.key).collect();
    assert!(held.contains(&"extraction_lost"), "it is in force all the same: {held:?}");
    assert!(!told(&bench).contains(&"extraction_lost"), "{:?}", told(&bench));
    assert!(told(&bench).contains(&"hold_requested"), "{:?}", told(&bench));
}

#[test]
fn a_retreat_that_was_made_is_told_after_the_carriage_has_lost_its_torque_and_no_other_is() {
    let done = |bench: &Bench| {
        let verdict = bench.verdict();
        verdict.told(verdict.first.as_ref().expect("a trip")).done
    };
    let mut bench = Bench::spraying();
    bench.contact(Contact::Flame, Level::Off);
    bench.run(0.4);
    let mut stays = bench.clone();
    bench.axis(|axis| axis.position = crate::quantity::Length::from_mm(710.0));
    bench.contact(Contact::ParkSwitch, Level::On);
    bench.run(0.1);
    for bench in [&mut bench, &mut stays] {
        bench.axis(|axis| axis.power = PowerState::SwitchedOn);
        bench.run(10.0);
        assert!(done(bench).contains("carriage without torque"), "{}", done(bench));
    }
    assert!(done(&bench).contains("torch withdrawn"), "{}", done(&bench));
    assert!(!done(&stays).contains("torch withdrawn"), "{}", done(&stays));
}
