//! One value of a file on its way to what it should be.

use core::cell::RefCell;
use core::ops::{Range, RangeInclusive};

use toml::de::DeValue;

use super::bounds::{Bounds, other_unit, trimmed, written_unit};
use super::index::element;
use super::problem::{Problem, Problems};
use super::table::Table;
use crate::quantity::{Hardness, Measure, Quantity, QuantityError, Unit};

/// The text that is read and the list its problems go to.
#[derive(Clone, Copy)]
pub(super) struct Context<'a> {
    pub(super) text: &'a str,
    pub(super) problems: &'a RefCell<Problems>,
}

impl Context<'_> {
    pub(super) fn report(self, problem: Problem) {
        self.problems.borrow_mut().push(problem);
    }
}

/// A value with its place.
#[derive(Clone)]
pub(super) struct Value<'a> {
    pub(super) context: Context<'a>,
    pub(super) path: String,
    pub(super) span: Range<usize>,
    pub(super) value: &'a DeValue<'a>,
}

/// What a quantity looks like in a file.
pub(super) fn form<Q: Quantity>() -> String {
    let units: Vec<&str> = Q::UNITS.iter().map(|unit| unit.symbol).collect();
    format!("a {} in quotes: a number and a unit ({})", Q::NAME, units.join(", "))
}

/// The unit a quantity is usually written in.
pub(super) fn usual_unit<Q: Quantity>() -> &'static str {
    Q::UNITS.first().map_or("", |unit: &Unit| unit.symbol)
}

impl<'a> Value<'a> {
    /// As it is written.
    fn written(&self) -> &'a str {
        self.context.text.get(self.span.clone()).unwrap_or("").trim()
    }

    /// What it is, in a practitioner's words.
    fn kind(&self) -> &'static str {
        match self.value {
            DeValue::String(_) => "text",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        }
    }

    pub(super) fn fail(
        &self,
        found: impl Into<String>,
        accepted: impl Into<String>,
        help: Option<String>,
    ) {
        let problem = Problem::error(self.path.clone(), found).accepted(accepted).hint(help);
        self.context.report(problem.at(self.span.clone()));
    }

    fn wrong_kind(&self, accepted: impl Into<String>) {
        self.fail(format!("this is {}", self.kind()), accepted, None);
    }

    /// A figure with its unit, of whatever dimension.
    pub(super) fn measure(&self) -> Option<Measure> {
        self.parsed("text in quotes: a number and its unit", Measure::parse)
    }

    /// A hardness with its scale.
    pub(super) fn hardness(&self) -> Option<Hardness> {
        self.parsed("text in quotes: a number and its scale of hardness", Hardness::parse)
    }

    /// What `read` makes of a text, or of a number as it is written.
    fn parsed<T>(
        &self,
        accepted: &str,
        read: impl FnOnce(&str) -> Result<T, QuantityError>,
    ) -> Option<T> {
        let text = match self.value {
            DeValue::String(text) => text.to_string(),
            DeValue::Integer(_) | DeValue::Float(_) => self.written().to_owned(),
            _ => {
                self.wrong_kind(accepted);
                return None;
            }
        };
        match read(&text) {
            Ok(read) => Some(read),
            Err(error) => {
                self.fail(error.what, error.accepted, error.hint);
                None
            }
        }
    }

    /// A quantity inside `bounds`.
    pub(super) fn quantity<Q: Quantity + core::fmt::Display>(
        &self,
        bounds: &Bounds<Q>,
    ) -> Option<Q> {
        let text = match self.value {
            DeValue::String(text) => text,
            DeValue::Integer(_) | DeValue::Float(_) => {
                let written = self.written();
                if written.ends_with("nan") || written.ends_with("inf") {
                    self.fail(format!("`{written}` is not a finite number"), form::<Q>(), None);
                } else {
                    let help = format!(
                        "write \"{written} {}\" if that is the unit meant",
                        usual_unit::<Q>()
                    );
                    self.fail(format!("`{written}` has no unit"), form::<Q>(), Some(help));
                }
                return None;
            }
            _ => {
                self.wrong_kind(form::<Q>());
                return None;
            }
        };
        let value = match Q::parse(text) {
            Ok(value) => value,
            Err(error) => {
                self.fail(error.what, error.accepted, error.hint);
                return None;
            }
        };
        if bounds.hold(&value) {
            return Some(value);
        }
        // In the unit that was written, so that the figures can be compared.
        let shown = |value: Q| match written_unit::<Q>(text) {
            Some(unit) => format!("{} {}", trimmed(unit.from_base(value.base())), unit.symbol),
            None => value.to_string(),
        };
        let (low, high) = (shown(bounds.low), shown(bounds.high));
        let found = if value < bounds.low {
            format!("`{text}` is less than {low}")
        } else {
            format!("`{text}` is more than {high}")
        };
        let accepted = format!("{low} to {high} ({})", bounds.source);
        self.fail(found, accepted, other_unit(text, bounds));
        None
    }

    /// Text that is not empty.
    pub(super) fn text(&self) -> Option<String> {
        match self.value {
            // It would be shown as it stands: a terminal obeys control characters, and others
            // turn the direction of reading. A note may have several lines.
            DeValue::String(text) if text.chars().any(misleads) => {
                self.fail(
                    "this text has a control character",
                    "text in quotes, of letters, figures and signs",
                    Some("write the text anew, by hand".to_owned()),
                );
                None
            }
            DeValue::String(text) if !text.trim().is_empty() => Some(text.trim().to_owned()),
            DeValue::String(_) => {
                self.fail("this text is empty", "text in quotes", None);
                None
            }
            _ => {
                self.wrong_kind("text in quotes");
                None
            }
        }
    }

    /// Text of one line: a name or a title stands in lists, and in a line of its own.
    pub(super) fn line(&self) -> Option<String> {
        let text = self.text()?;
        if text.contains('\n') {
            self.fail("this text has a line break", "text in quotes, of one line", None);
            return None;
        }
        Some(text)
    }

    /// A whole number in a range.
    pub(super) fn count(&self, range: &RangeInclusive<u32>, source: &str) -> Option<u32> {
        let accepted =
            format!("a whole number from {} to {} ({source})", range.start(), range.end());
        let DeValue::Integer(integer) = self.value else {
            let help = match self.value {
                DeValue::String(text) if text.trim().parse::<u32>().is_ok() => {
                    Some("a number of things has no unit and stands without quotes".to_owned())
                }
                _ => None,
            };
            self.fail(format!("this is {}", self.kind()), accepted, help);
            return None;
        };
        let value = i64::from_str_radix(integer.as_str(), integer.radix()).ok();
        match value
            .and_then(|value| u32::try_from(value).ok())
            .filter(|value| range.contains(value))
        {
            Some(value) => Some(value),
            None => {
                self.fail(format!("`{}` is outside the range", self.written()), accepted, None);
                None
            }
        }
    }

    /// A number without a unit.
    pub(super) fn number(&self, bounds: &Bounds<f64>) -> Option<f64> {
        let accepted = format!(
            "a number without a unit, {} to {} ({})",
            bounds.low, bounds.high, bounds.source
        );
        let value = match self.value {
            DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
                .ok()
                .and_then(|value| i32::try_from(value).ok().map(f64::from)),
            DeValue::Float(float) => float.as_str().parse().ok(),
            _ => {
                self.wrong_kind(accepted);
                return None;
            }
        };
        match value.filter(|value: &f64| value.is_finite() && bounds.hold(value)) {
            Some(value) => Some(value),
            None => {
                self.fail(format!("`{}` is outside the range", self.written()), accepted, None);
                None
            }
        }
    }

    /// One of several words.
    pub(super) fn choice<T: Copy>(&self, choices: &[(&'static str, T)]) -> Option<T> {
        let words: Vec<&str> = choices.iter().map(|(word, _)| *word).collect();
        let accepted = format!("one of {}", quoted(&words));
        let DeValue::String(text) = self.value else {
            self.wrong_kind(accepted);
            return None;
        };
        let found = choices.iter().find(|(word, _)| word == text).map(|(_, choice)| *choice);
        if found.is_none() {
            let help = nearest(text, &words).map(|near| format!("did you mean \"{near}\"?"));
            self.fail(format!("\"{text}\" is not known here"), accepted, help);
        }
        found
    }

    /// One of the names the catalogue has for a `what`.
    pub(super) fn name(&self, what: &str, names: &[&str]) -> Option<String> {
        let text = self.text()?;
        if names.contains(&text.as_str()) {
            return Some(text);
        }
        let accepted = format!("a {what} of the catalogue: {}", names.join(", "));
        let help = match nearest(&text, names) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("write one of these, or add the {what} to the catalogue"),
        };
        self.fail(format!("no {what} is called \"{text}\""), accepted, Some(help));
        None
    }

    /// The entries of a list with a number of them in `range`.
    pub(super) fn list(&self, range: &RangeInclusive<usize>, accepted: &str) -> Option<Vec<Self>> {
        let DeValue::Array(array) = self.value else {
            self.wrong_kind(accepted);
            return None;
        };
        if !range.contains(&array.len()) {
            let number = array.len();
            let found =
                format!("the list has {number} {}", if number == 1 { "entry" } else { "entries" });
            self.fail(
                found,
                format!("{accepted}, {} to {} of them", range.start(), range.end()),
                None,
            );
            return None;
        }
        let entry = |(place, entry): (usize, &'a toml::Spanned<DeValue<'a>>)| Self {
            context: self.context,
            path: element(&self.path, place),
            span: entry.span(),
            value: entry.get_ref(),
        };
        Some(array.iter().enumerate().map(entry).collect())
    }

    /// A table, read by `read`.
    pub(super) fn table<T>(
        &self,
        accepted: &str,
        read: impl FnOnce(&mut Table<'a>) -> Option<T>,
    ) -> Option<T> {
        let DeValue::Table(entries) = self.value else {
            self.wrong_kind(accepted);
            return None;
        };
        Table::walk(self.context, self.path.clone(), self.span.clone(), entries, read)
    }
}

/// Words in quotes, in one line.
pub(super) fn quoted(words: &[&str]) -> String {
    words.iter().map(|word| format!("\"{word}\"")).collect::<Vec<_>>().join(", ")
}

/// The word that was probably meant: at most a third of its letters differ, or one of the two is
/// the beginning of the other.
#[must_use]
pub fn nearest<'w>(found: &str, words: &[&'w str]) -> Option<&'w str> {
    /// Beginnings shorter than this say nothing.
    const BEGINNING: usize = 3;
    let begins = |word: &str| {
        word.len().min(found.len()) >= BEGINNING
            && (word.starts_with(found) || found.starts_with(word))
    };
    words
        .iter()
        .map(|word| (strsim::damerau_levenshtein(found, word), *word))
        .filter(|(distance, word)| *distance <= (found.chars().count() / 3).max(1) || begins(word))
        .min_by_key(|(distance, word)| (*distance, !word.starts_with(found)))
        .map(|(_, word)| word)
}
/// A character that a screen obeys instead of showing it, or that turns the direction of reading.
fn misleads(c: char) -> bool {
    let turns =
        matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    turns || (c.is_control() && c != '\n')
}
