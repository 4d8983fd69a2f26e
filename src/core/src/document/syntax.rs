//! What the TOML parser says, put so that somebody who does not know TOML can mend the file.

use toml::de::Error;

use super::problem::{Place, Problem, Problems};

/// Whether the rest of the file can still be believed.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Damage {
    /// None, or a key is given twice: the tables are as they were written.
    KeyTwice,
    /// What follows is a guess.
    Torn,
}

/// What is wrong with the text as TOML, and how far the tables can still be believed. Only the
/// first error of a line is kept, and nothing behind a list or an inline table that is not
/// closed: the rest only follows from it.
pub(super) fn problems(text: &str, errors: &[Error]) -> (Problems, Damage) {
    let mut damage = Damage::KeyTwice;
    let mut problems = Problems::default();
    let mut line = 0;
    // The parser reports in passes of its own; people read from the top.
    let mut errors: Vec<&Error> = errors.iter().collect();
    errors.sort_by_key(|error| error.span().map_or(text.len(), |span| span.start));
    for error in errors {
        let span = error.span().unwrap_or(text.len()..text.len());
        let here = Place::of(text, span.start).line;
        if here == line {
            continue;
        }
        line = here;
        let message = error.message();
        if message.starts_with("duplicate key") {
            let key = text.get(span.clone()).unwrap_or("");
            let problem = Problem::error("", format!("`{key}` is given twice"))
                .help("keep one of the two and delete the other");
            problems.push(problem.at(span));
            continue;
        }
        damage = Damage::Torn;
        let start =
            text.get(..span.start).and_then(|before| before.rfind('\n')).map_or(0, |end| end + 1);
        let header = text.get(start..).is_some_and(|line| line.starts_with('['));
        // A header can only be wrong that way when it stands inside a list.
        let inside = header && message.starts_with("string values must be quoted");
        let open = inside || message.contains("array") || message.contains("inline table");
        let help = if open {
            Some("is a `[`, a `{` or a comma missing or one too many before this?".to_owned())
        } else if message.starts_with("invalid basic string") {
            Some("close the text with a double quote on the same line".to_owned())
        } else {
            unquoted(text, span.start)
        };
        let found = if inside { "a list before this is not closed" } else { message };
        let problem =
            Problem::error("", format!("this is not TOML: {found}")).hint(help).help_if_none(
                "lines look like `key = \"250 mm\"`, `key = 9` or `[table]`; text and quantities \
                 stand in double quotes",
            );
        problems.push(problem.at(span));
        if open {
            break;
        }
    }
    (problems, damage)
}

/// Advice for a line such as `finish = 0.35 mm` or `finish = 0,35`: the value belongs in quotes.
fn unquoted(text: &str, byte: usize) -> Option<String> {
    let start = text.get(..byte)?.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(start..)?.lines().next()?;
    let (key, value) = line.split_once('=')?;
    let value = value.split('#').next().unwrap_or("").trim();
    let plain = !value.contains(['"', '\'', '[', '{', '=']);
    let starts_as_number =
        value.starts_with(|first: char| first.is_ascii_digit() || "+-.".contains(first));
    if !plain || !starts_as_number {
        return None;
    }
    let mended = match value.split_once(',') {
        Some((whole, rest)) if rest.starts_with(|first: char| first.is_ascii_digit()) => {
            format!("{whole}.{rest}")
        }
        _ => value.to_owned(),
    };
    let unit = if mended.contains(char::is_alphabetic) { "" } else { ", with its unit" };
    let point = if mended == value { "" } else { " and have a decimal point" };
    Some(format!("quantities stand in quotes{point}: {} = \"{mended}\"{unit}", key.trim()))
}
