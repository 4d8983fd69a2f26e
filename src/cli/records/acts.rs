//! `records acts`: what people asked for, and what was answered.

use std::io::Write;

use jiff::tz::TimeZone;

use super::{Reader, RecordsError, or_nothing, print_json, wall};
use crate::cli::say;
use crate::cli::sheet::{Layout, Sheet};
use crate::record::{ActRecord, Store};

/// Prints the latest so many acts, the latest last.
///
/// # Errors
/// As [`super::list`].
pub fn list_acts(
    store: &Store,
    most: u32,
    reader: Reader,
    zone: &TimeZone,
    to: &mut impl Write,
) -> Result<(), RecordsError> {
    let mut acts = store.acts(most)?;
    acts.reverse();
    match reader {
        Reader::Program => print_json(&acts, to)?,
        Reader::Person if acts.is_empty() => {
            writeln!(to, "nobody asked for anything in {}", store.file().display())?;
        }
        Reader::Person => acts_sheet(&acts, zone).print(to)?,
    }
    Ok(())
}

fn acts_sheet(acts: &[ActRecord], zone: &TimeZone) -> Sheet {
    let mut sheet = Sheet::new(
        0,
        &[
            ("at", Layout::Word),
            ("person", Layout::Prose),
            ("role", Layout::Word),
            ("from", Layout::Word),
            ("what", Layout::Prose),
            ("answer", Layout::Prose),
            ("run", Layout::Word),
        ],
    );
    for act in acts {
        sheet.row([
            wall(act.at, zone, "%Y-%m-%d %H:%M:%S"),
            say::one_line(&act.person),
            or_nothing(act.role.map(|role| role.to_string())),
            act.whence.to_string(),
            say::one_line(&act.what),
            say::one_line(&act.answer.to_string()),
            or_nothing(act.run.as_ref().map(ToString::to_string)),
        ]);
    }
    sheet
}
