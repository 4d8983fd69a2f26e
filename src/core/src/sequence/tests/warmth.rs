//! Preheat, the wait between passes, and the lamp that calls for wetting.

use std::sync::Arc;

use super::fixture::{PARK, cool, fuse, program, rig, spray};
use super::plant::{Person, Plant};
use super::reach::reach;
use crate::image::{Coil, Contact, Level};
use crate::program::{Program, Step};
use crate::quantity::Time;
use crate::request::{Answer, Request};
use crate::sequence::{Ask, Cause, Happening, Leaf};

fn started(program: Program) -> Plant {
    let mut plant = Plant::ready(&rig(), Arc::new(program));
    plant.press(Contact::StartButton);
    plant
}

/// The window is 210 to 300 degC, the aim 230 degC.
#[test]
fn preheating_goes_on_inside_the_window_until_its_aim_is_reached() {
    let mut plant = reach(Leaf::Traversing);
    for _ in 0..3000 {
        plant.part = plant.part.min(229.0);
        plant.scan();
        assert_ne!(plant.leaf(), Leaf::Soaking, "229 degC is in the window and short of the aim");
    }
    plant.part = 231.0;
    plant.until(Leaf::Soaking, 20.0);
    // In the soak the window alone counts.
    plant.part = 215.0;
    plant.run(1.0);
    assert_ne!(plant.leaf(), Leaf::Traversing);
    let mut plant = reach(Leaf::Soaking);
    plant.part = 209.0;
    plant.scan();
    assert_eq!(plant.edges().last().map(|edge| edge.2), Some(Cause::TooCold));
}

/// Runs the first pass with the part at `begin`, and gets it to `end` under the torch.
fn after_one_pass(begin: f64, end: f64) -> Plant {
    let mut plant = started(program(vec![Step::Spray(spray(3)), cool()]));
    plant.part = begin;
    while plant.leaf() != Leaf::Crossing {
        plant.part = begin;
        plant.scan();
    }
    while plant.leaf() == Leaf::Crossing {
        plant.part = end;
        plant.scan();
    }
    plant
}

/// The window ends at 350 degC, 30 K are kept to it: from 260 degC, a pass that adds 60 K may
/// begin at 260 degC, one that adds 20 K at 300 degC (computed here).
#[test]
fn a_pass_waits_when_what_the_last_one_added_would_take_it_to_the_ceiling() {
    let plant = after_one_pass(260.0, 320.0);
    assert_eq!(plant.leaf(), Leaf::WaitingForTemperature, "{}", plant.story());
    let plant = after_one_pass(260.0, 280.0);
    assert_eq!(plant.leaf(), Leaf::SprayTurning, "{}", plant.story());
}

/// A pass that adds 130 K would have to begin at 190 degC: it begins at 210 degC, 10 K over the
/// low end of the window.
#[test]
fn a_wait_for_a_steep_pass_ends_inside_the_window() {
    let mut plant = after_one_pass(210.0, 340.0);
    assert_eq!(plant.leaf(), Leaf::WaitingForTemperature);
    while plant.leaf() == Leaf::WaitingForTemperature {
        plant.part -= 0.5;
        plant.scan();
        assert!(plant.part > 150.0, "it waits below the window");
    }
    assert!((200.0..210.0).contains(&plant.part), "{}", plant.part);
}

/// The zone's own figure to resume at is 250 degC; what the zone before added, 130 K, would make
/// it 210 degC.
#[test]
fn a_zone_expects_nothing_from_the_passes_of_the_zone_before() {
    let mut plant = started(program(vec![Step::Spray(spray(2)), Step::Spray(spray(2)), cool()]));
    let zone = |plant: &Plant| plant.sequence.status().progress.map_or(0, |there| there.step);
    while zone(&plant) < 2 {
        let first_pass = plant.sequence.status().progress.and_then(|there| there.pass);
        plant.part = match (plant.leaf(), first_pass) {
            (Leaf::Crossing, Some((1, _))) => 340.0,
            (Leaf::Crossing, _) => 360.0,
            _ => 205.0,
        };
        plant.scan();
        assert!(plant.now.as_seconds() < 300.0, "{}", plant.story());
    }
    assert_eq!(plant.leaf(), Leaf::WaitingForTemperature, "{}", plant.story());
    plant.run(10.0);
    plant.part = 249.0;
    plant.scan();
    assert_eq!(plant.leaf(), Leaf::Approaching);
}

/// The two bands of the fixture's zone; the hold comes when the first is called wet.
#[test]
fn a_restart_after_a_coat_was_left_wet_heats_the_whole_zone_again() {
    let mut plant = started(program(vec![fuse(), cool()]));
    plant.until(Leaf::Wetting, 300.0);
    plant.until(Leaf::Heating, 60.0);
    let band = |plant: &Plant| plant.sequence.status().progress.and_then(|there| there.band);
    assert_eq!(band(&plant), Some((2, 2)));
    assert_eq!(plant.ask(Request::Hold), Answer::Accepted);
    plant.until(Leaf::HeldLit, 60.0);
    let words = plant.sequence.status().restart;
    assert_eq!(words.as_deref(), Some("heat the whole zone again, from band 1 of 2"));
    plant.run(1.0);
    plant.press(Contact::StartButton);
    plant.until(Leaf::Heating, 120.0);
    assert_eq!(band(&plant), Some((1, 2)));
    plant.until(Leaf::Complete, 1200.0);
    let wet: Vec<usize> = plant
        .events
        .iter()
        .filter_map(|event| match event.what {
            Happening::BandWet { band, .. } => Some(band),
            _ => None,
        })
        .collect();
    assert_eq!(wet, [1, 1, 2]);
}

#[test]
fn the_interlocks_are_told_how_long_the_flame_in_hand_may_rest() {
    let mut plant = started(program(vec![Step::Spray(spray(1)), fuse(), cool()]));
    plant.part = 260.0;
    let rest = |plant: &Plant| plant.sequence.limits().longest_rest.map(Time::s);
    plant.until(Leaf::Crossing, 200.0);
    assert_eq!(rest(&plant), Some(2.5));
    // The same torch is set higher to fuse: the step decides, not the torch that was fitted.
    plant.until(Leaf::Heating, 200.0);
    assert_eq!(rest(&plant), Some(1.5));
}

/// The window of the fixture's fusing begins at 1020 degC.
#[test]
fn the_blue_lamp_calls_for_wetting_only_when_the_coat_reads_what_it_wets_at() {
    let mut plant = started(program(vec![fuse(), cool()]));
    plant.until(Leaf::Heating, 200.0);
    plant.person = Person::Absent;
    plant.coat = 900.0;
    plant.scan();
    let asked = plant.sequence.prompt().map(|prompt| prompt.ask);
    assert_eq!(asked, Some(Ask::CallWet), "the screen asks from the start");
    assert!(!plant.outputs.coil(Coil::LampBlue).is_on());
    plant.coat = 1021.0;
    plant.scan();
    assert!(plant.outputs.coil(Coil::LampBlue).is_on());
}

#[test]
fn a_spindle_that_stopped_during_the_soak_holds_before_the_torch_leaves_the_park() {
    for restarts in [Level::Off, Level::On] {
        let mut plant = reach(Leaf::Soaking);
        plant.until(Leaf::Soaking, 1.0);
        while (plant.position - PARK).abs() > 0.5 {
            plant.scan();
        }
        plant.gear = Some(0.0);
        plant.rpm = 0.0;
        plant.until(Leaf::HeldLit, 60.0);
        let moved = (plant.position - PARK).abs();
        assert!(moved < 0.5, "it left the park over a part that stands: {moved} mm");
        if restarts.is_on() {
            plant.gear = None;
            plant.ask(Request::Restart);
            plant.until(Leaf::Approaching, 60.0);
        }
    }
}

#[test]
fn a_datum_lost_while_the_flame_waits_at_the_park_is_not_waited_for() {
    for leaf in [Leaf::Soaking, Leaf::WaitingForTemperature] {
        let mut plant = reach(leaf);
        while (plant.position - PARK).abs() > 0.5 {
            plant.scan();
        }
        plant.unhome();
        plant.until(Leaf::HeldUnlit, 60.0);
        assert!(!plant.outputs.coil(Coil::Fuel).is_on(), "the flame is out, from {leaf:?}");
    }
}
