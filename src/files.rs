//! Reading what a user has written: recipe, rig and catalogue files, found and checked.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::Problems;
use evenpass_core::interlock::check_figures;
use evenpass_core::learn::apply;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::{Rig, check_together};

use crate::learning::{Learned, Lessons, lessons};

/// A file's name for people and its text, kept for the record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Its name as the user gave it.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// What a job is made from, each value with the text it came from.
#[derive(Debug, Clone)]
pub struct Job {
    /// The recipe.
    pub recipe: Recipe,
    /// Its text.
    pub recipe_source: Source,
    /// The rig.
    pub rig: Rig,
    /// Its text.
    pub rig_source: Source,
    /// The catalogue.
    pub catalogue: Catalogue,
    /// What measured parts had to say, already in `recipe` and `catalogue`.
    pub learned: Learned,
}

impl Job {
    /// Recipe and catalogue as they were written, before anything learned was put in.
    #[must_use]
    pub fn as_written(&self) -> (&Recipe, &Catalogue) {
        match &self.learned.as_written {
            Some(written) => (&written.0, &written.1),
            None => (&self.recipe, &self.catalogue),
        }
    }
}

/// The bench's own rig, so that the twin runs wherever the program is.
const BENCH_RIG: (&str, &str) =
    ("bench.toml (built in)", include_str!("../config/rigs/bench.toml"));
/// The shipped catalogue, for recipes that have none beside them.
const POWDERS: (&str, &str) = ("powders.toml (built in)", include_str!("../config/powders.toml"));
/// The shipped torches.
const TORCHES: (&str, &str) = ("torches.toml (built in)", include_str!("../config/torches.toml"));

/// The largest file that is read, bytes: thousands of times what a recipe needs.
const LARGEST: u64 = 1_000_000;

/// Reads one file.
///
/// # Errors
/// One message: which file, what is wrong with it, what to do.
pub fn read(path: &Path) -> Result<Source, String> {
    let name = path.display().to_string();
    let unreadable = |trouble: io::Error| {
        format!(
            "{name}: cannot be read: {trouble}\nhelp: check the name and the right to read it\n"
        )
    };
    let about = fs::metadata(path).map_err(unreadable)?;
    if !about.is_file() || about.len() > LARGEST {
        return Err(format!(
            "{name}: is no text file of at most {} MB\nhelp: name a recipe, rig or catalogue \
             file\n",
            LARGEST / 1_000_000
        ));
    }
    let bytes = fs::read(path).map_err(unreadable)?;
    let text = String::from_utf8(bytes).map_err(|wrong| {
        format!(
            "{name}: is no UTF-8 text: byte {} is not part of a character\nhelp: save the file as \
             UTF-8 and try again\n",
            wrong.utf8_error().valid_up_to()
        )
    })?;
    Ok(Source { name, text })
}

/// Whether `file` may be made, or made anew: never over what was read, and never over an input or
/// a records file that an option named by mistake.
///
/// # Errors
/// One message: which option, which file, what to do.
pub fn may_write(option: &str, file: &Path, read: &[&Path]) -> Result<(), String> {
    let same = |other: &&Path| match (fs::canonicalize(file), fs::canonicalize(other)) {
        (Ok(file), Ok(other)) => file == other,
        _ => false,
    };
    let is_ours = |ending: &str| matches!(ending, "toml" | "db" | "sqlite");
    let ending = file.extension().and_then(|ending| ending.to_str());
    if read.iter().any(same) || (file.exists() && ending.is_some_and(is_ours)) {
        return Err(format!(
            "{option}: {} is there already and would be lost\nhelp: name another file, or remove \
             this one first\n",
            file.display()
        ));
    }
    Ok(())
}

/// Where the files of a job are looked for.
#[derive(Debug, Clone, Copy)]
pub struct Places<'a> {
    /// The rig file; the bench's own when `None`.
    pub rig: Option<&'a Path>,
    /// The folder of the catalogue; the recipe's neighbours, else the shipped one, when `None`.
    pub catalogue: Option<&'a Path>,
}

/// Reads and checks everything a job is made from, by the catalogue alone; warnings go to
/// standard error.
///
/// # Errors
/// Every problem of every file, as a person is to read it.
pub fn job(recipe: &Path, places: Places<'_>) -> Result<Job, String> {
    job_after(recipe, places, Lessons::Ignored)
}

/// The same after what was learned of its torch and powders.
///
/// # Errors
/// As [`job`], and what is wrong with the records.
pub fn job_after(recipe: &Path, places: Places<'_>, from: Lessons<'_>) -> Result<Job, String> {
    job_of(read(recipe)?, recipe, places, from)
}

/// The same of a text that is not, or not yet, what stands in the recipe's file.
///
/// # Errors
/// As [`job_after`].
pub fn job_of(
    recipe_source: Source,
    recipe: &Path,
    places: Places<'_>,
    from: Lessons<'_>,
) -> Result<Job, String> {
    let catalogue = catalogue(places.catalogue, Some(recipe))?;
    joined(recipe_source, rig(places.rig)?, catalogue, from)
}

/// The same of texts that a record has kept, with the catalogue that is there.
///
/// # Errors
/// As [`job_after`].
pub fn job_of_texts(
    recipe_source: Source,
    rig_source: Source,
    folder: Option<&Path>,
    from: Lessons<'_>,
) -> Result<Job, String> {
    let catalogue = catalogue(folder, Some(Path::new(&recipe_source.name)))?;
    joined(recipe_source, checked_rig(rig_source)?, catalogue, from)
}

fn joined(
    recipe_source: Source,
    (rig, rig_source): (Rig, Source),
    mut catalogue: Catalogue,
    from: Lessons<'_>,
) -> Result<Job, String> {
    let Source { name, text } = &recipe_source;
    let mut checked =
        Recipe::read(text, &catalogue).map_err(|problems| problems.render(name, text))?;
    warn(&checked.warnings(&catalogue), name, text);
    let lessons = lessons(from, &rig, &checked, &catalogue)?;
    let written = (checked.clone(), catalogue.clone());
    apply(&lessons, &mut checked, &mut catalogue);
    let changed = written.0 != checked || written.1 != catalogue;
    let learned = Learned { lessons, as_written: changed.then(|| Box::new(written)) };
    let together = check_together(&checked, &rig, &catalogue);
    if together.forbid() {
        return Err(together.render(name, text));
    }
    warn(&together, name, text);
    Ok(Job { recipe: checked, recipe_source, rig, rig_source, catalogue, learned })
}

/// Reads and checks a rig file, the bench's own when there is none.
///
/// # Errors
/// Every problem of the file, as a person is to read it.
pub fn rig(path: Option<&Path>) -> Result<(Rig, Source), String> {
    let source = match path {
        Some(path) => read(path)?,
        None => built_in(BENCH_RIG),
    };
    checked_rig(source)
}

fn checked_rig(source: Source) -> Result<(Rig, Source), String> {
    let Source { name, text } = &source;
    let rig = Rig::read(text).map_err(|problems| problems.render(name, text))?;
    let figures = check_figures(&rig);
    if figures.forbid() {
        return Err(figures.render(name, text));
    }
    warn(&rig.warnings(), name, text);
    Ok((rig, source))
}

/// Reads the catalogue: from the folder asked for, from beside the recipe's folder, or as
/// shipped.
///
/// # Errors
/// Every problem of its files, as a person is to read it.
pub fn catalogue(folder: Option<&Path>, recipe: Option<&Path>) -> Result<Catalogue, String> {
    let sources = match catalogue_folder(folder, recipe.and_then(Path::parent)) {
        Some(folder) => {
            let [powders, torches] = names(&folder);
            [read(&powders)?, read(&torches)?]
        }
        None => [built_in(POWDERS), built_in(TORCHES)],
    };
    let texts = sources.each_ref().map(|source| (source.name.as_str(), source.text.as_str()));
    let catalogue = Catalogue::read(&texts).map_err(|problems| problems.render(&texts))?;
    let warnings = Catalogue::warnings(&texts);
    if warnings.iter().next().is_some() {
        show(&warnings.render(&texts));
    }
    Ok(catalogue)
}

/// The folder of the catalogue: the one asked for, else the one in which the folder of recipes lies
/// if it has both files; `None` for the shipped catalogue.
#[must_use]
pub fn catalogue_folder(folder: Option<&Path>, recipes: Option<&Path>) -> Option<PathBuf> {
    let beside = recipes.and_then(Path::parent).map(Path::to_path_buf);
    let neighbour = beside.filter(|folder| names(folder).iter().all(|name| name.is_file()));
    folder.map(Path::to_path_buf).or(neighbour)
}

/// The two files of a catalogue: powders, torches.
#[must_use]
pub fn names(folder: &Path) -> [PathBuf; 2] {
    ["powders.toml", "torches.toml"].map(|name| folder.join(name))
}

/// The folder that a file lies in.
#[must_use]
pub fn folder_of(file: &Path) -> &Path {
    // The parent of a bare name is empty, and no folder that can be opened.
    let parent = file.parent().filter(|folder| !folder.as_os_str().is_empty());
    parent.unwrap_or(Path::new("."))
}

fn built_in((name, text): (&str, &str)) -> Source {
    Source { name: name.to_owned(), text: text.to_owned() }
}

fn warn(problems: &Problems, name: &str, text: &str) {
    if !problems.is_empty() {
        show(&problems.render(name, text));
    }
}

/// Warnings go beside what a verb prints, in the form of the errors; a reader who has gone does
/// not matter.
fn show(warnings: &str) {
    let _ = write!(io::stderr(), "{warnings}");
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::may_write;

    #[test]
    fn an_output_is_never_written_over_what_was_read_nor_over_an_input_or_a_records_file() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        for name in ["recipe", "rig.toml", "runs.sqlite", "page.html"] {
            fs::write(at(name), "kept").expect("written");
        }
        let recipe = at("recipe");
        assert!(may_write("--html", &recipe, &[&recipe]).is_err());
        assert!(may_write("--html", &folder.path().join("./recipe"), &[&recipe]).is_err());
        for name in ["rig.toml", "runs.sqlite"] {
            let found = may_write("--trace", &at(name), &[&recipe]).expect_err(name);
            assert!(found.starts_with("--trace: ") && found.contains("would be lost"), "{found}");
        }
        assert_eq!(may_write("--html", &at("page.html"), &[&recipe]), Ok(()));
        assert_eq!(may_write("--html", &at("new.toml"), &[&recipe]), Ok(()));
    }
}
