//! A table of a file, read field by field.

use core::cell::RefCell;
use core::fmt::Display;
use core::ops::{self, RangeInclusive};

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::bounds::Bounds;
use super::index::{child, span_of};
use super::problem::{Problem, Problems};
use super::syntax::{self, Damage};
use super::value::{Context, Value, form, nearest, quoted, usual_unit};
use crate::catalogue::Range;
use crate::quantity::Quantity;

/// From so many on, missing fields of a table are reported in one go.
const MANY: usize = 3;

/// A file that is being read.
pub(crate) struct Document;

impl Document {
    /// Reads `text`, which should be `what` ("a recipe"), by `read`. What comes back is `None` when a field needed for it was wrong;
    /// the problems say why, and there may be errors although a value came back.
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

/// Whether the keys of a table are ours or its writer's.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Names {
    Fixed,
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
        let problem = if problem.span.is_some() { problem } else { problem.at(self.span.clone()) };
        self.context.report(problem);
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

    fn optional(&mut self, key: &'static str) -> Option<Value<'a>> {
        self.known.push(key);
        let (name, value) = self.entries.get_key_value(key)?;
        Some(self.value(name, value))
    }

    fn value(&self, name: &'a Spanned<DeString<'a>>, value: &'a Spanned<DeValue<'a>>) -> Value<'a> {
        let span = span_of(name, value);
        Value {
            context: self.context,
            path: self.path_of(name.get_ref()),
            span,
            value: value.get_ref(),
        }
    }

    fn required(&mut self, key: &'static str, accepted: &str, line: &str) -> Option<Value<'a>> {
        let value = self.optional(key);
        if value.is_none() {
            let problem = Problem::error(self.path_of(key), format!("`{key}` is missing"))
                .accepted(accepted)
                .help(format!("add {line}"));
            self.missing.push((key, problem.at(self.span.clone())));
        }
        value
    }

    /// A quantity inside `bounds`.
    pub(crate) fn quantity<Q: Quantity + Display>(
        &mut self,
        key: &'static str,
        bounds: &Bounds<Q>,
    ) -> Option<Q> {
        let line = format!("`{key} = \"... {}\"`", usual_unit::<Q>());
        self.required(key, &form::<Q>(), &line)?.quantity(bounds)
    }

    /// A quantity that may be left out and then is `otherwise`.
    pub(crate) fn quantity_or<Q: Quantity + Display>(
        &mut self,
        key: &'static str,
        bounds: &Bounds<Q>,
        otherwise: Q,
    ) -> Option<Q> {
        match self.optional(key) {
            Some(value) => value.quantity(bounds),
            None => Some(otherwise),
        }
    }

    /// A quantity that may be left out. The outer `None` is "wrong, and reported".
    pub(crate) fn optional_quantity<Q: Quantity + Display>(
        &mut self,
        key: &'static str,
        bounds: &Bounds<Q>,
    ) -> Option<Option<Q>> {
        self.optional(key).map_or(Some(None), |value| value.quantity(bounds).map(Some))
    }

    /// `key = { from = "..", to = ".." }`, both inside `bounds` and in rising order.
    pub(crate) fn range<Q: Quantity + Display>(
        &mut self,
        key: &'static str,
        bounds: &Bounds<Q>,
    ) -> Option<Range<Q>> {
        let unit = usual_unit::<Q>();
        let accepted =
            format!("a range of {} as {{ from = \"... {unit}\", to = \"... {unit}\" }}", Q::NAME);
        let line = format!("`{key} = {{ from = \"... {unit}\", to = \"... {unit}\" }}`");
        let value = self.required(key, &accepted, &line)?;
        let range = value.table(&accepted, |table| {
            let low = table.quantity("from", bounds);
            let high = table.quantity("to", bounds);
            Some(Range { low: low?, high: high? })
        })?;
        if range.low < range.high {
            return Some(range);
        }
        let found = format!("the range runs from {} to {}", range.low, range.high);
        value.fail(
            found,
            "a range whose `from` is less than its `to`",
            Some("exchange the two if they are reversed".to_owned()),
        );
        None
    }

    /// Text that is not empty.
    pub(crate) fn text(&mut self, key: &'static str) -> Option<String> {
        self.required(key, "text in quotes", &format!("`{key} = \"...\"`"))?.text()
    }

    /// The name of a `what`, one of those the catalogue has.
    pub(crate) fn name(&mut self, key: &'static str, what: &str, names: &[&str]) -> Option<String> {
        let accepted = format!("a {what} of the catalogue: {}", names.join(", "));
        self.required(key, &accepted, &format!("`{key} = \"...\"`"))?.name(what, names)
    }

    /// Text that may be left out.
    pub(crate) fn optional_text(&mut self, key: &'static str) -> Option<Option<String>> {
        self.optional(key).map_or(Some(None), |value| value.text().map(Some))
    }

    /// A whole number in `range`, which comes from `source`.
    pub(crate) fn count(
        &mut self,
        key: &'static str,
        range: RangeInclusive<u32>,
        source: &str,
    ) -> Option<u32> {
        self.required(key, "a whole number", &format!("`{key} = ...`"))?.count(&range, source)
    }

    /// A whole number that may be left out.
    pub(crate) fn optional_count(
        &mut self,
        key: &'static str,
        range: RangeInclusive<u32>,
        source: &str,
    ) -> Option<Option<u32>> {
        self.optional(key).map_or(Some(None), |value| value.count(&range, source).map(Some))
    }

    /// A register, coil or input address.
    pub(crate) fn address(&mut self, key: &'static str) -> Option<u16> {
        let range = 0..=u32::from(u16::MAX);
        u16::try_from(self.count(key, range, "the Modbus address range")?).ok()
    }

    /// An address that may be left out.
    pub(crate) fn optional_address(&mut self, key: &'static str) -> Option<Option<u16>> {
        if self.has(key) {
            self.address(key).map(Some)
        } else {
            self.optional(key).map_or(Some(None), |_| None)
        }
    }

    /// A number without a unit.
    pub(crate) fn number(&mut self, key: &'static str, bounds: &Bounds<f64>) -> Option<f64> {
        self.required(key, "a number without a unit", &format!("`{key} = ...`"))?.number(bounds)
    }

    /// A number without a unit that may be left out.
    pub(crate) fn optional_number(
        &mut self,
        key: &'static str,
        bounds: &Bounds<f64>,
    ) -> Option<Option<f64>> {
        self.optional(key).map_or(Some(None), |value| value.number(bounds).map(Some))
    }

    /// One of several words.
    pub(crate) fn choice<T: Copy>(
        &mut self,
        key: &'static str,
        choices: &[(&'static str, T)],
    ) -> Option<T> {
        let words: Vec<&str> = choices.iter().map(|(word, _)| *word).collect();
        let accepted = format!("one of {}", quoted(&words));
        self.required(key, &accepted, &format!("`{key} = \"...\"`"))?.choice(choices)
    }

    /// One of several words that may be left out and then is `otherwise`.
    pub(crate) fn choice_or<T: Copy>(
        &mut self,
        key: &'static str,
        choices: &[(&'static str, T)],
        otherwise: T,
    ) -> Option<T> {
        self.optional(key).map_or(Some(otherwise), |value| value.choice(choices))
    }

    /// The table `[key]`.
    pub(crate) fn table<T>(
        &mut self,
        key: &'static str,
        read: impl FnOnce(&mut Table<'a>) -> Option<T>,
    ) -> Option<T> {
        let header = format!("[{}]", self.path_of(key));
        self.required(key, &format!("a table {header}"), &format!("a table {header}"))?
            .table(&format!("a table {header}"), read)
    }

    /// The table `[key]`, which may be left out.
    pub(crate) fn optional_table<T>(
        &mut self,
        key: &'static str,
        read: impl FnOnce(&mut Table<'a>) -> Option<T>,
    ) -> Option<Option<T>> {
        let header = format!("a table [{}]", self.path_of(key));
        self.optional(key).map_or(Some(None), |value| value.table(&header, read).map(Some))
    }

    /// The tables `[[key]]`, one result for each; the outer `None` when there are too few or too
    /// many of them.
    pub(crate) fn tables<T>(
        &mut self,
        key: &'static str,
        range: &RangeInclusive<usize>,
        mut read: impl FnMut(&mut Table<'a>) -> Option<T>,
    ) -> Option<Vec<Option<T>>> {
        let accepted = format!("tables [[{}]]", self.path_of(key));
        let value = if *range.start() == 0 {
            match self.optional(key) {
                Some(value) => value,
                None => return Some(Vec::new()),
            }
        } else {
            self.required(key, &accepted, &format!("a table [[{}]]", self.path_of(key)))?
        };
        let entries = value.list(range, &accepted)?;
        Some(entries.iter().map(|entry| entry.table(&accepted, &mut read)).collect())
    }

    /// A list of quantities, all inside `bounds`.
    pub(crate) fn quantities<Q: Quantity + Display>(
        &mut self,
        key: &'static str,
        range: &RangeInclusive<usize>,
        bounds: &Bounds<Q>,
    ) -> Option<Vec<Q>> {
        let accepted =
            format!("a list of quantities such as [\"... {0}\", \"... {0}\"]", usual_unit::<Q>());
        let entries =
            self.required(key, &accepted, &format!("`{key} = [...]`"))?.list(range, &accepted)?;
        let read: Vec<Option<Q>> = entries.iter().map(|entry| entry.quantity(bounds)).collect();
        read.into_iter().collect()
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

    /// A device that is described by a table, or is `"not_fitted"`: then `Some(None)`.
    pub(crate) fn fitted<T>(
        &mut self,
        key: &'static str,
        form: &str,
        read: impl FnOnce(&mut Table<'a>) -> Option<T>,
    ) -> Option<Option<T>> {
        let accepted = format!("{form}, or \"not_fitted\"");
        let value = self.required(key, &accepted, &format!("`{key} = {form}`"))?;
        if value.value.as_str().is_some() {
            return value.choice(&[("not_fitted", ())]).map(|()| None);
        }
        value.table(&accepted, read).map(Some)
    }
}
