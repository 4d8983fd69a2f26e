//! What tells two states of the sequence apart when times and places are left out: for whoever
//! explores the sequence or compares two runs of it. Nothing is decided from it.

use core::hash::{Hash as _, Hasher};

use crate::image::Level;
use crate::program::{Program, Step};

use super::leaf::{Leaf, Phase};
use super::machine::{Job, Machine, Owed, Suspect};
use super::state::State;

/// Where a job stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum JobStands {
    /// None, or one not begun.
    NotBegun,
    /// Begun: it may go on.
    Begun,
    /// Being ended early, or ended.
    Ending,
}

/// The discrete part of a sequence. Two equal ones are in the same state with the same data, times
/// and places apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Situation {
    /// The state.
    pub leaf: Leaf,
    /// The super-state.
    pub phase: Phase,
    /// Where it stands inside the state (errands, sides, phases, waits begun): a number without a
    /// meaning of its own, equal when the state's data differ in times only.
    pub inside: u64,
    /// The job.
    pub job: JobStands,
    /// Step, pass and band in hand, and the torch fitted, counted from 0.
    pub cursor: [usize; 4],
    /// The feeder's level as the sequence believes it.
    pub powder: Level,
    /// What the next edge of the feeder changes it to.
    pub powder_next: Option<Level>,
    /// Whether powder was lost inside the pass in hand.
    pub powder_lost: Level,
    /// Whether a purge is owed.
    pub purge_owed: Level,
    /// Whether "finish this pass, then hold" is pending.
    pub hold_after_pass: Level,
    /// Passes that people have added to the zone that is being sprayed. A trim is a figure, and left
    /// out with times and places.
    pub touch_ups: usize,
    /// Whether a reset that was let through waits for the interlocks.
    pub reset_waits: Level,
    /// Whether the gear lever was set for the step in hand.
    pub lever_set: Level,
    /// Whether the coat may have been spoiled.
    pub suspect: Suspect,
    /// Tries of the lighting under way or last made.
    pub tries: u32,
}

impl Situation {
    pub(super) fn of(state: &State, machine: &Machine, program: Option<&Program>) -> Self {
        let mut inside = Discrete::new();
        state.hash(&mut inside);
        let owed = |owed: Owed| Level::from_bit(owed == Owed::Owed);
        Self {
            leaf: machine.leaf,
            phase: state.phase(),
            inside: inside.finish(),
            job: match machine.job {
                Job::None => JobStands::NotBegun,
                Job::Begun => JobStands::Begun,
                Job::Ending => JobStands::Ending,
            },
            cursor: [machine.cursor.step, machine.cursor.pass, machine.cursor.band, machine.torch],
            powder: machine.feeder.level(),
            powder_next: machine.feeder.next().map(|edge| edge.to),
            powder_lost: Level::from_bit(machine.done_to.is_some()),
            purge_owed: owed(machine.purge),
            hold_after_pass: owed(machine.hold_after_pass),
            touch_ups: touch_ups(machine, program),
            reset_waits: owed(machine.reset),
            lever_set: Level::from_bit(machine.lever.is_some()),
            suspect: machine.suspect,
            tries: machine.tries,
        }
    }
}

fn touch_ups(machine: &Machine, program: Option<&Program>) -> usize {
    match program.and_then(|program| program.steps.get(machine.cursor.step)) {
        Some(Step::Spray(step)) => step.touch_ups,
        _ => 0,
    }
}

/// A hasher (FNV-1a) that takes in which variant a value is, and no figures: variants arrive by
/// `write_isize`, while moments, durations and micrometres arrive as integers of fixed width.
struct Discrete(u64);

impl Discrete {
    /// FNV's offset basis.
    const fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Hasher for Discrete {
    fn finish(&self) -> u64 {
        self.0
    }

    fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }

    fn write_u32(&mut self, _: u32) {}

    fn write_u64(&mut self, _: u64) {}

    fn write_i64(&mut self, _: i64) {}
}
