//! What counts as the same situation. Two nodes with one key are explored once.
//!
//! The key has the sequence's state with all its discrete data, what the verdict demands and what
//! a reset still needs, the outputs that move, burn or feed, the plant by classes (where the
//! carriage is, whether it moves, pressure, flame, temperatures against the step's own limits),
//! families of what is wrong, and the memory that arms rows. It has no times and no places.

use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::mem::discriminant;
use std::time::Duration;

use evenpass_core::image::SpindleDemand;
use evenpass_core::interlock::{Class, Presence};

use crate::node::Node;
use crate::world::World;

/// Settled: as long as the interlocks wait for pressures, and for the spindle.
const PRESSURES_SETTLE: Duration = Duration::from_secs(3);
const SPINDLE_SETTLES: Duration = Duration::from_secs(10);

/// The key of a node.
pub(crate) fn key(node: &Node, world: &World) -> u64 {
    let mut hasher = DefaultHasher::new();
    node.situation().hash(&mut hasher);
    node.observed().hash(&mut hasher);
    node.machine.sequence.prompt().map(|prompt| discriminant(&prompt.ask)).hash(&mut hasher);
    node.machine.missing.is_empty().hash(&mut hasher);
    verdict(node).hash(&mut hasher);
    place(node, world).hash(&mut hasher);
    energy(node, world).hash(&mut hasher);
    wrong(node, world).hash(&mut hasher);
    memory(node).hash(&mut hasher);
    hasher.finish()
}

/// Holds and stops with whether they are still so, and how many kinds of needs a reset has.
fn verdict(node: &Node) -> (u8, u8) {
    let verdict = node.machine.verdict();
    let holds = verdict.holds.iter().fold(0_u8, |bits, hold| {
        let bit = match (hold.class, hold.present) {
            (Class::Stop, Presence::Active) => 1,
            (Class::Stop, Presence::Returned) => 2,
            (_, Presence::Active) => 4,
            (_, Presence::Returned) => 8,
        };
        bits | bit
    });
    let needs = verdict.reset_needs.iter().fold(0_u8, |bits, need| {
        let bit = match *need {
            "Acknowledge the trip." => 1,
            "Purge torch and hose, clear of the part." => 2,
            other if other.starts_with("Inspect torch") => 4,
            _ => 8,
        };
        bits | bit
    });
    (holds, needs)
}

/// Where the carriage is, whether and which way it moves, and what its drive says.
fn place(node: &Node, world: &World) -> (u8, u8, u8, [bool; 3]) {
    let plant = &node.plant;
    let part = world.program.part;
    let place = if plant.is_parked(world) {
        0
    } else if !plant.is_over_part(world) {
        1
    } else if plant.position >= part.low.mm() && plant.position <= part.high.mm() {
        2
    } else {
        3
    };
    let way = match plant.velocity {
        v if v > 0.5 => 1,
        v if v < -0.5 => 2,
        _ => 0,
    };
    (place, way, plant.power as u8, [plant.referenced, plant.in_fault, plant.attained])
}

/// Gas, flame, heat, spindle, powder, guard and key.
fn energy(node: &Node, world: &World) -> ([u8; 4], [bool; 8]) {
    let plant = &node.plant;
    let pressure = match plant.pressure {
        p if p <= 0.05 => 0,
        p if p < 1.0 => 1,
        _ => 2,
    };
    let spindle = match (plant.rpm, node.machine.outputs.spindle) {
        (rpm, _) if rpm < 1.0 => 0,
        (rpm, SpindleDemand::Turn(set)) if (rpm - set.rpm()).abs() <= set.rpm() * 0.05 => 1,
        _ => 2,
    };
    let window = world.spray;
    let heat = match plant.part {
        part if part < window.low.celsius() => 0,
        part if part <= world.aim => 1,
        part if part <= window.high.celsius() - 80.0 => 2,
        part if part <= window.high.celsius() => 3,
        _ => 4,
    };
    let guard = match plant.guard_open_for {
        None => 0,
        Some(open) if open < Duration::from_millis(500) => 1,
        Some(_) => 2,
    };
    let flags = [
        plant.lit,
        plant.feeder.is_on(),
        plant.pending.is_some(),
        plant.drops,
        plant.key,
        plant.awake,
        plant.extraction,
        plant.relay_is_up(),
    ];
    ([pressure, spindle, heat, guard], flags)
}

/// Families of what is wrong, in order.
fn wrong(node: &Node, world: &World) -> [Option<u8>; 2] {
    let mut families = node
        .plant
        .faults
        .map(|standing| standing.and_then(|standing| world.kind(standing.kind).family));
    families.sort_unstable();
    families
}

/// What arms rows and was so before: a proved flame, settled pressures and spindle, an act, and a
/// retreat that may still be made.
fn memory(node: &Node) -> [bool; 8] {
    let monitor = &node.monitor;
    [
        monitor.burned,
        monitor.gas_for >= PRESSURES_SETTLE,
        monitor.spindle_asked_for >= SPINDLE_SETTLES,
        monitor.act,
        monitor.unbroken,
        monitor.trusted,
        monitor.inspection_waits(),
        monitor.jog_until.is_some_and(|at| node.plant.now.since(at) < Duration::from_millis(120)),
    ]
}
