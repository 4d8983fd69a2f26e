//! Fields of a file set to other values without writing the file: the text as it would be, and
//! every problem with it shown at the words that asked for it.
//!
//! A field is named as messages name it (`zone[1].finish`, places counted from 1). The changed
//! text goes through the same reader as any file, so that a wrong value is told as in a file.

use core::ops::Range;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::problem::{Problem, Problems};

/// What a change looks like.
const FORM: &str = "FIELD=VALUE, such as `zone[1].finish=0.40 mm`; FIELD= leaves a field out";

/// A text with changes.
#[derive(Debug, Clone)]
pub struct Changed {
    own: String,
    asked: String,
    text: String,
    made: Vec<Made>,
}

/// Where a change stands in the changed text, and where in what was asked.
#[derive(Debug, Clone)]
pub(super) struct Made {
    place: Range<usize>,
    asked: Range<usize>,
}

/// One change as it was asked.
pub(super) struct Asked<'a> {
    /// The field.
    path: &'a str,
    /// What it shall be; empty to leave it out.
    value: &'a str,
    /// Where it stands among all that was asked.
    whole: Range<usize>,
    name: Range<usize>,
    figure: Range<usize>,
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

impl Changed {
    /// A text with each of `changes` made, written `FIELD=VALUE`: a number, a list or a table as
    /// TOML has it, anything else as text. With no value the field is left out.
    ///
    /// # Errors
    /// Everything wrong with the changes themselves, shown at `option`; what is wrong with the
    /// values is the reader's to say, and [`Changed::render`]'s to show.
    pub fn make(own: &str, changes: &[String], option: &str) -> Result<Self, String> {
        let asked = one_a_line(changes);
        let mut problems = Problems::default();
        let mut edits: Vec<(String, Edit)> = Vec::new();
        let (table, _) = DeTable::parse_recoverable(own);
        for change in read(&asked) {
            let edit = change.and_then(|change| {
                if let Some((other, _)) = edits.iter().find(|(path, _)| overlap(path, change.path))
                {
                    let found = format!("`{}` is set already, by `{other}`", change.path);
                    let help = "keep one of the two and leave the other out";
                    let problem = Problem::error("", found).help(help).at(change.whole);
                    return Err(Box::new(problem));
                }
                let edit = edit(own, &table, &change)?;
                Ok((change.path.to_owned(), edit))
            });
            match edit {
                Ok(edit) => edits.push(edit),
                Err(problem) => problems.push(*problem),
            }
        }
        if problems.forbid() {
            return Err(problems.render(option, &asked));
        }
        let (text, made) = apply(own, edits.into_iter().map(|(_, edit)| edit).collect());
        Ok(Self { own: own.to_owned(), asked, text, made })
    }

    /// The text with the changes.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Problems of the changed text as a person is to read them: those at a change under
    /// `option`, with what was asked; the others under the file's name, with its own lines.
    #[must_use]
    pub fn render(&self, problems: &Problems, option: &str, file_name: &str) -> String {
        let (mut here, mut there) = (Problems::default(), Problems::default());
        for problem in problems.clone().placed(&self.text) {
            let start = problem.span.as_ref().map_or(0, |span| span.start);
            let made = self.made.iter().find(|made| made.place.contains(&start));
            match made {
                Some(made) => here.push(problem.at(made.asked.clone())),
                None => there.push(Problem { span: None, ..problem }),
            }
        }
        here.render(option, &self.asked) + &there.render(file_name, &self.own)
    }
}

/// Stands for what a terminal would obey.
const OBEYED: char = '\u{fffd}';

/// Changes one a line, without what would break a line.
fn one_a_line(changes: &[String]) -> String {
    let line = |change: &String| -> String {
        change.chars().map(|c| if c.is_control() { OBEYED } else { c }).collect()
    };
    changes.iter().map(line).collect::<Vec<_>>().join("\n")
}

/// Each line as a change.
fn read(asked: &str) -> Vec<Result<Asked<'_>, Box<Problem>>> {
    let mut start = 0;
    asked
        .split('\n')
        .map(|line| {
            let whole = start..start + line.len();
            start = whole.end + 1;
            if line.contains(OBEYED) {
                let problem = Problem::error("", "this has a control character or a line break")
                    .accepted("one line of letters, figures and signs");
                return Err(Box::new(problem.at(whole)));
            }
            let Some((name, value)) = line.split_once('=') else {
                let problem = Problem::error("", "this has no `=`").accepted(FORM);
                return Err(Box::new(problem.at(whole)));
            };
            let equals = whole.start + name.len();
            let (name_at, figure) = (whole.start..equals, equals + 1..whole.end);
            let path = name.trim();
            if steps(path).is_none() {
                let problem = Problem::error("", format!("`{path}` names no field"))
                    .accepted("names as messages give them, such as `zone[1].finish`")
                    .help("places in a list are counted from 1");
                return Err(Box::new(problem.at(name_at)));
            }
            let figure = if figure.is_empty() { name_at.clone() } else { figure };
            Ok(Asked { path, value: value.trim(), whole, name: name_at, figure })
        })
        .collect()
}

/// One step of a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step<'a> {
    /// Into a field of a table.
    Key(&'a str),
    /// To a place in a list, counted from 1.
    Place(usize),
}

/// The steps of a path such as `zone[1].finish`; `None` when it is none.
fn steps(path: &str) -> Option<Vec<Step<'_>>> {
    let mut steps = Vec::new();
    for part in path.split('.') {
        let (key, place) = match part.split_once('[') {
            Some((key, rest)) => (key, Some(rest.strip_suffix(']')?.parse::<usize>().ok()?)),
            None => (part, None),
        };
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
        if key.is_empty() || !key.chars().all(plain) || place == Some(0) {
            return None;
        }
        steps.push(Step::Key(key));
        steps.extend(place.map(Step::Place));
    }
    Some(steps)
}

/// Whether two paths are the same or one lies inside the other.
pub(super) fn overlap(one: &str, other: &str) -> bool {
    let inside = |outer: &str, inner: &str| {
        inner
            .strip_prefix(outer)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
    };
    inside(one, other) || inside(other, one)
}

type Key<'a> = Spanned<DeString<'a>>;
type Held<'a> = Spanned<DeValue<'a>>;

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

/// A value as TOML: as it stands where it is a number, a list, a table or quoted text, else as
/// text.
fn as_toml(value: &str) -> String {
    let line = format!("value = {value}");
    let plain = DeTable::parse(&line).ok().and_then(|table| {
        let mut entries = table.get_ref().iter();
        let (_, held) = entries.next()?;
        let is_only = entries.next().is_none();
        // Without a comment that stood behind it.
        line.get(held.span()).filter(|_| is_only).map(str::to_owned)
    });
    plain.unwrap_or_else(|| quoted_text(value))
}

/// Text as TOML has it: in double quotes, on one line.
pub(super) fn quoted_text(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '\\' | '"' => quoted.extend(['\\', c]),
            '\n' => quoted.push_str("\\n"),
            c if c.is_control() => quoted.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
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

#[cfg(test)]
mod tests {
    use super::*;

    const OWN: &str = "\
title = \"a\"
[[zone]]
name = \"x\"
finish = \"0.3 mm\"   # radial
pitch = \"5 mm/turn\"
[[zone]]
name = \"y\"
[preheat]
window = { from = \"1 degC\", to = \"2 degC\" }
";

    fn changed(changes: &[&str]) -> Result<String, String> {
        let changes: Vec<String> = changes.iter().map(|change| (*change).to_owned()).collect();
        Changed::make(OWN, &changes, "--set").map(|changed| changed.text().to_owned())
    }

    #[test]
    fn values_take_the_place_of_others_and_the_rest_stays_as_it_is() {
        let found = changed(&[
            "zone[1].finish=0.40 mm",
            "preheat.window.to = 3 degC",
            "zone[2].passes=9",
            "zone[1].pitch=",
            "fuse.torch=a \"b\"",
        ]);
        let expected = "\
fuse.torch = \"a \\\"b\\\"\"
title = \"a\"
[[zone]]
name = \"x\"
finish = \"0.40 mm\"   # radial

[[zone]]
passes = 9
name = \"y\"
[preheat]
window = { from = \"1 degC\", to = \"3 degC\" }
";
        assert_eq!(found.as_deref(), Ok(expected));
    }

    #[test]
    fn an_added_field_of_an_inline_table_goes_before_its_first() {
        let found = changed(&["preheat.window.more=1"]).expect("it can be added");
        assert!(found.contains("{ more = 1, from = "), "{found}");
    }

    #[test]
    fn a_number_a_table_and_quoted_text_stay_what_they_are_and_nothing_gets_out_of_its_value() {
        for (value, found) in [
            ("9", "9"),
            ("{ from = \"1 K\" } # note", "{ from = \"1 K\" }"),
            ("\"9\"", "\"9\""),
            ("5 mm", "\"5 mm\""),
            ("1\u{fffd}b = 2", "\"1\u{fffd}b = 2\""),
            ("a\\", "\"a\\\\\""),
        ] {
            assert_eq!(as_toml(value), found);
        }
    }

    #[test]
    fn what_cannot_be_a_change_is_told_with_what_can() {
        for (change, words) in [
            ("finish", "this has no `=`"),
            ("zone[0].finish=1", "`zone[0].finish` names no field"),
            ("a..b=1", "`a..b` names no field"),
            ("zone.finish=1", "names none of the places of `zone`"),
            ("zone[3].finish=1", "`zone[1]`, `zone[2]`"),
            ("title.x=1", "`title` is no table"),
            ("title[1]=1", "`title` is no list"),
            ("zone[1]=1", "this is a whole table"),
            ("preheat=", "this is a whole table"),
            ("preheat.window.from=", "this cannot be left out"),
            ("note=", "this is not there to be left out"),
        ] {
            let found = changed(&[change]).expect_err(change);
            assert!(found.contains(words) && found.contains("--> --set:1:"), "{change}:\n{found}");
        }
        let found = changed(&["title=b", "preheat.window.to=1 K", "preheat.window={}"]);
        let found = found.expect_err("set twice");
        assert!(found.contains("is set already, by `preheat.window.to`"), "{found}");
        assert!(found.contains("--> --set:3:1"), "{found}");
    }
}
