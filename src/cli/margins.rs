//! How near a job came to its limits, as a table.

use super::sheet::{Layout, Sheet};
use crate::margins::Margin;

/// The margins as a table.
pub(super) fn sheet(margins: &[Margin]) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("", Layout::Prose),
            ("found", Layout::Word),
            ("accepted", Layout::Word),
            ("left", Layout::Figure),
        ],
    );
    for margin in margins {
        sheet.row([
            margin.what.clone(),
            margin.found.clone(),
            margin.accepted.clone(),
            margin.left.clone(),
        ]);
    }
    sheet
}
