//! Where the values of a file stand, by their paths.

use std::collections::BTreeMap;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

/// The bytes of every value of a file, by path.
pub(super) struct Index {
    spans: BTreeMap<String, Range<usize>>,
}

/// The path of a key in the table at `path`.
pub(super) fn child(path: &str, key: &str) -> String {
    if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") }
}

/// The path of a place, counted from 0, in the list at `path`: shown counted from 1.
pub(super) fn element(path: &str, place: usize) -> String {
    format!("{path}[{}]", place + 1)
}

/// The bytes a named value is marked by. A table that was only ever opened by the header of one
/// inside it has no text of its own: its name stands for it.
pub(super) fn span_of(name: &Spanned<DeString<'_>>, value: &Spanned<DeValue<'_>>) -> Range<usize> {
    if value.span().is_empty() { name.span() } else { value.span() }
}

impl Index {
    /// Of a text; of one that is no TOML, what could be made out.
    pub(super) fn of(text: &str) -> Self {
        let (table, _) = DeTable::parse_recoverable(text);
        let mut index = Self { spans: BTreeMap::new() };
        index.add_table("", table.get_ref());
        index
    }

    fn add_table(&mut self, path: &str, table: &DeTable<'_>) {
        for (key, value) in table {
            let path = child(path, key.get_ref());
            self.add_value(path, span_of(key, value), value.get_ref());
        }
    }

    fn add_value(&mut self, path: String, span: Range<usize>, value: &DeValue<'_>) {
        match value {
            DeValue::Table(table) => self.add_table(&path, table),
            DeValue::Array(array) => {
                for (place, entry) in array.iter().enumerate() {
                    self.add_value(element(&path, place), entry.span(), entry.get_ref());
                }
            }
            _ => {}
        }
        self.spans.insert(path, span);
    }

    /// The bytes of the value at `path`; where the file has no such value, of the nearest one
    /// that would hold it, and at last the start of the file.
    pub(super) fn span(&self, path: &str) -> Range<usize> {
        let mut path = path;
        loop {
            if let Some(span) = self.spans.get(path) {
                return span.clone();
            }
            match path.rfind(['.', '[']).and_then(|end| path.get(..end)) {
                Some(shorter) => path = shorter,
                None => return 0..0,
            }
        }
    }
}

/// The values of a file as they are written, by path.
pub(crate) struct Written<'t> {
    text: &'t str,
    index: Index,
}

impl<'t> Written<'t> {
    /// Of a text.
    pub(crate) fn of(text: &'t str) -> Self {
        Self { text, index: Index::of(text) }
    }

    /// What is written at `path`, without its quotes; `None` when nothing is.
    pub(crate) fn text(&self, path: &str) -> Option<&'t str> {
        let span = self.index.spans.get(path)?.clone();
        Some(self.text.get(span)?.trim_matches('"').trim())
    }
}
