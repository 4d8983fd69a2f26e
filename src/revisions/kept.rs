//! The files that revisions are kept in.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::Revision;
use crate::durable::{Rights, create, put, rename};
use crate::editing::Digest;
use crate::files;

/// On top of a list.
const HEAD: &str = "\
# Who saved which revision of the recipe in the folder above, when and why. The program writes this
# file and the revisions beside it; by the digests it sees what was changed by hand.

";

/// A recipe's folder of revisions.
pub(super) struct Kept {
    folder: PathBuf,
    name: String,
}

/// What stands in a list.
#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct List {
    #[serde(default)]
    revision: Vec<Revision>,
}

impl Kept {
    /// Beside the recipe at `path`, whether anything is kept there yet or not.
    pub(super) fn beside(path: &Path) -> Result<Self, String> {
        let name = path.file_stem().and_then(|name| name.to_str());
        let Some(name) = name.filter(|name| !name.is_empty()) else {
            return Err(format!("{}: is no name of a recipe\n", path.display()));
        };
        let folder = path.parent().unwrap_or_else(|| Path::new("")).join("revisions");
        Ok(Self { folder, name: name.to_owned() })
    }

    /// Keeps everybody else from saving as long as it is held.
    pub(super) fn lock(&self) -> Result<File, String> {
        let path = self.folder.join(format!(".{}.lock", self.name));
        let lock = || {
            fs::create_dir_all(&self.folder)?;
            let file = File::options().create(true).write(true).truncate(false).open(&path)?;
            file.lock()?;
            Ok(file)
        };
        lock().map_err(|trouble| unwritable(&path, &trouble))
    }

    /// Every revision that is listed, where the recipe has this digest. A list that was proposed
    /// counts once its last revision has become the recipe, whatever was cut off after that.
    pub(super) fn list(&self, recipe: &Digest) -> Result<Vec<Revision>, String> {
        let proposed = self.proposed_file();
        if proposed.exists()
            && let Ok(revisions) = read_list(&proposed)
            && revisions.last().is_some_and(|last| last.digest == *recipe)
        {
            return Ok(revisions);
        }
        self.listed()
    }

    /// Every revision that was listed when nothing was cut off.
    pub(super) fn listed(&self) -> Result<Vec<Revision>, String> {
        let path = self.list_file();
        if path.exists() { read_list(&path) } else { Ok(Vec::new()) }
    }

    /// Writes the list as it shall be once its last revision is the recipe.
    pub(super) fn propose(&self, revisions: &[Revision]) -> Result<(), String> {
        let path = self.proposed_file();
        let list = toml::to_string(&List { revision: revisions.to_vec() })
            .map_err(|trouble| format!("{}: {trouble}\n", path.display()))?;
        put(&path, &format!("{HEAD}{list}"), Rights::AsBefore)
            .map_err(|trouble| unwritable(&path, &trouble))
    }

    /// The list that was proposed is the list.
    pub(super) fn adopt(&self) -> Result<(), String> {
        let path = self.list_file();
        rename(&self.proposed_file(), &path).map_err(|trouble| {
            format!(
                "{}: cannot be written: {trouble}\nhelp: the recipe is saved; its list of revisions \
                 is brought up to date by the next save\n",
                path.display()
            )
        })
    }

    /// What was proposed has not become the recipe.
    pub(super) fn withdraw(&self) {
        // One that stays behind counts only for a recipe that has its digest.
        let _ = fs::remove_file(self.proposed_file());
    }

    /// The first number from `from` on whose file is not there: one may be left of a save that
    /// was cut off.
    pub(super) fn free(&self, from: u32) -> u32 {
        (from..u32::MAX).find(|number| !self.file(*number).exists()).unwrap_or(u32::MAX)
    }

    /// Keeps the text of a revision.
    pub(super) fn keep(&self, revision: &Revision, text: &str) -> Result<(), String> {
        let path = self.file(revision.revision);
        create(&path, text.as_bytes()).map_err(|trouble| unwritable(&path, &trouble))
    }

    /// The text of a revision, which must be what was saved.
    pub(super) fn text(&self, listed: &Revision) -> Result<String, String> {
        let path = self.file(listed.revision);
        let text = files::read(&path)?.text;
        if Digest::of(&text) != listed.digest {
            return Err(format!(
                "{}: is not what was saved as revision {} by {}\nhelp: somebody has changed it since; \
                 put the saved text back, or go on from another revision\n",
                path.display(),
                listed.revision,
                listed.who
            ));
        }
        Ok(text)
    }

    fn list_file(&self) -> PathBuf {
        self.folder.join(format!("{}.revisions.toml", self.name))
    }

    fn proposed_file(&self) -> PathBuf {
        self.folder.join(format!(".{}.proposed.toml", self.name))
    }

    fn file(&self, revision: u32) -> PathBuf {
        self.folder.join(format!("{}.r{revision:03}.toml", self.name))
    }
}

fn read_list(path: &Path) -> Result<Vec<Revision>, String> {
    let text = files::read(path)?.text;
    let list: List = toml::from_str(&text).map_err(|trouble| {
        format!(
            "{}: cannot be read: {}\nhelp: put back what was changed in it by hand, or move it \
             away to begin a new list; the texts beside it stay\n",
            path.display(),
            trouble.message()
        )
    })?;
    Ok(list.revision)
}

fn unwritable(path: &Path, trouble: &io::Error) -> String {
    format!(
        "{}: cannot be written: {trouble}\nhelp: check the folder's right to write and its room; the \
         recipe is as it was\n",
        path.display()
    )
}
