//! What every verb says alike: bad input, output that could not be written, JSON.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use super::Exit;
use super::refused::Refused;
use crate::durable;
use crate::files;
use crate::shown::{Line, NoLine};
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

/// A name that may stand in the record; `whose` says whose name is wanted.
pub(super) fn check_person<'a>(name: &'a str, whose: &str) -> Result<&'a str, String> {
    check_line("--person", Line::NAME, name, &format!("the name of {whose}"))
}

/// A reason that may stand in the record; `why` says what is wanted.
pub(super) fn check_reason<'a>(reason: &'a str, why: &str) -> Result<&'a str, String> {
    check_line("--reason", Line::REASON, reason, why)
}

/// Words that may stand in the record, given with an option or in a place; `wanted` says what.
pub(super) fn check_words<'a>(
    option: &str,
    words: &'a str,
    wanted: &str,
) -> Result<&'a str, String> {
    check_line(option, Line::WORDS, words, wanted)
}

fn check_line<'a>(
    option: &str,
    line: Line,
    text: &'a str,
    wanted: &str,
) -> Result<&'a str, String> {
    let told = |no: NoLine| format!("{option}: {}\naccepted: {}\n", no.told, no.accepted);
    line.check(text, wanted).map_err(told)
}

/// Whether a pace is one that can be kept and stopped.
pub(super) fn check_pace(pace: f64) -> Result<(), String> {
    if (0.1..=1000.0).contains(&pace) {
        Ok(())
    } else {
        Err(format!("--pace: found {pace}\naccepted: 0.1 to 1000 times as fast as life\n"))
    }
}

/// Writes a file that must not be there yet, whole or not at all.
pub(in crate::cli) fn keep(file: &Path, bytes: &[u8]) -> Result<(), Refused> {
    durable::create(file, bytes).map_err(|trouble| not_kept(file, &trouble))
}

/// Why a file was not made.
pub(in crate::cli) fn not_kept(file: &Path, trouble: &io::Error) -> Refused {
    let name = file.display();
    match trouble.kind() {
        io::ErrorKind::AlreadyExists => Refused::Input(format!(
            "--out: {name} is there already and would be lost\nhelp: name another one, or remove \
             this one first\n"
        )),
        _ => Refused::Failure(format!("{name}: {trouble}")),
    }
}
