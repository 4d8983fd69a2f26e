//! Access, fusing and attendance.

use super::fixture::{rig, s, whole_job};
use super::plant::{Person, Plant};
use super::reach::reach;
use crate::image::{AxisDemand, Coil, Contact, Level, SpindleDemand};
use crate::request::{Answer, Request};
use crate::rig::{Attendance, Rig};
use crate::sequence::{Ask, Cause, Leaf, Phase, Wish};

#[test]
fn inside_has_gas_isolated_spindle_at_rest_axis_without_torque_and_the_white_lamp() {
    let mut plant = reach(Leaf::Inside);
    plant.person = Person::Absent;
    plant.run(5.0);
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
    assert_eq!(plant.outputs.spindle, SpindleDemand::Stop);
    for coil in [Coil::Supply, Coil::Fuel, Coil::Oxygen, Coil::CarrierAir] {
        assert!(!plant.outputs.coil(coil).is_on());
    }
    assert!(plant.outputs.coil(Coil::LampWhite).is_on());
    assert!(plant.outputs.coil(Coil::LampBlue).is_on());
    assert!(plant.sequence.status().prompt.is_some_and(|prompt| prompt.until.is_some()));
    plant.set(Contact::Guard, Level::Off);
    assert!(matches!(plant.ask(Request::Accept), Answer::Denied(_)), "guard open");
    plant.run(600.0);
    assert_eq!(plant.leaf(), Leaf::HeldUnlit);
    assert!(!plant.outputs.coil(Coil::LampWhite).is_on());
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
}

#[test]
fn isolation_that_is_lost_or_unknown_with_hands_inside_trips_within_a_third_of_a_second() {
    use crate::image::Failure;
    let leaks: fn(&mut Plant) = |plant| plant.vents = false;
    let unknown: fn(&mut Plant) = |plant| plant.blind = Some(Failure::BrokenWire);
    for (what, happens) in [("gas leaks back", leaks), ("pressure unknown", unknown)] {
        let mut plant = reach(Leaf::Inside);
        plant.person = Person::Absent;
        plant.run(5.0);
        assert_eq!(plant.leaf(), Leaf::Inside, "{what}");
        happens(&mut plant);
        plant.run(0.4);
        let tripped = matches!(plant.phase(), Phase::Aborting | Phase::Aborted);
        assert!(tripped, "{what}: {:?}", plant.leaf());
        assert!(plant.wishes.contains(&Wish::IsolationLost), "{what}");
        assert_eq!(plant.sequence.status().setback, Some(Cause::IsolationLost), "{what}");
        assert!(!plant.outputs.coil(Coil::LampWhite).is_on(), "{what}");
    }
}

#[test]
fn the_white_lamp_is_on_nowhere_else() {
    for leaf in Leaf::ALL {
        let mut plant = reach(*leaf);
        plant.scan();
        let white = plant.outputs.coil(Coil::LampWhite).is_on();
        assert_eq!(white, plant.leaf() == Leaf::Inside, "{leaf:?}");
    }
}

#[test]
fn gas_that_does_not_vent_lets_nobody_in() {
    let mut plant = reach(Leaf::Isolating);
    plant.vents = false;
    plant.until(Leaf::HeldUnlit, 90.0);
    assert_eq!(plant.sequence.status().setback, Some(Cause::NotIsolated));
    assert!(plant.edges().iter().all(|edge| edge.1 != Leaf::Inside));
    assert_eq!(
        plant.sequence.status().restart.as_deref(),
        Some("isolate again for the change of torch")
    );
}

#[test]
fn a_hold_while_hands_are_inside_moves_nothing() {
    let mut plant = reach(Leaf::Inside);
    plant.person = Person::Absent;
    plant.set(Contact::Guard, Level::Off);
    plant.press(Contact::HoldButtonRest);
    plant.run(10.0);
    assert_eq!(plant.leaf(), Leaf::HeldUnlit);
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
    assert_eq!(plant.outputs.spindle, SpindleDemand::Stop);
    assert!(!plant.outputs.coil(Coil::Supply).is_on());
}

#[test]
fn the_fusing_torch_brings_its_own_set_points() {
    let spraying = reach(Leaf::Crossing).sequence.limits();
    assert!(spraying.spray_window.is_some() && spraying.fuse_ceiling.is_none());
    assert_eq!(spraying.spindle.map(|speed| speed.rpm()), Some(125.0));
    let fusing = reach(Leaf::Heating).sequence.limits();
    assert!(fusing.fuse_ceiling.is_some() && fusing.spray_window.is_none());
    assert_eq!(fusing.spindle.map(|speed| speed.rpm()), Some(63.0));
}

#[test]
fn wet_can_be_taken_back_and_the_band_is_heated_again() {
    let mut plant = reach(Leaf::Wetting);
    assert_eq!(plant.sequence.status().progress.and_then(|p| p.band), Some((1, 2)));
    assert_eq!(plant.ask(Request::NotWet), Answer::Accepted);
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::Heating);
    assert_eq!(plant.sequence.status().progress.and_then(|p| p.band), Some((1, 2)));
}

/// A coat just above the ceiling. The plant's coat stays under 1100: the ceiling is lowered.
fn too_hot() -> Plant {
    let mut program = whole_job();
    if let crate::program::Step::Fuse(step) = &mut std::sync::Arc::make_mut(&mut program).steps[3] {
        step.ceiling = crate::quantity::Temperature::from_celsius(1090.0);
    }
    let mut plant = Plant::ready(&rig(), program);
    plant.press(Contact::StartButton);
    plant.until(Leaf::Heating, 600.0);
    plant.person = Person::Absent;
    while plant.coat <= 1090.0 {
        plant.scan();
    }
    plant
}

#[test]
fn a_spindle_that_stopped_while_the_coat_cooled_holds_before_the_torch_leaves_the_park() {
    let mut plant = too_hot();
    while plant.position < 329.5 {
        plant.scan();
    }
    plant.gear = Some(0.0);
    plant.rpm = 0.0;
    while plant.leaf() != Leaf::HeldLit {
        plant.scan();
        assert!(plant.position > 329.0, "it left the park over a part that stands");
    }
}

#[test]
fn a_coat_above_the_ceiling_withdraws_the_torch_turns_on_and_comes_back() {
    let mut plant = too_hot();
    let hot = plant.now;
    while plant.position < 320.0 {
        plant.scan();
        assert!(!plant.outputs.coil(Coil::CoolingAir).is_on());
        assert!(plant.now.since(hot).as_secs_f64() < 8.0, "not withdrawn: {}", plant.position);
    }
    assert!(plant.rpm > 60.0);
    while plant.position > 180.0 {
        plant.scan();
        assert!(plant.now.since(hot).as_secs_f64() < 20.0, "not back: {}", plant.position);
    }
    assert_eq!(plant.phase(), Phase::Fusing);
}

/// Drawing the wet front along heats too: the ceiling holds there as over a band.
#[test]
fn a_coat_above_the_ceiling_while_the_front_is_drawn_withdraws_the_torch_too() {
    let mut program = whole_job();
    if let crate::program::Step::Fuse(step) = &mut std::sync::Arc::make_mut(&mut program).steps[3] {
        step.ceiling = crate::quantity::Temperature::from_celsius(1090.0);
    }
    let mut plant = Plant::ready(&rig(), program);
    plant.press(Contact::StartButton);
    plant.until(Leaf::Wetting, 600.0);
    plant.person = Person::Absent;
    plant.coat = 1100.0;
    plant.run(0.1);
    assert_eq!(plant.leaf(), Leaf::Heating, "{}", plant.story());
    assert_eq!(plant.edges().last().map(|edge| edge.2), Some(Cause::TooHot));
    let hot = plant.now;
    while plant.position < 320.0 {
        plant.scan();
        assert!(plant.now.since(hot).as_secs_f64() < 8.0, "not withdrawn: {}", plant.position);
    }
    assert_eq!(plant.sequence.status().progress.and_then(|p| p.band), Some((2, 2)));
}

/// Forward, where the part is colder, wherever the flame is when the word comes.
#[test]
fn the_front_is_drawn_to_where_the_flame_turns_ahead_of_the_next_band() {
    for at in [95.0, 120.0] {
        let mut plant = Plant::ready(&rig(), whole_job());
        plant.press(Contact::StartButton);
        plant.until(Leaf::Heating, 600.0);
        plant.person = Person::Absent;
        plant.coat = 1050.0;
        while plant.position > at {
            plant.scan();
        }
        plant.press(Contact::WetButton);
        plant.run(0.1);
        assert_eq!(plant.leaf(), Leaf::Wetting, "at {at}: {}", plant.story());
        while plant.leaf() == Leaf::Wetting {
            plant.scan();
        }
        assert_eq!(
            plant.edges().last().map(|edge| edge.2),
            Some(Cause::AtEnd),
            "{}",
            plant.story()
        );
        assert!((plant.position - 165.0).abs() < 1.0, "{}", plant.position);
        assert_eq!(plant.sequence.status().progress.and_then(|p| p.band), Some((2, 2)));
    }
}

#[test]
fn a_band_that_nobody_calls_wet_holds_and_a_restart_heats_it_again() {
    let mut plant = reach(Leaf::Heating);
    plant.person = Person::Absent;
    plant.until(Leaf::Holding, 61.0);
    assert_eq!(plant.sequence.status().setback, Some(Cause::FuseTooLong));
    plant.until(Leaf::HeldLit, 30.0);
    assert!(plant.rpm > 60.0, "the wet coat turns on");
    plant.person = Person::Helpful;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Complete, 900.0);
}

#[test]
fn a_trip_while_fusing_marks_the_part_for_inspection() {
    let mut plant = reach(Leaf::Heating);
    plant.trip(crate::interlock::CarriageEffect::Cut);
    plant.scan();
    assert_eq!(plant.sequence.status().suspect, crate::sequence::Suspect::Inspect);
}

#[test]
fn an_attendance_request_unanswered_holds_and_any_button_answers_it() {
    let watched = Rig { attendance: Attendance { every: s(5.0), answer_within: s(3.0) }, ..rig() };
    let mut plant = Plant::ready(&watched, whole_job());
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 200.0);
    plant.person = Person::Absent;
    plant.press(Contact::BadFlameButton);
    plant.run(4.0);
    assert!(plant.sequence.status().prompt.is_none());
    plant.run(1.5);
    assert_eq!(plant.sequence.status().prompt.map(|prompt| prompt.ask), Some(Ask::Attendance));
    assert!(plant.outputs.coil(Coil::LampBlue).is_on());
    plant.press(Contact::AcceptButton);
    plant.run(2.0);
    assert_eq!(plant.leaf(), Leaf::Crossing);
    assert!(plant.sequence.status().prompt.is_none());
    plant.run(6.5);
    assert_eq!(plant.phase(), Phase::Holding, "{}", plant.story());
    assert!(plant.wishes.contains(&Wish::Unattended));
}

#[test]
fn a_part_still_hot_after_its_longest_cooling_is_a_persons_decision() {
    let mut program = whole_job();
    if let Some(crate::program::Step::Cool(step)) =
        std::sync::Arc::make_mut(&mut program).steps.last_mut()
    {
        step.longest = s(20.0);
    }
    let mut plant = Plant::ready(&rig(), program);
    plant.press(Contact::StartButton);
    plant.until(Leaf::CoolingDown, 900.0);
    plant.person = Person::Absent;
    plant.part = 399.0;
    plant.run(40.0);
    assert_eq!(plant.leaf(), Leaf::CoolingDown);
    assert_eq!(plant.sequence.status().prompt.map(|prompt| prompt.ask), Some(Ask::StillHot));
    assert!(plant.rpm > 60.0);
    plant.press(Contact::AcceptButton);
    plant.until(Leaf::Complete, 1.0);
}

/// The carriage of an axis without torque can be pushed by hand.
#[test]
fn a_stop_while_hands_are_inside_moves_nothing_even_if_the_carriage_was_pushed_off_the_park() {
    for request in [Request::Stop, Request::Hold, Request::Abort] {
        let mut plant = reach(Leaf::Inside);
        plant.person = Person::Absent;
        plant.set(Contact::Guard, Level::Off);
        plant.position -= 20.0;
        plant.scan();
        assert_eq!(plant.ask(request), Answer::Accepted);
        let at = plant.position;
        for _ in 0..1000 {
            plant.scan();
            assert!(!matches!(plant.outputs.axis, AxisDemand::Travel(_)), "{request:?}");
            assert_eq!(plant.outputs.spindle, SpindleDemand::Stop);
            assert!(!plant.outputs.coil(Coil::Supply).is_on());
        }
        assert_eq!(plant.position, at);
    }
}
