//! What every verb says alike: bad input, output that could not be written, JSON.

use std::io::{self, Write};

use super::Exit;

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
    let _ = write!(io::stderr(), "{text}{end}");
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
