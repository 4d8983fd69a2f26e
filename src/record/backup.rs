//! A copy of the records file, made while runs are written into it.

use std::io::{self, ErrorKind};
use std::path::Path;

use rusqlite::ErrorCode;

use super::{RecordError, Store};
use crate::durable;
use crate::files::folder_of;

impl Store {
    /// Copies the records as they are at one instant into a file of its own, and makes it durable.
    /// A run that is being written goes on meanwhile; the copy has it as open as it was.
    ///
    /// # Errors
    /// There is such a file, its folder can't be written, the disk is full, or the records can't be
    /// read. Nothing is left of a copy that did not come to its end.
    pub fn back_up(&self, to: &Path) -> Result<(), RecordError> {
        if !folder_of(to).is_dir() {
            return Err(RecordError::new_file(to, ErrorKind::NotFound.into()));
        }
        durable::create_by(
            to,
            |fresh| self.copied(fresh, to),
            |source| RecordError::new_file(to, source),
        )
    }

    /// SQLite's own way: one reading transaction, written out page by page into an empty file.
    /// Whoever asked knows the copy by the name it is to have.
    fn copied(&self, fresh: &Path, to: &Path) -> Result<(), RecordError> {
        let Some(name) = fresh.to_str() else {
            return Err(RecordError::new_file(to, io::Error::other("the name is no text")));
        };
        let copied = self.connection.execute("VACUUM INTO ?1", [name]);
        copied.map(|_| ()).map_err(|source| match source.sqlite_error_code() {
            Some(ErrorCode::CannotOpen) => {
                RecordError::new_file(to, ErrorKind::PermissionDenied.into())
            }
            _ => RecordError::from_sqlite(to, source),
        })
    }
}

#[cfg(test)]
mod tests {
    use evenpass_core::ledger::{Entry, EntryKind};
    use evenpass_core::moment::Moment;

    use super::*;
    use crate::record::Recorder;
    use crate::record::fixture::{file, header};

    fn sample(number: u64) -> Entry {
        let at = Moment::from_micros(number * 500_000);
        let (text, cause) = (String::new(), String::new());
        Entry { number, at, kind: EntryKind::Sample, text, cause, data: serde_json::Value::Null }
    }

    #[test]
    fn a_copy_made_while_a_run_is_written_opens_verifies_and_holds_what_was_there() {
        let (folder, path) = file();
        let recorder = Recorder::begin(Store::open(&path).unwrap(), &header()).unwrap();
        (1..=100).for_each(|number| recorder.deliver(sample(number)));
        recorder.flush();
        let copy = folder.path().join("copy.sqlite");
        Store::open_existing(&path).unwrap().back_up(&copy).unwrap();
        (101..=200).for_each(|number| recorder.deliver(sample(number)));
        assert_eq!(recorder.flush(), 200);
        let copied = Store::open_existing(&copy).unwrap();
        let found = copied.verify(None).unwrap();
        assert!(found.holds(), "{found:?}");
        assert_eq!((found.runs, found.entries), (1, 100));
    }

    #[test]
    fn a_file_that_is_there_is_left_alone() {
        let (folder, path) = file();
        let store = Store::open(&path).unwrap();
        let there = folder.path().join("there");
        std::fs::write(&there, "theirs").unwrap();
        let error = store.back_up(&there).unwrap_err();
        assert!(matches!(error, RecordError::InTheWay { .. }), "{error}");
        assert_eq!(std::fs::read_to_string(&there).unwrap(), "theirs");
        let nowhere = folder.path().join("no folder").join("copy.sqlite");
        let error = store.back_up(&nowhere).unwrap_err();
        assert_eq!(
            error.whole(),
            format!(
                "{} cannot be written; see that its folder is there and that this user may write in \
                 it: entity not found",
                nowhere.display()
            )
        );
    }
}
