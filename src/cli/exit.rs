//! How the program ends, for whoever called it.

use std::process::ExitCode;

/// The enumerated exit codes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// The work is done.
    Done = 0,
    /// It could not be done.
    Failed = 1,
    /// A file or an argument is wrong; nothing moved.
    BadInput = 2,
    /// The run tripped.
    Tripped = 3,
    /// A person stopped it.
    Stopped = 4,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit as u8)
    }
}
