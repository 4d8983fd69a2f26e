//! Whether the process that writes a run still lives.
//!
//! While a run is written, its process holds an exclusive lock on a small file beside the records.
//! The system lets a lock go with the process that holds it, however that ends (a kill or a power
//! cut included), and it can't be mistaken as a recycled process number could.
//!
//! The file has its size from the beginning. Where the records refuse, how far the run is goes into it
//! in place: see [`Unseen`].

use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
use std::io::{self, Read as _};
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};

use super::RunId;
use super::unseen::Unseen;
use crate::durable;
use crate::files::folder_of;

/// How the name of a mark ends.
const ENDING: &str = ".running";
/// Size of a mark, bytes: a sector, which a disk writes whole or not at all (common practice, no
/// source).
const ROOM: usize = 512;

/// Held while a run is written.
#[derive(Debug)]
pub(super) struct AliveMark {
    file: File,
    path: PathBuf,
}

impl AliveMark {
    /// Makes and locks the mark of a run. A file left by a transaction that was never committed
    /// is taken over. Its space is on the disk on return.
    pub(super) fn set(records: &Path, id: &RunId) -> io::Result<Self> {
        let path = mark_path(records, id);
        let file = File::options().create(true).truncate(false).write(true).open(&path)?;
        file.try_lock().map_err(io::Error::from)?;
        file.write_all_at(&[b' '; ROOM], 0)?;
        file.sync_all()?;
        durable::sync_folder(&path)?;
        Ok(Self { file, path })
    }

    /// What of it is written into.
    pub(super) fn slate(&self) -> io::Result<Slate> {
        Ok(Slate { file: File::options().write(true).open(&self.path)? })
    }

    /// Lets go of a run whose end is in the record.
    pub(super) fn clear(self) {
        let Self { file, path } = self;
        drop(file);
        remove(&path);
    }
}

/// The room in a mark. It holds no lock.
#[derive(Debug)]
pub(super) struct Slate {
    file: File,
}

impl Slate {
    /// Writes how far the run is over what was written before, durable on return.
    pub(super) fn write(&self, known: &Unseen) -> io::Result<()> {
        let mut text = serde_json::to_vec(known)?;
        if text.len() > ROOM {
            return Err(io::Error::from(io::ErrorKind::FileTooLarge));
        }
        text.resize(ROOM, b' ');
        self.file.write_all_at(&text, 0)?;
        self.file.sync_data()
    }
}

/// How far an open run was, by its mark; `None` where nothing was written into it. Where there is no
/// mark nobody knows: the records are a copy made while the run was written, or were moved without it.
pub(super) fn read(records: &Path, id: &RunId) -> Option<Unseen> {
    let mut text = Vec::new();
    let Ok(file) = File::open(mark_path(records, id)) else { return Some(Unseen::default()) };
    let whole = file.take(ROOM as u64).read_to_end(&mut text).is_ok();
    let text = text.trim_ascii();
    // One that cannot be read tells of something all the same.
    (!whole || !text.is_empty()).then(|| serde_json::from_slice(text).unwrap_or_default())
}

/// Whether a run's process lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Process {
    /// Its lock is held.
    Alive,
    /// Nobody holds its lock.
    Dead,
}

/// Looks at a run's lock. A lock that can't be looked at counts as held: a run is never called
/// interrupted on a guess.
pub(super) fn look(records: &Path, id: &RunId) -> Process {
    match File::open(mark_path(records, id)) {
        Ok(file) => match file.try_lock_shared() {
            Ok(()) => Process::Dead,
            Err(TryLockError::WouldBlock | TryLockError::Error(_)) => Process::Alive,
        },
        Err(error) if error.kind() == io::ErrorKind::NotFound => Process::Dead,
        Err(_) => Process::Alive,
    }
}

/// Removes the mark a dead process left.
pub(super) fn sweep(records: &Path, id: &RunId) {
    remove(&mark_path(records, id));
}

/// The runs that have a mark, whether their process lives or not.
pub(super) fn marked(records: &Path) -> Vec<RunId> {
    let Some(name) = records.file_name().and_then(|name| name.to_str()) else { return Vec::new() };
    let Ok(files) = fs::read_dir(folder_of(records)) else { return Vec::new() };
    let id = |file: fs::DirEntry| {
        let file = file.file_name();
        let id = file.to_str()?.strip_prefix(name)?.strip_prefix('-')?.strip_suffix(ENDING)?;
        Some(RunId::stored(id.to_owned()))
    };
    files.filter_map(Result::ok).filter_map(id).collect()
}

/// A mark that stays behind does no harm: its run is ended in the record, and the next run to begin
/// removes it.
fn remove(path: &Path) {
    drop(fs::remove_file(path));
}

fn mark_path(records: &Path, id: &RunId) -> PathBuf {
    let mut name = OsString::from(records);
    name.push(format!("-{id}{ENDING}"));
    PathBuf::from(name)
}
