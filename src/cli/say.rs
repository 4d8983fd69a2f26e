//! What every verb says alike: bad input, output that could not be written, JSON.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use super::Exit;
use crate::files;
pub(super) use crate::shown::harmless;

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

/// A name that may stand in the record; `whose` says whose name is wanted.
pub(super) fn check_person<'a>(name: &'a str, whose: &str) -> Result<&'a str, String> {
    let found = match name.trim() {
        "" => "an empty name",
        name if name.chars().any(char::is_control) => "a name with control characters",
        name if name.chars().count() > LONGEST_NAME => "a name of over 80 characters",
        name => return Ok(name),
    };
    Err(format!(
        "--person: found {found}\naccepted: the name of {whose}, one line of up to {LONGEST_NAME} \
         characters\n"
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
