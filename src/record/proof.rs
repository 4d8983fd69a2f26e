//! Proof tests in the record: each result as it was found, never changed, never removed.

use std::time::Duration;

use jiff::Timestamp;
use jiff::civil::Date;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use rusqlite::{Row, ToSql, named_params};
use serde::Serialize;

use super::{RecordError, RunKind, Store, chain};

/// What became of a proof test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ProofOutcome {
    /// Everything expected came in time.
    Passed,
    /// It did not: the row counts as not proved.
    Failed,
}

impl ProofOutcome {
    /// The word it is stored and shown by.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Passed => "passed",
            Self::Failed => "failed",
        }
    }
}

impl ToSql for ProofOutcome {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(ToSqlOutput::from(self.word()))
    }
}

impl FromSql for ProofOutcome {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        match value.as_str()? {
            "passed" => Ok(Self::Passed),
            "failed" => Ok(Self::Failed),
            _ => Err(FromSqlError::InvalidType),
        }
    }
}

/// One proof test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProofRecord {
    /// When, by the wall clock.
    pub made_at: Timestamp,
    /// The interlock's key.
    pub interlock: String,
    /// The rig's title.
    pub rig: String,
    /// Where: a proof on the twin proves nothing of a machine.
    pub kind: RunKind,
    /// Who made it.
    pub person: String,
    /// What was expected, in words.
    pub expected: String,
    /// What was found, in words.
    pub found: String,
    /// From the last healthy reading to the last effect; `None` where something did not come.
    pub response: Option<Duration>,
    /// The longest it may be.
    pub limit: Duration,
    /// What that limit is made of.
    pub limit_reason: String,
    /// Passed or failed.
    pub outcome: ProofOutcome,
    /// The day the next one is due; at once after a failure.
    pub next_due: Date,
    /// Digest of what the row was when it was proved; `None` in records made before it was kept.
    pub grounds: Option<String>,
}

impl Store {
    /// Writes a proof test down; durable on return.
    ///
    /// # Errors
    /// [`RecordError`] when the disk refuses.
    pub fn keep_proof(&mut self, proof: &ProofRecord) -> Result<(), RecordError> {
        self.change(|change| {
            change.execute(
                "INSERT INTO proof (made_at, interlock, rig, kind, person, expected, found,
                    response_us, limit_us, limit_reason, outcome, next_due, grounds)
                 VALUES (:made_at, :interlock, :rig, :kind, :person, :expected, :found,
                    :response, :limit, :limit_reason, :outcome, :next_due, :grounds)",
                named_params! {
                    ":made_at": proof.made_at.to_string(),
                    ":interlock": proof.interlock,
                    ":rig": proof.rig,
                    ":kind": proof.kind,
                    ":person": proof.person,
                    ":expected": proof.expected,
                    ":found": proof.found,
                    ":response": proof.response.map(whole_us),
                    ":limit": whole_us(proof.limit),
                    ":limit_reason": proof.limit_reason,
                    ":outcome": proof.outcome,
                    ":next_due": proof.next_due.to_string(),
                    ":grounds": proof.grounds,
                },
            )?;
            chain::link(change, &chain::PROOF)
        })
    }

    /// Every proof test of every rig, the latest last.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn proofs(&self) -> Result<Vec<ProofRecord>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT made_at, interlock, rig, kind, person, expected, found, response_us,
                    limit_us, limit_reason, outcome, next_due, grounds
                 FROM proof ORDER BY place",
            )?;
            all.query_map((), proof)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| RecordError::from_sqlite(self.file(), source))
    }

    /// The last proof test of each interlock of a rig, by the interlock's key.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn last_proofs(&self, rig: &str, kind: RunKind) -> Result<Vec<ProofRecord>, RecordError> {
        let read = || {
            let mut last = self.connection.prepare(
                "SELECT made_at, interlock, rig, kind, person, expected, found, response_us,
                    limit_us, limit_reason, outcome, next_due, grounds
                 FROM proof WHERE place IN
                    (SELECT max(place) FROM proof WHERE rig = ?1 AND kind = ?2 GROUP BY interlock)
                 ORDER BY interlock",
            )?;
            last.query_map((rig, kind), proof)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| RecordError::from_sqlite(self.file(), source))
    }
}

fn proof(row: &Row<'_>) -> rusqlite::Result<ProofRecord> {
    let us = |value: i64| Duration::from_micros(u64::try_from(value).unwrap_or(0));
    Ok(ProofRecord {
        made_at: text(row, "made_at")?,
        interlock: row.get("interlock")?,
        rig: row.get("rig")?,
        kind: row.get("kind")?,
        person: row.get("person")?,
        expected: row.get("expected")?,
        found: row.get("found")?,
        response: row.get::<_, Option<i64>>("response_us")?.map(us),
        limit: us(row.get("limit_us")?),
        limit_reason: row.get("limit_reason")?,
        outcome: row.get("outcome")?,
        next_due: text(row, "next_due")?,
        grounds: row.get("grounds")?,
    })
}

fn text<T: std::str::FromStr>(row: &Row<'_>, name: &str) -> rusqlite::Result<T> {
    let text: String = row.get(name)?;
    text.parse().map_err(|_| {
        let interlock: String = row.get("interlock").unwrap_or_default();
        let place = row.as_ref().column_index(name).unwrap_or_default();
        let words = format!(
            "the proof of {interlock} has `{text}` as its {name}: something else than this \
             program has changed the file; take it back from a copy"
        );
        rusqlite::Error::FromSqlConversionFailure(place, rusqlite::types::Type::Text, words.into())
    })
}

/// SQLite's integers are signed; 2^63 us is 292,000 years.
fn whole_us(span: Duration) -> i64 {
    i64::try_from(span.as_micros()).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::fixture::file;

    fn made(interlock: &str, outcome: ProofOutcome) -> ProofRecord {
        ProofRecord {
            made_at: "2026-11-25T09:00:00Z".parse().expect("RFC 3339"),
            interlock: interlock.to_owned(),
            rig: "Lathe 3".to_owned(),
            kind: RunKind::Machine,
            person: "A. Fitter".to_owned(),
            expected: "trip".to_owned(),
            found: "Guard open".to_owned(),
            response: Some(Duration::from_micros(187_250)),
            limit: Duration::from_millis(500),
            limit_reason: "any".to_owned(),
            outcome,
            next_due: "2027-11-25".parse().expect("a date"),
            grounds: Some("5f".to_owned()),
        }
    }

    #[test]
    fn the_last_proof_of_each_interlock_of_that_rig_is_found_as_it_was_kept() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).expect("open");
        let first = made("guard_open", ProofOutcome::Passed);
        let last = made("guard_open", ProofOutcome::Failed);
        let twin = ProofRecord { kind: RunKind::Twin, ..made("fire", ProofOutcome::Passed) };
        let other = ProofRecord { rig: "Lathe 4".to_owned(), ..first.clone() };
        for proof in [&first, &last, &twin, &other] {
            store.keep_proof(proof).expect("kept");
        }
        drop(store);
        let store = Store::open_existing(&path).expect("open again");
        assert_eq!(store.last_proofs("Lathe 3", RunKind::Machine).expect("read"), [last]);
        assert_eq!(store.last_proofs("Lathe 3", RunKind::Twin).expect("read"), [twin]);
        let all = store.proofs().expect("read");
        let rigs: Vec<&str> = all.iter().map(|proof| proof.rig.as_str()).collect();
        assert_eq!(rigs, ["Lathe 3", "Lathe 3", "Lathe 3", "Lathe 4"]);
    }

    #[test]
    fn a_proof_is_evidence_and_is_neither_changed_nor_removed() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).expect("open");
        store.keep_proof(&made("guard_open", ProofOutcome::Failed)).expect("kept");
        for tampering in ["UPDATE proof SET outcome = 'passed'", "DELETE FROM proof"] {
            assert!(store.connection.execute(tampering, []).is_err(), "{tampering}");
        }
    }
}
