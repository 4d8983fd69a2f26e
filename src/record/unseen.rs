//! What is known of a run that the disk never took: how far it was when its program knew last.
//!
//! A job goes on to a safe end when the disk refuses. Should its program die meanwhile, its journal
//! ends long before the job did, and what was sprayed since lies there unseen: whoever read the journal
//! alone would have it sprayed again. So the last that is known goes into the mark of the run, in
//! place, while its journal is behind; it needs no new space and no lock of the records. An open run
//! without its mark is one of which nobody knows how far it went on.

use std::fmt;

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::sequence::Leaf;
use rusqlite::OptionalExtension as _;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::undone::is_under_way;
use super::{Outcome, RecordError, RunId, RunRecord, Store, alive};

/// The total that holds it once the run is called interrupted.
const UNSEEN: &str = "unseen";

/// The last that a program knew of a run, which is more than its journal tells.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unseen {
    /// The highest number of an entry; `None` where that cannot be read.
    pub last: Option<u64>,
    /// When that entry was made, on the controller's time line.
    pub at: Moment,
    /// Whether the job was under way by then.
    pub began: bool,
    /// How many passes had been begun.
    pub passes: u32,
    /// The step and the pass that were begun last, from 1.
    pub pass: Option<(u64, u64)>,
    /// Whether a band had been called wet.
    pub fused: bool,
}

impl Unseen {
    /// Follows an entry on its way.
    pub(super) fn take(&mut self, entry: &Entry) {
        self.last = self.last.max(Some(entry.number));
        self.at = self.at.max(entry.at);
        let word = |name: &str| entry.data.get(name).and_then(Value::as_str);
        let number = |name: &str| entry.data.get(name).and_then(Value::as_u64);
        match entry.kind {
            EntryKind::State => {
                let leaf = Leaf::ALL.iter().find(|leaf| Some(leaf.name()) == word("to"));
                self.began |= leaf.is_some_and(|leaf| is_under_way(leaf.phase()));
            }
            EntryKind::Pass if word("mark") == Some("begun") => {
                self.passes = self.passes.saturating_add(1);
                self.pass = number("step").zip(number("pass"));
            }
            EntryKind::Pass if number("band").is_some() => self.fused = true,
            _ => {}
        }
    }

    /// Whether it tells of more than a journal with that last number.
    pub(super) fn is_beyond(&self, journal: Option<u64>) -> bool {
        self.last.is_none() || self.last > journal
    }

    /// The totals of the run that it is known of.
    pub(super) fn totals(&self) -> Value {
        json!({ UNSEEN: self })
    }

    /// Where the journal ends, and how far the job was, in words.
    #[must_use]
    pub fn beside(&self, record: &RunRecord) -> String {
        let Some(last) = record.entries.last() else {
            return format!("the journal is empty, and {self}");
        };
        let pass = match record.passes.last() {
            Some(row) => format!("in pass {}", row.pass),
            None => "before the first pass".to_owned(),
        };
        format!("the journal ends {pass}, at {:.0} s, and {self}", last.at.as_seconds())
    }
}

/// How far the job was; the time is that of the controller.
impl fmt::Display for Unseen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.last.is_none() {
            return f.write_str(
                "how far the job was cannot be told: its mark beside the records is missing or \
                 cannot be read, as in a copy made while it ran",
            );
        }
        write!(f, "the job went on to {:.0} s at least", self.at.as_seconds())?;
        if let Some((step, pass)) = self.pass {
            write!(f, ": pass {pass} of step {step} was begun")?;
        }
        f.write_str(if self.fused { ", and fused" } else { "" })
    }
}

/// A total of a run, in words.
#[must_use]
pub fn total_in_words(total: &Value) -> String {
    let unseen = || Unseen::deserialize(total).ok().filter(|_| total.is_object());
    match (total.as_str(), unseen()) {
        (Some(words), _) => words.to_owned(),
        (None, Some(unseen)) => unseen.to_string(),
        (None, None) => total.to_string(),
    }
}

impl Store {
    /// What is known of a run beyond its journal; `None` where the journal holds all, or the run is
    /// being written.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read, or has no such run.
    pub fn unseen(&self, id: &RunId) -> Result<Option<Unseen>, RecordError> {
        let sorted = |source| self.sorted(source);
        let stored: Option<(Outcome, String, Option<u64>)> = self
            .connection
            .query_row(
                "SELECT outcome, totals, (SELECT max(number) FROM entry WHERE run = place)
                 FROM run WHERE id = ?1",
                [id.as_str()],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .optional()
            .map_err(sorted)?;
        let Some((outcome, totals, journal)) = stored else { return Ok(None) };
        if outcome != Outcome::Open {
            let totals: Value = serde_json::from_str(&totals).unwrap_or(Value::Null);
            let told = totals.get(UNSEEN);
            return Ok(told.and_then(|told| Unseen::deserialize(told).ok()));
        }
        if self.outcome_seen(id, outcome)? == Outcome::Open {
            return Ok(None);
        }
        Ok(alive::read(self.file(), id).filter(|known| known.is_beyond(journal)))
    }
}
