//! What can be wrong with the record, in words that say what to do.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;

use crate::files::folder_of;

/// Trouble with the record. While a run is on it is shown, not returned: see
/// [`Recorder::trouble`](super::Recorder::trouble).
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RecordError {
    /// The system does not say where this user's data belong.
    #[error("no folder for records: this user has no home folder; name a file with --records FILE")]
    NoDataFolder,
    /// The folder of the file a person chose is not there.
    #[error(
        "--records: no folder {}; make it first, or name a file in a folder that is there",
        folder.display()
    )]
    NoFolder {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder of the records cannot be made, or nothing can be made in it.
    #[error(
        "records folder {} cannot be written; give this user the right to write there, or name \
         another file with --records FILE",
        folder.display()
    )]
    Folder {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A file of that name is there.
    #[error("{} is there already; it is left as it is: name another file", file.display())]
    InTheWay {
        /// The file.
        file: PathBuf,
    },
    /// A file that was asked for cannot be written.
    #[error("{} cannot be written; see that its folder is there and that this user may write in it", file.display())]
    NewFile {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Reading was asked for, and no run was ever recorded there.
    #[error("no records in {}: nothing was recorded there yet; rehearse or run a job first, or \
             name another file with --records FILE", file.display())]
    Missing {
        /// The file asked for.
        file: PathBuf,
    },
    /// The file may be read but not written.
    #[error(
        "records file {} is read-only; give this user the right to write it, or name another \
         file with --records FILE",
        file.display()
    )]
    ReadOnly {
        /// The file.
        file: PathBuf,
    },
    /// The file lies where nothing can be written, with a log beside it that would have to go in.
    #[error(
        "records file {} was not closed, and nothing can be written where it is: what is in \
         {}-wal cannot be read; copy both to a folder that can be written, and read them there",
        file.display(),
        file.display()
    )]
    LogProtected {
        /// The file.
        file: PathBuf,
    },
    /// The file lies where nothing can be written, and has an earlier form.
    #[error(
        "records file {} has an earlier form, and nothing can be written where it is; copy it to a \
         folder that can be written, and read it there",
        file.display()
    )]
    OlderProtected {
        /// The file.
        file: PathBuf,
    },
    /// No room on the disk.
    #[error(
        "disk full: records file {} cannot grow; free some space, then what is waiting is written \
         by itself",
        file.display()
    )]
    DiskFull {
        /// The file.
        file: PathBuf,
    },
    /// The file holds something else.
    #[error(
        "{} holds no records of this program: {found}; move it away, or name another file with \
         --records FILE",
        file.display()
    )]
    NotRecords {
        /// The file.
        file: PathBuf,
        /// What was found instead.
        found: &'static str,
    },
    /// The file was written by a later version of this program.
    #[error(
        "records file {} has form {found}, this version knows forms up to {known}; use the \
         version that wrote it",
        file.display()
    )]
    Newer {
        /// The file.
        file: PathBuf,
        /// The form it has.
        found: u32,
        /// The latest form known here.
        known: u32,
    },
    /// The file system under the file cannot keep a write-ahead log.
    #[error(
        "records file {} cannot keep a write-ahead log where it is (journal mode found: {mode}); \
         move it to a disk of this computer",
        file.display()
    )]
    NoWriteAheadLog {
        /// The file.
        file: PathBuf,
        /// The journal mode SQLite fell back to.
        mode: String,
    },
    /// Somebody else held the file for too long.
    #[error(
        "records file {} is held by another program; close whatever has it open for writing",
        file.display()
    )]
    Busy {
        /// The file.
        file: PathBuf,
    },
    /// The file is a database whose content contradicts itself.
    #[error(
        "records file {} is damaged: {what}; keep a copy, and name a fresh file with --records FILE",
        file.display()
    )]
    Damaged {
        /// The file.
        file: PathBuf,
        /// What does not hold.
        what: &'static str,
    },
    /// Nothing is recorded under what was asked for.
    #[error("no run {asked:?} in the record; {}", nearest_words(nearest))]
    UnknownRun {
        /// What was asked for.
        asked: String,
        /// The recorded runs most like it, best first; empty when nothing is recorded.
        nearest: Vec<String>,
    },
    /// What was asked for begins more than one run's id.
    #[error("{asked:?} begins {count} runs, {first} to {last}; add characters, or say \"latest\"")]
    SeveralRuns {
        /// What was asked for.
        asked: String,
        /// How many runs begin so.
        count: usize,
        /// The earliest of them.
        first: String,
        /// The latest of them.
        last: String,
    },
    /// Another run goes on with its part.
    #[error(
        "run {run} cannot be taken up any more: run {by} goes on with its part; `evenpass records \
         show {by}` shows it"
    )]
    TakenUpAlready {
        /// Which.
        run: String,
        /// By which run.
        by: String,
    },
    /// Somebody decided what becomes of its part.
    #[error(
        "run {run} cannot be taken up any more: somebody decided what becomes of its part; \
         `evenpass records show {run}` shows it"
    )]
    SettledAlready {
        /// Which.
        run: String,
    },
    /// No measurement has that number.
    #[error("no measurement {number} in the record; `evenpass records learned` lists them")]
    UnknownMeasurement {
        /// What was asked for.
        number: i64,
    },
    /// It was withdrawn before.
    #[error("measurement {number} was withdrawn already, by {by}: {reason}")]
    WithdrawnAlready {
        /// Which.
        number: i64,
        /// Who withdrew it.
        by: String,
        /// Why.
        reason: String,
    },
    /// No mark has that number.
    #[error("nobody added anything under number {number} on this rig; see `evenpass records show`")]
    UnknownMark {
        /// What was asked for.
        number: i64,
    },
    /// It was taken back before.
    #[error("number {number} was taken back already, by number {by}")]
    TakenBackAlready {
        /// Which.
        number: i64,
        /// By which.
        by: i64,
    },
    /// A batch of that name is there.
    #[error("there is a batch {id:?} already; give this one another name")]
    KnownBatch {
        /// The name.
        id: String,
    },
    /// Another run makes that part of a batch.
    #[error("part {number} of batch {batch} is being made by run {run}: wait for its end")]
    PartIsMade {
        /// The batch.
        batch: String,
        /// Which part.
        number: u32,
        /// By which run.
        run: String,
    },
    /// Another run was begun for that part of a batch since it was looked at.
    #[error(
        "part {number} of batch {batch} was begun by another run meanwhile; `evenpass batch show \
         {batch}` says which part is next"
    )]
    PartWasBegun {
        /// The batch.
        batch: String,
        /// Which part.
        number: u32,
    },
    /// No batch has that name.
    #[error("no batch {asked:?} in the record; {}", known_words(known))]
    UnknownBatch {
        /// What was asked for.
        asked: String,
        /// Those there are.
        known: Vec<String>,
    },
    /// Its entries went before.
    #[error("the entries of run {run} went into {file} before")]
    PrunedAlready {
        /// The run.
        run: String,
        /// The file.
        file: String,
    },
    /// A run that is being written cannot be pruned.
    #[error("run {run} is being written; it can go once it has ended")]
    StillOpen {
        /// The run.
        run: String,
    },
    /// The thread that writes the record could not be started, or ended by our own mistake.
    #[error("the thread that writes the record is gone; start the program again")]
    WriterGone,
    /// Anything else; what the database said goes to the log.
    #[error("records file {} cannot be used: {what}", file.display())]
    Storage {
        /// The file.
        file: PathBuf,
        /// What that means.
        what: &'static str,
    },
}

/// What a code of the database means for whoever keeps records.
fn meaning(code: Option<ErrorCode>) -> &'static str {
    match code {
        Some(ErrorCode::SystemIoFailure) => {
            "its disk does not read or write; look after the disk, and keep a copy of the file"
        }
        Some(ErrorCode::FileLockingProtocolFailed | ErrorCode::NoLargeFileSupport) => {
            "its file system cannot keep it; move it to a disk of this computer"
        }
        Some(ErrorCode::OutOfMemory) => "this computer has no memory left; close other programs",
        Some(ErrorCode::ConstraintViolation) => {
            "an entry would contradict those that are there; keep a copy, and name a fresh file \
             with --records FILE"
        }
        _ => {
            "it is not laid out as this program lays out its records; keep a copy, and name a \
             fresh file with --records FILE (--verbose says what the database said)"
        }
    }
}

fn known_words(known: &[String]) -> String {
    if known.is_empty() {
        "no batch was made yet".to_owned()
    } else {
        format!("there are: {}", known.join(", "))
    }
}

fn nearest_words(nearest: &[String]) -> String {
    if nearest.is_empty() {
        "nothing is recorded yet".to_owned()
    } else {
        format!("nearest: {}", nearest.join(", "))
    }
}

impl RecordError {
    /// Why a file that must not be there yet was not made.
    pub(crate) fn new_file(file: &Path, source: io::Error) -> Self {
        let file = file.to_owned();
        if source.kind() == io::ErrorKind::AlreadyExists {
            Self::InTheWay { file }
        } else {
            Self::NewFile { file, source }
        }
    }

    /// Sorts what SQLite said about `file`.
    pub(super) fn from_sqlite(file: &Path, source: rusqlite::Error) -> Self {
        let file = file.to_owned();
        tracing::info!(file = %file.display(), "the database said: {source}");
        match source.sqlite_error_code() {
            Some(ErrorCode::ReadOnly) => Self::ReadOnly { file },
            Some(ErrorCode::DiskFull) => Self::DiskFull { file },
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { file },
            Some(ErrorCode::NotADatabase) => {
                Self::NotRecords { file, found: "it is not a database" }
            }
            Some(ErrorCode::DatabaseCorrupt) => {
                Self::Damaged { file, what: "its pages contradict each other" }
            }
            Some(ErrorCode::CannotOpen) if file.is_dir() => {
                Self::NotRecords { file, found: "it is a folder" }
            }
            Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                let folder = folder_of(&file).to_owned();
                let source = io::Error::from(io::ErrorKind::PermissionDenied);
                Self::Folder { folder, source }
            }
            code => Self::Storage { file, what: meaning(code) },
        }
    }

    /// The message with everything beneath it, for a log or a screen with one line.
    #[must_use]
    pub fn whole(&self) -> String {
        let mut text = self.to_string();
        let mut next = std::error::Error::source(self);
        while let Some(cause) = next {
            text.push_str(": ");
            text.push_str(&cause.to_string());
            next = cause.source();
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use rusqlite::Connection;

    use super::*;

    #[test]
    fn a_database_that_may_only_be_read_is_said_to_be_read_only() {
        let connection = Connection::open_in_memory().expect("memory");
        connection.execute_batch("CREATE TABLE a (b); PRAGMA query_only = ON").expect("table");
        let refused = connection.execute("INSERT INTO a VALUES (1)", []).expect_err("read-only");
        let error = RecordError::from_sqlite(Path::new("records.sqlite"), refused);
        assert_eq!(
            error.to_string(),
            "records file records.sqlite is read-only; give this user the right to write it, or \
             name another file with --records FILE"
        );
    }

    #[test]
    fn an_unknown_run_in_an_empty_record_says_that_nothing_is_recorded() {
        let error = RecordError::UnknownRun { asked: "x".to_owned(), nearest: Vec::new() };
        assert_eq!(error.to_string(), "no run \"x\" in the record; nothing is recorded yet");
    }
}
