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

/// How a job ended: one that tripped and was not completed is a tripped one, whoever ended it then.
#[must_use]
pub fn ended(end: End, entries: &[Entry]) -> End {
    match end {
        End::Stopped | End::Held if first_trip(entries).is_some() => End::Tripped,
        end => end,
    }
}

/// What brought a job to an end that was not its own: the first trip, whatever came of it, else why
/// the last state was entered. Of a job that was completed all the same, the first trip.
#[must_use]
pub fn first_cause(end: End, snapshot: &Snapshot, entries: &[Entry]) -> Option<String> {
    let status = &snapshot.status;
    let now = || {
        let first = || snapshot.verdict.first.as_ref().map(|first| first.message.clone());
        status.first_cause.clone().or_else(first)
    };
    match end {
        End::Complete => first_trip(entries).map(|trip| format!("after a trip: {trip}")),
        End::Tripped => match (first_trip(entries), asked_to_stop(entries)) {
            (Some(trip), Some(stop)) => Some(format!("{trip}; then {stop}")),
            (trip, _) => trip.or_else(now),
        },
        End::NotStarted => status
            .setback
            .map(|cause| cause.to_string())
            .or_else(|| status.missing.first().map(|missing| (*missing).to_owned())),
        End::Held | End::Stopped => entries
            .iter()
            .rev()
            .find(|entry| enters(entry, "Holding") || enters(entry, "Stopping"))
            .map(|entry| entry.cause.clone()),
    }
}

/// What tripped a job first: in the words of the interlock, or that a person asked for it.
fn first_trip(entries: &[Entry]) -> Option<String> {
    let place = entries.iter().position(|entry| enters(entry, "Aborting"))?;
    let (before, rest) = entries.split_at_checked(place)?;
    let (trip, rest) = rest.split_first()?;
    let is_of_trip = |entry: &&Entry| {
        let key = entry.data.get("interlock").and_then(|key| key.as_str());
        entry.kind == EntryKind::Cause
            && entry.data.get("change").and_then(|change| change.as_str()) == Some("confirmed")
            && key.is_some_and(|key| trip.cause == format!("trip by interlock {key}"))
    };
    // A scan tells the state first, and then what it was entered for.
    let same_scan = rest.iter().take_while(|entry| entry.at == trip.at);
    let told = same_scan.chain(before.iter().rev()).find(is_of_trip);
    Some(told.map_or_else(|| trip.cause.clone(), |told| told.text.clone()))
}

/// Why a job was stopped in order after its last trip.
fn asked_to_stop(entries: &[Entry]) -> Option<&str> {
    let since = entries.iter().rev().take_while(|entry| !enters(entry, "Aborting"));
    let mut stops = since.filter(|entry| enters(entry, "Stopping"));
    stops.next().map(|entry| entry.cause.as_str())
}

/// Whether an entry tells that a state was entered.
fn enters(entry: &Entry, state: &str) -> bool {
    let to = entry.data.get("to").and_then(|to| to.as_str());
    entry.kind == EntryKind::State && to == Some(state)
}

#[cfg(test)]
mod tests {
    use evenpass_core::interlock::Class;
    use evenpass_core::sequence::Cause;
    use serde_json::{Value, json};

    use super::*;

    fn entry(kind: EntryKind, text: &str, cause: &str, data: Value) -> Entry {
        let (text, cause) = (text.to_owned(), cause.to_owned());
        Entry { number: 1, at: Moment::START, kind, text, cause, data }
    }

    fn state(to: &str, cause: &str) -> Entry {
        entry(EntryKind::State, "", cause, json!({ "from": "Any", "to": to }))
    }

    fn confirmed(key: &str, text: &str) -> Entry {
        let data = json!({ "interlock": key, "change": "confirmed" });
        entry(EntryKind::Cause, text, "", data)
    }

    fn told(end: End, entries: &[Entry]) -> (End, Option<String>) {
        let rig = crate::files::rig(None).unwrap().0;
        let snapshot = evenpass_core::scan::Controller::new(&rig).unwrap().snapshot();
        let end = ended(end, entries);
        (end, first_cause(end, &snapshot, entries))
    }

    #[test]
    fn a_job_that_tripped_stays_tripped_by_its_first_cause_whoever_ends_it_then() {
        let flame_lost = Cause::Interlock("flame_lost", Class::Trip).to_string();
        let mut entries = vec![
            state("Traversing", "the step in hand may begin"),
            confirmed("purge_air", "purge air: low"),
            confirmed("flame_lost", "flame lost: none seen"),
            state("Aborting", &flame_lost),
            state("Aborted", "safe"),
        ];
        let trip = Some("flame lost: none seen".to_owned());
        assert_eq!(told(End::Stopped, &entries), (End::Tripped, trip.clone()));
        assert_eq!(told(End::Held, &entries), (End::Tripped, trip));
        entries.push(state("HeldUnlit", "the trip is reset"));
        entries.push(state("Stopping", "asked for: stop"));
        let both = Some("flame lost: none seen; then asked for: stop".to_owned());
        assert_eq!(told(End::Stopped, &entries), (End::Tripped, both));
        let complete = Some("after a trip: flame lost: none seen".to_owned());
        assert_eq!(told(End::Complete, &entries), (End::Complete, complete));
        // A second trip, by a person this time, does not take the first one's place.
        entries.push(state("Aborting", "asked for: abort"));
        let first = Some("flame lost: none seen".to_owned());
        assert_eq!(told(End::Tripped, &entries), (End::Tripped, first));
    }

    #[test]
    fn the_words_of_a_trip_are_found_after_its_state_as_a_scan_tells_them() {
        let flame_lost = Cause::Interlock("flame_lost", Class::Trip).to_string();
        let entries =
            [state("Aborting", &flame_lost), confirmed("flame_lost", "flame lost: none seen")];
        let words = Some("flame lost: none seen".to_owned());
        assert_eq!(told(End::Tripped, &entries), (End::Tripped, words));
    }

    #[test]
    fn a_job_that_never_tripped_ends_as_it_was_ended() {
        let entries = [state("Traversing", "may begin"), state("Stopping", "asked for: stop")];
        let asked = Some("asked for: stop".to_owned());
        assert_eq!(told(End::Stopped, &entries), (End::Stopped, asked));
        assert_eq!(told(End::Complete, &entries), (End::Complete, None));
        let person = [state("Aborting", "asked for: abort")];
        let asked = Some("asked for: abort".to_owned());
        assert_eq!(told(End::Tripped, &person), (End::Tripped, asked));
    }
}
