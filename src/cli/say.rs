//! What every verb says alike: bad input, output that could not be written, JSON.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use super::Exit;
use crate::files;
pub(super) use crate::shown::{harmless, one_line};

/// Shows what is wrong with what was given.
pub(super) fn bad_input(problem: &str) -> Exit {
    complain(problem);
    Exit::BadInput
}

/// Shows why something could not be done.
pub(super) fn failed(problem: &str) -> Exit {
    complain(problem);
    Exit::Failed
}

/// Writes to standard error; a reader who has gone does not matter.
pub(super) fn complain(text: &str) {
    let end = if text.ends_with('\n') { "" } else { "\n" };
    let _ = write!(io::stderr(), "{}{end}", harmless(text));
}

/// Asks for something on standard error, without ending the line.
pub(super) fn prompt(text: &str) {
    let mut to = io::stderr();
    let _ = write!(to, "{}", harmless(text)).and_then(|()| to.flush());
}

/// Prints one JSON value.
pub(super) fn json(value: &serde_json::Value) -> io::Result<()> {
    let mut out = io::stdout().lock();
    serde_json::to_writer_pretty(&mut out, value)?;
    writeln!(out)
}

/// Done, if it could be printed. A reader that closes the pipe has read what it wanted.
pub(super) fn printed(result: io::Result<()>) -> Exit {
    match result {
        Ok(()) => Exit::Done,
        Err(trouble) if trouble.kind() == io::ErrorKind::BrokenPipe => Exit::Done,
        Err(trouble) => failed(&format!("the output cannot be written: {trouble}")),
    }
}

/// Writes a page into a file that an option named: never over what was `read`.
pub(super) fn page(option: &str, file: &Path, read: &[&Path], page: &str) -> Exit {
    if let Err(problem) = files::may_write(option, file, read) {
        return bad_input(&problem);
    }
    match fs::write(file, page) {
        Ok(()) => Exit::Done,
        Err(trouble) => failed(&format!("{}: {trouble}", file.display())),
    }
}

/// Longest name of a person, characters: one line of a list (arbitrary).
const LONGEST_NAME: usize = 80;
/// Longest reason, characters: a few lines of a list (arbitrary).
const LONGEST_REASON: usize = 300;

/// A name that may stand in the record; `whose` says whose name is wanted.
pub(super) fn check_person<'a>(name: &'a str, whose: &str) -> Result<&'a str, String> {
    check_line("--person", "name", name, LONGEST_NAME, &format!("the name of {whose}"))
}

/// A reason that may stand in the record; `why` says what is wanted.
pub(super) fn check_reason<'a>(reason: &'a str, why: &str) -> Result<&'a str, String> {
    check_line("--reason", "reason", reason, LONGEST_REASON, why)
}

/// Words that may stand in the record, given with an option or in a place; `wanted` says what.
pub(super) fn check_words<'a>(
    option: &str,
    words: &'a str,
    wanted: &str,
) -> Result<&'a str, String> {
    check_line(option, "text", words, LONGEST_REASON, wanted)
}

fn check_line<'a>(
    option: &str,
    what: &str,
    text: &'a str,
    longest: usize,
    wanted: &str,
) -> Result<&'a str, String> {
    let found = match text.trim() {
        "" => format!("an empty {what}"),
        text if one_line(text) != text => format!("a {what} with control characters"),
        text if text.chars().count() > longest => {
            format!("a {what} of over {longest} characters")
        }
        text => return Ok(text),
    };
    Err(format!(
        "{option}: found {found}\naccepted: {wanted}, one line of up to {longest} characters\n"
    ))
}

/// Whether a pace is one that can be kept and stopped.
pub(super) fn check_pace(pace: f64) -> Result<(), String> {
    if (0.1..=1000.0).contains(&pace) {
        Ok(())
    } else {
        Err(format!("--pace: found {pace}\naccepted: 0.1 to 1000 times as fast as life\n"))
    }
}
