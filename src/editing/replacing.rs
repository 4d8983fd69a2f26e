//! A file replaced whole or not at all, and never one that somebody has changed meanwhile.

use std::fs::{self, File};
use std::io;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

use jiff::civil::DateTime;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::durable::{Rights, create, put};
use crate::files;

/// Tries at a name for a backup of the same second.
const NAMES: usize = 100;

/// SHA-256 of a text by FIPS 180-4, in hexadecimal: whether a file is still the one that was read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Digest(String);

impl Digest {
    /// Of a text.
    #[must_use]
    pub fn of(text: &str) -> Self {
        digest_of(text.as_bytes())
    }

    /// In hexadecimal.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// Of the bytes of a file, whatever they are.
fn digest_of(bytes: &[u8]) -> Digest {
    Digest(Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect())
}

/// A file's text, with what to know it again by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TextFile {
    /// The text.
    pub text: String,
    /// Its digest.
    pub digest: Digest,
}

/// Reads a file that is to be edited.
///
/// # Errors
/// One message: which file, what is wrong with it, what to do.
pub fn open(path: &Path) -> Result<TextFile, String> {
    let text = files::read(path)?.text;
    let digest = Digest::of(&text);
    Ok(TextFile { text, digest })
}

/// Whether the old text stays beside the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Backup {
    /// As `NAME.2026-11-29T14-03-12.bak`, by the time given.
    Dated(DateTime),
    /// The caller has kept it elsewhere.
    KeptElsewhere,
}

/// A file that was replaced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Replaced {
    /// Where the old text is, when a backup was asked for.
    pub backup: Option<PathBuf>,
    /// Digest of the new text.
    pub digest: Digest,
}

/// Replaces the text of a file that is still the one with the digest `expected`. At every moment
/// the file is the old one or the new one, whatever happens meanwhile; a backup is on the disk
/// before the file changes, and never takes the place of another.
///
/// # Errors
/// One message: which file, what is wrong, what to do. The file is as it was then.
pub fn replace(
    path: &Path,
    text: &str,
    expected: &Digest,
    backup: Backup,
) -> Result<Replaced, String> {
    // A link is followed: its target is the file that others read.
    let target = fs::canonicalize(path).map_err(|trouble| unwritable(path, &trouble))?;
    let _alone = locked(&target).map_err(|trouble| unwritable(path, &trouble))?;
    let present = fs::read(&target).map_err(|trouble| unwritable(path, &trouble))?;
    if digest_of(&present) != *expected {
        return Err(format!(
            "{}: has changed since it was read\nhelp: read it again, look at what somebody else has \
             changed, and make the change anew\n",
            path.display()
        ));
    }
    let kept = match backup {
        Backup::Dated(at) => Some(keep(&target, &present, at).map_err(|trouble| {
            format!(
                "{}: no backup could be written beside it: {trouble}\nhelp: check the folder's right \
                 to write and its room; the file is as it was\n",
                path.display()
            )
        })?),
        Backup::KeptElsewhere => None,
    };
    put(&target, text, Rights::AsBefore).map_err(|trouble| unwritable(path, &trouble))?;
    Ok(Replaced { backup: kept, digest: Digest::of(text) })
}

fn unwritable(path: &Path, trouble: &io::Error) -> String {
    format!(
        "{}: cannot be written: {trouble}\nhelp: check the right to write it and the room on its \
         disk; it is as it was\n",
        path.display()
    )
}

/// The old text beside the file, under a name that nothing has yet.
fn keep(target: &Path, bytes: &[u8], at: DateTime) -> io::Result<PathBuf> {
    let name = target.file_name().map(|name| name.to_string_lossy().into_owned());
    let name = name.unwrap_or_default();
    let stamp = at.strftime("%Y-%m-%dT%H-%M-%S");
    for number in 1..=NAMES {
        let again = if number == 1 { String::new() } else { format!("-{number}") };
        let path = target.with_file_name(format!("{name}.{stamp}{again}.bak"));
        match create(&path, bytes) {
            Err(trouble) if trouble.kind() == io::ErrorKind::AlreadyExists => {}
            Err(trouble) => return Err(trouble),
            Ok(()) => return Ok(path),
        }
    }
    Err(io::Error::new(io::ErrorKind::AlreadyExists, "a hundred backups of this second are there"))
}

/// The file, kept from everybody else who replaces it. Another one may stand in its place by the time
/// that its writer lets go of the old one: that one is waited for then.
fn locked(target: &Path) -> io::Result<File> {
    loop {
        let file = File::open(target)?;
        file.lock()?;
        let (held, there) = (file.metadata()?, fs::metadata(target)?);
        if (held.dev(), held.ino()) == (there.dev(), there.ino()) {
            return Ok(file);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::{PermissionsExt as _, symlink};
    use std::thread;

    use jiff::civil::date;

    use super::*;

    fn at() -> DateTime {
        date(2026, 11, 29).at(14, 3, 12, 0)
    }

    fn folder() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("bench.toml");
        fs::write(&file, "old").expect("written");
        (folder, file)
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn the_old_text_stays_beside_the_file_under_the_date_and_its_rights_are_kept() {
        let (folder, file) = folder();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).expect("set");
        let opened = open(&file).expect("read");
        let done = replace(&file, "new", &opened.digest, Backup::Dated(at())).expect("replaced");
        assert_eq!(fs::read_to_string(&file).expect("there"), "new");
        let backup = done.backup.expect("kept");
        assert_eq!(backup.file_name().expect("a name"), "bench.toml.2026-11-29T14-03-12.bak");
        assert_eq!(fs::read_to_string(backup).expect("there"), "old");
        assert_eq!(fs::metadata(&file).expect("there").permissions().mode() & 0o777, 0o640);
        assert_eq!(names(folder.path()).len(), 2, "nothing else is left");
        assert_eq!(done.digest, open(&file).expect("read").digest);
    }

    #[test]
    fn a_backup_of_the_same_second_never_takes_the_place_of_another() {
        let (folder, file) = folder();
        for (old, new) in [("old", "1"), ("1", "2"), ("2", "3")] {
            replace(&file, new, &Digest::of(old), Backup::Dated(at())).expect("replaced");
        }
        let kept: Vec<String> = names(folder.path())
            .iter()
            .filter(|name| name.ends_with(".bak"))
            .map(|name| fs::read_to_string(folder.path().join(name)).expect("there"))
            .collect();
        assert_eq!(kept.len(), 3);
        assert!(["old", "1", "2"].iter().all(|text| kept.iter().any(|kept| kept == text)));
    }

    #[test]
    fn a_file_that_somebody_else_has_changed_is_left_as_it_is() {
        let (folder, file) = folder();
        let opened = open(&file).expect("read");
        fs::write(&file, "by hand").expect("written");
        let told = replace(&file, "new", &opened.digest, Backup::Dated(at())).expect_err("changed");
        assert!(told.contains("bench.toml: has changed since it was read\nhelp: "), "{told}");
        assert_eq!(fs::read_to_string(&file).expect("there"), "by hand");
        assert_eq!(names(folder.path()), ["bench.toml"]);
    }

    #[test]
    fn of_many_who_write_at_once_one_writes_and_the_others_are_told() {
        let (_folder, file) = folder();
        let opened = open(&file).expect("read");
        let done: Vec<bool> = thread::scope(|scope| {
            let writers: Vec<_> = (0..8)
                .map(|number| {
                    let (file, digest) = (&file, &opened.digest);
                    scope.spawn(move || {
                        let text = format!("by {number}");
                        replace(file, &text, digest, Backup::KeptElsewhere).is_ok()
                    })
                })
                .collect();
            writers.into_iter().map(|writer| writer.join().expect("no panic")).collect()
        });
        assert_eq!(done.iter().filter(|done| **done).count(), 1, "{done:?}");
    }

    #[test]
    fn those_who_write_what_is_there_already_do_not_get_into_each_others_way() {
        let (folder, file) = folder();
        thread::scope(|scope| {
            for _ in 0..4 {
                let file = &file;
                scope.spawn(move || {
                    for _ in 0..25 {
                        replace(file, "old", &Digest::of("old"), Backup::KeptElsewhere)
                            .expect("unchanged");
                    }
                });
            }
        });
        assert_eq!(fs::read_to_string(&file).expect("there"), "old");
        assert_eq!(names(folder.path()), ["bench.toml"]);
    }

    #[test]
    fn a_link_stays_a_link_and_its_target_is_replaced() {
        let (folder, file) = folder();
        let link = folder.path().join("link.toml");
        symlink(&file, &link).expect("linked");
        replace(&link, "new", &Digest::of("old"), Backup::Dated(at())).expect("replaced");
        assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
        assert_eq!(fs::read_to_string(&file).expect("there"), "new");
    }

    #[test]
    fn what_cannot_be_written_is_told_with_its_file_and_stays() {
        let missing = Path::new("nowhere/at/all.toml");
        let told = replace(missing, "new", &Digest::of(""), Backup::Dated(at())).expect_err("none");
        assert!(told.starts_with("nowhere/at/all.toml: cannot be written: "), "{told}");
        let (folder, file) = folder();
        // A folder stands where the backups would: none of their names is free.
        for number in 1..=NAMES {
            let again = if number == 1 { String::new() } else { format!("-{number}") };
            let name = format!("bench.toml.2026-11-29T14-03-12{again}.bak");
            fs::create_dir(folder.path().join(name)).expect("made");
        }
        let told =
            replace(&file, "new", &Digest::of("old"), Backup::Dated(at())).expect_err("full");
        assert!(told.contains("no backup could be written beside it"), "{told}");
        assert_eq!(fs::read_to_string(&file).expect("there"), "old");
    }
}
