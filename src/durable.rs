//! Files written whole or not at all: what a call has written is on the disk when it returns, and
//! a power cut in between leaves what was there before.

use std::fs::{self, File, OpenOptions, Permissions};
use std::io::{self, Write as _};
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use rustix::fs::{CWD, RenameFlags, renameat_with};
use rustix::io::Errno;

use crate::files::folder_of;

/// What a new file is asked for, before the user's mask takes rights away.
const USUAL: u32 = 0o666;
/// Nobody but the file's user.
const OWN: u32 = 0o600;

/// Who may read and write a file that takes another's place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rights {
    /// Those who could before; as the user's mask says where there was none.
    AsBefore,
    /// Nobody but its user, at no moment.
    OwnerOnly,
}

/// Writes a file that must not be there yet.
///
/// # Errors
/// It is there already, or cannot be written.
pub(crate) fn create(path: &Path, bytes: &[u8]) -> io::Result<()> {
    create_by(path, |fresh| write_new(fresh, bytes, USUAL, None), |trouble| trouble)
}

/// Has a file written that must not be there yet, by somebody who is given a name to write to. What
/// they write waits in a file beside it that nobody else takes for theirs, so that its name never
/// stands for a part of it.
///
/// # Errors
/// It is there already, or cannot be written, both by the words of `failed`; or what `write` answers.
pub(crate) fn create_by<E>(
    path: &Path,
    write: impl FnOnce(&Path) -> Result<(), E>,
    failed: impl Fn(io::Error) -> E,
) -> Result<(), E> {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    if path.exists() {
        return Err(failed(io::ErrorKind::AlreadyExists.into()));
    }
    let own = format!("{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
    let fresh = beside(path, &own);
    // Only a process of this number that is dead can have left one of that name.
    clear(&fresh).map_err(&failed)?;
    let written = write(&fresh).and_then(|()| {
        let durable = File::open(&fresh).and_then(|file| file.sync_all());
        durable.and_then(|()| name_new(&fresh, path)).map_err(&failed)
    });
    if written.is_err() {
        // What failed is told; that this stays behind too would tell nothing more.
        let _ = fs::remove_file(&fresh);
    }
    written?;
    sync_folder(path).map_err(failed)
}

/// Gives a file a name that no other has, and takes its own away.
fn name_new(from: &Path, to: &Path) -> io::Result<()> {
    match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
        // Some file systems cannot do it in one step (renameat2(2)).
        Err(Errno::INVAL | Errno::NOSYS) => {
            fs::hard_link(from, to)?;
            fs::remove_file(from)
        }
        done => done.map_err(io::Error::from),
    }
}

/// Puts a text in the place of the file that is there, if one is, in one step. The text waits in a
/// file beside it whose name is always the same, so that what a dead process left is cleared away:
/// the caller keeps others from putting there meanwhile.
///
/// # Errors
/// It cannot be written; the file is as it was then, unless its folder alone failed.
pub(crate) fn put(target: &Path, text: &str, rights: Rights) -> io::Result<()> {
    let fresh = beside(target, "");
    clear(&fresh)?;
    let (mode, rights) = match rights {
        Rights::OwnerOnly => (OWN, Some(Permissions::from_mode(OWN))),
        Rights::AsBefore => match fs::metadata(target) {
            // Closed until it has them: they may be fewer than the usual ones.
            Ok(old) => (OWN, Some(old.permissions())),
            Err(_) => (USUAL, None),
        },
    };
    write_new(&fresh, text.as_bytes(), mode, rights)?;
    fs::rename(&fresh, target).inspect_err(|_| {
        // What failed is told; that this stays behind too would tell nothing more.
        let _ = fs::remove_file(&fresh);
    })?;
    sync_folder(target)
}

/// Gives a file that is on the disk another's place.
///
/// # Errors
/// It cannot be done; both are as they were then, unless the folder alone failed.
pub(crate) fn rename(from: &Path, to: &Path) -> io::Result<()> {
    fs::rename(from, to)?;
    sync_folder(to)
}

/// Where the text waits.
fn beside(target: &Path, own: &str) -> PathBuf {
    let mut name = std::ffi::OsString::from(".");
    name.push(target.file_name().unwrap_or_default());
    name.push(".new");
    name.push(own);
    target.with_file_name(name)
}

/// Takes away what a dead process left, if it left anything.
fn clear(fresh: &Path) -> io::Result<()> {
    match fs::remove_file(fresh) {
        Err(trouble) if trouble.kind() != io::ErrorKind::NotFound => Err(trouble),
        _ => Ok(()),
    }
}

fn write_new(path: &Path, bytes: &[u8], mode: u32, rights: Option<Permissions>) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).mode(mode).open(path)?;
    // The user's mask may have taken rights away from what was asked for.
    let set = rights.map_or(Ok(()), |rights| file.set_permissions(rights));
    let written = set.and_then(|()| file.write_all(bytes)).and_then(|()| file.sync_all());
    written.inspect_err(|_| {
        // A half-written file would be taken for a whole one.
        let _ = fs::remove_file(path);
    })
}

/// Makes a folder, and those above it that are not there: their names are on the disk when it
/// returns, so that no power cut takes away what was written in it since.
///
/// # Errors
/// One cannot be made, or its name cannot be put on the disk.
pub(crate) fn folders(folder: &Path) -> io::Result<()> {
    let is_new = |above: &&Path| !above.as_os_str().is_empty() && !above.exists();
    let new: Vec<&Path> = folder.ancestors().take_while(is_new).collect();
    fs::create_dir_all(folder)?;
    new.into_iter().try_for_each(sync_folder)
}

/// A new name is on the disk only with its folder.
///
/// # Errors
/// The disk refuses.
pub(crate) fn sync_folder(path: &Path) -> io::Result<()> {
    File::open(folder_of(path))?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("a.toml");
        (folder, file)
    }

    fn mode(path: &Path) -> u32 {
        fs::metadata(path).expect("there").permissions().mode() & 0o777
    }

    fn set_mode(path: &Path, mode: u32) {
        fs::set_permissions(path, Permissions::from_mode(mode)).expect("chmod");
    }

    fn count(folder: &tempfile::TempDir) -> usize {
        fs::read_dir(folder.path()).expect("a folder").count()
    }

    #[test]
    fn folders_are_made_down_to_the_last_and_one_that_is_there_is_left_alone() {
        let (folder, _) = folder();
        let deep = folder.path().join("a").join("b").join("c");
        folders(&deep).expect("made");
        fs::write(deep.join("kept"), "").expect("in it");
        folders(&deep).expect("it is there");
        assert!(deep.join("kept").exists());
        let error = folders(&deep.join("kept").join("d")).expect_err("a file is in the way");
        assert_eq!(error.kind(), io::ErrorKind::NotADirectory);
    }

    #[test]
    fn a_new_file_never_takes_the_place_of_another() {
        let (folder, file) = folder();
        create(&file, b"first").expect("written");
        let refused = create(&file, b"second").expect_err("there");
        assert_eq!(refused.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&file).expect("there"), b"first");
        assert_eq!(count(&folder), 1);
    }

    #[test]
    fn of_many_who_make_one_file_at_once_one_does_and_whoever_sees_it_sees_it_whole() {
        let (folder, file) = folder();
        let whole = vec![b'x'; 200_000];
        let made: Vec<bool> = std::thread::scope(|scope| {
            let (file, whole) = (&file, &whole);
            let looking = scope.spawn(move || {
                let until = std::time::Instant::now() + std::time::Duration::from_secs(20);
                while std::time::Instant::now() < until {
                    if let Ok(seen) = fs::read(file) {
                        return seen == *whole;
                    }
                }
                false
            });
            let makers: Vec<_> =
                (0..8).map(|_| scope.spawn(move || create(file, whole).is_ok())).collect();
            let made = makers.into_iter().map(|maker| maker.join().expect("no panic")).collect();
            assert!(looking.join().expect("no panic"), "seen in part");
            made
        });
        assert_eq!(made.iter().filter(|made| **made).count(), 1);
        assert_eq!(count(&folder), 1);
    }

    #[test]
    fn a_text_takes_the_place_of_another_with_its_rights_and_leaves_nothing_else() {
        let (folder, file) = folder();
        put(&file, "first", Rights::AsBefore).expect("written");
        for rights in [0o640, 0o604, 0o666] {
            set_mode(&file, rights);
            put(&file, "second", Rights::AsBefore).expect("written");
            assert_eq!(mode(&file), rights);
        }
        assert_eq!(fs::read_to_string(&file).expect("there"), "second");
        assert_eq!(count(&folder), 1);
    }

    #[test]
    fn what_is_for_its_owner_only_is_so_whatever_was_there_before() {
        let (_folder, file) = folder();
        put(&file, "first", Rights::OwnerOnly).expect("written");
        assert_eq!(mode(&file), 0o600);
        set_mode(&file, 0o666);
        put(&file, "second", Rights::OwnerOnly).expect("written");
        assert_eq!(mode(&file), 0o600);
    }

    #[test]
    fn what_a_dead_process_left_half_written_is_cleared_away_and_lends_nobody_its_rights() {
        let (folder, file) = folder();
        fs::write(beside(&file, ""), "half").expect("left behind");
        set_mode(&beside(&file, ""), 0o666);
        put(&file, "whole", Rights::OwnerOnly).expect("written");
        assert_eq!(fs::read_to_string(&file).expect("there"), "whole");
        assert_eq!(mode(&file), 0o600);
        assert_eq!(count(&folder), 1);
    }

    #[test]
    fn what_cannot_take_its_place_leaves_it_as_it_was_and_nothing_beside_it() {
        let (folder, file) = folder();
        // No file can be renamed onto a folder.
        fs::create_dir(&file).expect("made");
        put(&file, "text", Rights::AsBefore).expect_err("a folder");
        assert!(file.is_dir());
        assert_eq!(count(&folder), 1);
    }
}
