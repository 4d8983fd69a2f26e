//! One watched database: what was asked of its files, and what is answered.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::shim;

/// Which of a database's files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// The database itself.
    Database,
    /// Its write-ahead log.
    WriteAheadLog,
    /// Its rollback journal, which is there until the database is switched to a write-ahead log.
    Journal,
}

impl Part {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Database, Self::WriteAheadLog, Self::Journal];

    /// What its file's name has after the database's.
    #[must_use]
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Database => "",
            Self::WriteAheadLog => "-wal",
            Self::Journal => "-journal",
        }
    }
}

/// One thing that was done to the disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Operation {
    /// A file was made, empty.
    Made(Part),
    /// Bytes were written.
    Wrote {
        /// To which file.
        part: Part,
        /// From which byte on.
        offset: u64,
        /// What.
        bytes: Vec<u8>,
    },
    /// A file was cut to so many bytes.
    Cut {
        /// Which file.
        part: Part,
        /// How many are left.
        size: u64,
    },
    /// A file was synced; all that was done to it is on the disk.
    Synced(Part),
    /// The folder was synced: what was made and removed in it is on the disk.
    SyncedFolder,
    /// A file was removed.
    Removed(Part),
}

/// How the disk refuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// There is no room: nothing more is written.
    Full,
    /// The file system turned read-only.
    ReadOnly,
    /// Nothing is written, for no reason that the system knows.
    WriteFails,
    /// What is written cannot be synced.
    SyncFails,
}

impl Refusal {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Full, Self::ReadOnly, Self::WriteFails, Self::SyncFails];
}

/// What becomes of a sync.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Syncs {
    /// The platform makes it.
    Made,
    /// It is written down as made, and costs nothing: what it is worth is told by
    /// [`Remains`](crate::Remains) alone.
    WrittenDown,
}

/// A database's files, watched from now on until this is dropped.
#[derive(Debug)]
pub struct Disk {
    watched: Arc<Watched>,
}

impl Disk {
    /// Watches a database that is not open yet. Its folder must be there.
    ///
    /// # Errors
    /// The folder is not there, or SQLite takes no shim.
    pub fn under(database: &Path, syncs: Syncs) -> Result<Self, String> {
        let folder = database.parent().ok_or("a database lies in a folder")?;
        let folder =
            folder.canonicalize().map_err(|trouble| format!("{}: {trouble}", folder.display()))?;
        let database = folder.join(database.file_name().ok_or("a database has a name")?);
        let state = Mutex::new(State::default());
        let watched = Arc::new(Watched { database, syncs, state });
        shim::watch(&watched)?;
        Ok(Self { watched })
    }

    /// How many operations there were so far.
    #[must_use]
    pub fn operations(&self) -> usize {
        self.watched.state().log.len()
    }

    /// Refuses after so many more writes (or syncs, where these fail), until it
    /// [takes again](Self::take_again).
    pub fn refuse(&self, refusal: Refusal, after: u64) {
        self.watched.state().refusal = Some(Refusing { refusal, after });
    }

    /// Takes everything again.
    pub fn take_again(&self) {
        self.watched.state().refusal = None;
    }

    /// How often something was refused.
    #[must_use]
    pub fn refused(&self) -> u64 {
        self.watched.state().refused
    }

    /// All operations, in their order.
    #[must_use]
    pub fn log(self) -> Vec<Operation> {
        core::mem::take(&mut self.watched.state().log)
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        shim::unwatch(&self.watched);
    }
}

/// What the shim sees of a [`Disk`].
#[derive(Debug)]
pub(crate) struct Watched {
    database: PathBuf,
    pub(crate) syncs: Syncs,
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    log: Vec<Operation>,
    refusal: Option<Refusing>,
    refused: u64,
}

#[derive(Debug)]
struct Refusing {
    refusal: Refusal,
    after: u64,
}

/// What is about to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum About {
    Writing,
    Syncing,
}

impl Watched {
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Which of the watched files that path is.
    pub(crate) fn part(&self, path: &Path) -> Option<Part> {
        Part::ALL.into_iter().find(|part| {
            let mut name = self.database.clone().into_os_string();
            name.push(part.suffix());
            path.as_os_str() == name
        })
    }

    pub(crate) fn note(&self, operation: Operation) {
        self.state().log.push(operation);
    }

    /// Whether that is refused, and how.
    pub(crate) fn refuses(&self, about: About) -> Option<Refusal> {
        let mut state = self.state();
        let refusing = state.refusal.as_mut()?;
        let is_meant = match refusing.refusal {
            Refusal::SyncFails => about == About::Syncing,
            Refusal::Full | Refusal::ReadOnly | Refusal::WriteFails => about == About::Writing,
        };
        if !is_meant {
            return None;
        }
        if refusing.after > 0 {
            refusing.after -= 1;
            return None;
        }
        let refusal = refusing.refusal;
        state.refused += 1;
        Some(refusal)
    }
}
