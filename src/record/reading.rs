//! Reading the record: the list of runs, one run whole, and finding a run by what a person typed.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::time::Duration;

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::{Mass, Time};
use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row};
use serde::de::DeserializeOwned;
use serde::de::value::{Error as WordError, StrDeserializer};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::alive::{self, Process};
use super::changes::Changes;
use super::facts::{PassRow, passes};
use super::{Deviation, Outcome, Pruned, RecordError, RunId, RunKind, Source, Store};

/// How many of the recorded runs are offered for one that is unknown.
const OFFERED: usize = 3;

/// One line of the list of runs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RunSummary {
    /// Its id.
    pub id: RunId,
    /// When it began, by the wall clock.
    pub started_at: Timestamp,
    /// When it ended, by the wall clock; `None` while open, and for an interrupted run.
    pub ended_at: Option<Timestamp>,
    /// The job's title.
    pub title: String,
    /// Where it took place.
    pub kind: RunKind,
    /// What became of it.
    pub outcome: Outcome,
    /// From its first entry to its last, on its own time line.
    pub lasted: Time,
    /// Passes that ended.
    pub passes_done: u32,
    /// Passes planned, as far as the zones begun told.
    pub passes_planned: Option<u32>,
    /// Powder fed, from the totals.
    pub powder: Option<Mass>,
    /// What ended it.
    pub first_cause: Option<String>,
    /// The run whose part it goes on with, if it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resumes: Option<RunId>,
}

impl RunSummary {
    /// Whether it made its part from the beginning to the end: what it took is what a part takes, and
    /// its course is one to compare by. Neither is so of what was broken off, nor of a rest.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.outcome == Outcome::Complete && self.resumes.is_none()
    }
}

/// Entries that were made and not kept: all numbers from the first to the last.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Gap {
    /// First number missing.
    pub first: u64,
    /// Last number missing.
    pub last: u64,
}

impl Gap {
    fn over(missing: RangeInclusive<u64>) -> Option<Self> {
        let (first, last) = missing.into_inner();
        (first <= last).then_some(Self { first, last })
    }

    /// How many entries are missing.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.last - self.first + 1
    }
}

/// One run, whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RunRecord {
    /// Its line in the list.
    #[serde(flatten)]
    pub summary: RunSummary,
    /// The recipe, as it was.
    pub recipe: Source,
    /// The rig file, as it was.
    pub rig: Source,
    /// The program.
    pub program: Value,
    /// What the plan expected.
    pub forecast: Value,
    /// Version of the software that wrote it.
    pub software: String,
    /// Seed of everything random.
    pub seed: Option<u64>,
    /// What a person said of this part.
    pub particulars: BTreeMap<String, String>,
    /// Figures by name; null until it ended.
    pub totals: Value,
    /// What was done otherwise than planned.
    pub deviations: Vec<Deviation>,
    /// Entries counted lost; `None` until it ended.
    pub lost: Option<u64>,
    /// Where its entries went to, once they are kept in a file of their own.
    pub pruned: Option<Pruned>,
    /// Where entries are missing; none of a run whose entries went.
    pub gaps: Vec<Gap>,
    /// The passes as they went.
    pub passes: Vec<PassRow>,
    /// Everything that was written down, by rising number.
    pub entries: Vec<Entry>,
}

/// The last two figures, and how long a run lasted, stand beside the run once its entries went.
///
/// What a run goes on with stands among its particulars as [`super::RESUMES`].
/// The index is named because the planner, which knows no row counts, would read all samples.
const SUMMARY: &str = "
    SELECT id, started_at, ended_at, title, kind, outcome, first_cause, totals,
        coalesce((SELECT at_us FROM entry WHERE run = place ORDER BY number LIMIT 1), 0),
        coalesce((SELECT at_us FROM entry WHERE run = place ORDER BY number DESC LIMIT 1),
            (SELECT summary ->> '$.lasted_us' FROM pruned WHERE pruned.run = run.place), 0),
        coalesce((SELECT summary ->> '$.passes_done' FROM pruned WHERE pruned.run = run.place),
            (SELECT count(*) FROM entry INDEXED BY entry_pass WHERE run = place AND kind = 'pass'
                AND data ->> '$.mark' = 'ended')),
        coalesce((SELECT summary ->> '$.passes_planned' FROM pruned WHERE pruned.run = run.place),
            (SELECT sum(max(planned, 0)) FROM (
                SELECT max(CAST(data ->> '$.of' AS INTEGER)) AS planned
                FROM entry INDEXED BY entry_pass
                WHERE run = place AND kind = 'pass' GROUP BY data ->> '$.zone'))),
        particulars ->> '$.resumes'
    FROM run";

const HEADER: &str = "
    SELECT recipe_name, recipe, rig_name, rig, program, forecast, software, seed, particulars,
        totals, deviations, lost, first_entry, last_entry
    FROM run WHERE id = ?1";

impl Store {
    /// All runs, in the order they were begun.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn runs(&self) -> Result<Vec<RunSummary>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(&format!("{SUMMARY} ORDER BY place"))?;
            all.query_map([], summary)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        let mut runs = read().map_err(|source| self.sorted(source))?;
        for run in &mut runs {
            run.outcome = self.outcome_seen(&run.id, run.outcome)?;
        }
        Ok(runs)
    }

    /// The run a person means: its id, the beginning of an id that only one has, or `latest`.
    ///
    /// # Errors
    /// [`RecordError::UnknownRun`] names the nearest; [`RecordError::SeveralRuns`] how many begin
    /// so.
    pub fn find(&self, asked: &str) -> Result<RunId, RecordError> {
        let asked = asked.trim();
        let ids = self.ids()?;
        if asked == "latest"
            && let Some(id) = ids.last()
        {
            return Ok(id.clone());
        }
        if let Some(id) = ids.iter().find(|id| id.as_str() == asked) {
            return Ok(id.clone());
        }
        let begin: Vec<&RunId> =
            ids.iter().filter(|id| !asked.is_empty() && id.as_str().starts_with(asked)).collect();
        match begin.as_slice() {
            [id] => Ok((*id).clone()),
            [first, .., last] => Err(RecordError::SeveralRuns {
                asked: asked.to_owned(),
                count: begin.len(),
                first: first.to_string(),
                last: last.to_string(),
            }),
            [] => Err(RecordError::UnknownRun {
                asked: asked.to_owned(),
                nearest: nearest(asked, &ids),
            }),
        }
    }

    /// One run, whole.
    ///
    /// # Errors
    /// [`RecordError::UnknownRun`] when there is none with that id; else when the file can't be
    /// read or contradicts itself.
    pub fn run(&self, id: &RunId) -> Result<RunRecord, RecordError> {
        let sorted = |source| self.sorted(source);
        // One view of the file: a run that is being written must not grow between the questions.
        let view = self.connection.unchecked_transaction().map_err(sorted)?;
        let entries = self.entries(id)?;
        let found = view
            .query_row(&format!("{SUMMARY} WHERE id = ?1"), [id.as_str()], summary)
            .and_then(|line| view.query_row(HEADER, [id.as_str()], |row| whole(row, line, entries)))
            .optional()
            .map_err(sorted)?;
        drop(view);
        let Some(mut record) = found else { return Err(self.unknown(id)?) };
        let stored = record.summary.outcome;
        record.summary.outcome = self.outcome_seen(id, stored)?;
        if stored == Outcome::Open
            && let Some(known) = self.unseen(id)?
        {
            let journal = record.entries.last().map_or(0, |entry| entry.number);
            let missing = known.last.and_then(|last| Gap::over(journal.saturating_add(1)..=last));
            record.gaps.extend(missing);
            record.totals = known.totals();
        }
        record.pruned = self.pruned(id)?;
        if record.pruned.is_some() {
            record.gaps.clear();
        }
        Ok(record)
    }

    /// Whether there is a run with just that id.
    pub(super) fn must_have(&self, id: &RunId) -> Result<(), RecordError> {
        let one = "SELECT EXISTS (SELECT 1 FROM run WHERE id = ?1)";
        let found = self.connection.query_row(one, [id.as_str()], |row| row.get(0));
        if found.map_err(|source| self.sorted(source))? { Ok(()) } else { Err(self.unknown(id)?) }
    }

    fn unknown(&self, id: &RunId) -> Result<RecordError, RecordError> {
        let (asked, ids) = (id.to_string(), self.ids()?);
        Ok(RecordError::UnknownRun { nearest: nearest(&asked, &ids), asked })
    }

    fn ids(&self) -> Result<Vec<RunId>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare("SELECT id FROM run ORDER BY place")?;
            all.query_map([], |row| row.get(0).map(RunId::stored))?
                .collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }

    fn entries(&self, id: &RunId) -> Result<Vec<Entry>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT number, at_us, kind, text, cause, data FROM entry
                 WHERE run = (SELECT place FROM run WHERE id = ?1) ORDER BY number",
            )?;
            all.query_map([id.as_str()], entry)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }

    /// An open run without a living process is interrupted. It may have ended between the two
    /// looks, and is asked for once more.
    pub(super) fn outcome_seen(&self, id: &RunId, stored: Outcome) -> Result<Outcome, RecordError> {
        if stored != Outcome::Open || alive::look(self.file(), id) == Process::Alive {
            return Ok(stored);
        }
        let now: Outcome = self
            .connection
            .query_row("SELECT outcome FROM run WHERE id = ?1", [id.as_str()], |row| row.get(0))
            .map_err(|source| self.sorted(source))?;
        Ok(if now == Outcome::Open { Outcome::Interrupted } else { now })
    }

    pub(super) fn sorted(&self, source: rusqlite::Error) -> RecordError {
        match source {
            rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::InvalidColumnType(..) => {
                tracing::info!("the database said: {source}");
                let what = "an entry holds what no version of this program writes";
                RecordError::Damaged { file: self.file().to_owned(), what }
            }
            other => RecordError::from_sqlite(self.file(), other),
        }
    }
}

fn summary(row: &Row<'_>) -> rusqlite::Result<RunSummary> {
    let totals: Value = parsed(row, 7)?;
    let (began, last): (u64, u64) = (row.get(8)?, row.get(9)?);
    Ok(RunSummary {
        id: RunId::stored(row.get(0)?),
        started_at: instant(1, &row.get::<_, String>(1)?)?,
        ended_at: row.get::<_, Option<String>>(2)?.map(|text| instant(2, &text)).transpose()?,
        title: row.get(3)?,
        kind: row.get(4)?,
        outcome: row.get(5)?,
        first_cause: row.get(6)?,
        lasted: Time::from_duration(Duration::from_micros(last.saturating_sub(began))),
        passes_done: row.get(10)?,
        passes_planned: row.get(11)?,
        powder: totals.get("powder").and_then(|powder| Mass::deserialize(powder).ok()),
        resumes: row.get::<_, Option<String>>(12)?.map(RunId::stored),
    })
}

fn whole(row: &Row<'_>, line: RunSummary, entries: Vec<Entry>) -> rusqlite::Result<RunRecord> {
    let is_listed = line.ended_at.is_some();
    Ok(RunRecord {
        summary: line,
        recipe: Source { name: row.get(0)?, text: row.get(1)? },
        rig: Source { name: row.get(2)?, text: row.get(3)? },
        program: parsed(row, 4)?,
        forecast: parsed(row, 5)?,
        software: row.get(6)?,
        seed: row
            .get::<_, Option<String>>(7)?
            .map(|seed| seed.parse().map_err(|error| unread(7, error)))
            .transpose()?,
        particulars: parsed(row, 8)?,
        totals: parsed(row, 9)?,
        deviations: match is_listed {
            true => parsed(row, 10)?,
            // Nobody has listed them yet, or will any more.
            false => Changes::of(&entries).made().to_vec(),
        },
        lost: row.get(11)?,
        pruned: None,
        gaps: gaps(&entries, row.get(12)?, row.get(13)?),
        passes: passes(&entries),
        entries,
    })
}

pub(super) fn instant(column: usize, text: &str) -> rusqlite::Result<Timestamp> {
    text.parse().map_err(|error: jiff::Error| unread(column, error))
}

fn entry(row: &Row<'_>) -> rusqlite::Result<Entry> {
    let kind: String = row.get(2)?;
    let kind = EntryKind::deserialize(StrDeserializer::<WordError>::new(&kind));
    Ok(Entry {
        number: row.get(0)?,
        at: Moment::from_micros(row.get(1)?),
        kind: kind.map_err(|error| unread(2, error))?,
        text: row.get(3)?,
        cause: row.get(4)?,
        data: parsed(row, 5)?,
    })
}

pub(super) fn parsed<T: DeserializeOwned>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let text = row.get_ref(column)?.as_str().map_err(|error| unread(column, error))?;
    serde_json::from_str(text).map_err(|error| unread(column, error))
}

pub(super) fn unread(
    column: usize,
    error: impl std::error::Error + Send + Sync + 'static,
) -> rusqlite::Error {
    let found = rusqlite::types::Type::Text;
    rusqlite::Error::FromSqlConversionFailure(column, found, Box::new(error))
}

/// Where numbers are missing, from the first that was to come to the last that was handed in.
fn gaps(entries: &[Entry], first: u64, last: Option<u64>) -> Vec<Gap> {
    let mut gaps = Vec::new();
    let mut awaited = first;
    for number in entries.iter().map(|entry| entry.number) {
        gaps.extend(number.checked_sub(1).and_then(|before| Gap::over(awaited..=before)));
        awaited = number.saturating_add(1);
    }
    gaps.extend(last.and_then(|last| Gap::over(awaited..=last)));
    gaps
}

/// The ids most like what was asked for, best first.
fn nearest(asked: &str, ids: &[RunId]) -> Vec<String> {
    let mut all: Vec<(usize, &RunId)> =
        ids.iter().map(|id| (strsim::levenshtein(asked, id.as_str()), id)).collect();
    // Of those alike the later is the likelier.
    all.reverse();
    all.sort_by_key(|(distance, _)| *distance);
    all.into_iter().take(OFFERED).map(|(_, id)| id.to_string()).collect()
}
