//! What people measured, in the record: never changed, never removed. A measurement that was a
//! mistake is withdrawn by a row of its own, with who and why.

use std::collections::BTreeMap;

use evenpass_core::learn::{Measured, Pair, RunBasis};
use jiff::Timestamp;
use jiff::civil::Date;
use rusqlite::{OptionalExtension, Row, named_params};
use serde::Serialize;

use super::reading::{instant, parsed, unread};
use super::store::json;
use super::{Outcome, RecordError, RunId, RunKind, Store, chain};

/// Something that was measured, with who, when and where.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Measurement {
    /// When it was told, by the wall clock.
    pub kept_at: Timestamp,
    /// The day it was measured.
    pub measured_on: Date,
    /// The run whose part it is of; `None` for a feeder or a stripe.
    pub run: Option<RunId>,
    /// The rig's title.
    pub rig: String,
    /// Where: what was measured on the twin teaches nothing of a machine.
    pub kind: RunKind,
    /// The torch and the powder.
    pub pair: Pair,
    /// Who measured.
    pub person: String,
    /// What.
    pub measured: Measured,
}

/// Why a measurement counts no more.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Withdrawal {
    /// When, by the wall clock.
    pub made_at: Timestamp,
    /// By whom.
    pub person: String,
    /// Why.
    pub reason: String,
}

/// A measurement that is kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasurementRecord {
    /// Its number, by which it is withdrawn.
    pub number: i64,
    /// What was measured.
    #[serde(flatten)]
    pub measurement: Measurement,
    /// Why it counts no more; `None` while it counts.
    pub withdrawn: Option<Withdrawal>,
}

/// Where a run took place and what became of it: what a measurement of its part must agree with.
#[derive(Debug, Clone, PartialEq)]
pub struct Origin {
    /// Twin, machine, or rehearsed.
    pub kind: RunKind,
    /// The rig file's text.
    pub rig: String,
    /// What became of it.
    pub outcome: Outcome,
    /// What became of its passes.
    pub passes: Passes,
}

/// What became of the passes of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Passes {
    /// They were as planned.
    AsPlanned,
    /// People changed them while it ran: powder was released otherwise than planned.
    Changed,
}

impl Store {
    /// Where a run took place; `None` when there is no such run.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn origin(&self, run: &RunId) -> Result<Option<Origin>, RecordError> {
        let columns = "SELECT kind, rig, outcome, EXISTS (
                SELECT 1 FROM entry WHERE entry.run = run.place AND entry.kind = 'request'
                    AND json_extract(entry.data, '$.changed') IS NOT NULL)
            FROM run WHERE id = ?1";
        let read = |row: &Row<'_>| {
            let (kind, rig, outcome) = (row.get(0)?, row.get(1)?, row.get(2)?);
            let passes = if row.get(3)? { Passes::Changed } else { Passes::AsPlanned };
            Ok(Origin { kind, rig, outcome, passes })
        };
        self.connection
            .query_row(columns, [run.as_str()], read)
            .optional()
            .map_err(|source| self.sorted(source))
    }

    /// What is known of a run's part and of who makes it, by name.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read, or has no such run.
    pub fn particulars(&self, run: &RunId) -> Result<BTreeMap<String, String>, RecordError> {
        self.must_have(run)?;
        let column = "SELECT particulars FROM run WHERE id = ?1";
        self.connection
            .query_row(column, [run.as_str()], |row| parsed(row, 0))
            .map_err(|source| self.sorted(source))
    }

    /// Where the powder of a run was released; `None` for a run kept before that was.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn basis(&self, run: &RunId) -> Result<Option<RunBasis>, RecordError> {
        let column = "SELECT basis FROM run WHERE id = ?1 AND basis IS NOT NULL";
        self.connection
            .query_row(column, [run.as_str()], |row| parsed(row, 0))
            .optional()
            .map_err(|source| self.sorted(source))
    }

    /// Writes a measurement down, durable on return, and gives its number.
    ///
    /// # Errors
    /// [`RecordError`] when the disk refuses.
    pub fn keep_measurement(&mut self, told: &Measurement) -> Result<i64, RecordError> {
        let mut number = 0;
        self.change(|change| {
            change.execute(
                "INSERT INTO measurement (kept_at, measured_on, run, rig, kind, torch, powder,
                    person, data)
                 VALUES (:kept_at, :measured_on, (SELECT place FROM run WHERE id = :run), :rig,
                    :kind, :torch, :powder, :person, :data)",
                named_params! {
                    ":kept_at": told.kept_at.to_string(),
                    ":measured_on": told.measured_on.to_string(),
                    ":run": told.run.as_ref().map(RunId::as_str),
                    ":rig": told.rig,
                    ":kind": told.kind,
                    ":torch": told.pair.torch,
                    ":powder": told.pair.powder,
                    ":person": told.person,
                    ":data": json(&told.measured)?,
                },
            )?;
            number = change.last_insert_rowid();
            chain::link(change, &chain::MEASUREMENT)
        })?;
        Ok(number)
    }

    /// Withdraws a measurement; durable on return.
    ///
    /// # Errors
    /// There is no such measurement, it was withdrawn before, or the disk refuses.
    pub fn withdraw_measurement(
        &mut self,
        number: i64,
        withdrawal: &Withdrawal,
    ) -> Result<(), RecordError> {
        let all = self.measurements()?;
        let Some(found) = all.into_iter().find(|kept| kept.number == number) else {
            return Err(RecordError::UnknownMeasurement { number });
        };
        if let Some(before) = found.withdrawn {
            let Withdrawal { person, reason, .. } = before;
            return Err(RecordError::WithdrawnAlready { number, by: person, reason });
        }
        self.change(|change| {
            change.execute(
                "INSERT INTO withdrawal (made_at, measurement, person, reason)
                 VALUES (?1, ?2, ?3, ?4)",
                (withdrawal.made_at.to_string(), number, &withdrawal.person, &withdrawal.reason),
            )?;
            chain::link(change, &chain::WITHDRAWAL)
        })
    }

    /// Every measurement of every rig, the latest told last, the withdrawn ones too.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn measurements(&self) -> Result<Vec<MeasurementRecord>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT m.place, m.kept_at, m.measured_on, r.id, m.rig, m.kind, m.torch, m.powder,
                    m.person, m.data, w.made_at, w.person, w.reason
                 FROM measurement m LEFT JOIN run r ON r.place = m.run
                    LEFT JOIN withdrawal w ON w.measurement = m.place
                 ORDER BY m.place",
            )?;
            all.query_map((), measurement)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }
}

fn measurement(row: &Row<'_>) -> rusqlite::Result<MeasurementRecord> {
    let withdrawn = match row.get::<_, Option<String>>(10)? {
        Some(at) => Some(Withdrawal {
            made_at: instant(10, &at)?,
            person: row.get(11)?,
            reason: row.get(12)?,
        }),
        None => None,
    };
    Ok(MeasurementRecord {
        number: row.get(0)?,
        measurement: Measurement {
            kept_at: instant(1, &row.get::<_, String>(1)?)?,
            measured_on: row
                .get::<_, String>(2)?
                .parse()
                .map_err(|error: jiff::Error| unread(2, error))?,
            run: row.get::<_, Option<String>>(3)?.map(RunId::stored),
            rig: row.get(4)?,
            kind: row.get(5)?,
            pair: Pair { torch: row.get(6)?, powder: row.get(7)? },
            person: row.get(8)?,
            measured: parsed(row, 9)?,
        },
        withdrawn,
    })
}

#[cfg(test)]
mod tests {
    use evenpass_core::learn::FeederMeasured;
    use evenpass_core::quantity::{Mass, MassFlow, Time};

    use super::super::AcceptanceRecord;
    use super::*;
    use crate::record::fixture::file;

    fn told() -> Measurement {
        Measurement {
            kept_at: "2026-11-25T09:00:00Z".parse().expect("RFC 3339"),
            measured_on: "2026-11-24".parse().expect("a date"),
            run: None,
            rig: "Lathe 3".to_owned(),
            kind: RunKind::Machine,
            pair: Pair { torch: "spray-6".to_owned(), powder: "nickel-hard".to_owned() },
            person: "A. Fitter".to_owned(),
            measured: Measured::Feeder(FeederMeasured {
                set: MassFlow::from_g_per_min(60.0),
                catches: vec![evenpass_core::learn::Catch {
                    mass: Mass::from_g(57.9),
                    time: Time::from_s(60.0),
                }],
                balance: Mass::from_g(0.1),
                clock: Time::from_s(0.2),
            }),
        }
    }

    fn withdrawal() -> Withdrawal {
        Withdrawal {
            made_at: "2026-11-26T09:00:00Z".parse().expect("RFC 3339"),
            person: "B. Engineer".to_owned(),
            reason: "the vessel leaked".to_owned(),
        }
    }

    #[test]
    fn a_measurement_is_found_as_it_was_kept_and_withdrawn_by_a_row_of_its_own() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).expect("open");
        let number = store.keep_measurement(&told()).expect("kept");
        store.keep_measurement(&told()).expect("kept");
        store.withdraw_measurement(number, &withdrawal()).expect("withdrawn");
        drop(store);
        let mut store = Store::open_existing(&path).expect("open again");
        let all = store.measurements().expect("read");
        let [first, second] = all.as_slice() else { panic!("two: {all:?}") };
        assert_eq!(first.measurement, told());
        assert_eq!(
            (first.withdrawn.as_ref(), second.withdrawn.as_ref()),
            (Some(&withdrawal()), None)
        );

        let again = store.withdraw_measurement(number, &withdrawal()).expect_err("once");
        assert_eq!(
            again.to_string(),
            "measurement 1 was withdrawn already, by B. Engineer: the vessel leaked"
        );
        let unknown = store.withdraw_measurement(99, &withdrawal()).expect_err("no such");
        assert!(unknown.to_string().contains("no measurement 99"), "{unknown}");
    }

    #[test]
    fn what_was_measured_withdrawn_and_accepted_is_evidence_and_is_neither_changed_nor_removed() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).expect("open");
        let number = store.keep_measurement(&told()).expect("kept");
        store.withdraw_measurement(number, &withdrawal()).expect("withdrawn");
        let figures = serde_json::from_value(serde_json::json!({
            "efficiency": "85 %", "powder_rate": "100 %", "footprint": "6 mm",
            "density_as_sprayed": "6.6 g/cm3", "density_fused": "8.05 g/cm3",
        }))
        .expect("figures");
        let accepted = AcceptanceRecord {
            made_at: withdrawal().made_at,
            rig: "Lathe 3".to_owned(),
            kind: RunKind::Machine,
            pair: told().pair,
            person: "B. Engineer".to_owned(),
            catalogue: figures,
            figures,
            grounds: Some(vec![number]),
        };
        store.keep_acceptance(&accepted).expect("kept");
        assert_eq!(store.acceptances().expect("read"), [accepted]);
        for table in ["measurement", "withdrawal", "acceptance"] {
            for tampering in
                [format!("UPDATE {table} SET person = 'nobody'"), format!("DELETE FROM {table}")]
            {
                assert!(store.connection.execute(&tampering, []).is_err(), "{tampering}");
            }
        }
    }
}
