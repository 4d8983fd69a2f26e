//! Everything that machine and interlocks can come to, explored as they are: the real sequence, the
//! real interlocks and the real enforcement, joined as the program joins them, in a plant that is
//! the least that turns outputs into inputs.
//!
//! From power-up on, every situation is taken once and everything is tried from it that can
//! happen: time goes by until something changes; every request from the seat and from elsewhere,
//! every button; guard, key, lighter; every contact, transmitter and device in every class of
//! being wrong, singly and in pairs; the controller late, an edge dropped, the drive back without
//! its datum; everything mended. Every scan is judged by every invariant. It ends when nothing
//! new comes.
//!
//! What is the same situation is said by `key`: it has no times and no places but classes of them,
//! so that a situation stands for all that differ in those only. It is taken as it was come to
//! first; where nothing is wrong yet, things also happen just before it changes by itself. Faults
//! come singly to each shape a sound job can have, in pairs to each of its states, and beside what
//! has tripped to whatever a trip looks like; then they are mended one by one (`pairs`). What needs
//! another time or place to go wrong, more than two things wrong at once, or another job than the
//! two explored, is not seen here; the campaigns of random bad days are for that. That the graph
//! is no toy is shown by `mapping`: what the whole program does on the twin must be a path of it,
//! and by `bad_days`.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

#[path = "../support/mod.rs"]
mod support;

#[path = "../campaigns/campaign/mod.rs"]
#[allow(dead_code, reason = "the days are drawn and played here, not counted")]
mod campaign;

mod bad_days;
mod defects;
mod explore;
mod faults;
mod graph;
mod invariants;
mod key;
mod machine;
mod mapping;
mod monitor;
mod moves;
mod node;
mod pairs;
mod plant;
mod reading;
mod rest;
mod world;

use std::sync::OnceLock;

use evenpass_core::interlock::matrix;
use evenpass_core::sequence::Leaf;

use defects::Defect;
use explore::{Bounds, Explored, explore, explore_defect};
use graph::Witness;
use world::World;

/// The shipped job's graph, explored once for all tests.
fn shipped() -> &'static (World, Explored) {
    static SHIPPED: OnceLock<(World, Explored)> = OnceLock::new();
    SHIPPED.get_or_init(|| explored(World::shipped()))
}

/// The same of the variant.
fn varied() -> &'static (World, Explored) {
    static VARIED: OnceLock<(World, Explored)> = OnceLock::new();
    VARIED.get_or_init(|| explored(World::varied()))
}

fn explored(world: World) -> (World, Explored) {
    let explored = explore(&world);
    report(&world, &explored);
    (world, explored)
}

fn report(world: &World, explored: &Explored) {
    let seconds = explored.took.as_secs_f64();
    println!(
        "{}: {} situations of {} states, {} transitions, {} pairs of things gone wrong, {} scans, \
         {} looks from outside, farthest situation {} steps away, in {seconds:.1} s: {:.0} \
         situations/s, {:.0} transitions/s, {:.0} scans/s",
        world.name,
        explored.graph.found.len(),
        explored.leaves.len(),
        explored.transitions,
        explored.pairs,
        explored.scans,
        explored.graph.observed.len(),
        explored.longest,
        explored.graph.found.len() as f64 / seconds,
        explored.transitions as f64 / seconds,
        explored.scans as f64 / seconds,
    );
    for witness in &explored.witnesses {
        println!(
            "BROKEN: {}: {}\n  {}",
            witness.broken.invariant,
            witness.broken.found,
            witness.path.join("\n  ")
        );
    }
}

/// Rows that are not confirmed here, each with its reason.
const NOT_CONFIRMED: &[(&str, &str)] = &[
    ("stop_requested", "the program asks a stop of the sequence and raises no cause"),
    ("hold_requested", "the program asks a hold of the sequence and raises no cause"),
    ("feed_falls", "needs nine seconds of powder without a break: the short job sprays five"),
    ("feed_pulses", "the same"),
    ("outside_travel", "the plan refuses a travel outside the bounds"),
    ("outside_travel_lit", "the same"),
];

#[test]
fn whatever_happens_every_invariant_holds_in_everything_that_can_be_reached() {
    let worlds = [shipped(), varied()];
    println!("\n{:>10}  invariant", "times");
    let mut never = Vec::new();
    for (place, invariant) in invariants::all().enumerate() {
        let times: u64 = worlds.iter().map(|(_, explored)| explored.tally[place]).sum();
        println!("{times:>10}  {}: {}", invariant.name, invariant.promise);
        if times == 0 {
            never.push(invariant.name);
        }
    }
    let broken: Vec<_> =
        worlds.iter().flat_map(|(_, explored)| &explored.witnesses).map(|w| &w.broken).collect();
    println!("{} invariants, {} broken", invariants::all().count(), broken.len());
    assert!(broken.is_empty(), "{broken:#?}");
    assert_eq!(never, Vec::<&str>::new(), "never about anything: such an invariant proves nothing");
}

#[test]
fn every_state_is_come_to_and_every_row_of_the_matrix_confirmed() {
    let worlds = [shipped(), varied()];
    let reached = |leaf: &Leaf| worlds.iter().any(|(_, explored)| explored.leaves.contains(leaf));
    let missed: Vec<_> = Leaf::ALL.iter().filter(|leaf| !reached(leaf)).collect();
    assert!(missed.is_empty(), "states never come to: {missed:?}");
    let confirmed = |key: &str| worlds.iter().any(|(_, explored)| explored.rows.contains(key));
    let excused = |key: &str| NOT_CONFIRMED.iter().any(|(row, _)| *row == key);
    let all: Vec<&str> = matrix::rows().map(|row| row.key).collect();
    let missed: Vec<_> = all.iter().filter(|key| !confirmed(key) && !excused(key)).collect();
    let confirmed_after_all: Vec<_> =
        NOT_CONFIRMED.iter().map(|(key, _)| *key).filter(|key| confirmed(key)).collect();
    println!("{} of {} rows confirmed", all.len() - NOT_CONFIRMED.len(), all.len());
    assert!(missed.is_empty(), "rows never confirmed: {missed:?}");
    assert!(confirmed_after_all.is_empty(), "no excuse any more: {confirmed_after_all:?}");
}

/// So many situations of a machine with a defect are looked at before it counts as not caught.
const DEFECT_MOST: usize = 100_000;

#[test]
fn every_planted_defect_is_caught_by_the_invariant_meant_for_it() {
    let mut missed = Vec::new();
    println!("\n{:<48} {:<48} steps  situations  others broken by then", "defect", "caught by");
    for planted in Defect::ALL {
        let (world, sound) = if planted.varied { varied() } else { shipped() };
        let bounds = Bounds { most: DEFECT_MOST, rests: true, until: Some(planted.caught_by) };
        let found = explore_defect(world, &sound.graph, planted.defect, bounds);
        let meant = |witness: &&Witness| witness.broken.invariant == planted.caught_by;
        let situations = found.graph.found.len();
        let Some(witness) = found.witnesses.iter().find(meant) else {
            println!("{:<48} NOT CAUGHT in {situations} situations", planted.what);
            missed.push(planted.what);
            continue;
        };
        println!(
            "{:<48} {:<48} {:>5}  {situations:>10}  {}",
            planted.what,
            planted.caught_by,
            witness.path.len(),
            found.witnesses.len() - 1
        );
    }
    assert_eq!(missed, Vec::<&str>::new(), "of {}", Defect::ALL.len());
}
