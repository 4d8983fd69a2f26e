//! The kinds of field a table can have.

use core::fmt::Display;
use core::ops::RangeInclusive;

use super::bounds::Bounds;
use super::table::Table;
use super::value::{Value, form, quoted, usual_unit};
use crate::quantity::{Hardness, Measure, Quantity, Range};

/// Each reads one field by its key and reports what is wrong with it; `None` means "wrong or
/// missing, and reported".
impl<'a> Table<'a> {
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
        rising(&value, &accepted, |table, end| table.quantity(end, bounds))
    }

    /// The same where it may be left out. The outer `None` is "wrong, and reported".
    pub(crate) fn optional_range<Q: Quantity + Display>(
        &mut self,
        key: &'static str,
        bounds: &Bounds<Q>,
    ) -> Option<Option<Range<Q>>> {
        if self.has(key) { self.range(key, bounds).map(Some) } else { self.left_out(key) }
    }

    /// `key = { from = "..", to = ".." }` of two hardnesses on one scale, if it is given.
    pub(crate) fn optional_hardness_range(
        &mut self,
        key: &'static str,
    ) -> Option<Option<Range<Hardness>>> {
        let Some(value) = self.optional(key) else { return Some(None) };
        let accepted = "a range of hardness as { from = \"... HRC\", to = \"... HRC\" }";
        let range = rising(&value, accepted, |table, end| {
            let line = format!("`{end} = \"... HRC\"`");
            table.required(end, "a hardness in quotes: a number and its scale", &line)?.hardness()
        })?;
        if range.low.scale() == range.high.scale() {
            return Some(Some(range));
        }
        value.fail(
            format!("the range runs from {} to {}", range.low, range.high),
            "two hardnesses on one scale",
            Some("write both on the scale that the coat is measured with".to_owned()),
        );
        None
    }

    /// Text of one line that is not empty.
    pub(crate) fn text(&mut self, key: &'static str) -> Option<String> {
        self.required(key, "text in quotes", &format!("`{key} = \"...\"`"))?.line()
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
        if self.has(key) { self.address(key).map(Some) } else { self.left_out(key) }
    }

    /// Asks for a field that is not there, so that its key is known.
    fn left_out<T>(&mut self, key: &'static str) -> Option<Option<T>> {
        self.optional(key).map_or(Some(None), |_| None)
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

    /// A figure with its unit, of a dimension that somebody else knows, if it is given.
    pub(crate) fn optional_measure(&mut self, key: &'static str) -> Option<Option<Measure>> {
        self.optional(key).map_or(Some(None), |value| value.measure().map(Some))
    }

    /// One of several words, if it is given.
    pub(crate) fn optional_choice<T: Copy>(
        &mut self,
        key: &'static str,
        choices: &[(&'static str, T)],
    ) -> Option<Option<T>> {
        self.optional(key).map_or(Some(None), |value| value.choice(choices).map(Some))
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

/// The two ends of a range, in rising order.
fn rising<'a, T: Display + PartialOrd + Copy>(
    value: &Value<'a>,
    accepted: &str,
    mut end: impl FnMut(&mut Table<'a>, &'static str) -> Option<T>,
) -> Option<Range<T>> {
    let range = value.table(accepted, |table| {
        let (low, high) = (end(table, "from"), end(table, "to"));
        Some(Range { low: low?, high: high? })
    })?;
    // Two hardnesses on different scales have no order, which their field says better.
    if range.low < range.high || range.low.partial_cmp(&range.high).is_none() {
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
