//! Hold, stop, abort and trips in every state.

use super::person::occurrence;
use super::plant::Plant;
use super::reach::reach;
use crate::image::{AxisDemand, Coil, Contact, Level};
use crate::interlock::{Acknowledged, CarriageEffect, Class, Presence, Verdict};
use crate::request::{Answer, Origin, Request};
use crate::sequence::{Event, Happening, Leaf, Phase, PurgeHindrance};

fn settle(plant: &mut Plant, phase: Phase, seconds: f64) {
    let end = plant.now + core::time::Duration::from_secs_f64(seconds);
    while plant.phase() != phase {
        assert!(plant.now < end, "no {phase:?}, but {:?}: {}", plant.leaf(), plant.story());
        plant.scan();
    }
}

#[test]
fn hold_in_every_running_state_withdraws_and_a_restart_finishes_the_job() {
    for leaf in Leaf::ALL.iter().filter(|leaf| leaf.phase().is_running()) {
        let mut plant = reach(*leaf);
        assert_eq!(plant.ask_from(Request::Hold, Origin::Watcher), Answer::Accepted, "{leaf:?}");
        plant.set(Contact::Extraction, Level::On);
        settle(&mut plant, Phase::Held, 60.0);
        assert_eq!(plant.outputs.powder.now, Level::Off);
        plant.run(8.0);
        assert!(plant.sequence.status().restart.is_some(), "{leaf:?}");
        plant.set(Contact::Guard, Level::On);
        plant.press(Contact::StartButton);
        plant.run(0.2);
        assert_ne!(plant.phase(), Phase::Held, "{leaf:?}: {}", plant.story());
        // The person of the tests looks at no surface.
        if plant.leaf() == Leaf::Restarting {
            plant.press(Contact::AcceptButton);
        }
        plant.until(Leaf::Complete, 1500.0);
        assert!(plant.is_safe());
    }
}

#[test]
fn stop_in_every_state_is_taken_from_a_watcher_and_ends_safely() {
    for leaf in Leaf::ALL {
        let mut plant = reach(*leaf);
        plant.set(Contact::EnablingKey, Level::Off);
        let answer = plant.ask_from(Request::Stop, Origin::Watcher);
        assert!(!matches!(answer, Answer::Denied(_)), "{leaf:?}: {answer:?}");
        plant.run(700.0);
        let rest = [Phase::Idle, Phase::Stopped, Phase::Aborted, Phase::Complete];
        assert!(rest.contains(&plant.phase()), "{leaf:?} ended in {:?}", plant.leaf());
        assert!(plant.is_safe());
    }
}

#[test]
fn abort_in_every_state_is_taken_from_a_watcher_and_removes_energy_in_the_same_call() {
    for leaf in Leaf::ALL {
        let mut plant = reach(*leaf);
        plant.set(Contact::EnablingKey, Level::Off);
        let answer = plant.ask_from(Request::Abort, Origin::Watcher);
        assert!(!matches!(answer, Answer::Denied(_)), "{leaf:?}: {answer:?}");
        plant.scan();
        assert!(!plant.outputs.coil(Coil::Fuel).is_on(), "{leaf:?}");
        assert!(!plant.outputs.coil(Coil::Oxygen).is_on(), "{leaf:?}");
        assert_eq!(plant.outputs.powder.now, Level::Off, "{leaf:?}");
        plant.until(Leaf::Aborted, 60.0);
    }
}

#[test]
fn a_trip_in_every_state_is_answered_in_its_scan_and_reset_only_by_acts_at_the_machine() {
    for leaf in Leaf::ALL {
        let mut plant = reach(*leaf);
        plant.trip(CarriageEffect::Retreat);
        plant.scan();
        assert!(!plant.outputs.coil(Coil::Fuel).is_on(), "{leaf:?}");
        assert!(plant.outputs.coil(Coil::LampRed).is_on());
        assert!(plant.outputs.coil(Coil::Horn).is_on());
        plant.until(Leaf::Aborted, 60.0);
        plant.set(Contact::Guard, Level::On);
        plant.set(Contact::Extraction, Level::On);
        let denied = plant.ask(Request::Reset);
        assert!(matches!(denied, Answer::Denied(_)), "{leaf:?}: reset without acknowledgement");
        plant.run(30.0);
        assert_eq!(plant.leaf(), Leaf::Aborted, "nothing leaves by itself");
        plant.reset();
        let phase = plant.phase();
        assert!(
            matches!(phase, Phase::Idle | Phase::Held | Phase::Stopped),
            "{leaf:?} came to {phase:?}"
        );
        assert!(plant.is_safe());
        plant.run(30.0);
        assert!(plant.velocity.abs() < 0.2 && !plant.lit, "{leaf:?}: nothing starts by itself");
    }
}

#[test]
fn a_job_tripped_in_any_running_state_may_go_on_after_a_reset() {
    for leaf in Leaf::ALL.iter().filter(|leaf| leaf.phase().is_running()) {
        let mut plant = reach(*leaf);
        plant.trip(CarriageEffect::Retreat);
        plant.until(Leaf::Aborted, 60.0);
        plant.set(Contact::Guard, Level::On);
        plant.set(Contact::Extraction, Level::On);
        plant.reset();
        assert_eq!(plant.leaf(), Leaf::HeldUnlit, "{leaf:?}");
        plant.press(Contact::StartButton);
        plant.run(0.2);
        if plant.leaf() == Leaf::Restarting {
            plant.press(Contact::AcceptButton);
        }
        plant.until(Leaf::Complete, 1500.0);
    }
}

#[test]
fn a_trip_that_stops_the_carriage_makes_no_retreat() {
    for effect in [CarriageEffect::Stop, CarriageEffect::Cut] {
        let mut plant = reach(Leaf::Crossing);
        plant.run(8.0);
        plant.trip(effect);
        plant.run(1.0);
        let rest = plant.position;
        plant.run(20.0);
        assert!((plant.position - rest).abs() < 0.01, "{effect:?}");
        assert_eq!(plant.leaf(), Leaf::Aborted);
        assert!(!plant.outputs.coil(Coil::CarrierAir).is_on(), "no purge over the part");
    }
}

#[test]
fn a_hold_of_the_interlocks_that_has_not_returned_denies_the_restart_in_its_own_words() {
    let mut plant = reach(Leaf::Crossing);
    plant.hold_by_interlock(Presence::Active);
    settle(&mut plant, Phase::Held, 30.0);
    let Answer::Denied(denial) = plant.ask(Request::Restart) else { panic!("restarted") };
    assert_eq!(denial.why, "part_too_cold in the test");
    plant.hold_by_interlock(Presence::Returned);
    plant.scan();
    assert_eq!(plant.ask(Request::Restart), Answer::Accepted);
    plant.run(1.0);
    assert_ne!(plant.phase(), Phase::Held);
    plant.until(Leaf::Complete, 900.0);
}

#[test]
fn a_stop_of_the_interlocks_ends_the_job_in_order() {
    let mut plant = reach(Leaf::Crossing);
    plant.verdict.class = Some(Class::Stop);
    plant.verdict.holds = vec![occurrence("hopper_empty", Class::Stop, plant.now, plant.now)];
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::Stopping);
    plant.until(Leaf::Stopped, 700.0);
}

#[test]
fn a_held_flame_is_put_out_in_order_after_a_minute() {
    let mut plant = reach(Leaf::HeldLit);
    plant.run(58.0);
    assert!(plant.outputs.coil(Coil::Fuel).is_on());
    plant.until(Leaf::HeldUnlit, 3.0);
    // Fuel first, oxygen a second later, then five seconds of air: the test torch's rules.
    assert!(!plant.outputs.coil(Coil::Fuel).is_on());
    assert!(plant.outputs.coil(Coil::Oxygen).is_on());
    plant.run(1.1);
    assert!(!plant.outputs.coil(Coil::Oxygen).is_on());
    assert!(plant.outputs.coil(Coil::CarrierAir).is_on());
    assert!(!plant.outputs.coil(Coil::Supply).is_on());
    plant.run(5.1);
    assert!(!plant.outputs.coil(Coil::CarrierAir).is_on());
    assert!(plant.rpm > 100.0, "the part turns on");
}

#[test]
fn a_controller_that_stood_still_trips_and_starts_nothing() {
    for leaf in [Leaf::Crossing, Leaf::Heating, Leaf::Opening, Leaf::Jogging] {
        let mut plant = reach(leaf);
        plant.set(Contact::StartButton, Level::On);
        plant.now = plant.now + core::time::Duration::from_secs(2);
        plant.scan();
        assert_eq!(plant.phase(), Phase::Aborting, "{leaf:?}");
        assert!(plant.outputs.powder.next.is_none());
        assert!(plant.wishes.contains(&crate::sequence::Wish::Stalled));
        plant.until(Leaf::Aborted, 60.0);
    }
}

/// A flashback: no air until somebody has inspected torch and hoses; then the purge is made.
#[test]
fn a_purge_forbidden_by_the_interlocks_is_made_once_they_allow_it_and_then_told() {
    let mut plant = reach(Leaf::Crossing);
    plant.trip(CarriageEffect::Retreat);
    plant.verdict.effects.air_off = crate::interlock::Veto::Imposed;
    plant.until(Leaf::Aborted, 60.0);
    plant.run(20.0);
    let told = crate::sequence::Wish::PurgeDone;
    assert!(!plant.wishes.contains(&told));
    plant.verdict.effects.air_off = crate::interlock::Veto::None;
    plant.run(4.9);
    assert!(plant.outputs.coil(Coil::CarrierAir).is_on());
    assert!(!plant.wishes.contains(&told));
    plant.run(0.3);
    assert!(!plant.outputs.coil(Coil::CarrierAir).is_on());
    assert!(plant.wishes.contains(&told));
}

/// A position that is unknown for a moment puts the purge off, and does not give it up.
#[test]
fn a_purge_whose_torch_was_not_known_to_be_clear_for_a_moment_is_made_after_it() {
    use crate::sequence::Wish;
    let mut plant = reach(Leaf::Crossing);
    plant.trip(CarriageEffect::Retreat);
    while !plant.outputs.coil(Coil::CarrierAir).is_on() || plant.leaf() == Leaf::Crossing {
        plant.scan();
    }
    let there = plant.position;
    plant.position = 100.0;
    plant.scan();
    plant.scan();
    assert!(!plant.outputs.coil(Coil::CarrierAir).is_on(), "no air over the part");
    plant.position = there;
    plant.run(6.0);
    assert!(plant.wishes.contains(&Wish::PurgeLeft) && plant.wishes.contains(&Wish::PurgeDone));
    assert!(!plant.sequence.situation().purge_owed.is_on());
}

/// No compressed air: the trip is not kept for ever, and no torch is lit unpurged.
#[test]
fn a_purge_without_air_is_told_as_left_stays_owed_and_is_made_once_air_is_back() {
    use crate::sequence::Wish;
    let mut plant = reach(Leaf::Crossing);
    plant.has_air = false;
    plant.trip(CarriageEffect::Retreat);
    plant.until(Leaf::Aborted, 60.0);
    plant.run(20.0);
    assert!(plant.wishes.contains(&Wish::PurgeLeft) && !plant.wishes.contains(&Wish::PurgeDone));
    let told = |what: &Event| matches!(what.what, Happening::NotPurged(PurgeHindrance::NoAir));
    assert_eq!(plant.events.iter().filter(|event| told(event)).count(), 1, "told once");
    assert!(plant.outputs.coil(Coil::CarrierAir).is_on(), "asked for still");
    plant.ask(Request::Acknowledge);
    assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
    plant.verdict = Verdict::default();
    plant.run(1.0);
    assert_eq!(plant.leaf(), Leaf::HeldUnlit);
    assert!(plant.sequence.situation().purge_owed.is_on(), "a reset purges nothing");
    // The next lighting demands it: without air no gas is opened.
    plant.ask(Request::Restart);
    for _ in 0..1500 {
        plant.run(0.1);
        assert!(!plant.outputs.coil(Coil::Fuel).is_on(), "lit without a purge");
    }
    assert_eq!(plant.leaf(), Leaf::HeldUnlit);
    plant.has_air = true;
    plant.ask(Request::Restart);
    plant.until(Leaf::Crossing, 400.0);
}

#[test]
fn air_lost_while_the_lighter_is_waited_for_is_purged_anew_before_any_gas() {
    let mut plant = reach(Leaf::Opening);
    assert!(!plant.outputs.coil(Coil::Fuel).is_on(), "gas is still shut");
    plant.has_air = false;
    plant.run(0.1);
    assert_eq!(plant.leaf(), Leaf::Purging);
    assert!(!plant.outputs.coil(Coil::Fuel).is_on());
    plant.has_air = true;
    plant.until(Leaf::ConfirmingFlame, 60.0);
}

#[test]
fn a_stop_without_air_ends_all_the_same_and_leaves_the_purge_owed() {
    let mut plant = reach(Leaf::Crossing);
    plant.has_air = false;
    plant.ask(Request::Stop);
    plant.until(Leaf::Stopped, 2000.0);
    assert!(plant.sequence.situation().purge_owed.is_on());
    let mut plant = reach(Leaf::Crossing);
    plant.ask(Request::Stop);
    plant.until(Leaf::Stopped, 2000.0);
    assert!(!plant.sequence.situation().purge_owed.is_on());
}

#[test]
fn a_drive_in_fault_is_cleared_by_the_first_reset_and_the_trip_by_the_next() {
    let mut plant = reach(Leaf::Crossing);
    plant.drive_fault = true;
    plant.trip(CarriageEffect::Cut);
    plant.until(Leaf::Aborted, 30.0);
    plant.run(30.0);
    assert!(plant.drive_fault, "nothing clears a drive by itself");
    plant.ask(Request::Acknowledge);
    plant.verdict.reset_needs = vec!["the drive's fault is still there"];
    plant.scan();
    assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
    plant.run(0.1);
    assert!(!plant.drive_fault);
    assert_eq!(plant.leaf(), Leaf::Aborted, "the trip is latched still");
    plant.verdict.reset_needs.clear();
    assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::HeldUnlit);
}

/// A carrier that is oxygen must not purge once the fuel is shut.
#[test]
fn a_torch_with_an_oxygen_carrier_is_never_purged_after_its_gases_are_shut() {
    let mut program = super::fixture::whole_job();
    for torch in &mut std::sync::Arc::make_mut(&mut program).torches {
        torch.carrier_may_purge = Level::Off;
    }
    for trip in [Level::Off, Level::On] {
        let mut plant = Plant::ready(&super::fixture::rig(), program.clone());
        plant.press(Contact::StartButton);
        plant.until(Leaf::Crossing, 200.0);
        plant.run(8.0);
        if trip.is_on() {
            plant.trip(CarriageEffect::Retreat);
        } else {
            plant.ask(Request::Stop);
        }
        for _ in 0..3000 {
            plant.scan();
            let gas = [Coil::Fuel, Coil::Oxygen].iter().any(|gas| plant.outputs.coil(*gas).is_on());
            assert!(gas || !plant.outputs.coil(Coil::CarrierAir).is_on(), "{}", plant.story());
        }
        assert!(matches!(plant.phase(), Phase::Stopped | Phase::Stopping | Phase::Aborted));
    }
}

#[test]
fn a_drive_that_went_into_fault_while_idle_is_cleared_by_a_reset_and_only_by_that() {
    for leaf in [Leaf::NotReady, Leaf::Ready] {
        let mut plant = reach(leaf);
        assert_eq!(plant.ask(Request::Reset), Answer::AlreadySo, "nothing to reset in {leaf:?}");
        plant.drive_fault = true;
        plant.run(5.0);
        assert!(plant.drive_fault, "nothing clears a drive by itself");
        assert_ne!(plant.ask_from(Request::Reset, Origin::Watcher), Answer::Accepted);
        plant.press(Contact::ResetButton);
        plant.run(0.5);
        assert!(!plant.drive_fault, "in {leaf:?}");
        assert_eq!(plant.outputs.axis, AxisDemand::Off, "and nothing moves");
    }
}

#[test]
fn a_reset_pressed_in_the_scan_of_a_trip_does_not_acknowledge_it() {
    let mut plant = reach(Leaf::Crossing);
    plant.trip(CarriageEffect::Retreat);
    plant.press(Contact::ResetButton);
    plant.scan();
    assert_eq!(plant.verdict.acknowledged, Acknowledged::No, "nobody has seen it yet");
    plant.run(0.5);
    plant.press(Contact::ResetButton);
    plant.run(0.5);
    assert_eq!(plant.verdict.acknowledged, Acknowledged::Yes);
}

#[test]
fn an_abort_right_after_a_hold_without_a_flame_sets_nothing_in_motion_again() {
    let mut plant = Plant::ready(&super::fixture::rig(), super::fixture::whole_job());
    plant.position = 250.0;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Parking, 10.0);
    plant.run(0.5);
    assert!(plant.velocity > 10.0, "on its way to the park");
    plant.ask(Request::Hold);
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::HeldUnlit);
    plant.ask(Request::Abort);
    for _ in 0..200 {
        plant.scan();
        assert!(!matches!(plant.outputs.axis, AxisDemand::Travel(_)), "{}", plant.story());
    }
    assert!(plant.is_safe());
}
