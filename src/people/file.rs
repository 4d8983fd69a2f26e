//! The file that keeps the roll. Only its user may read it; a change is whole or not made.

use std::fs::{self, File, TryLockError};
use std::io::{self, Read as _};
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use thiserror::Error;

use super::roll::RollError;
use super::{People, rewrite, text};
use crate::durable::{Rights, put};
use crate::files::folder_of;

/// The bits that let group and others in.
const OTHERS: u32 = 0o077;

/// The largest file that is read, bytes: some thousand people.
const LARGEST: u64 = 1_000_000;

/// How long a change waits for another one. Arbitrary; one takes milliseconds.
const PATIENCE: Duration = Duration::from_secs(5);
/// Between two looks whether the other one is done.
const LOOK: Duration = Duration::from_millis(10);

/// Why the roll cannot be read or changed.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PeopleError {
    /// The file that was named is not there.
    #[error(
        "no people in {}: nobody was added there yet\nhelp: add somebody with `evenpass people \
         add`, or name another file with --people FILE",
        file.display()
    )]
    Missing {
        /// The file.
        file: PathBuf,
    },
    /// The folder of the file that was named is not there.
    #[error(
        "--people: no folder {}; make it first, or name a file in a folder that is there",
        folder.display()
    )]
    NoFolder {
        /// The folder.
        folder: PathBuf,
    },
    /// Others than its user may read or write it.
    #[error(
        "people file {} is open to other users (mode {mode:04o}), and its PINs may be known\n\
         help: take their rights away with `chmod 600`, and set new PINs with `evenpass people pin`",
        file.display()
    )]
    OpenToOthers {
        /// The file.
        file: PathBuf,
        /// Its mode, as `chmod` takes it.
        mode: u32,
    },
    /// The system does not let it be read or written.
    #[error("people file {} cannot be {what}: {source}", file.display())]
    System {
        /// The file.
        file: PathBuf,
        /// What was tried.
        what: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// It is too large, or no text.
    #[error(
        "people file {} is no text of at most 1 MB\nhelp: name another file with --people FILE",
        file.display()
    )]
    NoText {
        /// The file.
        file: PathBuf,
    },
    /// Somebody else is changing it for too long.
    #[error("people file {} is being changed by another program; try again", file.display())]
    Busy {
        /// The file.
        file: PathBuf,
    },
    /// Its text is wrong: every problem with its line.
    #[error("{0}")]
    Text(String),
    /// What was to be changed would not be on the file.
    #[error(
        "people file {} cannot take the change without losing something; nothing was changed\n\
         help: write one `[[person]]` for each of its people, and try again",
        file.display()
    )]
    WouldLose {
        /// The file.
        file: PathBuf,
    },
    /// The roll refuses the change.
    #[error(transparent)]
    Roll(#[from] RollError),
}

impl PeopleError {
    /// Whether it is about what a person has given: the exit code for bad input.
    #[must_use]
    pub fn is_bad_input(&self) -> bool {
        matches!(self, Self::NoFolder { .. } | Self::NoText { .. } | Self::Text(_) | Self::Roll(_))
    }
}

/// Whether somebody has named the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Named {
    Yes,
    No,
}

/// The file of the roll; nothing is open between its calls.
#[derive(Debug, Clone)]
pub struct PeopleFile {
    path: PathBuf,
    named: Named,
}

impl PeopleFile {
    /// The file that was named, else `people.toml` beside the records file.
    ///
    /// # Errors
    /// [`PeopleError::NoFolder`]: a slip of the pen must not begin a second roll somewhere.
    pub fn of(named: Option<&Path>, records: &Path) -> Result<Self, PeopleError> {
        match named {
            Some(path) => {
                let folder = folder_of(path);
                if !folder.is_dir() {
                    return Err(PeopleError::NoFolder { folder: folder.to_owned() });
                }
                Ok(Self { path: path.to_owned(), named: Named::Yes })
            }
            None => Ok(Self { path: records.with_file_name("people.toml"), named: Named::No }),
        }
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The roll. Nobody is on it while the usual file is not there.
    ///
    /// # Errors
    /// [`PeopleError`]; a file that somebody has named has to be there.
    pub fn read(&self) -> Result<People, PeopleError> {
        match self.text()? {
            Some(text) => self.understood(&text),
            None if self.named == Named::Yes => {
                Err(PeopleError::Missing { file: self.path.clone() })
            }
            None => Ok(People::default()),
        }
    }

    /// Changes the roll, and gives what the change gives; durable on return. The roll is read
    /// anew while nobody else can change it, so that two changes at once are both kept. A refused
    /// change leaves the file alone. A file that is not there is made.
    ///
    /// # Errors
    /// [`PeopleError`]; what `change` refuses is [`PeopleError::Roll`].
    pub fn change<T>(
        &self,
        change: impl FnOnce(&mut People) -> Result<T, RollError>,
    ) -> Result<T, PeopleError> {
        // A link stays one.
        let path = fs::canonicalize(&self.path).unwrap_or_else(|_| self.path.clone());
        let folder = folder_of(&path);
        fs::create_dir_all(folder).map_err(|source| self.trouble("made", source))?;
        let folder = File::open(folder).map_err(|source| self.trouble("changed", source))?;
        self.lock(&folder)?;
        let before = self.text()?.unwrap_or_default();
        let mut people = self.understood(&before)?;
        let given = change(&mut people)?;
        let after = rewrite::changed(&before, &people)
            .map_err(|problems| self.wrong(&problems, &before))?;
        if text::read(&after).as_ref() != Ok(&people) {
            return Err(PeopleError::WouldLose { file: self.path.clone() });
        }
        put(&path, &after, Rights::OwnerOnly).map_err(|source| self.trouble("written", source))?;
        Ok(given)
    }

    fn text(&self) -> Result<Option<String>, PeopleError> {
        let mut file = match File::open(&self.path) {
            Ok(file) => file,
            Err(source) if source.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(source) => return Err(self.trouble("read", source)),
        };
        let about = file.metadata().map_err(|source| self.trouble("read", source))?;
        let no_text = || PeopleError::NoText { file: self.path.clone() };
        if !about.is_file() || about.len() > LARGEST {
            return Err(no_text());
        }
        if about.mode() & OTHERS != 0 {
            return Err(PeopleError::OpenToOthers {
                file: self.path.clone(),
                mode: about.mode() & 0o7777,
            });
        }
        let mut text = String::new();
        match file.read_to_string(&mut text) {
            Ok(_) => Ok(Some(text)),
            Err(source) if source.kind() == io::ErrorKind::InvalidData => Err(no_text()),
            Err(source) => Err(self.trouble("read", source)),
        }
    }

    fn understood(&self, text: &str) -> Result<People, PeopleError> {
        text::read(text).map_err(|problems| self.wrong(&problems, text))
    }

    fn wrong(&self, problems: &evenpass_core::document::Problems, text: &str) -> PeopleError {
        PeopleError::Text(problems.render(&self.path.display().to_string(), text))
    }

    fn trouble(&self, what: &'static str, source: io::Error) -> PeopleError {
        PeopleError::System { file: self.path.clone(), what, source }
    }

    /// Locks the folder: the file itself is another one after each change. The system lets go of
    /// the lock with the process.
    fn lock(&self, folder: &File) -> Result<(), PeopleError> {
        let begun = Instant::now();
        loop {
            match folder.try_lock() {
                Ok(()) => return Ok(()),
                Err(TryLockError::WouldBlock) if begun.elapsed() < PATIENCE => thread::sleep(LOOK),
                Err(TryLockError::WouldBlock) => {
                    return Err(PeopleError::Busy { file: self.path.clone() });
                }
                Err(TryLockError::Error(source)) => return Err(self.trouble("locked", source)),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::super::roll::tests::{person, three};
    use super::super::{LengthUnit, Role, Units};
    use super::*;

    fn place() -> (tempfile::TempDir, PeopleFile) {
        let folder = tempfile::tempdir().expect("temporary folder");
        let records = folder.path().join("records.sqlite");
        let file = PeopleFile::of(None, &records).expect("beside the records");
        (folder, file)
    }

    fn filled() -> (tempfile::TempDir, PeopleFile) {
        let (folder, file) = place();
        file.change(|people| {
            *people = three();
            Ok(())
        })
        .expect("written");
        (folder, file)
    }

    #[test]
    fn the_usual_file_lies_beside_the_records_and_has_nobody_until_somebody_is_added() {
        let (folder, file) = place();
        assert_eq!(file.path(), folder.path().join("people.toml"));
        assert_eq!(file.read().expect("nobody"), People::default());
        file.change(|people| people.add(person("A", Role::Engineer))).expect("added");
        assert_eq!(file.read().expect("one").len(), 1);
    }

    #[test]
    fn a_file_that_was_named_has_to_be_there_to_be_read() {
        let (folder, _) = place();
        let named = |name: &str| PeopleFile::of(Some(&folder.path().join(name)), Path::new("x"));
        let refused = named("gone.toml").expect("in a folder").read().expect_err("gone");
        assert!(matches!(refused, PeopleError::Missing { .. }), "{refused}");
        let refused = named("gone/people.toml").expect_err("no folder");
        assert!(matches!(refused, PeopleError::NoFolder { .. }), "{refused}");
        assert!(refused.is_bad_input());
    }

    #[test]
    fn only_its_user_can_read_a_new_file_and_one_open_to_others_is_refused() {
        let (_folder, file) = filled();
        let mode = |path: &Path| fs::metadata(path).expect("there").mode() & 0o777;
        assert_eq!(mode(file.path()), 0o600);
        for open in [0o640, 0o604, 0o620, 0o601] {
            let rights = fs::Permissions::from_mode(open);
            fs::set_permissions(file.path(), rights).expect("chmod");
            let refused = file.read().expect_err("open");
            let told = refused.to_string();
            assert!(told.contains(&format!("mode {open:04o}")), "{told}");
            assert!(told.contains("chmod 600"), "{told}");
            assert!(file.change(|people| people.remove("A. Fitter")).is_err());
        }
        fs::set_permissions(file.path(), fs::Permissions::from_mode(0o600)).expect("chmod");
        assert_eq!(file.read().expect("read"), three());
    }

    #[test]
    fn a_refused_change_leaves_the_file_as_it_is() {
        let (_folder, file) = filled();
        let before = fs::read(file.path()).expect("read");
        let refused = file.change(|people| people.remove("B. Engineer")).expect_err("the last");
        assert!(matches!(refused, PeopleError::Roll(RollError::LastEngineer { .. })), "{refused}");
        assert_eq!(fs::read(file.path()).expect("read"), before);
    }

    #[test]
    fn a_file_that_cannot_be_understood_is_never_written_over() {
        let (_folder, file) = filled();
        let text = fs::read_to_string(file.path()).expect("read").replace("operator", "boss");
        fs::write(file.path(), &text).expect("written by hand");
        let refused = file.change(|people| people.remove("A. Fitter")).expect_err("wrong");
        assert!(refused.to_string().contains("found \"boss\""), "{refused}");
        assert_eq!(fs::read_to_string(file.path()).expect("read"), text);
        fs::write(file.path(), b"\xff").expect("written by hand");
        let refused = file.read().expect_err("no text");
        assert!(matches!(refused, PeopleError::NoText { .. }), "{refused}");
    }

    #[test]
    fn what_a_dead_process_left_half_written_is_no_hindrance_and_is_closed_to_others() {
        let (folder, file) = filled();
        let new = folder.path().join(".people.toml.new");
        fs::write(&new, "half").expect("left behind");
        fs::set_permissions(&new, fs::Permissions::from_mode(0o666)).expect("chmod");
        file.change(|people| people.remove("A. Fitter")).expect("changed");
        assert_eq!(file.read().expect("read").len(), 2);
        assert!(!new.exists());
    }

    #[test]
    fn changes_at_once_are_all_kept() {
        let (_folder, file) = filled();
        let units = Units { length: LengthUnit::Inch, ..Units::default() };
        thread::scope(|scope| {
            for number in 0..16 {
                let file = &file;
                scope.spawn(move || {
                    let name = format!("Person {number}");
                    file.change(|people| people.add(person(&name, Role::Operator))).expect("added");
                    file.change(|people| people.set_units(&name, units)).expect("changed");
                });
            }
        });
        let people = file.read().expect("read");
        assert_eq!(people.len(), 19);
        assert_eq!(people.iter().filter(|person| person.units == units).count(), 16);
    }

    #[test]
    fn a_link_to_the_file_stays_a_link() {
        let (folder, file) = filled();
        let link = folder.path().join("link.toml");
        std::os::unix::fs::symlink(file.path(), &link).expect("linked");
        let linked = PeopleFile::of(Some(&link), Path::new("x")).expect("in a folder");
        linked.change(|people| people.remove("A. Fitter")).expect("changed");
        assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
        assert_eq!(file.read().expect("read").len(), 2);
    }
}
