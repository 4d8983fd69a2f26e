//! What is known of a run besides its entries.

use std::collections::BTreeMap;
use std::fmt;

use evenpass_core::learn::RunBasis;
use evenpass_core::moment::Moment;
use jiff::Timestamp;
use rusqlite::ToSql;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// A run's name: its UTC date and a counter within that date, such as `2026-11-25-003`. Short
/// enough to say aloud, and in the order of beginning as long as the clock is not set back.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize)]
#[serde(transparent)]
pub struct RunId(String);

impl RunId {
    /// The id of the `counter`-th run (from 1) on the date that `begun` has in UTC.
    pub(super) fn new(begun: Timestamp, counter: u32) -> Self {
        Self(format!("{}{counter:03}", Self::date_part(begun)))
    }

    /// What all ids of that date begin with.
    pub(super) fn date_part(begun: Timestamp) -> String {
        begun.strftime("%Y-%m-%d-").to_string()
    }

    /// As it stands in the record.
    pub(crate) const fn stored(text: String) -> Self {
        Self(text)
    }

    /// As text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for RunId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// Where a run took place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum RunKind {
    /// In virtual time, on the twin.
    Rehearsed,
    /// On the twin.
    Twin,
    /// On the machine.
    Machine,
}

impl RunKind {
    const ALL: [Self; 3] = [Self::Rehearsed, Self::Twin, Self::Machine];

    /// The word it is stored and shown by.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Rehearsed => "rehearsed",
            Self::Twin => "twin",
            Self::Machine => "machine",
        }
    }
}

/// How a run ended, as its program says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// All steps were done.
    Complete,
    /// A person ended it in order.
    Stopped,
    /// An interlock ended it.
    Tripped,
    /// It could not go on for another reason.
    Failed,
}

/// What became of a run, as a reader sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// It is being written.
    Open,
    /// All steps were done.
    Complete,
    /// A person ended it in order.
    Stopped,
    /// An interlock ended it.
    Tripped,
    /// It could not go on for another reason.
    Failed,
    /// Its program died before it said how the run ended.
    Interrupted,
}

impl Outcome {
    const ALL: [Self; 6] =
        [Self::Open, Self::Complete, Self::Stopped, Self::Tripped, Self::Failed, Self::Interrupted];

    /// The word it is stored and shown by.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Complete => "complete",
            Self::Stopped => "stopped",
            Self::Tripped => "tripped",
            Self::Failed => "failed",
            Self::Interrupted => "interrupted",
        }
    }
}

impl From<Ending> for Outcome {
    fn from(ending: Ending) -> Self {
        match ending {
            Ending::Complete => Self::Complete,
            Ending::Stopped => Self::Stopped,
            Ending::Tripped => Self::Tripped,
            Ending::Failed => Self::Failed,
        }
    }
}

macro_rules! stored_by_word {
    ($($kind:ident),+) => {$(
        impl ToSql for $kind {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                Ok(ToSqlOutput::from(self.word()))
            }
        }

        impl FromSql for $kind {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                let word = value.as_str()?;
                Self::ALL.into_iter().find(|one| one.word() == word).ok_or(FromSqlError::InvalidType)
            }
        }
    )+};
}

stored_by_word!(RunKind, Outcome);

/// A file a run was made from, kept as it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Source {
    /// Its name, as a person would call for it.
    pub name: String,
    /// Its text.
    pub text: String,
}

impl Source {
    /// SHA-256 of the text, hexadecimal: two files with the same one say the same to the letter.
    #[must_use]
    pub fn sha256(&self) -> String {
        Sha256::digest(self.text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
    }
}

/// What is known when a run is opened. What of it is in [`Beginning`] is said anew where its job
/// begins later; all else never changes.
#[derive(Debug, Clone, PartialEq)]
pub struct RunHeader {
    /// When it began, by the wall clock of whoever began it.
    pub started_at: Timestamp,
    /// Where it takes place.
    pub kind: RunKind,
    /// The job's title.
    pub title: String,
    /// The recipe.
    pub recipe: Source,
    /// The rig file.
    pub rig: Source,
    /// The program in hand, for programs.
    pub program: serde_json::Value,
    /// What the plan expects, for programs.
    pub forecast: serde_json::Value,
    /// Where the powder is released, which a measured part is held against; `None` for a job
    /// that coats nothing.
    pub basis: Option<RunBasis>,
    /// Version of this software.
    pub software: String,
    /// Seed of everything random on the twin; `None` on a machine.
    pub seed: Option<u64>,
    /// What a person said of this part: job, serial number, operator, powder lot, blasted at.
    pub particulars: BTreeMap<String, String>,
    /// The number the first entry will have, so that one lost before any was kept is missed.
    pub first_entry: u64,
}

/// What is known when the job of a run that was opened before begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Beginning {
    /// When that was, by the wall clock of whoever began it.
    pub started_at: Timestamp,
    /// What is known of the part and of who makes it, by name.
    pub particulars: BTreeMap<String, String>,
    /// The number of its first entry.
    pub first_entry: u64,
}

/// What is known when a run ends.
#[derive(Debug, Clone, PartialEq)]
pub struct RunEnd {
    /// How it ended.
    pub ending: Ending,
    /// When, by the wall clock of whoever ended it.
    pub ended_at: Timestamp,
    /// What ended it, in words; of a run that completed, what tripped it on the way, if anything did.
    pub first_cause: Option<String>,
    /// An object of figures by name; quantities as text with their unit. `powder` is shown in the
    /// list of runs.
    pub totals: serde_json::Value,
    /// What was done otherwise than planned.
    pub deviations: Vec<Deviation>,
}

/// Something done otherwise than planned.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Deviation {
    /// What.
    pub what: String,
    /// Why, as the person said; empty where nobody did.
    pub reason: String,
    /// When, on the controller's time line, where it was done in the run.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<Moment>,
    /// Who did it, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// What was so before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// What is so since.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_is_the_utc_date_and_a_counter() {
        let begun: Timestamp = "2026-11-26T00:30:00+01:00".parse().expect("RFC 3339");
        assert_eq!(RunId::new(begun, 3).as_str(), "2026-11-25-003");
        assert_eq!(RunId::new(begun, 1000).as_str(), "2026-11-25-1000");
    }
}
