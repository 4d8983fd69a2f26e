//! Fields set by a program: a form, a calibration, a taught part. The rest of the text, its
//! comments and its order stay as they are.

use serde::{Deserialize, Serialize};
use toml::de::{DeTable, DeValue};

use super::edits::{Asked, apply, edit};
use super::index::element;
use super::literal::quoted_text;
use super::path::{is_plain_key, overlap};
use super::problem::{Problem, Problems};

/// What a field shall be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FieldValue {
    /// Text: a quantity with its unit, a name, one of several words. It stands in quotes in the
    /// file, whatever is in it.
    Text(String),
    /// What TOML has without quotes: a number of things, a list, a table.
    Plain(String),
    /// The field is left out.
    LeftOut,
}

impl FieldValue {
    /// As it is written into a file; nothing for a field that is left out.
    fn written(&self) -> String {
        match self {
            Self::Text(text) => quoted_text(text),
            Self::Plain(plain) => plain.clone(),
            Self::LeftOut => String::new(),
        }
    }
}

/// A text with fields set: each by its path as messages give it (`zone[1].finish`, places counted
/// from 1), where a place may also be a name (`zone[seat].finish`, `torch[spray-6].plume`): that
/// of the entry whose `name` or `key` it is. What the values mean is the reader's to judge.
///
/// # Errors
/// Every field that cannot be set, by its path.
pub fn set(own: &str, fields: &[(String, FieldValue)]) -> Result<String, Problems> {
    let (table, _) = DeTable::parse_recoverable(own);
    let mut problems = Problems::default();
    let mut edits = Vec::new();
    let mut known: Vec<String> = Vec::new();
    for (path, value) in fields {
        let field = |problem: Problem| Problem { path: path.clone(), span: None, ..problem };
        let place = match resolved(table.get_ref(), path) {
            Ok(place) => place,
            Err(problem) => {
                problems.push(field(*problem));
                continue;
            }
        };
        if known.iter().any(|other| overlap(other, &place)) {
            let twice = Problem::error("", "this is set already by another of the fields");
            problems.push(field(twice.help("set each field once")));
            continue;
        }
        match edit(own, &table, &Asked::of(&place, &value.written())) {
            Ok(made) => edits.push(made),
            Err(problem) => problems.push(field(*problem)),
        }
        known.push(place);
    }
    if problems.forbid() { Err(problems) } else { Ok(apply(own, edits).0) }
}

/// The path with every name of an entry replaced by its place.
fn resolved(root: &DeTable<'_>, path: &str) -> Result<String, Box<Problem>> {
    let unknown = || {
        let problem = Problem::error("", format!("`{path}` names no field"))
            .accepted("names as messages give them, such as `zone[1].finish`");
        Box::new(problem)
    };
    let mut table = Some(root);
    let mut whole = String::new();
    let mut rest = path;
    loop {
        let end = rest.find(['.', '[']).unwrap_or(rest.len());
        let (key, after) = rest.split_at_checked(end).ok_or_else(unknown)?;
        if !is_plain_key(key) {
            return Err(unknown());
        }
        whole.push_str(key);
        let mut held = table.and_then(|table| table.get(key)).map(|value| value.get_ref());
        rest = after;
        if let Some(inside) = after.strip_prefix('[') {
            let end = inside.find("].").or_else(|| inside.ends_with(']').then(|| inside.len() - 1));
            let (name, after) =
                end.and_then(|end| inside.split_at_checked(end)).ok_or_else(unknown)?;
            let place = place_of(held, key, name)?;
            whole.push_str(&format!("[{place}]"));
            held = match held {
                Some(DeValue::Array(list)) => list.get(place - 1).map(|entry| entry.get_ref()),
                _ => None,
            };
            rest = after.strip_prefix(']').unwrap_or("");
        }
        match rest.strip_prefix('.') {
            Some(after) => rest = after,
            None if rest.is_empty() => return Ok(whole),
            None => return Err(unknown()),
        }
        whole.push('.');
        table = match held {
            Some(DeValue::Table(inner)) => Some(inner),
            _ => None,
        };
    }
}

/// The place, counted from 1, that a number or a name stands for in a list.
fn place_of(held: Option<&DeValue<'_>>, key: &str, name: &str) -> Result<usize, Box<Problem>> {
    if let Some(place @ 1..) = as_place(name) {
        return Ok(place);
    }
    let Some(DeValue::Array(list)) = held else {
        let found = format!("there is no list `{key}` with an entry \"{name}\"");
        return Err(Box::new(Problem::error("", found)));
    };
    let names: Vec<&str> =
        list.iter().map(|entry| name_of(entry.get_ref()).unwrap_or("")).collect();
    let mut places = names.iter().enumerate().filter(|(_, known)| **known == name);
    match (places.next(), places.next()) {
        (Some((place, _)), None) => Ok(place + 1),
        (Some(_), Some(_)) => {
            let found = format!("more than one `{key}` is called \"{name}\"");
            Err(Box::new(Problem::error("", found).help("say which one by its place")))
        }
        (None, _) => {
            let known: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
            let problem = Problem::error("", format!("no `{key}` is called \"{name}\""))
                .accepted(known.join(", "));
            Err(Box::new(problem))
        }
    }
}

/// The number that stands for a place in a list.
fn as_place(name: &str) -> Option<usize> {
    name.parse().ok()
}

/// How the entry at a place, counted from 0, of a list with these names is named in a path: by its
/// name, where [`set`] can take that for nothing else, or else by its place.
pub(super) fn label(path: &str, names: &[Option<&str>], place: usize) -> String {
    let is_plain = |name: &str| {
        !name.is_empty()
            && !name.contains(']')
            && as_place(name).is_none()
            && names.iter().filter(|other| **other == Some(name)).count() == 1
    };
    match names.get(place).copied().flatten().filter(|name| is_plain(name)) {
        Some(name) => format!("{path}[{name}]"),
        None => element(path, place),
    }
}

/// What the entries of a list are called.
pub(super) fn names_of<'t, 'a: 't>(
    entries: impl IntoIterator<Item = &'t DeValue<'a>>,
) -> Vec<Option<&'t str>> {
    entries.into_iter().map(name_of).collect()
}

/// What an entry of a list is called: its `name`, or its `key`.
pub(super) fn name_of<'t>(entry: &'t DeValue<'_>) -> Option<&'t str> {
    let DeValue::Table(table) = entry else { return None };
    ["name", "key"].into_iter().find_map(|key| table.get(key)?.get_ref().as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    const OWN: &str = "\
# A part.
title = \"a\"     # its name

[[zone]]
name = \"small. [seat]\"
finish = \"0.3 mm\"   # radial

[[zone]]
name = \"large\"
finish = \"0.3 mm\"
";

    fn text(value: &str) -> FieldValue {
        FieldValue::Text(value.to_owned())
    }

    fn made(fields: &[(&str, FieldValue)]) -> Result<String, String> {
        let fields: Vec<(String, FieldValue)> =
            fields.iter().map(|(path, value)| ((*path).to_owned(), value.clone())).collect();
        set(OWN, &fields).map_err(|problems| problems.to_string())
    }

    #[test]
    fn a_field_is_set_by_the_name_of_its_entry_and_comments_and_order_stay() {
        let found = made(&[
            ("zone[small. [seat]].finish", text("0.40 mm")),
            ("zone[2].finish", text("0.50 mm")),
            ("zone[large].passes", FieldValue::Plain("9".to_owned())),
        ]);
        let expected = "\
# A part.
title = \"a\"     # its name

[[zone]]
name = \"small. [seat]\"
finish = \"0.40 mm\"   # radial

[[zone]]
passes = 9
name = \"large\"
finish = \"0.50 mm\"
";
        assert_eq!(found.as_deref(), Ok(expected));
    }

    #[test]
    fn text_stays_text_whatever_is_typed_into_it() {
        for typed in ["9", "{ a = 1 }", "a \"b\" \\ c", "two\nlines", "x\" # y", "\u{7}"] {
            let found = made(&[("title", text(typed))]).expect(typed);
            let read = DeTable::parse(&found).expect(&found);
            let title = read.get_ref().get("title").and_then(|held| held.get_ref().as_str());
            assert_eq!(title, Some(typed), "{found}");
            assert!(found.contains("     # its name"), "{found}");
        }
    }

    #[test]
    fn what_cannot_be_set_is_told_by_its_path() {
        for (path, words) in [
            ("zone[middle].finish", "zone[middle].finish: no `zone` is called \"middle\""),
            ("zone[3].finish", "names none of the places of `zone`"),
            ("zone[].finish", "no `zone` is called \"\""),
            ("zone[large", "names no field"),
            ("a..b", "names no field"),
            ("part[x].y", "there is no list `part`"),
            ("title.x", "`title` is no table"),
        ] {
            let found = made(&[(path, text("1"))]).expect_err(path);
            assert!(found.contains(words) && found.starts_with(path), "{path}: {found}");
        }
        let found = made(&[("zone[2].finish", text("1")), ("zone[large].finish", text("2"))]);
        assert!(found.is_err_and(|told| told.contains("set already by another")));
    }
}
