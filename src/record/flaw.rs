//! What a look through the record may find.

use std::fmt;

use serde::{Serialize, Serializer};

use super::RunId;

/// One thing in the record that is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Flaw {
    /// The database's own structure is broken, by SQLite's words.
    Structure(String),
    /// What keeps rows from being changed is missing, another than it was, or not ours; by its name.
    Guard(String),
    /// Rows of runs are missing after this one, or the row of this one is another than then.
    Header(RunId),
    /// When, by whom, or with which entry a run was started was changed.
    Beginning(RunId),
    /// How a run ended was changed.
    Ending(RunId),
    /// An entry was changed, or one before it removed, put in or moved.
    Entry(RunId, u64),
    /// The last entries of a run are missing.
    LastEntries(RunId),
    /// A run has no chain, or a chain no run; by its place in the file.
    Chain(i64),
    /// Runs are missing at the end of the file.
    LastRuns,
    /// Entries belong to no run; by the run's place in the file.
    Orphans(i64),
    /// A row of another table was changed, put in, or one before it removed.
    Row(&'static str, i64),
    /// The last rows of a table are missing.
    LastRows(&'static str),
    /// In a file of one run stands what no program of ours writes there.
    Foreign(String),
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Structure(words) => write!(f, "the file's structure is broken: {words}"),
            Self::Guard(name) => {
                write!(f, "what keeps rows from being changed was changed itself: {name}")
            }
            Self::Header(run) => write!(
                f,
                "run {run}: its recipe, rig, plan or title was changed, or the run before it removed"
            ),
            Self::Beginning(run) => {
                write!(f, "run {run}: when or by whom it was started was changed")
            }
            Self::Ending(run) => write!(f, "run {run}: how it ended was changed"),
            Self::Entry(run, number) => write!(
                f,
                "run {run}: entry {number} was changed, or one before it removed, put in or moved"
            ),
            Self::LastEntries(run) => write!(f, "run {run}: its last entries were removed"),
            Self::Chain(place) => {
                write!(
                    f,
                    "run number {place} of the file, or what its entries hang on, was removed"
                )
            }
            Self::LastRuns => f.write_str("the last runs of the file were removed"),
            Self::Orphans(place) => {
                write!(f, "entries were put in, or their run number {place} of the file removed")
            }
            Self::Row(table, place) => write!(
                f,
                "{}: number {place} was changed or put in, or one before it removed",
                heading(table)
            ),
            Self::LastRows(table) => write!(f, "{}: the last were removed", heading(table)),
            Self::Foreign(what) => write!(f, "put in: {what}"),
        }
    }
}

/// In words.
impl Serialize for Flaw {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// What a table holds, for a person.
pub(super) fn heading(table: &str) -> &str {
    match table {
        "proof" => "proof tests",
        "measurement" => "measurements",
        "withdrawal" => "withdrawn measurements",
        "acceptance" => "accepted figures",
        "act" => "acts",
        "batch" => "batches",
        "batch_part" => "parts of batches",
        "mark" => "what people added",
        "pruned" => "what was pruned",
        other => other,
    }
}
