//! The batch that a served machine's loaded job belongs to: the one ordered last whose recipe is the
//! loaded one, to the letter, and of which parts are still to be made.

use std::path::Path;

use evenpass_core::plan::Plan;
use jiff::Timestamp;

use super::before::{Before, Need, Weight};
use super::on_twin::of_batch;
use super::standing::Standing;
use crate::files::Job;
use crate::keeping::OfBatch;
use crate::record::{Batch, Deviation, RecordError, RunKind, Store, records_file};

/// The next part of that batch.
#[derive(Debug, Clone)]
pub struct BatchNext {
    /// The batch.
    pub batch: Batch,
    /// The part, and what it needs first.
    pub before: Before,
    /// What stands in its record.
    pub of: OfBatch,
}

impl BatchNext {
    /// The next part of the batch that a job belongs to; `None` when it belongs to none.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn of(
        records: Option<&Path>,
        kind: RunKind,
        job: &Job,
        plan: &Plan,
        now: Timestamp,
    ) -> Result<Option<Self>, RecordError> {
        let file = records_file(records)?;
        if !file.exists() {
            return Ok(None);
        }
        let store = Store::open_existing(&file)?;
        for batch in store.batches()?.into_iter().rev() {
            let is_its_own = batch.kind == kind
                && batch.rig == job.rig.title
                && batch.recipe.text == job.recipe_source.text;
            if !is_its_own {
                continue;
            }
            let standing = Standing::of(&store, &batch, kind, job, plan)?;
            if let Some(before) = Before::next(&standing, now) {
                let of = of_batch(&batch, &before, &standing, None);
                return Ok(Some(Self { batch, before, of }));
            }
        }
        Ok(None)
    }

    /// The same, begun as it stands: what it needed first and nobody told is a deviation. The button
    /// at the machine asks nobody, and what is ticked off at the panel is of the person who ticks.
    #[must_use]
    pub fn begun(mut self) -> OfBatch {
        let needed = self.before.needs.iter().filter(|need| need.weight() != Weight::Told);
        let deviation = |need: &Need| Deviation {
            what: format!("begun, though nobody told it as done: {need}"),
            ..Deviation::default()
        };
        self.of.deviations.extend(needed.map(deviation));
        self.of
    }

    /// What a person is shown of it.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!("{}: {}", self.batch.id, self.before.title())];
        lines.extend(self.before.needs.iter().map(ToString::to_string));
        let refill = self.before.powder.reach.and_then(|reach| reach.fill_before);
        lines.extend(
            refill
                .filter(|number| *number != self.before.part.number)
                .map(|number| format!("refill the hopper before part {number}")),
        );
        lines
    }
}
