//! A run for other programs: everything as it is stored, as JSON, and tables as CSV.
//!
//! # JSON
//! One object: `{"format": "evenpass run, 1", "software": "evenpass 0.1.0", "form": 8, "rows":
//! [{"table": "run", "columns": {...}}, ...]}`.
//! - `software` is what wrote the file, `form` that of the records file it was read from.
//! - `rows` has every row about the run with all its columns as they are stored: the run's own first
//!   (with recipe, rig, program and forecast), then its entries by rising `number`, then what belongs
//!   to it: its chain, measurements and their withdrawals, acts, marks, parts of batches.
//! - Integers are numbers, what is missing is null, and text is text to the letter, JSON within it
//!   too; bytes, such as the links of the chain, are hexadecimal. From these the run's chain can be
//!   computed again.
//! - A row that people added, such as a mark, has `"link": {"before": ..., "own": ...}` beside it: the
//!   digest of itself and of the row before it in its table, which may be of another run.
//!
//! # CSV
//! Tables as RFC 4180 has them, with one heading and CRLF: `part.csv` has what is known of the part and
//! by what it was made, one row a name; `samples.csv` has one row a time and one column a quantity,
//! `passes.csv` one row a pass, `entries.csv` every entry, `measurements.csv` one row for each diameter
//! that was measured, `marks.csv` what people added. The unit stands in the heading, figures are in it
//! alone, and what was not measured is empty. Words that a spreadsheet would take for a formula, since
//! they begin with `=`, `+`, `-`, `@`, a tab or a carriage return, have an apostrophe before them there;
//! the JSON has all to the letter. Of a run whose entries went into a file of their own, the tables
//! made of entries are not written.

mod tables;

use std::io::{self, Write};

use serde_json::{Value, json};
use thiserror::Error;

use crate::record::{RecordError, RunId, Store};
use crate::report::Report;

/// What the JSON calls itself; the number rises with a change that a reader of the earlier one
/// would misread.
pub const FORMAT: &str = "evenpass run, 1";

/// Why a run was not exported, or not all of it.
#[derive(Debug, Error)]
pub enum ExportError {
    /// The record can't be read, or has no such run.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The output can't be written.
    #[error("the output cannot be written")]
    Output(#[from] io::Error),
}

/// A table of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    /// The part, and by what it was made.
    Part,
    /// What was sampled, one row a time.
    Samples,
    /// The passes.
    Passes,
    /// Every entry.
    Entries,
    /// Diameters that were measured.
    Measurements,
    /// What people added.
    Marks,
}

impl Table {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Part, Self::Samples, Self::Passes, Self::Entries, Self::Measurements, Self::Marks];

    /// The name of its file.
    #[must_use]
    pub const fn file(self) -> &'static str {
        match self {
            Self::Part => "part.csv",
            Self::Samples => "samples.csv",
            Self::Passes => "passes.csv",
            Self::Entries => "entries.csv",
            Self::Measurements => "measurements.csv",
            Self::Marks => "marks.csv",
        }
    }

    /// Whether it is made of a run's entries, which may be in a file of their own.
    #[must_use]
    pub const fn is_of_entries(self) -> bool {
        matches!(self, Self::Samples | Self::Passes | Self::Entries)
    }

    /// Writes it.
    ///
    /// # Errors
    /// The output can't be written.
    pub fn write(self, report: &Report, to: impl Write) -> io::Result<()> {
        let written = match self {
            Self::Part => tables::part(report, to),
            Self::Samples => tables::samples(report, to),
            Self::Passes => tables::passes(report, to),
            Self::Entries => tables::entries(report, to),
            Self::Measurements => tables::measurements(report, to),
            Self::Marks => tables::marks(report, to),
        };
        written.map_err(io::Error::from)
    }
}

/// Writes a run as JSON, row by row.
///
/// # Errors
/// [`ExportError`] when there is no such run, the record can't be read or the output not written.
pub fn write_json(store: &Store, run: &RunId, mut to: impl Write) -> Result<(), ExportError> {
    let software = format!("evenpass {}", env!("CARGO_PKG_VERSION"));
    let head = (Value::from(FORMAT), Value::from(software), store.form()?);
    write!(
        to,
        "{{\"format\": {}, \"software\": {}, \"form\": {}, \"rows\": [",
        head.0, head.1, head.2
    )?;
    let mut between = "\n";
    store.each_row_about(run, |row| {
        write!(to, "{between}{}", json!(row))?;
        between = ",\n";
        Ok::<(), ExportError>(())
    })?;
    write!(to, "\n]}}\n")?;
    Ok(())
}
