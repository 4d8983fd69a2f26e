//! Where the records are.

use std::path::{Path, PathBuf};

use etcetera::BaseStrategy;

use super::RecordError;

/// The records file: the one a person chose, else `evenpass/records.sqlite` in the user's data
/// folder (by the XDG base directory specification, or the system's own custom on Windows).
///
/// # Errors
/// [`RecordError::NoDataFolder`] when nothing was chosen and the user has no home folder;
/// [`RecordError::NoFolder`] when the folder of the chosen one is not there: a slip of the pen must
/// not begin a second record somewhere.
pub fn records_file(chosen: Option<&Path>) -> Result<PathBuf, RecordError> {
    match chosen {
        Some(file) => match file.parent() {
            Some(folder) if folder != Path::new("") && !folder.is_dir() => {
                Err(RecordError::NoFolder { folder: folder.to_owned() })
            }
            _ => Ok(file.to_owned()),
        },
        None => etcetera::choose_base_strategy()
            .map(|user| user.data_dir().join("evenpass").join("records.sqlite"))
            .map_err(|_| RecordError::NoDataFolder),
    }
}
