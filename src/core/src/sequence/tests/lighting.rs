//! Starting and lighting: spindle before flame, tries, lock-out, guard, igniter, gear lever.

use super::fixture::{geared_rig, rig, whole_job};
use super::plant::{Person, Plant};
use super::reach::reach;
use crate::image::{AxisDemand, Coil, Contact, Level};
use crate::request::{Answer, Request};
use crate::rig::{LitBy, Rig};
use crate::sequence::{Ask, Cause, Leaf, Phase, Unproved, Wish};

/// Scenario: recipe 125, lever at 180, tachometer 180.2.
#[test]
fn a_wrong_gear_is_refused_before_any_gas_with_both_speeds_named() {
    let mut plant = Plant::ready(&geared_rig(), whole_job());
    plant.gear = Some(180.2);
    plant.press(Contact::StartButton);
    plant.until(Leaf::SpinningUp, 10.0);
    while plant.leaf() == Leaf::SpinningUp {
        plant.scan();
        assert!(!plant.outputs.coil(Coil::Fuel).is_on());
        assert!(!plant.outputs.coil(Coil::Supply).is_on());
    }
    assert_eq!(plant.phase(), Phase::Idle);
    let setback = plant.sequence.status().setback.expect("a reason");
    assert_eq!(setback.to_string(), "measured 180, set 125 (+44 %)");
    plant.gear = Some(127.0);
    plant.run(5.0);
    plant.press(Contact::StartButton);
    plant.until(Leaf::Purging, 60.0);
}

#[test]
fn the_lever_is_asked_for_with_the_spindle_at_rest_and_once_for_each_speed() {
    let mut plant = Plant::ready(&geared_rig(), whole_job());
    plant.press(Contact::StartButton);
    let mut asked = Vec::new();
    while plant.leaf() != Leaf::Complete {
        plant.scan();
        if let Some(prompt) = plant.sequence.status().prompt
            && let Ask::SetLever(speed) = prompt.ask
        {
            asked.push(speed.rpm());
        }
        assert!(plant.now.as_seconds() < 1500.0, "{}", plant.story());
    }
    asked.dedup();
    assert_eq!(asked, [125.0, 63.0]);
}

#[test]
fn three_tries_without_a_flame_lock_out_and_there_is_no_fourth() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.lights = false;
    plant.press(Contact::StartButton);
    let mut openings = Vec::new();
    let mut open_since = None;
    while plant.leaf() != Leaf::Stopped {
        plant.scan();
        match (plant.outputs.coil(Coil::Fuel), open_since) {
            (Level::On, None) => open_since = Some(plant.now),
            (Level::Off, Some(since)) => {
                openings.push((since, plant.now.since(since).as_secs_f64()));
                open_since = None;
            }
            _ => {}
        }
        assert!(plant.now.as_seconds() < 300.0, "{}", plant.story());
    }
    assert_eq!(openings.len(), 3);
    for (_, lasted) in &openings {
        assert!((lasted - 5.0).abs() <= 0.1, "trial {lasted} s");
    }
    for pair in openings.windows(2) {
        let wait = pair[1].0.since(pair[0].0).as_secs_f64() - pair[0].1;
        assert!(wait >= 20.0, "waited {wait} s");
    }
    assert!(plant.wishes.contains(&Wish::LockedOut));
    assert_eq!(plant.sequence.status().setback, Some(Cause::LockedOut { tries: 3 }));
    plant.press(Contact::StartButton);
    plant.run(1.0);
    assert_eq!(plant.leaf(), Leaf::Stopped, "a lock-out needs a reset");
}

#[test]
fn gas_opens_only_with_the_guard_open_and_the_spindle_at_rest_when_lit_by_hand() {
    let mut plant = reach(Leaf::Opening);
    plant.person = Person::Absent;
    assert!(plant.rpm < 0.5);
    let Answer::Denied(denial) = plant.ask(Request::Accept) else { panic!("gas opened") };
    assert!(denial.why.contains("guard is not open"), "{}", denial.why);
    plant.set(Contact::Guard, Level::Off);
    assert_eq!(plant.ask(Request::Accept), Answer::Accepted);
    plant.scan();
    assert!(plant.outputs.coil(Coil::Fuel).is_on() && plant.outputs.coil(Coil::Oxygen).is_on());
    assert!(!plant.outputs.coil(Coil::Igniter).is_on());
}

#[test]
fn a_flame_is_confirmed_only_when_watched_long_enough_and_the_guard_shut() {
    let mut plant = reach(Leaf::ConfirmingFlame);
    plant.person = Person::Absent;
    assert!(matches!(plant.ask(Request::Accept), Answer::Denied(_)), "guard open");
    plant.set(Contact::Guard, Level::On);
    let Answer::Denied(denial) = plant.ask(Request::Accept) else { panic!("confirmed at once") };
    assert!(denial.why.contains("watched"), "{}", denial.why);
    plant.run(3.1);
    assert_eq!(plant.ask(Request::Accept), Answer::Accepted);
    assert_eq!(plant.leaf(), Leaf::SpinningUp);
}

#[test]
fn a_flame_that_goes_out_while_confirmed_shuts_the_gas_in_the_same_scan() {
    let mut plant = reach(Leaf::ConfirmingFlame);
    plant.person = Person::Absent;
    plant.lights = false;
    plant.lit = false;
    plant.scan();
    assert!(!plant.outputs.coil(Coil::Fuel).is_on());
    assert_eq!(plant.leaf(), Leaf::Purging);
}

#[test]
fn an_igniter_lights_behind_a_shut_guard_and_sparks_no_longer_than_the_trial() {
    let rig = Rig { lit_by: LitBy::Igniter, ..rig() };
    let mut plant = Plant::ready(&rig, whole_job());
    plant.lights = false;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Opening, 30.0);
    assert!(plant.outputs.coil(Coil::Igniter).is_on());
    plant.run(5.1);
    assert!(!plant.outputs.coil(Coil::Igniter).is_on());
    assert_eq!(plant.level(Contact::Guard), Level::On);
    plant.lights = true;
    plant.until(Leaf::Complete, 900.0);
}

#[test]
fn a_spindle_that_cannot_be_measured_starts_no_flame() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.gear = Some(0.0);
    plant.press(Contact::StartButton);
    plant.until(Leaf::SpinningUp, 10.0);
    plant.until(Leaf::Ready, 60.0);
    assert_eq!(
        plant.sequence.status().setback.map(|cause| cause.to_string()).as_deref(),
        Some("measured 0, set 125 (-100 %)")
    );
}

#[test]
fn nobody_who_answers_a_prompt_of_lighting_ends_it_with_the_gas_shut() {
    for leaf in [Leaf::Opening, Leaf::ConfirmingFlame] {
        let mut plant = reach(leaf);
        plant.person = Person::Absent;
        plant.run(700.0);
        assert!(!plant.outputs.coil(Coil::Fuel).is_on(), "{leaf:?}");
        assert!(matches!(plant.phase(), Phase::Idle | Phase::Held), "{:?}", plant.leaf());
    }
}

#[test]
fn extraction_that_is_not_proved_gives_the_start_up_with_its_reason() {
    let mut plant = reach(Leaf::Checking);
    plant.until(Leaf::Ready, 31.0);
    assert_eq!(plant.sequence.status().setback, Some(Cause::NotProved(Unproved::Extraction)));
}

#[test]
fn whoever_waits_for_extraction_and_guard_is_told_which_of_them_is_missing() {
    let mut plant = reach(Leaf::Checking);
    let asked = |plant: &Plant| plant.sequence.prompt().map(|prompt| prompt.ask);
    assert_eq!(asked(&plant), None, "a fan comes up in its time");
    plant.run(5.1);
    assert_eq!(asked(&plant), Some(Ask::ProveExtraction));
    plant.set(Contact::Guard, Level::Off);
    plant.person = Person::Absent;
    plant.run(0.1);
    assert_eq!(asked(&plant), Some(Ask::ShutGuard));
    assert!(!plant.outputs.coil(Coil::LampBlue).is_on(), "who asked for the start is there");
    plant.until(Leaf::Ready, 31.0);
    assert_eq!(plant.sequence.status().setback, Some(Cause::NotProved(Unproved::Both)));
}

#[test]
fn a_restart_with_the_guard_open_asks_for_it_and_goes_on_once_it_is_shut() {
    let mut plant = reach(Leaf::HeldUnlit);
    plant.person = Person::Absent;
    plant.run(30.0);
    plant.set(Contact::Guard, Level::Off);
    plant.scan();
    assert_eq!(plant.ask(Request::Restart), Answer::Accepted);
    plant.run(1.0);
    assert_eq!(plant.leaf(), Leaf::Checking);
    assert_eq!(plant.sequence.prompt().map(|prompt| prompt.ask), Some(Ask::ShutGuard));
    plant.until(Leaf::HeldUnlit, 31.0);
    assert_eq!(plant.sequence.status().setback, Some(Cause::NotProved(Unproved::Guard)));
    assert_eq!(plant.ask(Request::Restart), Answer::Accepted);
    plant.scan();
    plant.set(Contact::Guard, Level::On);
    plant.until(Leaf::Purging, 60.0);
}

#[test]
fn the_spindle_is_not_stopped_for_the_lever_before_the_flame_has_left_the_part() {
    use super::fixture::{program, spray};
    use crate::program::Step;
    let mut slower = spray(1);
    slower.spindle = crate::quantity::SpindleSpeed::from_rpm(63.0);
    let job = program(vec![Step::Spray(spray(1)), Step::Spray(slower)]);
    let mut plant = Plant::ready(&geared_rig(), std::sync::Arc::new(job));
    plant.part = 260.0;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 100.0);
    plant.until(Leaf::SpinningUp, 60.0);
    while plant.position < 325.0 {
        assert!(plant.rpm > 100.0, "at {}", plant.position);
        plant.scan();
    }
    plant.until(Leaf::Complete, 200.0);
}

#[test]
fn while_somebody_holds_the_lighter_the_carriage_goes_nowhere_even_if_its_scale_slips() {
    for leaf in [Leaf::Opening, Leaf::ConfirmingFlame] {
        let mut plant = reach(leaf);
        plant.person = Person::Absent;
        plant.set(Contact::Guard, Level::Off);
        plant.position += 20.0;
        for _ in 0..50 {
            plant.scan();
            let asked = plant.outputs.axis;
            assert!(!matches!(asked, AxisDemand::Travel(_)), "{asked:?} in {leaf:?}");
        }
    }
}
