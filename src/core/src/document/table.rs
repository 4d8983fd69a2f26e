//! A table of a file, read field by field.

use core::cell::RefCell;
use core::ops;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::index::{child, span_of};
use super::problem::{Problem, Problems};
use super::syntax::{self, Damage};
use super::value::{Context, Value, nearest, quoted};

/// From so many on, missing fields of a table are reported in one go.
const MANY: usize = 3;

/// A file that is being read.
pub(crate) struct Document;

impl Document {
    /// Reads `text`, which should be `what` ("a recipe"), by `read`. What comes back is `None`
    /// when a field needed for it was wrong; the problems say why, and there may be errors
    /// although a value came back.
    pub(crate) fn read<T>(
        text: &str,
        what: &str,
        read: impl FnOnce(&mut Table<'_>) -> Option<T>,
    ) -> (Option<T>, Problems) {
        let (table, errors) = DeTable::parse_recoverable(text);
        if table.get_ref().is_empty() && errors.is_empty() {
            let empty = Problem::error("", "this file says nothing")
                .accepted(what)
                .help("start from one of the shipped files");
            return (None, core::iter::once(empty.at(0..0)).collect());
        }
        let (problems, damage) = syntax::problems(text, &errors);
        let problems = RefCell::new(problems);
        // What was recovered behind a torn line is a guess, and so would be what it lacks.
        let value = if damage == Damage::Torn {
            None
        } else {
            let context = Context { text, problems: &problems };
            Table::walk(context, String::new(), 0..0, table.get_ref(), read)
        };
        (value, problems.into_inner().placed(text))
    }
}

/// A table that is being read. Each method reads one field by its key and reports what is wrong
/// with it; `None` means "wrong or missing, and reported". Keys nobody asked for are reported at
/// the end, so every field must be asked for on every way through.
pub(crate) struct Table<'a> {
    context: Context<'a>,
    path: String,
    span: ops::Range<usize>,
    entries: &'a DeTable<'a>,
    known: Vec<&'static str>,
    missing: Vec<(&'static str, Problem)>,
    names: Names,
}

/// Whether the keys of a table are judged.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Names {
    /// They are ours: one that nobody asked for is a problem.
    Fixed,
    /// They are the writer's, or which of them belong here cannot be said.
    Free,
}

impl<'a> Table<'a> {
    pub(super) fn walk<T>(
        context: Context<'a>,
        path: String,
        span: ops::Range<usize>,
        entries: &'a DeTable<'a>,
        read: impl FnOnce(&mut Self) -> Option<T>,
    ) -> Option<T> {
        let mut table = Self {
            context,
            path,
            span,
            entries,
            known: Vec::new(),
            missing: Vec::new(),
            names: Names::Fixed,
        };
        let value = read(&mut table);
        table.close();
        value
    }

    /// Reports keys nobody knows, then the missing ones that no unknown key was meant for.
    fn close(mut self) {
        for (key, _) in self.entries {
            let name: &str = key.get_ref();
            if self.names == Names::Free || self.known.contains(&name) {
                continue;
            }
            let free: Vec<&str> = self
                .known
                .iter()
                .copied()
                .filter(|known| !self.entries.contains_key(*known))
                .collect();
            let mut known = self.known.clone();
            known.sort_unstable();
            let mut problem =
                Problem::error(child(&self.path, name), format!("`{name}` is not known here"))
                    .accepted(format!("the keys {}", quoted(&known)));
            if let Some(meant) = nearest(name, &free) {
                problem = problem.help(format!("did you mean `{meant}`?"));
                self.missing.retain(|(key, _)| *key != meant);
            } else {
                problem = problem.help("delete the line, or write it where it belongs");
            }
            self.context.report(problem.at(key.span()));
        }
        self.report_missing();
    }

    /// Missing fields one by one, or in one go when there are many.
    fn report_missing(self) {
        if self.missing.len() < MANY {
            for (_, missing) in self.missing {
                self.context.report(missing);
            }
            return;
        }
        let keys: Vec<String> = self.missing.iter().map(|(key, _)| format!("`{key}`")).collect();
        let lines: Vec<&str> =
            self.missing.iter().filter_map(|(_, missing)| missing.help.as_deref()).collect();
        let problem = Problem::error(self.path, format!("{} are missing", keys.join(", ")))
            .help(lines.join(", ").replace(", add ", ", "));
        self.context.report(problem.at(self.span));
    }

    /// The path of this table.
    pub(crate) fn path(&self) -> &str {
        &self.path
    }

    /// The path of a field of this table.
    pub(crate) fn path_of(&self, key: &str) -> String {
        child(&self.path, key)
    }

    /// A problem with this table.
    pub(crate) fn report(&self, problem: Problem) {
        self.context.report(problem.at(self.span.clone()));
    }

    /// A problem with a field of this table.
    pub(crate) fn report_at(&self, key: &str, problem: Problem) {
        let span = self
            .entries
            .get_key_value(key)
            .map_or_else(|| self.span.clone(), |(name, value)| span_of(name, value));
        self.context.report(problem.at(span));
    }

    /// A problem whose path says where it is.
    pub(crate) fn report_path(&self, problem: Problem) {
        self.context.report(problem);
    }

    /// Gives up on this table: which keys belong here depends on one that was wrong.
    pub(crate) fn leave_unread(&mut self) {
        self.names = Names::Free;
    }

    /// Whether the file has this field.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.entries.contains_key(key)
    }

    /// The value of a key that may be left out.
    pub(super) fn optional(&mut self, key: &'static str) -> Option<Value<'a>> {
        self.known.push(key);
        let (name, value) = self.entries.get_key_value(key)?;
        Some(self.value(name, value))
    }

    pub(super) fn value(
        &self,
        name: &'a Spanned<DeString<'a>>,
        value: &'a Spanned<DeValue<'a>>,
    ) -> Value<'a> {
        let span = span_of(name, value);
        Value {
            context: self.context,
            path: self.path_of(name.get_ref()),
            span,
            value: value.get_ref(),
        }
    }

    /// The value of a key; when it is missing that is reported with what is `accepted` and the
    /// `line` to add.
    pub(super) fn required(
        &mut self,
        key: &'static str,
        accepted: &str,
        line: &str,
    ) -> Option<Value<'a>> {
        let value = self.optional(key);
        if value.is_none() {
            let problem = Problem::error(self.path_of(key), format!("`{key}` is missing"))
                .accepted(accepted)
                .help(format!("add {line}"));
            self.missing.push((key, problem.at(self.span.clone())));
        }
        value
    }

    /// Every table in this one, whatever it is called.
    pub(crate) fn each<T>(
        &mut self,
        accepted: &str,
        mut read: impl FnMut(&str, &mut Table<'a>) -> Option<T>,
    ) -> Vec<Option<T>> {
        self.names = Names::Free;
        let entries = self.entries.iter().map(|(name, value)| {
            let named: &str = name.get_ref();
            self.value(name, value).table(accepted, |table| read(named, table))
        });
        entries.collect()
    }
}
