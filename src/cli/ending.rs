//! How a job's end is said and with which exit code.

use std::io::{self, Write};

use super::Exit;
use crate::attendant::End;

/// The exit code of an end.
pub(super) const fn exit(end: End) -> Exit {
    match end {
        End::Complete => Exit::Done,
        End::Stopped => Exit::Stopped,
        End::Tripped => Exit::Tripped,
        End::Held | End::NotStarted => Exit::Failed,
    }
}

/// Prints the last line of a job.
pub(super) fn print(end: End, cause: Option<&str>, to: &mut impl Write) -> io::Result<()> {
    let word = match end {
        End::Complete => "complete",
        End::Stopped => "stopped",
        End::Tripped => "tripped",
        End::Held => "held, and nobody restarted it",
        End::NotStarted => "not started",
    };
    match cause {
        Some(cause) => writeln!(to, "{word}: {cause}"),
        None => writeln!(to, "{word}"),
    }
}
