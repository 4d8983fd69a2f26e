//! Results written down, and when each proof is due.

use std::path::Path;

use evenpass_core::proof::{
    Day, LastProof, Procedure, Proved, Standing, grounds, procedure, procedures_of, standing,
};
use evenpass_core::rig::{Rig, RigKind};
use jiff::civil::Date;
use jiff::{Span, Timestamp, tz::TimeZone};
use sha2::{Digest as _, Sha256};

use crate::record::{ProofOutcome, ProofRecord, RecordError, RunKind, Store, records_file};

/// An interlock's key, its last proof if there is one, and where it stands.
pub type KnownProof = (&'static str, Option<ProofRecord>, Standing);

/// Seconds of a day.
const DAY: i64 = 86_400;

/// Where proofs of a rig are kept apart: the twin's never count for a machine.
#[must_use]
pub const fn kind_of(rig: &Rig) -> RunKind {
    match rig.kind {
        RigKind::Twin => RunKind::Twin,
        RigKind::Machine => RunKind::Machine,
    }
}

/// Where a run on these lines takes place. Behind simulated lines stands a twin, whatever the rig
/// file says: its coats are computed, and nobody may learn a machine's figures from them.
#[must_use]
pub const fn kind_of_run(rig: &Rig, lines: Lines) -> RunKind {
    match lines {
        Lines::Simulated => RunKind::Twin,
        Lines::Real => kind_of(rig),
    }
}

/// A result as it is written down.
#[must_use]
pub fn record(proved: &Proved, rig: &Rig, person: &str, now: Timestamp) -> ProofRecord {
    let today = date(now);
    let outcome =
        if proved.failing.is_none() { ProofOutcome::Passed } else { ProofOutcome::Failed };
    let next_due = match outcome {
        ProofOutcome::Passed => {
            today.checked_add(Span::new().days(i64::from(rig.proof.days))).unwrap_or(Date::MAX)
        }
        ProofOutcome::Failed => today,
    };
    ProofRecord {
        made_at: now,
        interlock: proved.key.to_owned(),
        rig: rig.title.clone(),
        kind: kind_of(rig),
        person: person.to_owned(),
        expected: proved.expected.clone(),
        found: proved.found.clone(),
        response: proved.response,
        limit: proved.limit,
        limit_reason: proved.limit_reason.clone(),
        outcome,
        next_due,
        grounds: procedure(proved.key).and_then(|known| digest(rig, known)),
    }
}

/// Digest of what a proof stands on: SHA-256 by FIPS 180-4, in hexadecimal. A row is not to be
/// changed into one with the same digest, not even by somebody who would like to.
fn digest(rig: &Rig, procedure: &Procedure) -> Option<String> {
    let grounds = grounds(rig, procedure)?;
    Some(Sha256::digest(grounds.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect())
}

/// What a kept proof says of the row as it is now.
fn last(made: &ProofRecord, now: Option<&str>) -> LastProof {
    let on = day(made.made_at);
    match (made.outcome, made.grounds.as_deref()) {
        (ProofOutcome::Failed, _) => LastProof::Failed(on),
        (ProofOutcome::Passed, None) => LastProof::Unfounded(on),
        (ProofOutcome::Passed, then) if then == now => LastProof::Passed(on),
        (ProofOutcome::Passed, Some(_)) => LastProof::Changed(on),
    }
}

/// What the record says of every proof the rig can make: its last one, and where it stands.
///
/// # Errors
/// [`RecordError`] when the file can't be read.
pub fn standings(
    store: Option<&Store>,
    rig: &Rig,
    now: Timestamp,
) -> Result<Vec<KnownProof>, RecordError> {
    let kept = match store {
        Some(store) => store.last_proofs(&rig.title, kind_of(rig))?,
        None => Vec::new(),
    };
    let today = day(now);
    Ok(procedures_of(rig)
        .map(|procedure| {
            let made = kept.iter().find(|proof| proof.interlock == procedure.key).cloned();
            let now = digest(rig, procedure);
            let last = made.as_ref().map_or(LastProof::Never, |made| last(made, now.as_deref()));
            (procedure.key, made, standing(last, today, rig.proof))
        })
        .collect())
}

/// What the rig's lines go to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lines {
    /// A twin: pseudo-terminals of this computer.
    Simulated,
    /// Something that may be a machine.
    Real,
}

/// What a start on this rig demands: nothing of a twin on lines of its own, every proof of all
/// else. A rig file that calls a machine a twin takes no proof away.
///
/// # Errors
/// The records can't be opened or read: what is wrong and what to do.
pub fn demanded(
    rig: &Rig,
    lines: Lines,
    records: Option<&Path>,
) -> Result<Vec<(&'static str, Standing)>, String> {
    if rig.kind == RigKind::Twin && lines == Lines::Simulated {
        return Ok(Vec::new());
    }
    let read = || {
        let file = records_file(records)?;
        let store = if file.exists() { Some(Store::open_existing(&file)?) } else { None };
        standings(store.as_ref(), rig, Timestamp::now())
    };
    let all = read().map_err(|problem| problem.whole())?;
    Ok(all.into_iter().map(|(key, _, standing)| (key, standing)).collect())
}

/// The day of a proof.
#[must_use]
pub fn day_of(made: &ProofRecord) -> String {
    made.made_at.strftime("%Y-%m-%d").to_string()
}

/// Where a proof stands, in words.
#[must_use]
pub fn words(standing: Standing, last: Option<&ProofRecord>) -> String {
    let on = last.map_or_else(String::new, day_of);
    match standing {
        Standing::Never => "never proved".to_owned(),
        Standing::Failed => "failed last: counts as not proved".to_owned(),
        Standing::Changed(_) => {
            format!("changed since it was proved on {on}: counts as not proved")
        }
        Standing::Unfounded(_) => format!(
            "proved on {on}, before the record kept what a proof stands on: counts as not proved"
        ),
        Standing::Ahead(days) => format!(
            "dated {on}, {days} days from now: counts as not proved; set the clock right or prove it anew"
        ),
        Standing::DueIn(_) => {
            last.map_or_else(String::new, |last| format!("due on {}", last.next_due))
        }
        Standing::Late(days) => format!("{days} days overdue: a warning at the start"),
        Standing::Overdue(days) => format!("{days} days overdue: no start"),
    }
}

/// What is said before a start of proofs that are late and still within the grace.
#[must_use]
pub fn warnings(standings: &[(&'static str, Standing)]) -> Vec<String> {
    standings
        .iter()
        .filter_map(|(key, standing)| match standing {
            Standing::Late(days) => Some(format!(
                "the proof test of `{key}` is {days} days overdue: run `evenpass prove {key}`"
            )),
            _ => None,
        })
        .collect()
}

/// The calendar day in UTC: the same wherever the record is read.
fn date(at: Timestamp) -> Date {
    at.to_zoned_datetime(TimeZone::UTC).date()
}

fn day(at: Timestamp) -> Day {
    Day(at.as_second().div_euclid(DAY))
}
