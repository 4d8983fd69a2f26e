//! The order that a served machine's loaded job is made for: the one that a person has chosen, or else
//! the one ordered last whose recipe is the loaded one, to the letter, and of which parts are still to
//! be made.

use std::path::Path;

use evenpass_core::plan::Plan;
use jiff::Timestamp;

use super::before::{Before, Need, Weight};
use super::on_twin::of_batch;
use super::standing::Standing;
use crate::files::Job;
use crate::keeping::OfBatch;
use crate::record::{
    Batch, BatchId, BatchPart, Deviation, RecordError, RunId, RunKind, Store, records_file,
};

/// For which order the loaded job is made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Chosen {
    /// Nobody has said: for the one ordered last.
    #[default]
    Latest,
    /// For this one, and for no other once all of its parts are made.
    Order(BatchId),
    /// For none: its parts are by themselves.
    Without,
}

/// A loaded job, with where its orders and stocks stand.
#[derive(Debug, Clone, Copy)]
pub struct Serving<'a> {
    /// The records file; the user's own when `None`.
    pub records: Option<&'a Path>,
    /// Where the job runs.
    pub kind: RunKind,
    /// The job.
    pub job: &'a Job,
    /// Its plan.
    pub plan: &'a Plan,
    /// The order that was chosen.
    pub chosen: &'a Chosen,
}

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

/// The part of an order that is being made.
#[derive(Debug, Clone, PartialEq)]
pub struct InHand {
    /// The order.
    pub batch: BatchId,
    /// Which part, and its serial.
    pub part: BatchPart,
    /// Parts ordered.
    pub of: usize,
}

/// What a person at the machine is shown of the order.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// The part in hand, where one of an order is.
    pub in_hand: Option<InHand>,
    /// The order of the next part, where there is one.
    pub order: Option<BatchId>,
    /// The next part; `None` when none is to be made.
    pub next: Option<Before>,
    /// Whether somebody has said that the parts are of no order.
    pub without: bool,
}

impl Serving<'_> {
    /// Whether the job is what was ordered.
    fn is_of(&self, batch: &Batch) -> bool {
        batch.kind == self.kind
            && batch.rig == self.job.rig.title
            && batch.recipe.text == self.job.recipe_source.text
    }

    /// The orders that the job may be made for, the one to be looked at first leading.
    fn orders(&self, store: &Store) -> Result<Vec<Batch>, RecordError> {
        let mut all = store.batches()?;
        all.reverse();
        all.retain(|batch| {
            self.is_of(batch)
                && match self.chosen {
                    Chosen::Latest => true,
                    Chosen::Order(id) => batch.id == *id,
                    Chosen::Without => false,
                }
        });
        Ok(all)
    }

    fn store(&self) -> Result<Option<Store>, RecordError> {
        let file = records_file(self.records)?;
        if file.exists() { Store::open_existing(&file).map(Some) } else { Ok(None) }
    }

    /// The next part of the order that the job is made for; `None` when it is made for none.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn next(&self, now: Timestamp) -> Result<Option<BatchNext>, RecordError> {
        let Some(store) = self.store()? else { return Ok(None) };
        for batch in self.orders(&store)? {
            let standing = Standing::of(&store, &batch, self.kind, self.job, self.plan)?;
            if let Some(before) = Before::next(&standing, now) {
                let of = of_batch(&batch, &before, &standing, None);
                return Ok(Some(BatchNext { batch, before, of }));
            }
        }
        Ok(None)
    }

    /// What a person is shown; `run` is the run that is under way. What is being made is no reason
    /// against the part after it.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn shown(&self, run: Option<&RunId>, now: Timestamp) -> Result<Shown, RecordError> {
        let without = *self.chosen == Chosen::Without;
        let mut shown = Shown { in_hand: None, order: None, next: None, without };
        let Some(store) = self.store()? else { return Ok(shown) };
        if let Some(run) = run
            && let Some((id, part)) = store.batch_of(run)?
        {
            let of = store.batch(&id)?.ordered.serials.len();
            shown.in_hand = Some(InHand { batch: id, part, of });
        }
        if let Chosen::Order(id) = self.chosen {
            shown.order = Some(id.clone());
        }
        if let Some(BatchNext { batch, mut before, .. }) = self.next(now)? {
            if shown.in_hand.is_some() {
                before.needs.retain(|need| !matches!(need, Need::PartIsMade { .. }));
            }
            (shown.order, shown.next) = (Some(batch.id), Some(before));
        }
        Ok(shown)
    }
}

impl BatchNext {
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
}

impl Shown {
    /// The order that what is told now is told of: that of the next part, or of the one in hand.
    #[must_use]
    pub fn told_of(&self) -> Option<&BatchId> {
        self.order.as_ref().or_else(|| self.in_hand.as_ref().map(|hand| &hand.batch))
    }
}
