//! Homing, jogging, points, proving.

use super::fixture::{PARK, mm, rig, whole_job};
use super::plant::{Person, Plant};
use super::reach::reach;
use crate::image::{AxisDemand, Coil, Contact, Level};
use crate::proof::Strokes;
use crate::request::{Answer, Direction, Request};
use crate::sequence::{Cause, Happening, Leaf};

#[test]
fn homing_waits_for_the_start_button_and_moves_only_then() {
    let mut plant = reach(Leaf::Homing);
    plant.run(5.0);
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
    assert!(plant.outputs.coil(Coil::LampBlue).is_on());
    plant.press(Contact::StartButton);
    plant.run(0.2);
    assert!(matches!(plant.outputs.axis, AxisDemand::Home(_)));
    plant.until(Leaf::Ready, 10.0);
    assert!(plant.edges().iter().any(|edge| edge.2 == Cause::HomingDone));
}

#[test]
fn homing_is_asked_for_without_the_key_and_moves_nothing_without_it() {
    let mut plant = Plant::ready(&rig(), whole_job());
    plant.set(Contact::EnablingKey, Level::Off);
    assert_eq!(plant.ask(Request::Home), Answer::Accepted);
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::Homing);
    plant.press(Contact::StartButton);
    for _ in 0..50 {
        plant.scan();
        assert_eq!(plant.outputs.axis, AxisDemand::Off);
    }
    assert_eq!(plant.leaf(), Leaf::Homing, "it waits for a start with the key on");
    plant.set(Contact::EnablingKey, Level::On);
    plant.press(Contact::StartButton);
    plant.run(0.2);
    assert!(matches!(plant.outputs.axis, AxisDemand::Home(_)));
}

#[test]
fn the_carriage_returns_to_the_park_once_its_datum_is_found() {
    let mut plant = reach(Leaf::Homing);
    plant.position = 40.0;
    plant.unhome();
    plant.press(Contact::StartButton);
    plant.run(4.0);
    let AxisDemand::Travel(travel) = plant.outputs.axis else { panic!("no return") };
    assert_eq!((plant.leaf(), travel.to), (Leaf::Homing, mm(PARK)));
    plant.until(Leaf::Ready, 20.0);
    assert!((plant.position - PARK).abs() < 0.1, "{}", plant.position);
    assert_eq!(plant.edges().last().map(|edge| edge.2), Some(Cause::PermissivesGiven));
}

#[test]
fn the_key_turned_off_ends_the_return_to_the_park_and_a_stuck_carriage_does_not_end_well() {
    let returning = || {
        let mut plant = reach(Leaf::Homing);
        plant.position = 40.0;
        plant.unhome();
        plant.press(Contact::StartButton);
        plant.run(4.0);
        assert!(matches!(plant.outputs.axis, AxisDemand::Travel(_)));
        plant
    };
    let mut plant = returning();
    plant.set(Contact::EnablingKey, Level::Off);
    plant.scan();
    assert!(!matches!(plant.outputs.axis, AxisDemand::Travel(_)));
    assert_eq!(plant.sequence.status().setback, Some(Cause::KeyOff));
    let mut plant = returning();
    plant.frozen = true;
    plant.run(60.0);
    assert_eq!(plant.sequence.status().setback, Some(Cause::NotParked));
}

#[test]
fn a_homing_that_the_drive_let_go_of_does_not_go_on_by_itself() {
    for runs in [0.3, 4.0] {
        let mut plant = reach(Leaf::Homing);
        plant.position = 40.0;
        plant.unhome();
        plant.press(Contact::StartButton);
        plant.run(runs);
        plant.lets_go = true;
        plant.scan();
        plant.lets_go = false;
        plant.scan();
        assert_ne!(plant.leaf(), Leaf::Homing, "after {runs} s");
        assert_eq!(plant.sequence.status().setback, Some(Cause::DriveLetGo));
        plant.run(5.0);
        assert_eq!(plant.outputs.axis, AxisDemand::Off);
    }
}

#[test]
fn homing_that_nobody_begins_is_given_up() {
    let mut plant = reach(Leaf::Homing);
    plant.run(61.0);
    assert_eq!(plant.sequence.status().setback, Some(Cause::HomingNotBegun));
}

#[test]
fn turning_the_key_off_ends_a_homing() {
    let mut plant = reach(Leaf::Homing);
    plant.press(Contact::StartButton);
    plant.run(0.5);
    plant.set(Contact::EnablingKey, Level::Off);
    plant.scan();
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
    assert_eq!(plant.sequence.status().setback, Some(Cause::KeyOff));
}

#[test]
fn a_jog_whose_lease_is_not_renewed_stops_within_its_lease_and_a_scan() {
    let mut plant = reach(Leaf::Jogging);
    for _ in 0..20 {
        assert_eq!(plant.ask(Request::Jog(Direction::TowardChuck)), Answer::Accepted);
        plant.scan();
    }
    assert!(plant.velocity < -9.0, "{}", plant.velocity);
    let mut scans = 0;
    while plant.outputs.axis != AxisDemand::QuickStop {
        plant.scan();
        scans += 1;
    }
    assert!(scans <= 6, "{scans} scans of 20 ms for a lease of 100 ms");
    plant.run(0.2);
    assert_eq!(plant.outputs.axis, AxisDemand::Still);
    assert!(plant.velocity.abs() < 0.1);
}

#[test]
fn a_jog_has_an_end_point_a_short_way_ahead_and_inside_the_travel() {
    let mut plant = reach(Leaf::Jogging);
    plant.position = 349.0;
    plant.scan();
    plant.ask(Request::Jog(Direction::TowardTail));
    plant.scan();
    let AxisDemand::Travel(travel) = plant.outputs.axis else { panic!("no travel") };
    assert_eq!(travel.to, mm(350.0));
    assert_eq!(travel.at.mm_per_s(), 10.0);
    plant.ask(Request::Jog(Direction::TowardChuck));
    plant.scan();
    let AxisDemand::Travel(travel) = plant.outputs.axis else { panic!("no travel") };
    assert!((plant.position - travel.to.mm()).abs() < 6.0);
}

#[test]
fn the_hold_to_run_button_keeps_a_jog_going_until_let_go_and_a_stuck_one_does_not() {
    let mut plant = reach(Leaf::Jogging);
    plant.ask(Request::Jog(Direction::TowardChuck));
    plant.scan();
    plant.set(Contact::HoldToRun, Level::On);
    plant.run(0.5);
    assert!(plant.velocity < -9.0);
    plant.set(Contact::HoldToRun, Level::Off);
    plant.run(0.3);
    assert!(plant.velocity.abs() < 0.1);
    // Stuck closed before the jog begins: only the lease counts.
    plant.set(Contact::HoldToRun, Level::On);
    plant.run(0.5);
    plant.ask(Request::Jog(Direction::TowardChuck));
    plant.run(0.6);
    assert!(plant.velocity.abs() < 0.1);
}

#[test]
fn turning_the_key_off_ends_a_jog() {
    let mut plant = reach(Leaf::Jogging);
    plant.ask(Request::Jog(Direction::TowardChuck));
    plant.scan();
    plant.set(Contact::EnablingKey, Level::Off);
    plant.scan();
    assert!(!matches!(plant.outputs.axis, AxisDemand::Travel(_)));
}

#[test]
fn a_nudge_moves_by_its_step_and_stops() {
    let mut plant = reach(Leaf::Jogging);
    plant.run(0.5);
    let from = plant.position;
    assert_eq!(plant.ask(Request::Nudge(mm(-2.0))), Answer::Accepted);
    plant.run(2.0);
    assert!((plant.position - from + 2.0).abs() < 0.05, "{from} to {}", plant.position);
}

#[test]
fn the_shortest_nudge_moves_the_carriage_and_the_longest_is_a_fifth_of_an_inch() {
    let mut plant = reach(Leaf::Jogging);
    plant.run(0.5);
    let from = plant.position;
    assert_eq!(plant.ask(Request::Nudge(mm(0.01))), Answer::Accepted);
    plant.run(2.0);
    let moved = plant.position - from;
    assert!((moved - 0.01).abs() < 0.005, "{moved} mm");
    let inch = |text: &str| Request::Nudge(text.parse().unwrap());
    assert_eq!(plant.ask(inch("0.2 in")), Answer::Accepted);
    assert!(matches!(plant.ask(inch("0.21 in")), Answer::Denied(_)));
}

#[test]
fn a_short_nudge_that_lost_motion_swallows_is_over_before_the_carriage_counts_as_stalled() {
    let mut plant = reach(Leaf::Jogging);
    plant.run(0.5);
    plant.frozen = true;
    assert_eq!(plant.ask(Request::Nudge(mm(0.05))), Answer::Accepted);
    plant.run(0.2);
    assert!(matches!(plant.outputs.axis, AxisDemand::Travel(_)), "it tries");
    plant.run(0.09);
    assert_eq!(plant.outputs.axis, AxisDemand::Still);
}

#[test]
fn a_point_taken_is_told_with_its_place() {
    let mut plant = reach(Leaf::Jogging);
    plant.run(0.5);
    assert_eq!(plant.ask(Request::TakePoint), Answer::Accepted);
    assert!(plant.events.iter().any(|event| matches!(event.what, Happening::PointTaken(_))));
    assert!(plant.sequence.status().taught[0].is_some());
    assert_eq!(plant.ask(Request::Jog(Direction::TowardTail)), Answer::Accepted);
    assert_eq!(plant.leaf(), Leaf::Jogging);
}

#[test]
fn proving_ends_by_itself_after_ten_minutes_or_when_gas_appears() {
    let mut plant = reach(Leaf::Proving);
    plant.run(599.0);
    assert_eq!(plant.leaf(), Leaf::Proving);
    plant.run(2.0);
    assert_ne!(plant.leaf(), Leaf::Proving);
    let mut plant = reach(Leaf::Proving);
    plant.vents = false;
    plant.run(0.1);
    assert_ne!(plant.leaf(), Leaf::Proving);
}

#[test]
fn hold_and_stop_end_manual_work() {
    for request in [Request::Hold, Request::Stop] {
        let mut plant = reach(Leaf::Jogging);
        plant.person = Person::Absent;
        assert_eq!(plant.ask(request), Answer::Accepted);
        plant.scan();
        assert!(matches!(plant.outputs.axis, AxisDemand::Off | AxisDemand::QuickStop));
        plant.run(0.5);
        assert_eq!(plant.outputs.axis, AxisDemand::Off);
    }
}

#[test]
fn a_point_is_not_taken_without_a_known_position() {
    let mut plant = Plant::new(&rig());
    plant.unhome();
    assert_eq!(plant.ask(Request::EnterManual), Answer::Accepted);
    assert!(matches!(plant.ask(Request::TakePoint), Answer::Denied(_)));
}

/// Both valves, extraction and torque.
const ALL_STROKES: Strokes =
    Strokes { fuel: Level::On, oxygen: Level::On, extraction: Level::On, torque: Level::On };

fn stroke(plant: &mut Plant) {
    plant.sequence.stroke(ALL_STROKES);
    plant.scan();
}

#[test]
fn proving_strokes_what_is_asked_for_and_only_in_the_scan_it_is_asked_for() {
    let mut plant = reach(Leaf::Proving);
    plant.scan();
    assert!([Coil::Fuel, Coil::Oxygen].iter().all(|coil| !plant.outputs.coil(*coil).is_on()));
    stroke(&mut plant);
    for coil in [Coil::Fuel, Coil::Oxygen, Coil::Extraction] {
        assert!(plant.outputs.coil(coil).is_on(), "{coil:?}");
    }
    assert_eq!(plant.outputs.axis, AxisDemand::Still);
    for coil in [Coil::Supply, Coil::Igniter, Coil::CarrierAir] {
        assert!(!plant.outputs.coil(coil).is_on(), "{coil:?}");
    }
    assert!(!plant.outputs.powder.now.is_on());
    plant.scan();
    assert!(!plant.outputs.coil(Coil::Fuel).is_on(), "not asked for again");
    assert!(!plant.sequence.situation().purge_owed.is_on(), "nothing has flowed");
}

#[test]
fn nothing_is_stroked_outside_proving_or_without_the_key() {
    for leaf in [Leaf::Ready, Leaf::Jogging, Leaf::NotReady] {
        let mut plant = reach(leaf);
        stroke(&mut plant);
        let outputs = plant.outputs;
        assert!([Coil::Fuel, Coil::Oxygen].iter().all(|coil| !outputs.coil(*coil).is_on()));
    }
    let mut plant = reach(Leaf::Proving);
    plant.set(Contact::EnablingKey, Level::Off);
    stroke(&mut plant);
    assert!(!plant.outputs.coil(Coil::Fuel).is_on());
    assert_eq!(plant.outputs.axis, AxisDemand::Off);
}

#[test]
fn gas_that_appears_in_proving_shuts_the_valves_in_the_same_scan() {
    let mut plant = reach(Leaf::Proving);
    stroke(&mut plant);
    plant.vents = false;
    // The pressure rises over the few scans that it takes to pass what counts as vented.
    for _ in 0..50 {
        stroke(&mut plant);
        if plant.leaf() != Leaf::Proving {
            assert!(!plant.outputs.coil(Coil::Fuel).is_on());
            assert!(plant.sequence.situation().purge_owed.is_on(), "it came out of the torch");
            return;
        }
    }
    panic!("still proving with gas on");
}
