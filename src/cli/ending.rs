//! How a job's end is said and with which exit code.

use std::io::{self, Write};

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::scan::Snapshot;

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

/// What brought a job to an end that was not its own: the first trip, else why the last state
/// was entered.
pub(super) fn first_cause(end: End, snapshot: &Snapshot, entries: &[Entry]) -> Option<String> {
    let status = &snapshot.status;
    match end {
        End::Complete => None,
        End::Tripped => status
            .first_cause
            .clone()
            .or_else(|| snapshot.verdict.first.as_ref().map(|first| first.message.clone())),
        End::NotStarted => status
            .setback
            .map(|cause| cause.to_string())
            .or_else(|| status.missing.first().map(|missing| (*missing).to_owned())),
        End::Held | End::Stopped => entries
            .iter()
            .rev()
            .find(|entry| {
                entry.kind == EntryKind::State
                    && entry
                        .data
                        .get("to")
                        .and_then(|to| to.as_str())
                        .is_some_and(|to| matches!(to, "Holding" | "Stopping"))
            })
            .map(|entry| entry.cause.clone()),
    }
}
