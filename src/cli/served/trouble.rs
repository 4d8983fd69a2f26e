//! Why a verb did not do what it was asked, and with which exit code it ends.

use crate::cli::{Exit, say};

/// Why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::cli) enum Trouble {
    /// What was given is wrong; nothing moved.
    Input(String),
    /// It could not be done.
    Failed(String),
    /// The machine tripped.
    Tripped(String),
    /// A person stopped it.
    Stopped(String),
}

impl Trouble {
    /// Says it, and answers with its exit code.
    pub(in crate::cli) fn told(&self) -> Exit {
        let (words, exit) = match self {
            Self::Input(words) => (words, Exit::BadInput),
            Self::Failed(words) => (words, Exit::Failed),
            Self::Tripped(words) => (words, Exit::Tripped),
            Self::Stopped(words) => (words, Exit::Stopped),
        };
        say::complain(words);
        exit
    }
}
