//! Marks: what people add to a run, a batch or a rig, in the record: never changed, never removed.
//! What was a mistake is taken back by another mark, with who and why.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, named_params, params};
use serde::{Deserialize, Serialize};

use super::part::of_part;
use super::reading::{instant, parsed};
use super::store::json;
use super::{BatchId, Outcome, RecordError, RunId, RunKind, Said, Store, chain};

/// Something that a person added.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mark {
    /// When it was told, by the wall clock.
    pub at: Timestamp,
    /// Who told it.
    pub person: String,
    /// The rig's title.
    pub rig: String,
    /// Where: what was said of the twin says nothing of a machine.
    pub kind: RunKind,
    /// The run it is about, if it is about one.
    pub run: Option<RunId>,
    /// The batch it is about, if it is about one.
    pub batch: Option<BatchId>,
    /// What was said.
    pub said: Said,
}

/// A mark that is kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkRecord {
    /// Its number, by which it is taken back.
    pub number: i64,
    /// The mark.
    #[serde(flatten)]
    pub mark: Mark,
    /// The number of the mark that took it back; `None` while it counts.
    pub taken_back_by: Option<i64>,
    /// What had been run when it was told; `None` where an earlier version kept it.
    #[serde(skip)]
    pub told_after: Option<ToldAfter>,
}

/// What had been run when a mark was told. No clock that is set moves it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct ToldAfter {
    /// The place in the records of the run that had begun last, among those of the mark's kind; zero
    /// before the first.
    pub run: i64,
    /// Whether that run was over.
    pub ended: bool,
}

/// A mark's data: what was said, and after what.
#[derive(Serialize)]
struct Kept<'a> {
    #[serde(flatten)]
    said: &'a Said,
    told_after: ToldAfter,
}

/// What stands in a mark's data beside what was said.
#[derive(Deserialize)]
struct Beside {
    #[serde(default)]
    told_after: Option<ToldAfter>,
}

/// Which marks are asked for.
#[derive(Debug, Clone, Copy)]
pub enum Of<'a> {
    /// Those of a run.
    Run(&'a RunId),
    /// Those of a run and of the runs before it whose part it went on with.
    Part(&'a RunId),
    /// Those of a batch, those of its runs as well.
    Batch(&'a BatchId),
    /// Those of a rig, of its runs and batches as well, made on the twin or on the machine.
    Rig(&'a str, RunKind),
}

const COLUMNS: &str = "
    SELECT m.place, m.at, m.person, m.rig, m.kind, r.id, b.id, m.data,
        (SELECT t.place FROM mark t WHERE t.what = 'taken_back' AND t.rig = m.rig
            AND t.kind = m.kind AND t.data ->> '$.mark' = m.place ORDER BY t.place LIMIT 1)
    FROM mark m LEFT JOIN run r ON r.place = m.run LEFT JOIN batch b ON b.place = m.batch";

impl Store {
    /// Writes a mark down, durable on return, and gives its number.
    ///
    /// # Errors
    /// There is no such run, batch or mark to take back, it was taken back before, or the disk
    /// refuses.
    pub fn keep_mark(&mut self, told: &Mark) -> Result<i64, RecordError> {
        if let Some(run) = &told.run {
            self.must_have(run)?;
        }
        if let Some(batch) = &told.batch {
            self.batch(batch)?;
        }
        if let Said::TakenBack { mark, .. } = told.said {
            let marks = self.marks(Of::Rig(&told.rig, told.kind))?;
            let found = marks.into_iter().find(|kept| kept.number == mark);
            match found.map(|kept| kept.taken_back_by) {
                None => return Err(RecordError::UnknownMark { number: mark }),
                Some(Some(by)) => return Err(RecordError::TakenBackAlready { number: mark, by }),
                Some(None) => {}
            }
        }
        let kept = Kept { said: &told.said, told_after: self.begun_last(told.kind)? };
        let mut number = 0;
        self.change(|change| {
            change.execute(
                "INSERT INTO mark (at, person, rig, kind, run, batch, what, data)
                 VALUES (:at, :person, :rig, :kind, (SELECT place FROM run WHERE id = :run),
                    (SELECT place FROM batch WHERE id = :batch), :what, :data)",
                named_params! {
                    ":at": told.at.to_string(),
                    ":person": told.person,
                    ":rig": told.rig,
                    ":kind": told.kind,
                    ":run": told.run.as_ref().map(RunId::as_str),
                    ":batch": told.batch.as_ref().map(BatchId::as_str),
                    ":what": told.said.word(),
                    ":data": json(&kept)?,
                },
            )?;
            number = change.last_insert_rowid();
            chain::link(change, &chain::MARK)
        })?;
        Ok(number)
    }

    /// The run of a kind that has begun last. A record is opened before its job begins.
    fn begun_last(&self, kind: RunKind) -> Result<ToldAfter, RecordError> {
        let last = "SELECT place, id, outcome FROM run WHERE kind = ?1 AND (outcome <> ?2
                OR EXISTS (SELECT 1 FROM entry WHERE entry.run = run.place))
             ORDER BY place DESC LIMIT 1";
        let read = |row: &Row<'_>| Ok((row.get(0)?, RunId::stored(row.get(1)?), row.get(2)?));
        let found = self.connection.query_row(last, params![kind, Outcome::Open], read).optional();
        let Some((run, id, outcome)) = found.map_err(|source| self.sorted(source))? else {
            return Ok(ToldAfter { run: 0, ended: true });
        };
        let ended = self.outcome_seen(&id, outcome)? != Outcome::Open;
        Ok(ToldAfter { run, ended })
    }

    /// One mark by its number.
    ///
    /// # Errors
    /// There is none, or the file can't be read.
    pub fn mark(&self, number: i64) -> Result<MarkRecord, RecordError> {
        let one = format!("{COLUMNS} WHERE m.place = ?1");
        let found = self.connection.query_row(&one, [number], mark).optional();
        found.map_err(|source| self.sorted(source))?.ok_or(RecordError::UnknownMark { number })
    }

    /// Marks in the order they were told, those taken back too.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn marks(&self, of: Of<'_>) -> Result<Vec<MarkRecord>, RecordError> {
        let read = || {
            let marks = |condition: &str, values: &[&dyn rusqlite::ToSql]| {
                let mut all = self
                    .connection
                    .prepare(&format!("{COLUMNS} WHERE {condition} ORDER BY m.place"))?;
                all.query_map(values, mark)?.collect::<rusqlite::Result<Vec<_>>>()
            };
            match of {
                Of::Run(run) => marks("r.id = ?1", &[&run.as_str()]),
                Of::Part(run) => marks(&format!("r.id IN ({})", of_part()), &[&run.as_str()]),
                Of::Batch(batch) => marks(
                    "b.id = ?1 OR m.run IN (SELECT p.run FROM batch_part p
                        JOIN batch o ON o.place = p.batch WHERE o.id = ?1)",
                    &[&batch.as_str()],
                ),
                Of::Rig(rig, kind) => marks("m.rig = ?1 AND m.kind = ?2", &[&rig, &kind]),
            }
        };
        read().map_err(|source| self.sorted(source))
    }
}

fn mark(row: &Row<'_>) -> rusqlite::Result<MarkRecord> {
    Ok(MarkRecord {
        number: row.get(0)?,
        mark: Mark {
            at: instant(1, &row.get::<_, String>(1)?)?,
            person: row.get(2)?,
            rig: row.get(3)?,
            kind: row.get(4)?,
            run: row.get::<_, Option<String>>(5)?.map(RunId::stored),
            batch: row.get::<_, Option<String>>(6)?.map(BatchId::stored),
            said: parsed(row, 7)?,
        },
        taken_back_by: row.get(8)?,
        told_after: parsed::<Beside>(row, 7)?.told_after,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Verdict;
    use crate::record::fixture::{file, header};

    fn decided(run: &RunId, verdict: Verdict) -> Mark {
        Mark {
            at: "2026-11-25T10:00:00Z".parse().unwrap(),
            person: "A. Fitter".to_owned(),
            rig: "Bench".to_owned(),
            kind: RunKind::Twin,
            run: Some(run.clone()),
            batch: None,
            said: Said::Decided { verdict, reason: "thin at the tail".to_owned() },
        }
    }

    #[test]
    fn a_mark_reads_back_with_its_run_and_says_who_took_it_back() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).unwrap();
        let run = store.begin(&header(), None).unwrap().id;
        let told = decided(&run, Verdict::Hold);
        let number = store.keep_mark(&told).unwrap();
        let back = Said::TakenBack { mark: number, reason: "other part".to_owned() };
        let back = Mark { said: back, ..told.clone() };
        let by = store.keep_mark(&back).unwrap();
        let marks = store.marks(Of::Run(&run)).unwrap();
        assert_eq!(marks[0].mark, told);
        assert_eq!(marks[0].taken_back_by, Some(by));
        assert_eq!(marks[1].taken_back_by, None);
        let error = store.keep_mark(&back).unwrap_err();
        assert!(matches!(error, RecordError::TakenBackAlready { .. }), "{error}");
    }

    #[test]
    fn a_mark_of_nothing_is_refused() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).unwrap();
        let nobody = RunId::stored("2026-11-25-009".to_owned());
        let error = store.keep_mark(&decided(&nobody, Verdict::Pass)).unwrap_err();
        assert!(matches!(error, RecordError::UnknownRun { .. }), "{error}");
        let run = store.begin(&header(), None).unwrap().id;
        let back = Said::TakenBack { mark: 7, reason: String::new() };
        let error = store.keep_mark(&Mark { said: back, ..decided(&run, Verdict::Pass) });
        assert!(matches!(error, Err(RecordError::UnknownMark { number: 7 })), "{error:?}");
    }
}
