//! Batches in the record: an order for so many parts alike, and which run made which of them.

use std::fmt;

use evenpass_core::batch::Scrapped;
use evenpass_core::quantity::Time;
use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, Transaction, named_params, params};
use serde::{Deserialize, Serialize};

use super::reading::{instant, parsed};
use super::store::json;
use super::{Outcome, RecordError, RunId, RunKind, Source, Store, chain};

/// A batch's name, as whoever ordered it says it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize)]
#[serde(transparent)]
pub struct BatchId(String);

impl BatchId {
    /// As it stands in the record, or as a person typed it.
    #[must_use]
    pub const fn stored(text: String) -> Self {
        Self(text)
    }

    /// As text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for BatchId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// What was ordered of a batch. Stored as JSON; a field that is added has a default.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ordered {
    /// The parts' serials, in the order they are made; as many as there are parts.
    pub serials: Vec<String>,
    /// The first part is measured, and every so-many-th after it; `None` for the first alone.
    pub measured_every: Option<u32>,
    /// What becomes of a scrapped part.
    #[serde(default)]
    pub scrapped: Scrapped,
    /// How long the torch burns from one cleaning of its tip to the next; `None` when nobody is to
    /// be reminded.
    #[serde(default)]
    pub tip_every: Option<Time>,
    /// The customer's own number, drawing and whatever else belongs to it, by name.
    #[serde(default)]
    pub particulars: std::collections::BTreeMap<String, String>,
}

/// A batch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Batch {
    /// Its name; no two batches have the same.
    pub id: BatchId,
    /// When it was made, by the wall clock.
    pub made_at: Timestamp,
    /// Who made it.
    pub person: String,
    /// The rig's title.
    pub rig: String,
    /// Where its parts are made.
    pub kind: RunKind,
    /// The recipe, as it was then.
    pub recipe: Source,
    /// What was ordered.
    pub ordered: Ordered,
}

/// One run of one part of a batch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BatchPart {
    /// The run.
    pub run: RunId,
    /// Which part, from 1.
    pub number: u32,
    /// Its serial.
    pub serial: String,
}

/// A part of a batch for which a run is begun.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartToMake {
    /// The batch.
    pub batch: BatchId,
    /// Which part, from 1.
    pub number: u32,
    /// Its serial.
    pub serial: String,
    /// How many runs there were for it when it was looked at.
    pub tried: usize,
}

/// Says that the run at a place makes a part of a batch.
pub(super) fn insert_part(
    change: &Transaction<'_>,
    run: i64,
    part: &PartToMake,
) -> rusqlite::Result<()> {
    change.execute(
        "INSERT INTO batch_part (batch, run, number, serial)
         VALUES ((SELECT place FROM batch WHERE id = ?1), ?2, ?3, ?4)",
        params![part.batch.as_str(), run, part.number, part.serial],
    )?;
    chain::link(change, &chain::BATCH_PART)
}

impl Store {
    /// Writes a batch down; durable on return.
    ///
    /// # Errors
    /// There is one with that name, or the disk refuses.
    pub fn keep_batch(&mut self, batch: &Batch) -> Result<(), RecordError> {
        let known = "SELECT EXISTS (SELECT 1 FROM batch WHERE id = ?1)";
        let known = self.connection.query_row(known, [batch.id.as_str()], |row| row.get(0));
        if known.map_err(|source| self.sorted(source))? {
            return Err(RecordError::KnownBatch { id: batch.id.to_string() });
        }
        self.change(|change| {
            change.execute(
                "INSERT INTO batch (id, made_at, person, rig, kind, recipe_name, recipe, data)
                 VALUES (:id, :made_at, :person, :rig, :kind, :recipe_name, :recipe, :data)",
                named_params! {
                    ":id": batch.id.as_str(),
                    ":made_at": batch.made_at.to_string(),
                    ":person": batch.person,
                    ":rig": batch.rig,
                    ":kind": batch.kind,
                    ":recipe_name": batch.recipe.name,
                    ":recipe": batch.recipe.text,
                    ":data": json(&batch.ordered)?,
                },
            )?;
            chain::link(change, &chain::BATCH)
        })
    }

    /// All batches, in the order they were made.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn batches(&self) -> Result<Vec<Batch>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(&format!("{COLUMNS} ORDER BY place"))?;
            all.query_map([], batch)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }

    /// One batch.
    ///
    /// # Errors
    /// [`RecordError::UnknownBatch`] names those there are; else the file can't be read.
    pub fn batch(&self, id: &BatchId) -> Result<Batch, RecordError> {
        let one = format!("{COLUMNS} WHERE id = ?1");
        let found = self.connection.query_row(&one, [id.as_str()], batch).optional();
        match found.map_err(|source| self.sorted(source))? {
            Some(batch) => Ok(batch),
            None => Err(RecordError::UnknownBatch {
                asked: id.to_string(),
                known: self.batches()?.into_iter().map(|batch| batch.id.to_string()).collect(),
            }),
        }
    }

    /// Whether a run may be begun that makes a part: nobody makes it, and nobody has begun it since it
    /// was looked at. Judged in the change that writes the run down, so that no two make one part.
    pub(super) fn must_be_free(&self, kind: RunKind, part: &PartToMake) -> Result<(), RecordError> {
        self.batch(&part.batch)?;
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT r.id, r.outcome FROM batch_part p
                    JOIN run r ON r.place = p.run JOIN batch b ON b.place = p.batch
                 WHERE b.id = ?1 AND p.number = ?2 AND r.kind = ?3",
            )?;
            let run = |row: &Row<'_>| Ok((RunId::stored(row.get(0)?), row.get(1)?));
            all.query_map(params![part.batch.as_str(), part.number, kind], run)?
                .collect::<rusqlite::Result<Vec<(RunId, Outcome)>>>()
        };
        let tried = read().map_err(|source| self.sorted(source))?;
        let (batch, number) = (part.batch.to_string(), part.number);
        for (run, outcome) in &tried {
            if self.outcome_seen(run, *outcome)? == Outcome::Open {
                return Err(RecordError::PartIsMade { batch, number, run: run.to_string() });
            }
        }
        if tried.len() == part.tried {
            return Ok(());
        }
        Err(RecordError::PartWasBegun { batch, number })
    }

    /// The runs of a batch, in their order.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn batch_parts(&self, id: &BatchId) -> Result<Vec<BatchPart>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT r.id, p.number, p.serial FROM batch_part p
                    JOIN run r ON r.place = p.run JOIN batch b ON b.place = p.batch
                 WHERE b.id = ?1 ORDER BY p.place",
            )?;
            let part = |row: &Row<'_>| {
                let run = RunId::stored(row.get(0)?);
                Ok(BatchPart { run, number: row.get(1)?, serial: row.get(2)? })
            };
            all.query_map([id.as_str()], part)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }

    /// The batch and part that a run makes, if it makes one.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn batch_of(&self, run: &RunId) -> Result<Option<(BatchId, BatchPart)>, RecordError> {
        let one = "SELECT b.id, p.number, p.serial FROM batch_part p
                JOIN run r ON r.place = p.run JOIN batch b ON b.place = p.batch
             WHERE r.id = ?1";
        let read = |row: &Row<'_>| {
            let part = BatchPart { run: run.clone(), number: row.get(1)?, serial: row.get(2)? };
            Ok((BatchId::stored(row.get(0)?), part))
        };
        let found = self.connection.query_row(one, [run.as_str()], read).optional();
        found.map_err(|source| self.sorted(source))
    }
}

const COLUMNS: &str = "SELECT id, made_at, person, rig, kind, recipe_name, recipe, data FROM batch";

fn batch(row: &Row<'_>) -> rusqlite::Result<Batch> {
    Ok(Batch {
        id: BatchId(row.get(0)?),
        made_at: instant(1, &row.get::<_, String>(1)?)?,
        person: row.get(2)?,
        rig: row.get(3)?,
        kind: row.get(4)?,
        recipe: Source { name: row.get(5)?, text: row.get(6)? },
        ordered: parsed(row, 7)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::fixture::{file, header};

    fn any(id: &str) -> Batch {
        let serials = vec!["S-1".to_owned(), "S-2".to_owned()];
        let particulars = [("drawing".to_owned(), "4711 B".to_owned())].into_iter().collect();
        Batch {
            id: BatchId::stored(id.to_owned()),
            made_at: "2026-11-25T08:00:00Z".parse().unwrap(),
            person: "A. Fitter".to_owned(),
            rig: "Bench".to_owned(),
            kind: RunKind::Twin,
            recipe: Source { name: "shaft.toml".to_owned(), text: "title".to_owned() },
            ordered: Ordered {
                serials,
                measured_every: Some(5),
                scrapped: Scrapped::Lost,
                tip_every: Some(Time::from_s(14_400.0)),
                particulars,
            },
        }
    }

    #[test]
    fn a_batch_reads_back_with_the_runs_of_its_parts() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).unwrap();
        let batch = any("26-118");
        store.keep_batch(&batch).unwrap();
        let run = store.begin(&header(), Some(&part_1(&batch, 0))).unwrap().id;
        let part = BatchPart { run: run.clone(), number: 1, serial: "S-1".to_owned() };
        assert_eq!(store.batch(&batch.id).unwrap(), batch);
        assert_eq!(store.batch_parts(&batch.id).unwrap(), std::slice::from_ref(&part));
        assert_eq!(store.batch_of(&run).unwrap(), Some((batch.id, part)));
    }

    fn part_1(batch: &Batch, tried: usize) -> PartToMake {
        PartToMake { batch: batch.id.clone(), number: 1, serial: "S-1".to_owned(), tried }
    }

    #[test]
    fn a_run_is_not_begun_for_a_part_that_another_makes_or_has_begun_since_it_was_looked_at() {
        let (_folder, path) = file();
        let batch = any("26-118");
        Store::open(&path).unwrap().keep_batch(&batch).unwrap();
        let mut stores = [Store::open(&path).unwrap(), Store::open(&path).unwrap()];
        let [one, other] = &mut stores;
        let open = one.begin(&header(), Some(&part_1(&batch, 0))).unwrap();
        let error = other.begin(&header(), Some(&part_1(&batch, 0))).unwrap_err();
        assert!(matches!(error, RecordError::PartIsMade { number: 1, .. }), "{error}");
        // Looked at meanwhile: whoever waits until it is over makes none either.
        let error = other.begin(&header(), Some(&part_1(&batch, 1))).unwrap_err();
        assert!(matches!(error, RecordError::PartIsMade { number: 1, .. }), "{error}");
        drop(open);
        let error = other.begin(&header(), Some(&part_1(&batch, 0))).unwrap_err();
        assert!(matches!(error, RecordError::PartWasBegun { number: 1, .. }), "{error}");
        assert_eq!(other.runs().unwrap().len(), 1, "nothing was begun");
        assert!(other.begin(&header(), Some(&part_1(&batch, 1))).is_ok(), "looked at anew");
    }

    #[test]
    fn a_second_batch_of_one_name_is_refused_and_an_unknown_one_is_answered_with_those_there_are() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).unwrap();
        store.keep_batch(&any("26-118")).unwrap();
        let error = store.keep_batch(&any("26-118")).unwrap_err();
        assert!(matches!(error, RecordError::KnownBatch { .. }), "{error}");
        let error = store.batch(&BatchId::stored("26-119".to_owned())).unwrap_err();
        assert!(error.to_string().contains("26-118"), "{error}");
    }
}
