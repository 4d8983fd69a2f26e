//! Brings a loaded job from wherever the machine stands to its end: what is asked on the
//! operator's behalf, and how it ended. Starting stays an act at the machine.

use std::time::Duration;

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::request::Request;
use evenpass_core::scan::{NO_DATUM, Snapshot};
use evenpass_core::sequence::{Leaf, Phase, Status};
use serde::Serialize;

/// How a job ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// All steps are done.
    Complete,
    /// A person ended it in order.
    Stopped,
    /// An interlock or a person tripped it.
    Tripped,
    /// It was held, and nobody restarted it.
    Held,
    /// Nobody started it, or it could not be made ready.
    NotStarted,
}

/// Whether somebody is there to reset a trip and restart a held job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Attended {
    /// Somebody is: trips and holds are theirs to end.
    Yes,
    /// Nobody is: a trip ends the job, and so does a hold that lasts.
    No,
}

/// What is to be done next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Next {
    /// Wait.
    Wait,
    /// Ask this of the controller.
    Ask(Request),
    /// The job has ended.
    Ended(End),
}

/// How long an unattended job may be held before it counts as ended there.
const HELD_FOR: Duration = Duration::from_secs(600);
/// How long an unattended job may wait to be started.
const NOT_STARTED_FOR: Duration = Duration::from_secs(600);
/// A homing that nobody began is asked for again after this.
const HOMING_AGAIN: Duration = Duration::from_secs(5);

/// Follows one job.
#[derive(Debug)]
pub struct Attendant {
    attended: Attended,
    begun: bool,
    homing_after: Moment,
    began: Option<Moment>,
    given_up: bool,
}

impl Attendant {
    /// For a job that has just been loaded.
    #[must_use]
    pub const fn new(attended: Attended) -> Self {
        Self { attended, begun: false, homing_after: Moment::START, began: None, given_up: false }
    }

    /// A person asked to stop or abort: a job that has not begun ends there and then.
    pub const fn give_up(&mut self) {
        self.given_up = true;
    }

    /// Looks at the newest state.
    pub fn follow(&mut self, now: Moment, status: &Status) -> Next {
        let began = *self.began.get_or_insert(now);
        let alone = self.attended == Attended::No;
        let lasted = now - status.since;
        match status.phase {
            Phase::Complete => Next::Ended(End::Complete),
            Phase::Stopped => Next::Ended(End::Stopped),
            Phase::Aborted if alone => Next::Ended(End::Tripped),
            Phase::Held if alone && status.leaf == Leaf::HeldUnlit && lasted > HELD_FOR => {
                Next::Ended(End::Held)
            }
            Phase::Idle if self.given_up => Next::Ended(End::Stopped),
            Phase::Idle if self.begun => Next::Ended(End::NotStarted),
            Phase::Idle if alone && now - began > NOT_STARTED_FOR => Next::Ended(End::NotStarted),
            Phase::Idle if status.missing == [NO_DATUM] && now >= self.homing_after => {
                self.homing_after = now + HOMING_AGAIN;
                Next::Ask(Request::Home)
            }
            Phase::Idle | Phase::Manual => Next::Wait,
            _ => {
                self.begun = true;
                Next::Wait
            }
        }
    }
}

/// What brought a job to an end that was not its own: the first trip, else why the last state
/// was entered.
#[must_use]
pub fn first_cause(end: End, snapshot: &Snapshot, entries: &[Entry]) -> Option<String> {
    let status = &snapshot.status;
    match end {
        End::Complete => None,
        End::Tripped => status
            .first_cause
            .clone()
            .or_else(|| snapshot.verdict.first.as_ref().map(|first| first.message.clone())),
        End::NotStarted => status
            .setback
            .map(|cause| cause.to_string())
            .or_else(|| status.missing.first().map(|missing| (*missing).to_owned())),
        End::Held | End::Stopped => entries
            .iter()
            .rev()
            .find(|entry| {
                entry.kind == EntryKind::State
                    && entry
                        .data
                        .get("to")
                        .and_then(|to| to.as_str())
                        .is_some_and(|to| matches!(to, "Holding" | "Stopping"))
            })
            .map(|entry| entry.cause.clone()),
    }
}
