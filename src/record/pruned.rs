//! Runs whose entries went into a file of their own. What the run was, how it ended, and what people
//! said of it stay; so does its seal, which the file is held against.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, params};
use serde::Serialize;
use serde_json::json;

use super::reading::instant;
use super::{Outcome, RecordError, RunId, RunSummary, Store, chain};

/// Where the entries of a run went to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Pruned {
    /// When, by the wall clock.
    pub at: Timestamp,
    /// Who had it done.
    pub person: String,
    /// How many entries went.
    pub entries: u64,
    /// The file's name, without its folder.
    pub file: String,
    /// Its SHA-256 digest, hexadecimal.
    pub digest: String,
}

impl Store {
    /// Takes the entries of a run out of the record, all or none; durable on return. Only what ended
    /// can be pruned.
    ///
    /// # Errors
    /// There is no such run, it is open, it was pruned before, another number of entries is there,
    /// or the disk refuses.
    pub fn prune(&mut self, run: &RunSummary, pruned: &Pruned) -> Result<(), RecordError> {
        self.must_have(&run.id)?;
        if let Some(before) = self.pruned(&run.id)? {
            return Err(RecordError::PrunedAlready { run: run.id.to_string(), file: before.file });
        }
        if run.outcome == Outcome::Open {
            return Err(RecordError::StillOpen { run: run.id.to_string() });
        }
        let summary = json!({
            "lasted_us": run.lasted.to_duration().as_micros(),
            "passes_done": run.passes_done,
            "passes_planned": run.passes_planned,
        });
        let id = run.id.as_str();
        let mut is_open = false;
        self.change(|change| {
            let put = change.execute(
                "INSERT INTO pruned (run, pruned_at, person, entries, summary, file, digest)
                 SELECT place, ?2, ?3, ?4, ?5, ?6, ?7 FROM run WHERE id = ?1 AND outcome <> 'open'",
                params![
                    id,
                    pruned.at.to_string(),
                    pruned.person,
                    pruned.entries,
                    summary.to_string(),
                    pruned.file,
                    pruned.digest
                ],
            )?;
            if put == 0 {
                is_open = true;
                return Ok(());
            }
            chain::link(change, &chain::PRUNED)?;
            let place = "DELETE FROM entry WHERE run = (SELECT place FROM run WHERE id = ?1)";
            let gone = change.execute(place, [id])?;
            if u64::try_from(gone).ok() == Some(pruned.entries) {
                Ok(())
            } else {
                // The change is taken back whole.
                Err(rusqlite::Error::StatementChangedRows(gone))
            }
        })?;
        // A dead program left it so: see `settle_dead`.
        if is_open { Err(RecordError::StillOpen { run: run.id.to_string() }) } else { Ok(()) }
    }

    /// Where the entries of a run went to; `None` while they are in the record.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn pruned(&self, run: &RunId) -> Result<Option<Pruned>, RecordError> {
        let one = "SELECT pruned_at, person, entries, file, digest FROM pruned
             WHERE run = (SELECT place FROM run WHERE id = ?1)";
        let found = self.connection.query_row(one, [run.as_str()], pruned).optional();
        found.map_err(|source| self.sorted(source))
    }

    /// Gives the room of what was pruned back to the disk; as long as anybody else has the file
    /// open it is kept, and used for what is written next.
    ///
    /// # Errors
    /// [`RecordError::Busy`] then; else the disk refuses.
    pub fn give_room_back(&self) -> Result<(), RecordError> {
        let done = self.connection.execute_batch("VACUUM; PRAGMA wal_checkpoint(TRUNCATE)");
        done.map_err(|source| RecordError::from_sqlite(self.file(), source))
    }
}

fn pruned(row: &Row<'_>) -> rusqlite::Result<Pruned> {
    Ok(Pruned {
        at: instant(0, &row.get::<_, String>(0)?)?,
        person: row.get(1)?,
        entries: row.get(2)?,
        file: row.get(3)?,
        digest: row.get(4)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::fixture::{file, header};
    use crate::record::{Ending, Recorder, RunEnd};
    use evenpass_core::ledger::{Entry, EntryKind};
    use evenpass_core::moment::Moment;
    use serde_json::Value;

    fn sample(number: u64) -> Entry {
        let at = Moment::from_micros(number * 500_000);
        let (text, cause) = (String::new(), String::new());
        Entry { number, at, kind: EntryKind::Sample, text, cause, data: Value::Null }
    }

    fn ended_run(store: Store) -> RunId {
        let recorder = Recorder::begin(store, &header()).unwrap();
        (1..=100).for_each(|number| recorder.deliver(sample(number)));
        let end = RunEnd {
            ending: Ending::Complete,
            ended_at: "2026-11-25T10:00:00Z".parse().unwrap(),
            first_cause: None,
            totals: Value::Null,
            deviations: Vec::new(),
        };
        recorder.finish(end).unwrap().id
    }

    fn away(entries: u64) -> Pruned {
        Pruned {
            at: "2028-11-25T10:00:00Z".parse().unwrap(),
            person: "A. Fitter".to_owned(),
            entries,
            file: "2026-11-25-001.json".to_owned(),
            digest: "00".to_owned(),
        }
    }

    #[test]
    fn a_pruned_run_keeps_what_it_was_and_its_seal_and_still_verifies() {
        let (_folder, path) = file();
        let id = ended_run(Store::open(&path).unwrap());
        let other = ended_run(Store::open(&path).unwrap());
        let mut store = Store::open(&path).unwrap();
        let before = store.run(&id).unwrap();
        store.prune(&before.summary, &away(100)).unwrap();
        let after = store.run(&id).unwrap();
        assert_eq!(after.summary, before.summary);
        assert_eq!((after.entries.len(), after.pruned), (0, Some(away(100))));
        assert!(after.gaps.is_empty(), "{:?}", after.gaps);
        assert_eq!(store.run(&other).unwrap().entries.len(), 100);
        let found = store.verify(None).unwrap();
        assert!(found.holds(), "{found:?}");
        let error = store.prune(&before.summary, &away(100)).unwrap_err();
        assert!(matches!(error, RecordError::PrunedAlready { .. }), "{error}");
    }

    #[test]
    fn nothing_goes_when_the_file_has_another_number_of_entries_or_the_run_is_open() {
        let (_folder, path) = file();
        let id = ended_run(Store::open(&path).unwrap());
        let mut store = Store::open(&path).unwrap();
        let summary = store.run(&id).unwrap().summary;
        store.prune(&summary, &away(99)).unwrap_err();
        assert_eq!(store.run(&id).unwrap().entries.len(), 100);
        assert_eq!(store.pruned(&id).unwrap(), None);
        let open = Recorder::begin(Store::open(&path).unwrap(), &header()).unwrap();
        let summary = store.run(open.id()).unwrap().summary;
        let error = store.prune(&summary, &away(0)).unwrap_err();
        assert!(matches!(error, RecordError::StillOpen { .. }), "{error}");
    }
}
