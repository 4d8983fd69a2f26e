//! The edits of a text that set its fields: where in it each field stands or belongs, what takes
//! its place there, and everything else left as it is.

use core::ops::Range;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::literal::as_toml;
use super::path::{Step, steps};
use super::problem::Problem;

/// What a change looks like.
pub(super) const FORM: &str =
    "FIELD=VALUE, such as `zone[1].finish=0.40 mm`; FIELD= leaves a field out";

type Key<'a> = Spanned<DeString<'a>>;
type Held<'a> = Spanned<DeValue<'a>>;

/// One change as it was asked.
pub(super) struct Asked<'a> {
    /// The field.
    pub(super) path: &'a str,
    /// What it shall be; empty to leave it out.
    pub(super) value: &'a str,
    /// Where it stands among all that was asked.
    pub(super) whole: Range<usize>,
    /// Where its field is named.
    pub(super) name: Range<usize>,
    /// Where its value stands.
    pub(super) figure: Range<usize>,
}

impl<'a> Asked<'a> {
    /// By a program, which shows problems at the field and not at what was asked.
    pub(super) const fn of(path: &'a str, value: &'a str) -> Self {
        Self { path, value, whole: 0..0, name: 0..0, figure: 0..0 }
    }
}

/// A piece of the own text and what takes its place.
pub(super) struct Edit {
    place: Range<usize>,
    with: String,
    asked: Range<usize>,
}

/// Where a change stands in the changed text, and where in what was asked.
#[derive(Debug, Clone)]
pub(super) struct Made {
    pub(super) place: Range<usize>,
    pub(super) asked: Range<usize>,
}

/// The edit that makes a change.
pub(super) fn edit(
    own: &str,
    root: &Spanned<DeTable<'_>>,
    change: &Asked<'_>,
) -> Result<Edit, Box<Problem>> {
    let all = steps(change.path).unwrap_or_default();
    let mut rest: &[Step<'_>] = &all;
    let mut table: &DeTable<'_> = root.get_ref();
    let mut header: Option<&Held<'_>> = None;
    let mut walked = String::new();
    loop {
        let [Step::Key(key), after @ ..] = rest else {
            return Err(refused(change, "this is a whole table", "set its fields one by one"));
        };
        let Some((name, value)) = table.get_key_value(*key) else {
            return added(own, table, header, rest, change);
        };
        walked.push_str(key);
        rest = after;
        let mut held = value;
        if let [Step::Place(place), after @ ..] = rest {
            held = entry(value, *place).ok_or_else(|| no_entry(value, &walked, change))?;
            rest = after;
            if rest.is_empty() {
                return replaced(own, None, held, change);
            }
        }
        match held.get_ref() {
            _ if rest.is_empty() => return replaced(own, Some(name), held, change),
            DeValue::Table(inner) => table = inner,
            DeValue::Array(_) => return Err(no_entry(held, &walked, change)),
            _ => {
                let found = format!("`{walked}` is no table");
                return Err(refused(change, &found, &format!("set `{walked}` itself")));
            }
        }
        walked.push('.');
        header = Some(held);
    }
}

fn entry<'t, 'a>(value: &'t Held<'a>, place: usize) -> Option<&'t Held<'a>> {
    match value.get_ref() {
        DeValue::Array(array) => array.get(place.checked_sub(1)?),
        _ => None,
    }
}

fn no_entry(value: &Held<'_>, walked: &str, change: &Asked<'_>) -> Box<Problem> {
    let problem = match value.get_ref() {
        DeValue::Array(array) => {
            let known: Vec<String> =
                (1..=array.len()).map(|place| format!("`{walked}[{place}]`")).collect();
            Problem::error("", format!("`{}` names none of the places of `{walked}`", change.path))
                .accepted(known.join(", "))
        }
        _ => Problem::error("", format!("`{walked}` is no list"))
            .accepted(format!("`{walked}` without a place")),
    };
    Box::new(problem.at(change.name.clone()))
}

fn refused(change: &Asked<'_>, found: &str, help: &str) -> Box<Problem> {
    let problem = Problem::error(change.path, found).accepted(FORM).help(help);
    Box::new(problem.at(change.name.clone()))
}

/// A value that is there, set anew or left out.
fn replaced(
    own: &str,
    name: Option<&Key<'_>>,
    held: &Held<'_>,
    change: &Asked<'_>,
) -> Result<Edit, Box<Problem>> {
    let is_inline = |held: &Held<'_>, open: char| {
        own.get(held.span()).is_some_and(|text| text.starts_with(open))
    };
    let under_a_header = match held.get_ref() {
        DeValue::Table(_) => !is_inline(held, '{'),
        DeValue::Array(array) => {
            !is_inline(held, '[')
                || array.iter().any(|one| one.get_ref().is_table() && !is_inline(one, '{'))
        }
        _ => false,
    };
    if under_a_header {
        return Err(refused(change, "this is a whole table", "set its fields one by one"));
    }
    if !change.value.is_empty() {
        let with = as_toml(change.value);
        return Ok(Edit { place: held.span(), with, asked: change.figure.clone() });
    }
    // Only a line of its own can go without taking a comma with it.
    let line = name.map(Spanned::span).filter(|name| begins_a_line(own, name.start));
    match line {
        Some(name) => {
            let place = name.start..held.span().end;
            Ok(Edit { place, with: String::new(), asked: change.whole.clone() })
        }
        None => Err(refused(change, "this cannot be left out", "give it a value")),
    }
}

fn begins_a_line(text: &str, byte: usize) -> bool {
    let before = text.get(..byte).unwrap_or("");
    before.rsplit('\n').next().is_none_or(|line| line.trim().is_empty())
}

/// A value that is not there yet: before the first one of its table, or on top of the file.
fn added(
    own: &str,
    table: &DeTable<'_>,
    header: Option<&Held<'_>>,
    rest: &[Step<'_>],
    change: &Asked<'_>,
) -> Result<Edit, Box<Problem>> {
    let mut key = String::new();
    for step in rest {
        match step {
            Step::Key(name) if key.is_empty() => key.push_str(name),
            Step::Key(name) => {
                key.push('.');
                key.push_str(name);
            }
            Step::Place(_) => {
                let found = "there is no such list to set a place of";
                return Err(refused(change, found, "write the list into the file"));
            }
        }
    }
    if change.value.is_empty() {
        let problem = Problem::error(change.path, "this is not there to be left out");
        return Err(Box::new(problem.at(change.name.clone())));
    }
    let line = format!("{key} = {}", as_toml(change.value));
    let opened = header.and_then(|held| own.get(held.span())).map(|text| text.trim_start());
    let first = table.keys().map(Spanned::span).min_by_key(|span| span.start);
    let (at, with) = match (header, opened, first) {
        (None, _, _) => (0, line + "\n"),
        (Some(_), Some(text), Some(first)) if text.starts_with('{') => (first.start, line + ", "),
        (Some(_), Some(text), Some(first))
            if text.starts_with('[') && begins_a_line(own, first.start) =>
        {
            (first.start, line + "\n")
        }
        _ => return Err(refused(change, "this cannot be added here", "write it into the file")),
    };
    Ok(Edit { place: at..at, with, asked: change.whole.clone() })
}

/// The text with every edit, and where each stands in it.
pub(super) fn apply(own: &str, mut edits: Vec<Edit>) -> (String, Vec<Made>) {
    edits.sort_by_key(|edit| edit.place.start);
    let (mut text, mut made, mut kept) = (String::with_capacity(own.len()), Vec::new(), 0);
    for edit in edits {
        text.push_str(own.get(kept..edit.place.start).unwrap_or(""));
        let start = text.len();
        text.push_str(&edit.with);
        made.push(Made { place: start..text.len(), asked: edit.asked });
        kept = edit.place.end;
    }
    text.push_str(own.get(kept..).unwrap_or(""));
    (text, made)
}
