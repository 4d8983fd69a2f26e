//! Jogging moves the carriage at the jog speed for as long as the key is held down, and no longer.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;
mod trial;

use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Direction, Request};
use evenpass_core::sequence::Leaf;
use evenpass_hil::Button;
use support::jobs::Texts;
use trial::Trial;

/// Speed of jogging in the bench's rig file, mm/s.
const JOG: f64 = 20.0;
/// The permitted duration from letting the key go to the stop frame on the wire, s.
const STOP_SENT_WITHIN: f64 = 0.25;
/// Bounds of the travel in the bench's rig file, mm.
const BOUNDS: (f64, f64) = (-40.0, 880.0);

fn in_manual() -> Trial {
    let mut trial = Trial::new(Texts::of("short-job").job(), 20);
    trial.start_when_ready();
    trial.reach(Leaf::Ready, 120.0);
    trial.leave();
    assert_eq!(trial.ask(Request::EnterManual), Answer::Accepted);
    trial.wait(0.5);
    trial.begin_record();
    trial
}

#[test]
fn a_key_held_down_moves_at_the_jog_speed_and_its_release_stops_in_time() {
    for (direction, way) in [(Direction::TowardChuck, -1.0), (Direction::TowardTail, 1.0)] {
        let mut trial = in_manual();
        trial.renewed = Some(Request::Jog(direction));
        trial.expect("it moves at the jog speed", 1.0, |this| {
            this.truth().torch_mm_s * way > JOG - 0.1
        });
        let from = trial.truth().torch_z_mm;
        for _ in 0..600 {
            trial.look();
            let speed = trial.truth().torch_mm_s * way;
            assert!((speed - JOG).abs() < 0.1, "{speed} mm/s at {}", trial.now());
        }
        assert!((trial.truth().torch_z_mm - from) * way > 59.0, "3 s at 20 mm/s");
        trial.renewed = None;
        trial.wire().keep = true;
        let released = trial.now();
        trial.expect("it rests", 1.0, |this| this.truth().torch_mm_s == 0.0);
        // Quick stop: bit 2 of the control word low, in a single register or at a block's head.
        let stop = trial.wire().sent.iter().find(|sent| {
            sent.line == 1
                && sent.bytes[1] == 6
                && sent.bytes[2..4] == [2, 0]
                && sent.bytes[5] & 4 == 0
        });
        let sent = stop.expect("a stop frame").start.since(released).as_secs_f64();
        let rest = trial.now().since(released).as_secs_f64();
        println!("{direction:?}: stop frame after {sent:.3} s, at rest after {rest:.3} s");
        assert!(sent <= STOP_SENT_WITHIN, "stop frame after {sent} s");
        trial.wait(2.0);
        assert!(trial.confirmed.is_empty(), "jogging trips nothing");
        assert_eq!(trial.leaf(), Leaf::Jogging);
    }
}

/// Lost motion of the bench's carriage is 0.05 mm, and the drive counts its motor: after a turn a
/// nudge ends short of its step by that, which is neither the controller's rounding nor a stall. The
/// next ones the same way are as long as they say, and steps shorter than it add up.
#[test]
fn of_nudges_one_after_another_the_same_way_only_the_first_is_short_by_the_lost_motion() {
    const LOST: f64 = 0.05;
    let mut trial = in_manual();
    // Lost motion is on the tail's side: the datum was taken on the way there.
    for (by, swallowed) in [
        (1.0, 0.0),
        (-5.0, LOST),
        (-5.0, 0.0),
        (-5.0, 0.0),
        (5.0, 0.0),
        (5.0, 0.0),
        (-0.01, 0.01),
        (-0.01, 0.01),
        (-0.01, 0.01),
        (-0.01, 0.01),
        (-0.01, 0.01),
        (-0.01, 0.0),
        (-0.01, 0.0),
    ] {
        let from = trial.truth().torch_z_mm;
        let asked = Length::from_mm(by);
        assert_eq!(trial.ask(Request::Nudge(asked)), Answer::Accepted);
        trial.wait(2.0);
        let moved = (trial.truth().torch_z_mm - from).abs();
        println!("{asked}: moved {moved:.4} mm");
        // The scale's counts and the drive's.
        assert!((moved - (by.abs() - swallowed)).abs() < 0.004, "{by}: moved {moved} mm");
        assert!(trial.confirmed.is_empty(), "{by} trips nothing");
    }
}

#[test]
fn steps_asked_for_in_a_row_add_up_and_too_many_are_denied() {
    for step in [1.0, -1.0, 0.1] {
        let mut trial = in_manual();
        // Lost motion is taken up first.
        assert_eq!(trial.ask(Request::Nudge(Length::from_mm(step))), Answer::Accepted);
        trial.wait(2.0);
        let from = trial.truth().torch_z_mm;
        for _ in 0..6 {
            assert_eq!(trial.ask(Request::Nudge(Length::from_mm(step))), Answer::Accepted);
            trial.wait(0.15);
        }
        trial.wait(3.0);
        let moved = trial.truth().torch_z_mm - from;
        println!("six of {step} mm: moved {moved:.4} mm");
        assert!((moved - 6.0 * step).abs() < 0.004, "six of {step} mm moved {moved} mm");
    }
    let mut trial = in_manual();
    let answers: Vec<Answer> =
        (0..10).map(|_| trial.ask(Request::Nudge(Length::from_mm(-5.0)))).collect();
    assert_eq!(answers[..2], [Answer::Accepted, Answer::Accepted]);
    let Answer::Denied(denial) = &answers[9] else { panic!("50 mm in a row: {answers:?}") };
    assert!(denial.why.contains("not done yet"), "{denial:?}");
    trial.wait(5.0);
    assert!(trial.confirmed.is_empty(), "{:?}", trial.confirmed);
}

#[test]
fn a_point_is_taken_at_rest_only() {
    let mut trial = in_manual();
    assert_eq!(trial.ask(Request::Nudge(Length::from_mm(5.0))), Answer::Accepted);
    trial.wait(0.12);
    let Answer::Denied(denial) = trial.ask(Request::TakePoint) else { panic!("it moves") };
    assert!(denial.why.contains("still moves"), "{denial:?}");
    trial.wait(2.0);
    assert_eq!(trial.ask(Request::TakePoint), Answer::Accepted);
}

/// A nudge the other way is no stall.
#[test]
fn nudges_of_every_length_and_both_ways_end_where_they_should_and_trip_nothing() {
    let mut trial = in_manual();
    for by in [-5.0, 0.01, -0.1, 1.0, 0.01, -0.0127, 5.08] {
        let from = trial.truth().torch_z_mm;
        let by = Length::from_mm(by);
        assert_eq!(trial.ask(Request::Nudge(by)), Answer::Accepted);
        trial.wait(3.0);
        let moved = trial.truth().torch_z_mm - from;
        println!("{by}: moved {moved:.4} mm");
        assert!((moved - by.mm()).abs() < 0.06, "{by}: moved {moved} mm");
        assert_eq!(trial.leaf(), Leaf::Jogging);
        assert!(trial.confirmed.is_empty(), "{by} trips nothing");
    }
}

#[test]
fn the_way_the_carriage_came_is_that_of_its_last_motion_and_nobody_knows_it_after_homing() {
    let mut trial = in_manual();
    let came = |trial: &mut Trial| trial.controller().snapshot().came;
    for (by, way) in [
        (-1.0, Direction::TowardChuck),
        (1.0, Direction::TowardTail),
        // Inside the bench's lost motion of 0.05 mm: the motor turns, and the carriage stays.
        (-0.01, Direction::TowardTail),
        (-0.1, Direction::TowardChuck),
    ] {
        assert_eq!(trial.ask(Request::Nudge(Length::from_mm(by))), Answer::Accepted);
        trial.wait(3.0);
        assert_eq!(came(&mut trial), Some(way), "{by} mm");
    }
    // A key that is held at the bound moves nothing, whichever way it says.
    trial.renewed = Some(Request::Jog(Direction::TowardTail));
    trial.wait(60.0);
    trial.renewed = None;
    trial.wait(1.0);
    assert_eq!(came(&mut trial), Some(Direction::TowardTail));
    assert_eq!(trial.ask(Request::Nudge(Length::from_mm(-1.0))), Answer::Accepted);
    trial.wait(3.0);
    assert_eq!(came(&mut trial), Some(Direction::TowardChuck));

    assert_eq!(trial.ask(Request::Home), Answer::Accepted);
    trial.wait(0.5);
    trial.press(Button::Start);
    trial.expect("the datum", 120.0, |trial| trial.leaf() != Leaf::Homing);
    trial.wait(1.0);
    assert_eq!(came(&mut trial), None, "homed");
    assert!(trial.confirmed.is_empty(), "{:?}", trial.confirmed);
}

#[test]
fn before_the_datum_is_found_a_key_moves_the_way_it_says() {
    for (direction, way) in [(Direction::TowardChuck, -1.0), (Direction::TowardTail, 1.0)] {
        let mut trial = Trial::new(Texts::of("short-job").job(), 20);
        trial.leave();
        trial.bench().turn_key_on();
        trial.wait(3.0);
        assert_eq!(trial.ask(Request::EnterManual), Answer::Accepted);
        trial.wait(0.5);
        let from = trial.truth().torch_z_mm;
        trial.renewed = Some(Request::Jog(direction));
        trial.wait(1.0);
        let moved = (trial.truth().torch_z_mm - from) * way;
        println!("{direction:?} without a datum: {moved:.2} mm its way");
        assert!(moved > 10.0, "{direction:?} moved {moved} mm its way");
        assert!(trial.confirmed.is_empty(), "{:?}", trial.confirmed);
    }
}

#[test]
fn a_key_held_down_for_ever_ends_at_the_bounds_of_the_travel() {
    for (direction, bound) in
        [(Direction::TowardChuck, BOUNDS.0), (Direction::TowardTail, BOUNDS.1)]
    {
        let mut trial = in_manual();
        trial.renewed = Some(Request::Jog(direction));
        trial.wait(60.0);
        let truth = trial.truth();
        println!("{:?}", trial.confirmed);
        assert!(
            (truth.torch_z_mm - bound).abs() < 0.1,
            "{direction:?} ends at {}",
            truth.torch_z_mm
        );
        assert_eq!(truth.torch_mm_s, 0.0);
        assert!(trial.confirmed.is_empty(), "the bound trips nothing");
    }
}
