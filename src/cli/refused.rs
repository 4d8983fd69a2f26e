//! Why something that a person asked for was not done, and what it means for the exit code.

use std::io;

use super::{Exit, say};
use crate::batch::job::NoJob;
use crate::batch::telling::Wrong;
use crate::record::RecordError;

/// Why something that a person asked for was not done.
#[derive(Debug)]
pub(in crate::cli) enum Refused {
    /// What was given is wrong.
    Input(String),
    /// It could not be done.
    Failure(String),
    /// The output cannot be written.
    Output(io::Error),
}

impl From<RecordError> for Refused {
    fn from(problem: RecordError) -> Self {
        match problem {
            RecordError::UnknownRun { .. }
            | RecordError::SeveralRuns { .. }
            | RecordError::UnknownMeasurement { .. }
            | RecordError::WithdrawnAlready { .. }
            | RecordError::UnknownMark { .. }
            | RecordError::TakenBackAlready { .. }
            | RecordError::UnknownBatch { .. }
            | RecordError::KnownBatch { .. }
            | RecordError::InTheWay { .. } => Self::Input(problem.whole()),
            _ => Self::Failure(problem.whole()),
        }
    }
}

impl From<NoJob> for Refused {
    fn from(why: NoJob) -> Self {
        match why {
            NoJob::Record(problem) => problem.into(),
            NoJob::Input(problem) => Self::Input(problem),
        }
    }
}

impl From<Wrong> for Refused {
    fn from(wrong: Wrong) -> Self {
        Self::Input(wrong.lines())
    }
}

impl Refused {
    /// Says it.
    pub(in crate::cli) fn told(self) -> Exit {
        match self {
            Self::Input(problem) => say::bad_input(&problem),
            Self::Failure(problem) => say::failed(&problem),
            Self::Output(trouble) => say::printed(Err(trouble)),
        }
    }

    /// Why, in words.
    pub(in crate::cli) fn words(&self) -> String {
        match self {
            Self::Input(words) | Self::Failure(words) => words.clone(),
            Self::Output(trouble) => trouble.to_string(),
        }
    }
}

impl From<io::Error> for Refused {
    fn from(trouble: io::Error) -> Self {
        Self::Output(trouble)
    }
}
