//! What the TOML parser says, put so that somebody who does not know TOML can mend the file.

use toml::de::Error;

use super::problem::Problem;

/// Whether the rest of the file can still be believed.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Damage {
    /// A key is given twice: the tables are as they were written.
    KeyTwice,
    /// What follows is a guess.
    Torn,
}

/// A parser's error as a problem.
pub(super) fn problem(text: &str, error: &Error) -> (Problem, Damage) {
    let span = error.span().unwrap_or(text.len()..text.len());
    let message = error.message();
    if message.starts_with("duplicate key") {
        let key = text.get(span.clone()).unwrap_or("");
        let problem = Problem::error("", format!("`{key}` is given twice"))
            .help("keep one of the two and delete the other");
        return (problem.at(span), Damage::KeyTwice);
    }
    let help = match unquoted(text, span.start) {
        Some(help) => help,
        None => "lines look like `key = \"250 mm\"`, `key = 9` or `[table]`; \
                 text and quantities stand in double quotes"
            .to_owned(),
    };
    let problem = Problem::error("", format!("this is not TOML: {message}")).help(help);
    (problem.at(span), Damage::Torn)
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
