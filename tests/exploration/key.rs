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

use evenpass_core::cia402::PowerState;
use evenpass_core::interlock::{Class, Presence};
use evenpass_core::sequence::Phase;

use crate::faults::Kind;
use crate::moves::deviations;
use crate::node::Node;
use crate::world::World;

/// The key of a node.
pub(crate) fn key(node: &Node, world: &World) -> u64 {
    let mut hasher = DefaultHasher::new();
    standing(node, &mut hasher);
    node.observed().hash(&mut hasher);
    node.machine.sequence.prompt().map(|prompt| discriminant(&prompt.ask)).hash(&mut hasher);
    node.machine.missing.is_empty().hash(&mut hasher);
    verdict(node).hash(&mut hasher);
    place(node, world).hash(&mut hasher);
    energy(node, world).hash(&mut hasher);
    wrong(node, world).hash(&mut hasher);
    memory(node, world).hash(&mut hasher);
    hasher.finish()
}

/// The sequence's state with its data. Where the job stands counts in full while it is under way;
/// by its step after a trip; and not at all once it has ended, or before it began.
fn standing(node: &Node, hasher: &mut DefaultHasher) {
    let whole = node.situation();
    (whole.leaf, whole.phase, whole.inside, whole.job).hash(hasher);
    (whole.purge_owed, whole.reset_waits).hash(hasher);
    match whole.phase {
        Phase::Idle | Phase::Manual | Phase::Stopping | Phase::Stopped | Phase::Complete => {}
        Phase::Aborting | Phase::Aborted => whole.cursor[0].hash(hasher),
        _ => whole.hash(hasher),
    }
}

/// What a node is like as far as a fault can tell that comes then: state, what is wrong already, and
/// what is asked; not where the job stands beyond its step, nor what was.
pub(crate) fn shape(node: &Node, world: &World) -> u64 {
    let mut hasher = DefaultHasher::new();
    let situation = node.situation();
    (situation.phase, situation.leaf, situation.inside, situation.cursor[0]).hash(&mut hasher);
    (situation.powder, situation.powder_next, situation.job).hash(&mut hasher);
    node.observed().hash(&mut hasher);
    (verdict(node), wrong(node, world), node.plant.referenced).hash(&mut hasher);
    (deviations(node), node.plant.guard_open_for.is_some()).hash(&mut hasher);
    // Powder beside the part or on it: only on it does it matter that the carriage stands.
    (place(node, world).0 == ON_THE_PART).hash(&mut hasher);
    hasher.finish()
}

/// What a trip is like for another thing that goes wrong: what it looks like, and what is wrong.
pub(crate) fn setting(node: &Node, world: &World) -> u64 {
    let mut hasher = DefaultHasher::new();
    node.observed().hash(&mut hasher);
    wrong(node, world).hash(&mut hasher);
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

/// Over the part itself, in spraying.
const ON_THE_PART: u8 = 4;

/// Where the carriage is, whether it moves, and what its drive says.
fn place(node: &Node, world: &World) -> (u8, bool, u8, bool) {
    let plant = &node.plant;
    let sprays = node.machine.sequence.phase() == Phase::Spraying;
    let part = world.program.part;
    let on_part = plant.position >= part.low.mm() && plant.position <= part.high.mm();
    let place = match (plant.is_parked(world), plant.is_over_part(world)) {
        (true, _) => 0,
        // Where powder may be on, the part itself is told from what lies within the plume's reach.
        (_, true) if sprays && on_part => ON_THE_PART,
        (_, true) => 1,
        _ if plant.position < part.low.mm() => 2,
        _ => 3,
    };
    let power = match plant.power {
        PowerState::OperationEnabled => 0,
        PowerState::Fault => 1,
        _ => 2,
    };
    (place, plant.velocity.abs() >= 0.5, power, plant.referenced)
}

/// Gas, flame, heat, spindle, powder and guard.
fn energy(node: &Node, world: &World) -> (u8, [bool; 7]) {
    let plant = &node.plant;
    let window = world.spray;
    let heat = match plant.part {
        _ if !works_with_heat(node) => 0,
        // In the preheat, by how much it lacks: one crossing of the flame is a step of it.
        part if node.machine.sequence.phase() == Phase::Preheating && part < 60.0 => 4,
        part if node.machine.sequence.phase() == Phase::Preheating && part < 105.0 => 5,
        part if part < window.low.celsius() => 0,
        part if part <= window.high.celsius() - 80.0 => 1,
        part if part <= window.high.celsius() => 2,
        _ => 3,
    };
    let tripped = node.machine.verdict().tripped();
    let flags = [
        plant.pressure > 0.05 && !tripped,
        plant.rpm >= 1.0 && !tripped,
        plant.lit,
        plant.feeder.is_on(),
        plant.pending.is_some(),
        plant.drops,
        plant.guard_open_for.is_some(),
    ];
    (heat, flags)
}

/// Whether the part's temperature is looked at in this state, or will be when the job goes on.
pub(crate) fn works_with_heat(node: &Node) -> bool {
    !matches!(
        node.machine.sequence.phase(),
        Phase::Idle
            | Phase::Manual
            | Phase::Starting
            | Phase::Lighting
            | Phase::Stopping
            | Phase::Stopped
            | Phase::Complete
            | Phase::Aborting
            | Phase::Aborted
    )
}

/// Families of what is wrong, in order, with how long those have lasted that have slow rows: what
/// comes first, such a row or the end of what is going on, depends on it.
fn wrong(node: &Node, world: &World) -> [Option<(u8, u8)>; 2] {
    let tripped = matches!(node.machine.sequence.phase(), Phase::Aborting | Phase::Aborted);
    let number = |kind: &Kind| if tripped { kind.trips } else { kind.family };
    let mut families = node.plant.faults.map(|standing| {
        let standing = standing?;
        let kind = world.kind(standing.kind);
        let slow = !tripped && kind.delay > SLOW;
        let lasted = node.plant.now.since(standing.since).as_secs() / AGES_S;
        let age = if slow { u8::try_from(lasted).unwrap_or(OLD).min(OLD) } else { 0 };
        Some((number(kind)?, age))
    });
    families.sort_unstable();
    families
}

/// A row with a longer delay than this is slow.
const SLOW: Duration = Duration::from_secs(5);
/// Ages of a fault are told apart in steps of this, s, up to the oldest.
const AGES_S: u64 = 4;
const OLD: u8 = 3;

/// What arms rows and was so before: a proved flame, and a retreat that may still be made; and a flame
/// that nobody has answered for since it was to be asked about, whatever is asked, so that an act that
/// leads to the same situation does not stand for one that nobody did.
fn memory(node: &Node, world: &World) -> [bool; 4] {
    let monitor = &node.monitor;
    [
        monitor.burned,
        monitor.trusted && monitor.first.is_some(),
        monitor.inspection_waits(),
        monitor.unattended_for > world.rig.attendance.every.to_duration(),
    ]
}
