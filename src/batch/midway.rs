//! What a run used after something was told within it: a hopper filled, a bottle changed or a tip
//! cleaned while a job is held is used on by the rest of that job.

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use jiff::Timestamp;

use super::used::Gathering;
use crate::record::{MarkRecord, Outcome, RecordError, RunRecord, RunUsed, Store, ToldAfter};

/// Shares of what a run used in all, 0 to 1, that it used after an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct After {
    /// Of its powder.
    pub powder: f64,
    /// Of its gas and of the time its flame was lit.
    pub flame: f64,
}

impl After {
    const ALL: Self = Self { powder: 1.0, flame: 1.0 };

    /// Of a run that had begun when something was told; `None` where it was over. Where the clocks
    /// contradict each other about a run that was under way, all of what it used came after.
    ///
    /// # Errors
    /// The records cannot be read.
    pub fn of(
        store: &Store,
        run: &RunUsed,
        kept: &MarkRecord,
    ) -> Result<Option<Self>, RecordError> {
        let at = kept.mark.at;
        let is_over = run.ended_at.is_some_and(|ended| ended <= at);
        match kept.told_after.filter(|after| after.run == run.place) {
            Some(ToldAfter { ended: true, .. }) => return Ok(None),
            Some(_) if is_over => return Ok(Some(Self::ALL)),
            None if is_over => return Ok(None),
            _ => {}
        }
        Ok(Some(Self::in_record(&store.run(&run.run)?, at)))
    }

    fn in_record(record: &RunRecord, at: Timestamp) -> Self {
        let Some(first) = record.entries.first() else { return Self::ALL };
        // All of what is being made may still come.
        if record.summary.outcome == Outcome::Open {
            return Self::ALL;
        }
        Self::told(&record.entries, first.at, record.summary.started_at, at)
    }

    fn told(entries: &[Entry], began: Moment, began_at: Timestamp, at: Timestamp) -> Self {
        let is_before = |entry: &&Entry| {
            began_at.saturating_add(entry.at.since(began)).is_ok_and(|then| then <= at)
        };
        let mut before = Gathering::default();
        entries.iter().take_while(is_before).for_each(|entry| before.take(entry));
        let all = Gathering::of(entries);
        let share = |before: f64, all: f64| if all > 0.0 { 1.0 - before / all } else { 0.0 };
        Self {
            powder: share(before.samples_with_powder(), all.samples_with_powder()),
            flame: share(before.flame_lit().s(), all.flame_lit().s()),
        }
    }
}
