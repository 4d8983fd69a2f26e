//! Every revision of a recipe, kept as files beside it: `revisions/NAME.r003.toml` has the text,
//! `revisions/NAME.revisions.toml` says who saved it, when and why. Nothing is ever taken away.
//!
//! The recipe itself stays a file that anybody may edit by hand. Its digest shows it then, and
//! what was found is kept as a revision of its own before another one takes its place.

mod kept;

use std::path::Path;

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::{Difference, FieldValue, differences, set};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::durable::create;
use crate::editing::{Backup, Digest, Kind, edit, open, replace};
use kept::Kept;

/// The longest name and the longest reason, characters: they stand in lists (arbitrary).
const LONGEST: usize = 300;
/// Who has edited a file outside of the program.
const NOT_KNOWN: &str = "not known";

/// One revision of a recipe.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Revision {
    /// Its number.
    pub revision: u32,
    /// Who saved it.
    pub who: String,
    /// When.
    pub when: Timestamp,
    /// Why.
    pub why: String,
    /// Digest of its text.
    pub digest: Digest,
}

/// How a recipe's file stands to its revisions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// It is the latest revision.
    Latest,
    /// It is an earlier one, put back by hand.
    Earlier(u32),
    /// It was edited outside of the program since it was saved.
    EditedOutside,
    /// No revision was ever kept.
    NeverKept,
}

/// A recipe's revisions.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct History {
    /// All that are kept, the first one first.
    pub revisions: Vec<Revision>,
    /// How the file stands to them.
    pub standing: Standing,
    /// Digest of the file as it is.
    pub digest: Digest,
}

/// What is to be saved.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// The new text; its revision is raised.
    pub text: &'a str,
    /// Who saves it.
    pub who: &'a str,
    /// When.
    pub when: Timestamp,
    /// Why.
    pub why: &'a str,
    /// Digest of the file that the text was made from.
    pub expected: &'a Digest,
}

/// What was saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// The new revision.
    pub revision: u32,
    /// Its digest.
    pub digest: Digest,
    /// Its text.
    pub text: String,
    /// The revision as which a file edited outside, or never kept before, was kept.
    pub found: Option<u32>,
}

/// Saves a text as the next revision of the recipe at `path`, and makes it the recipe.
///
/// # Errors
/// One message, and the recipe as it was: a name or a reason that is missing, a file that has
/// changed since it was read, a text that is no recipe or says nothing new, a file that can't be
/// written.
pub fn save(path: &Path, wanted: &Wanted<'_>, catalogue: &Catalogue) -> Result<Saved, String> {
    let who = one_line("who", wanted.who, "the name of whoever saves it")?;
    let why = one_line("why", wanted.why, "the reason for the change")?;
    let kept = Kept::beside(path)?;
    let _alone = kept.lock()?;
    let name = path.display();
    let present = open(path)?;
    if present.digest != *wanted.expected {
        return Err(format!(
            "{name}: has changed since it was read\nhelp: read it again, look at what somebody else \
             has changed, and make the change anew\n"
        ));
    }
    let revision = |number: u32, who: &str, why: &str, text: &str| Revision {
        revision: number,
        who: who.to_owned(),
        when: wanted.when,
        why: why.to_owned(),
        digest: Digest::of(text),
    };
    let mut revisions = kept.list(&present.digest)?;
    let standing = standing(&revisions, &present.digest);
    let own = own_revision(&present.text);
    let last = revisions.iter().map(|kept| kept.revision).max().unwrap_or(0);
    let says_nothing_new = with_revision(wanted.text, own) == with_revision(&present.text, own);
    let is_kept = matches!(standing, Standing::Latest | Standing::Earlier(_));
    if says_nothing_new && standing == Standing::Latest {
        return Err(format!("{name}: nothing has changed since revision {last}\n"));
    }
    let mut next = kept.free(if is_kept { last + 1 } else { (last + 1).max(own) });
    let mut found = None;
    if !is_kept && !says_nothing_new {
        let text = if next == own { present.text } else { with_revision(&present.text, next) };
        found = Some((revision(next, NOT_KNOWN, as_found(standing), &text), text));
        next = kept.free(next + 1);
    }
    let number = ("revision".to_owned(), FieldValue::Plain(next.to_string()));
    let text = edit(wanted.text, &[number], Kind::Recipe(catalogue)).map_err(|problems| {
        let told = problems.render(&name.to_string(), wanted.text);
        format!("{told}help: mend it and save it then\n")
    })?;
    let saved = revision(next, &who, &why, &text);
    let digest = saved.digest.clone();
    let found_as = found.as_ref().map(|(found, _)| found.revision);
    // In this order: whatever is cut off, no text is lost, none is listed that is not there or never
    // became the recipe, and what became it is listed.
    for (revision, text) in found.into_iter().chain([(saved, text.clone())]) {
        kept.keep(&revision, &text)?;
        revisions.push(revision);
    }
    kept.propose(&revisions)?;
    if let Err(refused) = replace(path, &text, wanted.expected, Backup::KeptElsewhere) {
        kept.withdraw();
        return Err(refused);
    }
    kept.adopt()?;
    let found = found_as;
    Ok(Saved { revision: next, digest, text, found })
}

/// How a recipe came about that was not there before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beginning {
    /// Its text came from elsewhere.
    Imported,
    /// It was taught at the machine.
    Taught,
}

impl Beginning {
    /// Why its first revision is there.
    const fn why(self) -> &'static str {
        match self {
            Self::Imported => "imported at the panel",
            Self::Taught => "made of points taken at the machine",
        }
    }
}

/// Where a new recipe comes from.
#[derive(Debug, Clone, Copy)]
pub struct Origin<'a> {
    /// Who made it.
    pub who: &'a str,
    /// When.
    pub when: Timestamp,
    /// How.
    pub how: Beginning,
}

/// Makes the recipe at `path`, which must not be there yet, with who made it as its first revision.
///
/// # Errors
/// One message: a recipe that is there already or cannot be written; or that it is there now, and who
/// made it could not be kept.
pub fn begin(
    path: &Path,
    text: &str,
    origin: Origin<'_>,
    catalogue: &Catalogue,
) -> Result<Saved, String> {
    create(path, text.as_bytes()).map_err(|trouble| format!("{}: {trouble}\n", path.display()))?;
    let Origin { who, when, how } = origin;
    let expected = &Digest::of(text);
    save(path, &Wanted { text, who, when, why: how.why(), expected }, catalogue).map_err(
        |trouble| format!("the recipe is there, but who made it could not be kept: {trouble}"),
    )
}

/// The revisions of the recipe at `path`, and how the file stands to them.
///
/// # Errors
/// One message: which file can't be read, and what to do.
pub fn list(path: &Path) -> Result<History, String> {
    let digest = open(path)?.digest;
    let revisions = Kept::beside(path)?.list(&digest)?;
    let standing = standing(&revisions, &digest);
    Ok(History { revisions, standing, digest })
}

/// The text of a revision, as it was saved.
///
/// # Errors
/// One message: there is no such revision, or its file is not what was saved.
pub fn text_of(path: &Path, revision: u32) -> Result<String, String> {
    let kept = Kept::beside(path)?;
    // Of a recipe that has gone the revisions are still there.
    let revisions = match open(path) {
        Ok(recipe) => kept.list(&recipe.digest)?,
        Err(_) => kept.listed()?,
    };
    let Some(listed) = revisions.iter().find(|kept| kept.revision == revision) else {
        let known: Vec<String> = revisions.iter().map(|kept| kept.revision.to_string()).collect();
        let known = if known.is_empty() { "none yet".to_owned() } else { known.join(", ") };
        return Err(format!(
            "{}: has no revision {revision}\naccepted: one that is kept: {known}\n",
            path.display()
        ));
    };
    kept.text(listed)
}

/// What one revision says otherwise than another.
///
/// # Errors
/// As [`text_of`].
pub fn compare(path: &Path, old: u32, new: u32) -> Result<Vec<Difference>, String> {
    let [old, new] = [text_of(path, old)?, text_of(path, new)?];
    differences(&old, &new).map_err(|problems| format!("{}: {problems}\n", path.display()))
}

/// Why a text is kept that nobody has saved.
const fn as_found(standing: Standing) -> &'static str {
    match standing {
        Standing::NeverKept => "as it was found when it was first saved here",
        _ => "edited outside of the program; kept as it was found",
    }
}

fn standing(revisions: &[Revision], digest: &Digest) -> Standing {
    let last = revisions.iter().max_by_key(|kept| kept.revision);
    match (last, revisions.iter().rfind(|kept| kept.digest == *digest)) {
        (None, _) => Standing::NeverKept,
        (Some(_), None) => Standing::EditedOutside,
        (Some(last), Some(found)) if last.revision == found.revision => Standing::Latest,
        (Some(_), Some(found)) => Standing::Earlier(found.revision),
    }
}

/// The revision that a text says it is; 1 where it says none.
fn own_revision(text: &str) -> u32 {
    let number = |table: toml::Table| table.get("revision")?.as_integer();
    let said = toml::from_str(text).ok().and_then(number);
    said.and_then(|said| u32::try_from(said).ok()).unwrap_or(1)
}

/// The text saying that it is this revision, or as it is where that can't be set.
fn with_revision(text: &str, revision: u32) -> String {
    let number = ("revision".to_owned(), FieldValue::Plain(revision.to_string()));
    set(text, &[number]).unwrap_or_else(|_| text.to_owned())
}

/// A word of one line, as it is kept.
fn one_line(field: &str, text: &str, accepted: &str) -> Result<String, String> {
    let text = text.trim();
    if text.is_empty() {
        return Err(format!("{field}: is missing\naccepted: {accepted}\n"));
    }
    if text.chars().count() > LONGEST || crate::shown::one_line(text) != text {
        return Err(format!(
            "{field}: is no line of text\naccepted: {accepted}, up to {LONGEST} letters, figures and \
             signs\n"
        ));
    }
    Ok(text.to_owned())
}

#[cfg(test)]
mod tests;
