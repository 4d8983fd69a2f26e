//! Powder across holds, trips and restarts: what was lost is made up, once.

use std::sync::Arc;

use super::fixture::{FEED, mm, program, rig, s, spray};
use super::plant::Plant;
use crate::image::{Contact, Level};
use crate::interlock::CarriageEffect;
use crate::program::{PowderWindow, Program, Step};
use crate::request::{Answer, Request};
use crate::sequence::{Leaf, Phase};

const LEAD_ON: f64 = 0.6;
const LEAD_OFF: f64 = 0.8;

fn spraying(program: Program, at: f64) -> Plant {
    let mut plant = Plant::ready(&rig(), Arc::new(program));
    plant.part = 260.0;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 100.0);
    let rising = plant.position < at;
    while (plant.position < at) == rising {
        plant.scan();
    }
    plant
}

fn job(passes: usize) -> Program {
    program(vec![Step::Spray(spray(passes))])
}

fn restart(plant: &mut Plant) {
    plant.run(1.0);
    plant.press(Contact::StartButton);
    plant.run(0.2);
    assert_ne!(plant.phase(), Phase::Held, "{}", plant.story());
}

/// Where powder begins (or ceases) to arrive for an edge at a place, in cruise at constant feed.
fn arrives(edge: (Level, f64), direction: f64) -> f64 {
    let lead = if edge.0.is_on() { LEAD_ON } else { LEAD_OFF };
    edge.1 + direction * FEED * lead
}

#[test]
fn after_a_hold_in_mid_pass_powder_arrives_where_it_ceased_to_arrive() {
    for (passes, at, direction) in [(1, 160.0, 1.0), (2, 150.0, -1.0)] {
        let mut plant = spraying(job(passes), if passes == 1 { at } else { 200.0 });
        if passes == 2 {
            while plant.position < 241.0 {
                plant.scan();
            }
            while plant.position > at {
                plant.scan();
            }
        }
        let before = plant.switched.len();
        assert_eq!(plant.ask(Request::Hold), Answer::Accepted);
        plant.until(Leaf::HeldLit, 60.0);
        let lost = plant.sequence.status().powder_lost.expect("powder was lost").mm();
        let off = plant.powder_edges()[before];
        assert_eq!(off.0, Level::Off);
        let ceased = arrives(off, direction);
        assert!((lost - ceased).abs() < 0.05, "lost {lost}, ceased {ceased}");
        restart(&mut plant);
        plant.until(Leaf::Complete, 200.0);
        let edges = plant.powder_edges();
        let on = edges[before + 1];
        assert_eq!(on.0, Level::On);
        let again = arrives(on, direction);
        println!("off at {:.3}, ceased {ceased:.3}; on at {:.3}, arrives {again:.3}", off.1, on.1);
        assert!((again - ceased).abs() < 0.1, "gap or overlap of {}", again - ceased);
        assert_eq!(edges.len(), before + 3, "the rest of the pass, once: {edges:?}");
    }
}

/// The flame is lost at 160; 0.3 s later, at 163.1, powder is off. Powder that arrived since the
/// loss is no coat: the restart begins at 160.
#[test]
fn after_a_lost_flame_powder_arrives_where_the_flame_was_lost() {
    let mut plant = spraying(job(1), 160.0);
    let (lost_at, place) = (plant.now, plant.position);
    plant.run(0.3);
    plant.trip_since(CarriageEffect::Retreat, lost_at);
    plant.until(Leaf::Aborted, 60.0);
    let lost = plant.sequence.status().powder_lost.expect("powder was lost").mm();
    assert!((lost - place).abs() < 0.1, "{lost} against {place}");
    plant.reset();
    assert_eq!(plant.leaf(), Leaf::HeldUnlit);
    plant.part = 260.0;
    restart(&mut plant);
    plant.until(Leaf::Crossing, 60.0);
    plant.until(Leaf::Complete, 100.0);
    let on = plant.powder_edges().into_iter().rfind(|edge| edge.0.is_on()).expect("powder again");
    assert!((arrives(on, 1.0) - place).abs() < 0.1);
}

#[test]
fn a_hold_before_powder_arrives_begins_the_pass_anew() {
    let mut plant = spraying(job(1), 79.5);
    plant.ask(Request::Hold);
    plant.until(Leaf::HeldLit, 60.0);
    // Powder that came on at 78.75 would have ceased to arrive 0.8 s after 79.5, past 85.
    let lost = plant.sequence.status().powder_lost.expect("some arrived").mm();
    assert!(lost > 85.0 && lost < 88.5, "{lost}");
    let mut plant = Plant::ready(&rig(), Arc::new(job(1)));
    plant.part = 260.0;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 100.0);
    plant.ask(Request::Hold);
    plant.until(Leaf::HeldLit, 60.0);
    assert_eq!(plant.sequence.status().powder_lost, None);
    assert!(plant.switched.is_empty());
}

#[test]
fn a_pass_whose_powder_never_came_is_held_and_begun_anew() {
    let mut plant = spraying(job(1), 79.0);
    assert_eq!(plant.powder_edges().len(), 1, "on at 78.75");
    let mut dropped = Plant::ready(&rig(), Arc::new(job(1)));
    dropped.part = 260.0;
    dropped.drops = true;
    dropped.press(Contact::StartButton);
    dropped.until(Leaf::Holding, 100.0);
    dropped.until(Leaf::HeldLit, 60.0);
    assert_eq!(dropped.sequence.status().powder_lost, None);
    assert_eq!(dropped.switched, []);
    restart(&mut dropped);
    dropped.until(Leaf::Complete, 100.0);
    plant.until(Leaf::Complete, 100.0);
    for (found, wanted) in dropped.powder_edges().iter().zip(plant.powder_edges()) {
        assert_eq!(found.0, wanted.0);
        assert!((found.1 - wanted.1).abs() < 0.1, "{found:?} for {wanted:?}");
    }
    assert_eq!(dropped.switched.len(), 2);
}

#[test]
fn a_pass_whose_second_window_never_came_goes_on_from_the_end_of_the_first() {
    let mut program = job(1);
    let Some(Step::Spray(step)) = program.steps.first_mut() else { panic!("sprays") };
    step.passes[0].powder = vec![
        PowderWindow { on: mm(85.0), off: mm(130.0) },
        PowderWindow { on: mm(170.0), off: mm(235.0) },
    ];
    let mut plant = spraying(program, 135.0);
    plant.drops = true;
    plant.until(Leaf::HeldLit, 100.0);
    let lost = plant.sequence.status().powder_lost.expect("the first window is done").mm();
    assert!((lost - 130.0).abs() < 1e-9, "{lost}");
    restart(&mut plant);
    plant.until(Leaf::Complete, 100.0);
    let again: Vec<f64> = plant.powder_edges().iter().skip(2).map(|edge| edge.1).collect();
    let [on, off] = again[..] else { panic!("one window is left: {again:?}") };
    assert!((arrives((Level::On, on), 1.0) - 170.0).abs() < 0.1, "{on}");
    assert!((arrives((Level::Off, off), 1.0) - 235.0).abs() < 0.1, "{off}");
}

#[test]
fn a_hold_just_before_the_powder_goes_on_loses_nothing() {
    let mut plant = spraying(job(1), 78.6);
    assert_eq!(plant.switched, []);
    plant.ask(Request::Hold);
    plant.until(Leaf::HeldLit, 60.0);
    assert_eq!(plant.sequence.status().powder_lost, None);
}

#[test]
fn a_hold_during_the_run_out_counts_the_pass_as_done() {
    let mut plant = spraying(job(2), 236.0);
    plant.ask(Request::Hold);
    plant.until(Leaf::HeldLit, 60.0);
    assert_eq!(plant.sequence.status().progress.and_then(|p| p.pass), Some((2, 2)));
}

#[test]
fn hold_after_this_pass_finishes_it_first() {
    let mut plant = spraying(job(2), 160.0);
    assert_eq!(plant.ask(Request::HoldAfterPass), Answer::Accepted);
    plant.until(Leaf::HeldLit, 60.0);
    assert_eq!(plant.switched.len(), 2);
    assert_eq!(plant.sequence.status().powder_lost, None);
    restart(&mut plant);
    plant.until(Leaf::Complete, 100.0);
    assert_eq!(plant.switched.len(), 4);
}

#[test]
fn an_edge_of_an_older_epoch_is_never_asked_again_after_a_hold() {
    let mut plant = spraying(job(1), 160.0);
    let epoch = plant.outputs.powder.epoch;
    plant.ask(Request::Hold);
    plant.scan();
    assert!(plant.outputs.powder.epoch > epoch);
    while plant.leaf() != Leaf::HeldLit {
        plant.scan();
        assert_eq!(plant.outputs.powder.now, Level::Off);
        assert!(plant.outputs.powder.next.is_none());
    }
}

#[test]
fn windows_that_touch_across_a_turn_keep_the_powder_on() {
    let mut step = spray(3);
    for pass in &mut step.passes {
        pass.powder = vec![PowderWindow { on: pass.from, off: pass.to }];
    }
    let plant = {
        let mut plant = Plant::ready(&rig(), Arc::new(program(vec![Step::Spray(step)])));
        plant.part = 260.0;
        plant.press(Contact::StartButton);
        plant.until(Leaf::Complete, 200.0);
        plant
    };
    let edges = plant.powder_edges();
    assert_eq!(edges.len(), 2, "{edges:?}");
    assert_eq!(edges[0].0, Level::On);
    // On a lead before its beginning, on the move; off 0.8 s before the end.
    assert!((arrives(edges[0], 1.0) - 78.2).abs() < 0.1, "{edges:?}");
}

#[test]
fn powder_that_stays_on_through_turns_comes_on_the_move_after_a_wait() {
    let mut step = spray(2);
    for pass in &mut step.passes {
        pass.powder = vec![PowderWindow { on: pass.from, off: pass.to }];
    }
    let mut plant = spraying(program(vec![Step::Spray(step)]), 200.0);
    plant.part = 399.0;
    plant.until(Leaf::WaitingForTemperature, 60.0);
    plant.part = 249.0;
    let before = plant.switched.len();
    while plant.switched.len() == before {
        plant.scan();
    }
    let on = plant.powder_edges()[before];
    let place = plant.position;
    plant.run(0.1);
    assert!(plant.position < place - 0.5, "it rests at {place}");
    assert!((arrives(on, -1.0) - 241.8).abs() < 0.1, "{on:?}");
    plant.until(Leaf::Complete, 100.0);
    assert_eq!(plant.switched.len(), 4);
}

/// ON is due at t(on) - lead_on, OFF at t(off) - lead_off: windows 1 mm (0.096 s) apart overlap
/// once lead_on exceeds lead_off by more than that.
#[test]
fn two_windows_of_a_pass_are_two_pairs_of_edges_unless_they_touch_or_overlap() {
    for (second, lead_on, expected) in
        [(160.0, 0.6, 4), (141.0, 0.6, 4), (140.0, 0.6, 2), (141.0, 1.2, 2)]
    {
        let mut step = spray(1);
        step.lead_on = s(lead_on);
        step.passes[0].powder = vec![
            PowderWindow { on: mm(85.0), off: mm(140.0) },
            PowderWindow { on: mm(second), off: mm(235.0) },
        ];
        let mut plant = Plant::ready(&rig(), Arc::new(program(vec![Step::Spray(step)])));
        plant.part = 260.0;
        plant.press(Contact::StartButton);
        plant.until(Leaf::Complete, 200.0);
        assert_eq!(plant.switched.len(), expected, "{second}, {lead_on}: {:?}", plant.switched);
    }
}

#[test]
fn a_lead_longer_than_the_run_up_starts_powder_before_the_carriage() {
    let mut step = spray(1);
    step.lead_on = s(2.0);
    let mut plant = Plant::ready(&rig(), Arc::new(program(vec![Step::Spray(step)])));
    plant.part = 260.0;
    plant.press(Contact::StartButton);
    plant.until(Leaf::Crossing, 100.0);
    while plant.switched.is_empty() {
        plant.scan();
    }
    let on = plant.switched[0];
    while plant.position < 85.0 {
        plant.scan();
    }
    let took = plant.now.since(on.at).as_secs_f64();
    assert!((took - 2.0).abs() < 0.03, "powder had {took} s");
}

#[test]
fn a_part_too_hot_at_the_turn_waits_at_the_park_without_powder() {
    let mut plant = spraying(job(2), 200.0);
    plant.part = 399.0;
    plant.until(Leaf::WaitingForTemperature, 60.0);
    plant.run(10.0);
    assert!((plant.position - super::fixture::PARK).abs() < 1.0);
    assert!(plant.lit);
    plant.part = 249.0;
    plant.until(Leaf::Complete, 100.0);
    assert_eq!(plant.switched.len(), 4);
}

#[test]
fn a_part_too_cold_at_a_restart_is_warmed_again_first() {
    let mut plant = spraying(job(1), 160.0);
    plant.ask(Request::Hold);
    plant.until(Leaf::HeldLit, 60.0);
    plant.part = 150.0;
    restart(&mut plant);
    plant.until(Leaf::Traversing, 30.0);
    assert!(plant.sequence.status().powder_lost.is_some());
    plant.until(Leaf::Complete, 200.0);
}
