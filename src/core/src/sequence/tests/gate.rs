//! The request gate over all requests, origins and states.

use super::fixture::{mm, rig, whole_job};
use super::plant::Plant;
use super::reach::reach;
use crate::image::{Analogue, AxisDemand, Coil, Contact, Level, Signal};
use crate::request::{Answer, Denial, Direction, Origin, Request, Trim};
use crate::sequence::{Leaf, Phase};

fn requests() -> [Request; 26] {
    Request::each(Direction::TowardChuck, mm(1.0), Trim::of_percent(2))
}

#[test]
fn every_request_in_every_state_gets_an_answer_with_its_reason_and_accepted_ones_are_acted_on() {
    for leaf in Leaf::ALL {
        let plant = reach(*leaf);
        for request in requests() {
            for origin in [Origin::Machine, Origin::Seat, Origin::Watcher] {
                let mut plant = plant.clone();
                let answer = plant.ask_from(request, origin);
                // The scan asserts that nothing let through went unanswered.
                plant.scan();
                if let Answer::Denied(Denial { why, help }) = &answer {
                    assert!(!why.is_empty() && !help.is_empty(), "{leaf:?} {request:?}");
                    assert!(
                        !matches!(request, Request::Stop | Request::Hold | Request::Abort),
                        "{leaf:?}: {request:?} was denied: {why}"
                    );
                }
            }
        }
    }
}

#[test]
fn a_watcher_starts_nothing_in_any_state() {
    for leaf in Leaf::ALL {
        let plant = reach(*leaf);
        for request in requests() {
            let mut plant = plant.clone();
            let answer = plant.ask_from(request, Origin::Watcher);
            let harmless = matches!(
                request,
                Request::Stop
                    | Request::Hold
                    | Request::HoldAfterPass
                    | Request::Abort
                    | Request::Acknowledge
                    | Request::JogRelease
            );
            assert!(harmless || matches!(answer, Answer::Denied(_)), "{leaf:?} {request:?}");
        }
    }
}

#[test]
fn the_seat_needs_the_enabling_key_for_whatever_starts_something() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.set(Contact::EnablingKey, Level::Off);
    for request in [
        Request::Start,
        Request::EnterManual,
        Request::EnterProving,
        Request::Reset,
        Request::Accept,
    ] {
        let Answer::Denied(denial) = plant.ask(request) else { panic!("{request:?} was taken") };
        assert!(denial.why.contains("enabling key"), "{}", denial.why);
    }
    plant.set(Contact::EnablingKey, Level::On);
    assert_eq!(plant.ask(Request::Start), Answer::Accepted);
    assert_eq!(plant.phase(), Phase::Starting);
}

#[test]
fn the_buttons_at_the_machine_need_the_enabling_key_too() {
    let mut plant = Plant::ready(&rig(), whole_job());
    let press = |plant: &mut Plant| {
        plant.set(Contact::StartButton, Level::On);
        plant.run(0.3);
        plant.set(Contact::StartButton, Level::Off);
        plant.run(0.3);
    };
    plant.set(Contact::EnablingKey, Level::Off);
    press(&mut plant);
    assert_eq!(plant.leaf(), Leaf::Ready);
    plant.set(Contact::EnablingKey, Level::On);
    press(&mut plant);
    assert_eq!(plant.phase(), Phase::Starting);
}

#[test]
fn homing_may_be_asked_for_without_the_key_and_moves_only_with_it() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.set(Contact::EnablingKey, Level::Off);
    assert_eq!(plant.ask(Request::Home), Answer::Accepted);
    plant.run(1.0);
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
    assert!(matches!(plant.ask(Request::Start), Answer::Denied(_)));
    plant.set(Contact::StartButton, Level::On);
    plant.run(0.3);
    plant.set(Contact::StartButton, Level::Off);
    plant.run(1.0);
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
}

#[test]
fn nothing_starts_without_an_act_at_the_machine() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.run(120.0);
    assert_eq!(plant.leaf(), Leaf::Ready);
    assert!(plant.outputs.coil(Coil::LampBlue).is_on(), "the prompt to press start");
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
    for coil in [Coil::Fuel, Coil::Oxygen, Coil::Supply, Coil::CarrierAir, Coil::Igniter] {
        assert!(!plant.outputs.coil(coil).is_on());
    }
}

#[test]
fn a_start_button_that_was_never_seen_released_starts_nothing() {
    let mut plant = Plant::new(&rig());
    plant.set(Contact::StartButton, Level::On);
    // As if stuck from before power-up: a new controller that finds it pressed.
    plant.sequence = crate::sequence::Sequence::new(&rig());
    assert_eq!(plant.sequence.load(whole_job()), Answer::Accepted);
    plant.run(5.0);
    assert_eq!(plant.leaf(), Leaf::Ready);
    plant.set(Contact::StartButton, Level::Off);
    plant.run(0.1);
    plant.press(Contact::StartButton);
    plant.run(0.1);
    assert_eq!(plant.phase(), Phase::Starting);
}

#[test]
fn a_button_held_down_acts_once() {
    let mut plant = reach(Leaf::HeldLit);
    plant.set(Contact::StartButton, Level::On);
    plant.run(1.0);
    assert_ne!(plant.phase(), Phase::Held);
    plant.ask(Request::Hold);
    plant.run(30.0);
    assert_eq!(plant.phase(), Phase::Held, "the button still pressed restarts nothing");
}

#[test]
fn a_broken_stop_wire_stops_a_job_and_denies_the_next_start_by_its_name() {
    let mut plant = reach(Leaf::Crossing);
    plant.set(Contact::StopButtonRest, Level::Off);
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::Stopping);
    plant.until(Leaf::Stopped, 700.0);
    assert_eq!(plant.ask(Request::Reset), Answer::Accepted);
    plant.run(0.2);
    let Answer::Denied(denial) = plant.ask(Request::Start) else { panic!("started") };
    assert!(denial.why.contains("stop button"), "{}", denial.why);
}

/// Scenario: flame input on with the gas off.
#[test]
fn a_flame_seen_with_the_gas_shut_refuses_the_start_and_no_igniter_is_energised() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.inputs.contacts[Contact::Flame.index()] = Signal::measured(Level::On, plant.now);
    let Answer::Denied(denial) = plant.ask(Request::Start) else { panic!("started") };
    assert!(denial.why.starts_with("flame signal not believable"), "{}", denial.why);
}

#[test]
fn a_start_with_a_permissive_missing_names_it() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.missing = vec!["guard is open", "extraction is not proved"];
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::NotReady);
    let Answer::Denied(denial) = plant.ask(Request::Start) else { panic!("started") };
    assert_eq!(denial.why, "not ready: guard is open; extraction is not proved");
}

#[test]
fn a_job_is_loaded_only_while_none_is_under_way() {
    for leaf in Leaf::ALL {
        let mut plant = reach(*leaf);
        let answer = plant.sequence.load(whole_job());
        let free = matches!(plant.phase(), Phase::Idle | Phase::Stopped | Phase::Complete);
        assert_eq!(free, answer == Answer::Accepted, "{leaf:?}: {answer:?}");
    }
}

#[test]
fn a_new_plan_is_swapped_in_between_passes_only() {
    let mut plant = reach(Leaf::Crossing);
    assert!(matches!(plant.sequence.replace(whole_job()), Answer::Denied(_)));
    plant.ask(Request::HoldAfterPass);
    plant.until(Leaf::HeldLit, 60.0);
    assert_eq!(plant.sequence.replace(whole_job()), Answer::Accepted);
    let mut plant = reach(Leaf::HeldLit);
    assert!(plant.sequence.status().powder_lost.is_some());
    assert!(matches!(plant.sequence.replace(whole_job()), Answer::Denied(_)), "in mid-pass");
}

#[test]
fn a_nudge_longer_than_a_short_step_is_denied() {
    let mut plant = reach(Leaf::Jogging);
    assert!(matches!(plant.ask(Request::Nudge(mm(50.0))), Answer::Denied(_)));
}

#[test]
fn no_jog_with_gas_under_pressure_or_an_unknown_transmitter() {
    let mut plant = reach(Leaf::Jogging);
    plant.vents = false;
    plant.run(0.2);
    let Answer::Denied(denial) = plant.ask(Request::Jog(Direction::TowardTail)) else {
        panic!("jogged")
    };
    assert!(denial.why.contains("vented"));
    plant.vents = true;
    plant.run(0.2);
    plant.inputs.analogues[Analogue::FuelPressure.index()] = Signal::default();
    assert!(matches!(plant.ask(Request::Jog(Direction::TowardTail)), Answer::Denied(_)));
}

#[test]
fn an_inspection_is_taken_once_something_waits_for_it_and_denied_where_nothing_does() {
    let mut plant = reach(Leaf::Ready);
    let Answer::Denied(Denial { why, .. }) = plant.ask(Request::Inspected) else {
        panic!("nothing is tripped");
    };
    assert!(why.starts_with("there is nothing to inspect"), "{why}");
    plant.trip(crate::interlock::CarriageEffect::Stop);
    plant.scan();
    assert!(matches!(plant.ask(Request::Inspected), Answer::Denied(_)), "the flame was lost");
    let first = plant.verdict.first.as_mut().expect("a trip");
    first.key = "flashback";
    let needs = "Inspect torch, hoses and arrestors, and write down what was found.";
    plant.verdict.reset_needs = vec![needs];
    assert_eq!(plant.ask(Request::Inspected), Answer::Accepted);
    plant.verdict.reset_needs.clear();
    assert_eq!(plant.ask(Request::Inspected), Answer::AlreadySo);
}
