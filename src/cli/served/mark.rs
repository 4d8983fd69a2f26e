//! What a running `serve` leaves beside its records, so that other verbs find it.
//!
//! `serve` holds an exclusive lock on the file for as long as it runs. The system lets a lock go
//! with the process that holds it, however that ends; a file without its lock was left behind.

use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
use std::io::{self, Write as _};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};

/// How long a `serve` may take to write the file, once it holds it.
const WRITTEN_WITHIN: Duration = Duration::from_secs(1);
/// How long until it is looked at again.
const BREATH: Duration = Duration::from_millis(50);

/// What stands in the file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(in crate::cli) struct Served {
    /// Where the panel can be reached from this computer.
    pub(in crate::cli) address: SocketAddr,
    /// The process.
    pub(in crate::cli) process: u32,
    /// Title of the rig.
    pub(in crate::cli) rig: String,
    /// The rig file; the bench's own when `None`.
    pub(in crate::cli) rig_file: Option<PathBuf>,
    /// The records.
    pub(in crate::cli) records: PathBuf,
    /// The folder of the recipes that are offered.
    pub(in crate::cli) recipes: PathBuf,
}

/// The file, held while the panel is served.
#[derive(Debug)]
pub(in crate::cli) struct Mark {
    file: File,
    path: PathBuf,
}

/// Why there is no mark.
#[derive(Debug)]
pub(in crate::cli) enum NoMark {
    /// Another process holds the one of these records.
    Taken(PathBuf),
    /// It cannot be written.
    Unwritable(PathBuf, io::Error),
}

impl Mark {
    /// Writes and holds it; one that was left behind is taken over.
    ///
    /// # Errors
    /// Why other verbs will not find this `serve`.
    pub(in crate::cli) fn set(served: &Served) -> Result<Self, NoMark> {
        let path = path(&served.records);
        let unwritable = |trouble| NoMark::Unwritable(path.clone(), trouble);
        let opened = File::options().create(true).truncate(false).write(true).open(&path);
        let mut file = opened.map_err(unwritable)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(NoMark::Taken(path)),
            Err(TryLockError::Error(trouble)) => return Err(unwritable(trouble)),
        }
        let text = serde_json::to_vec_pretty(served).map_err(|t| unwritable(t.into()))?;
        let written = file.set_len(0).and_then(|()| file.write_all(&text));
        written.and_then(|()| file.flush()).map_err(unwritable)?;
        Ok(Self { file, path })
    }

    /// Takes it away.
    pub(in crate::cli) fn clear(self) {
        let Self { file, path } = self;
        // One that stays behind has no lock and is ignored.
        drop(fs::remove_file(&path));
        drop(file);
    }
}

/// What was found beside records.
#[derive(Debug, PartialEq, Eq)]
pub(in crate::cli) enum Found {
    /// No file.
    Nothing,
    /// A file that its process left behind, or that cannot be opened: why.
    Left(String),
    /// A file that a process holds, and that cannot be read: why.
    Unreadable(String),
    /// A process that holds it.
    Running(Served),
}

/// Looks for the `serve` of these records. One that has just begun is given a moment to write.
pub(in crate::cli) fn look(records: &Path) -> Found {
    let since = Instant::now();
    loop {
        match look_once(records) {
            Found::Unreadable(_) if since.elapsed() < WRITTEN_WITHIN => thread::sleep(BREATH),
            found => return found,
        }
    }
}

fn look_once(records: &Path) -> Found {
    let path = path(records);
    let file = match File::open(&path) {
        Ok(file) => file,
        Err(trouble) if trouble.kind() == io::ErrorKind::NotFound => return Found::Nothing,
        Err(trouble) => return Found::Left(format!("{}: {trouble}", path.display())),
    };
    let text = io::read_to_string(&file).unwrap_or_default();
    let read = serde_json::from_str::<Served>(&text);
    if file.try_lock_shared().is_ok() {
        let process =
            read.map_or_else(|_| String::new(), |served| format!(" (process {})", served.process));
        return Found::Left(format!(
            "{} was left by a serve that has ended{process}; it is ignored",
            path.display()
        ));
    }
    match read {
        Ok(served) => Found::Running(served),
        Err(trouble) => Found::Unreadable(format!(
            "the file that it holds, {}, cannot be read: {trouble}",
            path.display()
        )),
    }
}

/// An address of this computer at which a listener can be reached.
pub(in crate::cli) fn reachable(at: SocketAddr) -> SocketAddr {
    let ip = match at.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => IpAddr::V4(Ipv4Addr::LOCALHOST),
        IpAddr::V6(ip) if ip.is_unspecified() => IpAddr::V6(Ipv6Addr::LOCALHOST),
        ip => ip,
    };
    SocketAddr::new(ip, at.port())
}

fn path(records: &Path) -> PathBuf {
    let mut name = OsString::from(records);
    name.push("-serve.json");
    PathBuf::from(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn served(folder: &Path) -> Served {
        Served {
            address: SocketAddr::from((Ipv4Addr::LOCALHOST, 8750)),
            process: 7,
            rig: "Bench".to_owned(),
            rig_file: None,
            records: folder.join("runs.sqlite"),
            recipes: folder.to_owned(),
        }
    }

    #[test]
    fn a_mark_is_found_while_it_is_held_and_gone_when_it_is_cleared() {
        let folder = tempfile::tempdir().unwrap();
        let served = served(folder.path());
        assert_eq!(look(&served.records), Found::Nothing);
        let mark = Mark::set(&served).unwrap();
        assert_eq!(look(&served.records), Found::Running(served.clone()));
        assert_eq!(look(&folder.path().join("others.sqlite")), Found::Nothing);
        assert!(matches!(Mark::set(&served), Err(NoMark::Taken(_))));
        mark.clear();
        assert_eq!(look(&served.records), Found::Nothing);
    }

    #[test]
    fn a_mark_whose_process_has_gone_is_told_and_taken_over_by_the_next() {
        let folder = tempfile::tempdir().unwrap();
        let served = served(folder.path());
        // What a killed process leaves: the file without its lock.
        drop(Mark::set(&served).unwrap());
        let Found::Left(told) = look(&served.records) else { panic!("left behind") };
        assert!(told.contains("process 7") && told.contains("ignored"), "{told}");
        let _mark = Mark::set(&Served { process: 8, ..served.clone() }).unwrap();
        assert!(matches!(look(&served.records), Found::Running(found) if found.process == 8));
    }

    #[test]
    fn a_mark_that_is_held_and_half_written_is_waited_for_and_never_taken_for_none() {
        let folder = tempfile::tempdir().unwrap();
        let served = served(folder.path());
        let mut mark = Mark::set(&served).unwrap();
        mark.file.set_len(20).unwrap();
        assert!(matches!(look(&served.records), Found::Unreadable(_)));
        let records = served.records.clone();
        let looking = thread::spawn(move || look(&records));
        thread::sleep(BREATH);
        io::Seek::rewind(&mut mark.file).unwrap();
        mark.file.write_all(&serde_json::to_vec(&served).unwrap()).unwrap();
        assert_eq!(looking.join().unwrap(), Found::Running(served));
    }

    #[test]
    fn a_panel_that_listens_everywhere_is_reached_at_this_computer() {
        let everywhere = SocketAddr::from((Ipv4Addr::UNSPECIFIED, 1));
        assert_eq!(reachable(everywhere), SocketAddr::from((Ipv4Addr::LOCALHOST, 1)));
        let one = SocketAddr::from(([192, 0, 2, 7], 1));
        assert_eq!(reachable(one), one);
    }
}
