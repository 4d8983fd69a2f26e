//! Where the powder of a run was released: as planned, or as people changed its passes while it ran.
//!
//! The passes of a zone are alike: each leaves the same share of what all leave together. A pass of
//! another feed leaves so much more or less of it, and one that was added leaves as much as the last.

use evenpass_core::learn::RunBasis;
use evenpass_core::request::Trim;
use rusqlite::{OptionalExtension, Row};
use serde_json::Value;

use super::changes::Changes;
use super::reading::{parsed, unread};
use super::used::total;
use super::{RecordError, RunId, Store};

/// Where the powder of a run was released.
#[derive(Debug, Clone, PartialEq)]
pub enum Sprayed {
    /// There, with the zones whose passes people changed.
    There {
        /// Where, those changes with it.
        basis: RunBasis,
        /// The zones that were changed.
        changed: Vec<ZonePasses>,
    },
    /// Nobody knows: the run was kept before that was, or its coat is of several runs.
    NotKept,
    /// People changed its passes, and the entries that say how are not in these records.
    Untold {
        /// The file they were put into; `None` where they were lost.
        file: Option<String>,
    },
}

impl Sprayed {
    /// Where that is; `None` where these records do not say it.
    #[must_use]
    pub fn known(self) -> Option<RunBasis> {
        match self {
            Self::There { basis, .. } => Some(basis),
            Self::NotKept | Self::Untold { .. } => None,
        }
    }
}

/// The passes of a zone as people changed them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ZonePasses {
    /// The zone.
    pub zone: String,
    /// How many were planned.
    pub planned: usize,
    /// The trim of each, those that were added at the end.
    trims: Vec<Trim>,
}

impl ZonePasses {
    /// As planned.
    pub(super) fn planned(zone: &str, planned: usize) -> Self {
        Self { zone: zone.to_owned(), planned, trims: vec![Trim::NONE; planned] }
    }

    /// Takes in what a change came to: so many passes added, and the trim of all from one on, counted
    /// from 1, where any is left that had not begun.
    pub(super) fn change(&mut self, added: usize, from: Option<usize>, trim: Option<Trim>) {
        // A pass that is added goes as the last one does.
        let last = self.trims.last().copied().unwrap_or_default();
        self.trims.resize(self.planned + added, last);
        if let (Some(from), Some(trim)) = (from, trim) {
            self.trims.iter_mut().skip(from.saturating_sub(1)).for_each(|of| *of = trim);
        }
    }

    /// How many they are, those that were added with them.
    #[must_use]
    pub fn count(&self) -> u32 {
        u32::try_from(self.trims.len()).unwrap_or(u32::MAX)
    }

    /// What the first so many leave together, in passes as they were planned.
    #[must_use]
    pub fn leave(&self, first: u32) -> f64 {
        let first = usize::try_from(first).unwrap_or(usize::MAX);
        self.trims.iter().take(first).map(|trim| trim.of_coat()).sum()
    }

    /// What the last one leaves, and any that would be added after it, alike.
    #[must_use]
    pub fn last_leaves(&self) -> f64 {
        self.trims.last().map_or(1.0, |trim| trim.of_coat())
    }

    /// What all leave together over what was planned.
    #[must_use]
    pub fn share(&self) -> f64 {
        let planned: f64 = std::iter::repeat_n(1.0, self.planned).sum();
        self.leave(u32::MAX) / planned
    }
}

impl Store {
    /// Where the powder of a run was released, as far as its record goes.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn sprayed(&self, run: &RunId) -> Result<Sprayed, RecordError> {
        let Some(mut basis) = self.basis(run)? else { return Ok(Sprayed::NotKept) };
        let changes = self.changes(run)?;
        if changes.is_none() {
            if self.says_it_was_changed(run)? {
                let pruned = self.pruned(run)?;
                return Ok(Sprayed::Untold { file: pruned.map(|pruned| pruned.file) });
            }
            return Ok(Sprayed::There { basis, changed: Vec::new() });
        }
        let planned = self.passes_planned(run)?;
        let changes = changes.unwrap_or_default();
        let mut changed = Vec::new();
        for (zone, count) in planned {
            let Some(passes) = changes.passes_of(&zone, count) else { continue };
            basis = basis.times(&zone, passes.share());
            changed.push(passes);
        }
        if changed.is_empty() {
            return Ok(Sprayed::Untold { file: None });
        }
        Ok(Sprayed::There { basis, changed })
    }

    /// What people changed in its passes; `None` where its entries tell of nothing.
    fn changes(&self, run: &RunId) -> Result<Option<Changes>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(
                "SELECT json_extract(entry.data, '$.changed') FROM entry
                 JOIN run ON entry.run = run.place
                 WHERE run.id = ?1 AND entry.kind = 'request'
                    AND json_extract(entry.data, '$.changed') IS NOT NULL
                 ORDER BY entry.number",
            )?;
            let all = all.query_map([run.as_str()], |row| parsed::<Value>(row, 0))?;
            all.collect::<rusqlite::Result<Vec<_>>>()
        };
        let told = read().map_err(|source| self.sorted(source))?;
        Ok((!told.is_empty()).then(|| Changes::of_changed(&told)))
    }

    /// The zones that were to be sprayed, with the number of their passes.
    fn passes_planned(&self, run: &RunId) -> Result<Vec<(String, usize)>, RecordError> {
        let program: Value = self.of_run(run, "program")?;
        let steps = program.get("steps").and_then(Value::as_array).into_iter().flatten();
        let zones = steps.filter_map(|step| {
            let spray = step.get("spray")?;
            let passes = spray.get("passes")?.as_array()?.len();
            Some((spray.get("zone")?.as_str()?.to_owned(), passes))
        });
        Ok(zones.filter(|(_, passes)| *passes > 0).collect())
    }

    /// Whether the figures it ended with tell of changed passes: they stay where its entries go.
    fn says_it_was_changed(&self, run: &RunId) -> Result<bool, RecordError> {
        let totals: Value = self.of_run(run, "totals")?;
        Ok(total::<Value>(&totals, "powder_as_changed").is_some())
    }

    fn of_run(&self, run: &RunId, column: &str) -> Result<Value, RecordError> {
        let one = format!("SELECT {column} FROM run WHERE id = ?1");
        let read = |row: &Row<'_>| -> rusqlite::Result<Value> {
            let text: Option<String> = row.get(0)?;
            let value = text.map(|text| serde_json::from_str(&text)).transpose();
            value.map(Option::unwrap_or_default).map_err(|error| unread(0, error))
        };
        let found = self.connection.query_row(&one, [run.as_str()], read).optional();
        found.map(Option::unwrap_or_default).map_err(|source| self.sorted(source))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn percent(percent: i8) -> Option<Trim> {
        Some(Trim::of_percent(percent))
    }

    /// Nine passes; from the fifth on at 5 % more feed, one added to it, then taken back, then two
    /// added, of which the last one goes 3 % slower than planned.
    #[test]
    fn each_pass_leaves_what_its_feed_gives_and_an_added_one_what_the_last_does() {
        let mut passes = ZonePasses::planned("seat", 9);
        assert!((passes.share() - 1.0).abs() < 1e-12);
        passes.change(0, Some(5), percent(5));
        let trimmed = 4.0 + 5.0 / 1.05;
        assert!((passes.leave(9) - trimmed).abs() < 1e-12 && passes.count() == 9);
        passes.change(1, Some(6), percent(5));
        assert!((passes.leave(10) - trimmed - 1.0 / 1.05).abs() < 1e-12);
        passes.change(0, Some(6), percent(5));
        assert!((passes.leave(u32::MAX) - trimmed).abs() < 1e-12);
        passes.change(2, Some(11), percent(-3));
        assert_eq!((passes.count(), passes.planned), (11, 9));
        let all = trimmed + 1.0 / 1.05 + 1.0 / 0.97;
        assert!((passes.share() - all / 9.0).abs() < 1e-12, "{}", passes.share());
        assert!((passes.last_leaves() - 1.0 / 0.97).abs() < 1e-12);
        assert!((passes.leave(4) - 4.0).abs() < 1e-12, "what had begun stays");
    }
}
