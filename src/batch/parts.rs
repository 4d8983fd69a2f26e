//! Every part of an order by its number, and how it stands, without planning its job.

use evenpass_core::batch::{Attempt, Fate, Tally, WhyMeasured, tally};

use super::shift::numbers;
use super::standing::{fate_of, is_inspected, order, to_be_measured};
use crate::record::{Batch, MarkRecord, Of, RecordError, RunId, RunSummary, Store};

/// One run of a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// Which part, from 1.
    pub number: u32,
    /// The run.
    pub run: RunId,
    /// How it stands.
    pub fate: Fate,
    /// Passes that were done.
    pub passes_done: u32,
    /// Passes planned; `None` where none has begun.
    pub passes_planned: Option<u32>,
}

/// One part of an order.
#[derive(Debug, Clone, PartialEq)]
pub struct PartRow {
    /// Which, from 1.
    pub number: u32,
    /// Its serial.
    pub serial: String,
    /// Its runs in the order they were begun; empty before the first.
    pub tried: Vec<Tried>,
    /// Why the order wants it measured; `None` when it does not.
    pub measured: Option<WhyMeasured>,
    /// Whether somebody has.
    pub is_measured: bool,
}

/// What of a batch was tried, in the order it was begun; a rehearsal makes no part of it.
///
/// # Errors
/// The records cannot be read.
pub fn tried(store: &Store, batch: &Batch) -> Result<Vec<Tried>, RecordError> {
    let marks = store.marks(Of::Batch(&batch.id))?;
    let said = in_force(&marks);
    let runs = store.runs()?;
    let mut all = Vec::new();
    for part in store.batch_parts(&batch.id)? {
        let own = |run: &&RunSummary| run.id == part.run && run.kind == batch.kind;
        let Some(run) = runs.iter().find(own) else { continue };
        all.push(Tried {
            number: part.number,
            fate: fate_of(store, &said, run)?,
            passes_done: run.passes_done,
            passes_planned: run.passes_planned,
            run: part.run,
        });
    }
    Ok(all)
}

/// Marks that nobody took back.
fn in_force(marks: &[MarkRecord]) -> Vec<&MarkRecord> {
    marks.iter().filter(|kept| kept.taken_back_by.is_none()).collect()
}

/// What of a batch is made.
#[must_use]
pub fn tally_of(batch: &Batch, tried: &[Tried]) -> Tally {
    let attempts: Vec<Attempt> =
        tried.iter().map(|one| Attempt { number: one.number, fate: one.fate }).collect();
    tally(&order(batch), &attempts)
}

/// What of it is made, by name and in words.
#[must_use]
pub fn tally_rows(tally: &Tally) -> Vec<(&'static str, String)> {
    let queue: Vec<u32> = tally.queue.iter().map(|queued| queued.number).collect();
    let all = [
        ("passed", &tally.passed),
        ("undecided", &tally.undecided),
        ("on hold", &tally.on_hold),
        ("lost", &tally.lost),
    ];
    let told = |(name, parts): (&'static str, &Vec<u32>)| {
        (!parts.is_empty()).then(|| (name, numbers(parts)))
    };
    let mut rows: Vec<_> = all.into_iter().filter_map(told).collect();
    if tally.scrapped > 0 {
        rows.push(("scrapped", format!("{} in all", tally.scrapped)));
    }
    rows.extend(told(("to be made", &queue)));
    rows
}

/// Its parts by their numbers. Of a part that was tried its last run says whether it is measured.
///
/// # Errors
/// The records cannot be read.
pub fn rows(store: &Store, batch: &Batch, tried: &[Tried]) -> Result<Vec<PartRow>, RecordError> {
    let marks = store.marks(Of::Batch(&batch.id))?;
    let said = in_force(&marks);
    let measurements = store.measurements()?;
    let is_measured = |run: &RunId| {
        let mut in_force = measurements.iter().filter(|kept| kept.withdrawn.is_none());
        in_force.any(|kept| kept.measurement.run.as_ref() == Some(run)) || is_inspected(&said, run)
    };
    let order = order(batch);
    let row = |(number, serial): (u32, &String)| {
        let own: Vec<Tried> = tried.iter().filter(|one| one.number == number).cloned().collect();
        let last = own.last().map(|last| &last.run);
        let particulars = last.map(|run| store.particulars(run)).transpose()?;
        Ok(PartRow {
            number,
            serial: serial.clone(),
            measured: to_be_measured(&particulars.unwrap_or_default(), &order, number),
            is_measured: last.is_some_and(is_measured),
            tried: own,
        })
    };
    (1..).zip(&batch.ordered.serials).map(row).collect()
}
