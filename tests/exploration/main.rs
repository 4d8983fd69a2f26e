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
//! What is the same situation is said by [`key`]: it has no times and no places, so that a
//! situation stands for all that differ in those only. Two of them are tried: as it was come to
//! first, and, where nothing is wrong yet, just before it changes by itself. What needs a third
//! time or place to go wrong, more than two things wrong at once, or another program than the two
//! explored, is not seen here; the campaigns of random bad days are for that. That the graph is
//! no toy is shown by `mapping`: what the whole program does on the twin must be a path of it.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

#[path = "../support/mod.rs"]
mod support;

mod defects;
mod explore;
mod faults;
mod invariants;
mod key;
mod machine;
mod monitor;
mod moves;
mod node;
mod plant;
mod reading;
mod rest;
mod world;

use explore::{Bounds, Explored, explore};
use world::World;

const WHOLE: Bounds = Bounds { most: 2_000_000, rests: true, ends_at_once: false };

fn report(world: &World, explored: &Explored) {
    let seconds = explored.took.as_secs_f64();
    println!(
        "{}: {} situations, {} transitions, {} scans, {} looks from outside, longest shortest \
         path {}, in {seconds:.1} s: {:.0} situations/s, {:.0} transitions/s, {:.0} scans/s",
        world.name,
        explored.graph.found.len(),
        explored.transitions,
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

#[test]
fn trial() {
    let world = World::shipped();
    println!("{} kinds, {} families", world.kinds.len(), world.kinds.iter().filter(|k| k.leads).count());
    println!("{} trip families", world.kinds.iter().filter(|k| k.leads_trips).count());
    let most = std::env::var("MOST").ok().and_then(|m| m.parse().ok()).unwrap_or(500);
    let bounds = Bounds { most, ..WHOLE };
    let explored = explore(&world, None, bounds);
    report(&world, &explored);
    println!("{:?}", explored.leaves);
    println!("{:?}", explored.counts);
    for (invariant, times) in invariants::all().zip(&explored.tally) {
        println!("{times:10} {}", invariant.name);
    }
}
