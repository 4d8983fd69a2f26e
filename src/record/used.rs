//! What each run used up, from the figures that it ended with.

use std::collections::BTreeMap;

use evenpass_core::quantity::{Mass, Time, Volume};
use jiff::Timestamp;
use rusqlite::Row;
use serde::Deserialize;
use serde_json::Value;

use super::reading::{instant, parsed};
use super::{BatchId, RecordError, RunId, RunKind, Store};

/// What the total of one fuel is called, before the fuel's key.
pub const FUEL_OF: &str = "fuel of ";

/// What one run used up.
#[derive(Debug, Clone, PartialEq)]
pub struct RunUsed {
    /// The run.
    pub run: RunId,
    /// Its place in the records: the order in which they were begun, whatever the clock said.
    pub place: i64,
    /// When it began, by the wall clock.
    pub started_at: Timestamp,
    /// When it ended, by the wall clock; `None` where nobody wrote that down.
    pub ended_at: Option<Timestamp>,
    /// The rig file's text.
    pub rig: String,
    /// The batch of which it makes a part, if it makes one.
    pub batch: Option<BatchId>,
    /// Powder that left the hopper.
    pub powder: Option<Mass>,
    /// Powder that its plan counts with.
    pub powder_planned: Option<Mass>,
    /// What the hopper's scale said last.
    pub hopper_left: Option<Mass>,
    /// How long the flame burned.
    pub flame_lit: Option<Time>,
    /// Fuel gas, by the plan's flow and the time its valve was open; all fuels together.
    pub fuel: Option<Volume>,
    /// The fuels by their keys; empty where the record does not tell them apart.
    pub fuels: BTreeMap<String, Volume>,
    /// Oxygen, alike.
    pub oxygen: Option<Volume>,
}

impl Store {
    /// What the runs of one kind used up, in the order they were begun.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn runs_used(&self, kind: RunKind) -> Result<Vec<RunUsed>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT id, started_at, rig, totals,
                    (SELECT b.id FROM batch_part p JOIN batch b ON b.place = p.batch
                        WHERE p.run = run.place),
                    ended_at, place
                 FROM run WHERE kind = ?1 ORDER BY place",
            )?;
            all.query_map([kind], used)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }
}

fn used(row: &Row<'_>) -> rusqlite::Result<RunUsed> {
    let totals: Value = parsed(row, 3)?;
    Ok(RunUsed {
        run: RunId::stored(row.get(0)?),
        place: row.get(6)?,
        started_at: instant(1, &row.get::<_, String>(1)?)?,
        ended_at: row.get::<_, Option<String>>(5)?.map(|text| instant(5, &text)).transpose()?,
        rig: row.get(2)?,
        batch: row.get::<_, Option<String>>(4)?.map(BatchId::stored),
        powder: total(&totals, "powder"),
        powder_planned: total(&totals, "powder_planned"),
        hopper_left: total(&totals, "hopper_left"),
        flame_lit: total(&totals, "flame_lit"),
        fuel: total(&totals, "fuel"),
        fuels: fuels(&totals),
        oxygen: total(&totals, "oxygen"),
    })
}

/// The fuels that a run's totals tell by their names.
fn fuels(totals: &Value) -> BTreeMap<String, Volume> {
    let names = totals.as_object().into_iter().flat_map(|totals| totals.keys());
    let fuel = |name: &String| Some((name.strip_prefix(FUEL_OF)?.to_owned(), total(totals, name)?));
    names.filter_map(fuel).collect()
}

/// A figure of a run's totals; `None` where it is not there or cannot be read.
pub(crate) fn total<'a, T: Deserialize<'a>>(totals: &'a Value, name: &str) -> Option<T> {
    T::deserialize(totals.get(name)?).ok()
}
