//! What the sequence tells: events for the record and wishes to the interlocks.

use crate::image::PowderEdge;
use crate::moment::Moment;
use crate::quantity::Length;
use crate::request::{Answer, Origin, Request};

use super::cause::Cause;
use super::leaf::Leaf;
use super::prompt::Ask;

/// What happened.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Happening {
    /// A transition of the chart.
    Moved {
        /// From which state.
        from: Leaf,
        /// To which state.
        to: Leaf,
        /// Why.
        cause: Cause,
    },
    /// A prompt came up.
    Prompted(Ask),
    /// A prompt went, answered or not.
    PromptGone(Ask),
    /// A pass began: step and pass, counted from 1.
    PassBegan {
        /// Step of the program.
        step: usize,
        /// Pass of the step.
        pass: usize,
    },
    /// A pass ended.
    PassEnded {
        /// Step of the program.
        step: usize,
        /// Pass of the step.
        pass: usize,
    },
    /// A powder edge is fixed: it will not be moved any more.
    PowderFixed {
        /// The edge.
        edge: PowderEdge,
        /// Where the carriage is expected to be then.
        carriage: Length,
    },
    /// Powder ceased to arrive inside a pass.
    PowderLost {
        /// Where.
        place: Length,
    },
    /// The purge after gas or powder could not be made: it stays owed.
    NotPurged(PurgeHindrance),
    /// A trip has probably spoiled the part.
    Spoiled {
        /// How.
        damage: Damage,
        /// Where the torch was.
        place: Length,
    },
    /// A request and its answer.
    Answered {
        /// What was asked.
        request: Request,
        /// By whom.
        origin: Origin,
        /// The answer.
        answer: Answer,
    },
    /// A person changed the passes from there on: step and pass, counted from 1. The pass is one
    /// past the last where none is left.
    PassesChanged {
        /// Step of the program.
        step: usize,
        /// First pass of the step that has not begun.
        pass: usize,
    },
    /// A point was taken.
    PointTaken(Length),
    /// A band was called wet: step and band, counted from 1.
    BandWet {
        /// Step of the program.
        step: usize,
        /// Band of the step.
        band: usize,
    },
}

/// Why a purge could not be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PurgeHindrance {
    /// The torch's carrier is oxygen, which must not purge with the fuel shut.
    OxygenCarrier,
    /// The torch is not known to be clear of the part.
    NotClear,
    /// No air is seen.
    NoAir,
}

impl PurgeHindrance {
    /// The record's words.
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::OxygenCarrier => "the torch's carrier must not purge it",
            Self::NotClear => "the torch is not known to be clear of the part",
            Self::NoAir => "no purge air is seen: look at plant air and carrier pressure",
        }
    }
}

/// How a trip has probably spoiled a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damage {
    /// The flame was over it while it did not turn as it should.
    Overheated,
    /// It came to a stand while its coat was being fused.
    Molten,
}

impl Damage {
    /// The record's words, around the place.
    pub(crate) const fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Overheated => ("overheat suspect", "inspect the part before anything else"),
            Self::Molten => ("stopped molten", "sag likely: inspect the coat"),
        }
    }
}

/// Something that happened, with its time.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When.
    pub at: Moment,
    /// What.
    pub what: Happening,
}

/// What the sequence asks of the interlocks, or tells them. The scan layer hands each to them
/// before their next step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Wish {
    /// Somebody has seen the trip.
    Acknowledge,
    /// Reset the trip; its needs were all fulfilled when it was asked for.
    Reset,
    /// Latch a trip: a person aborted.
    Abort,
    /// A person reports a bad flame.
    BadFlame,
    /// A person reports a lifting coat.
    CoatLifting,
    /// A flashback was inspected.
    Inspected,
    /// The attendance request was not answered: hold.
    Unattended,
    /// The purge that a reset needs is done.
    PurgeDone,
    /// It can't be made now (oxygen carrier, torch not clear, no air): it stays owed, the next
    /// lighting makes it, and the reset does not wait for it.
    PurgeLeft,
    /// The job starts or restarts: holds whose cause has returned may be dropped.
    Restarted,
    /// The job ended: holds may be dropped.
    Ended,
    /// Gas, spindle or axis is no longer proved isolated with hands inside: trip.
    IsolationLost,
    /// The controller stood still for too long: trip.
    Stalled,
    /// Lighting locked out after its last try.
    LockedOut,
}
