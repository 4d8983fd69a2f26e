//! Text laid out in columns that fit a page.

use std::io::{self, Write};

use super::say::harmless;
pub(super) use crate::shown::Layout;
use comfy_table::presets::NOTHING;
use comfy_table::{CellAlignment, ColumnConstraint, ContentArrangement, Table};

/// Characters in a line: what fits a terminal beside something else, and a printed page.
pub(super) const WIDTH: u16 = 100;

/// Space between two columns.
const GUTTER: u16 = 2;

/// A table with a heading over each column.
pub(super) struct Sheet {
    table: Table,
    indent: u16,
}

impl Sheet {
    /// Columns by heading and layout, moved in by so many characters.
    pub(super) fn new(indent: u16, columns: &[(&str, Layout)]) -> Self {
        let mut table = Table::new();
        table
            .load_style(NOTHING)
            .set_width(WIDTH - indent)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_header(columns.iter().map(|(heading, _)| *heading).collect::<Vec<_>>());
        for (column, (_, layout)) in table.column_iter_mut().zip(columns) {
            column.set_padding((0, GUTTER));
            match layout {
                Layout::Prose => {}
                Layout::Word => {
                    column.set_constraint(ColumnConstraint::ContentWidth);
                }
                Layout::Figure => {
                    column.set_constraint(ColumnConstraint::ContentWidth);
                    column.set_cell_alignment(CellAlignment::Right);
                }
            }
        }
        Self { table, indent }
    }

    /// Adds a row; cells that are missing at its end stay empty.
    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let cells = cells.into_iter().map(|cell| harmless(&cell));
        self.table.add_row(cells.collect::<Vec<_>>());
    }

    /// Whether there is no row.
    pub(super) fn is_empty(&self) -> bool {
        self.table.is_empty()
    }

    /// Prints it, without its heading where all headings are empty.
    pub(super) fn print(&self, to: &mut impl Write) -> io::Result<()> {
        let indent = " ".repeat(usize::from(self.indent));
        for line in self.table.lines() {
            let line = line.trim_end();
            if !line.is_empty() {
                writeln!(to, "{indent}{line}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printed(sheet: &Sheet) -> String {
        let mut text = Vec::new();
        sheet.print(&mut text).expect("to memory");
        String::from_utf8(text).expect("text")
    }

    #[test]
    fn figures_are_flush_right_and_words_flush_left() {
        let mut sheet = Sheet::new(2, &[("n", Layout::Figure), ("word", Layout::Word)]);
        sheet.row(["7".to_owned(), "a".to_owned()]);
        sheet.row(["10".to_owned(), "b".to_owned()]);
        assert_eq!(printed(&sheet), "   n  word\n   7  a\n  10  b\n");
    }

    #[test]
    fn prose_is_broken_where_the_page_ends() {
        let mut sheet = Sheet::new(2, &[("at", Layout::Word), ("text", Layout::Prose)]);
        sheet.row(["0:00:01.0".to_owned(), "the flame was lost ".repeat(20)]);
        let text = printed(&sheet);
        assert!(text.lines().count() > 3, "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= usize::from(WIDTH)), "{text}");
    }
}
