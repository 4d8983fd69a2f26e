//! Reading what a user has written: recipe, rig and catalogue files, found and checked.

use std::fs;
use std::path::{Path, PathBuf};

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::Problems;
use evenpass_core::interlock::check_figures;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::{Rig, check_together};

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
}

/// The bench's own rig, so that the twin runs wherever the program is.
const BENCH_RIG: (&str, &str) =
    ("bench.toml (built in)", include_str!("../config/rigs/bench.toml"));
/// The shipped catalogue, for recipes that have none beside them.
const POWDERS: (&str, &str) = ("powders.toml (built in)", include_str!("../config/powders.toml"));
/// The shipped torches.
const TORCHES: (&str, &str) = ("torches.toml (built in)", include_str!("../config/torches.toml"));

/// Reads one file.
///
/// # Errors
/// One message: which file, what is wrong with it, what to do.
pub fn read(path: &Path) -> Result<Source, String> {
    let name = path.display().to_string();
    let bytes = fs::read(path).map_err(|trouble| {
        format!(
            "{name}: cannot be read: {trouble}\nhelp: check the name and the right to read it\n"
        )
    })?;
    let text = String::from_utf8(bytes).map_err(|wrong| {
        format!(
            "{name}: is no UTF-8 text: byte {} is not part of a character\nhelp: save the file as \
             UTF-8 and try again\n",
            wrong.utf8_error().valid_up_to()
        )
    })?;
    Ok(Source { name, text })
}

/// Where the files of a job are looked for.
#[derive(Debug, Clone, Copy)]
pub struct Places<'a> {
    /// The rig file; the bench's own when `None`.
    pub rig: Option<&'a Path>,
    /// The folder of the catalogue; the recipe's neighbours, else the shipped one, when `None`.
    pub catalogue: Option<&'a Path>,
}

/// Reads and checks everything a job is made from; warnings go to the log.
///
/// # Errors
/// Every problem of every file, as a person is to read it.
pub fn job(recipe: &Path, places: Places<'_>) -> Result<Job, String> {
    let recipe_source = read(recipe)?;
    let (catalogue, _) = catalogue(places.catalogue, recipe)?;
    let (rig, rig_source) = rig(places.rig)?;
    let Source { name, text } = &recipe_source;
    let checked = Recipe::read(text, &catalogue).map_err(|problems| problems.render(name, text))?;
    warn(&checked.warnings(&catalogue), name, text);
    let together = check_together(&checked, &rig, &catalogue);
    if together.forbid() {
        return Err(together.render(name, text));
    }
    warn(&together, name, text);
    Ok(Job { recipe: checked, recipe_source, rig, rig_source, catalogue })
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
fn catalogue(folder: Option<&Path>, recipe: &Path) -> Result<(Catalogue, [Source; 2]), String> {
    let beside = recipe.parent().and_then(Path::parent).map(Path::to_path_buf);
    let neighbour = beside.filter(|folder| names(folder).iter().all(|name| name.is_file()));
    let sources = match folder.map(Path::to_path_buf).or(neighbour) {
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
        tracing::warn!("{}", warnings.render(&texts));
    }
    Ok((catalogue, sources))
}

fn names(folder: &Path) -> [PathBuf; 2] {
    ["powders.toml", "torches.toml"].map(|name| folder.join(name))
}

fn built_in((name, text): (&str, &str)) -> Source {
    Source { name: name.to_owned(), text: text.to_owned() }
}

fn warn(problems: &Problems, name: &str, text: &str) {
    if !problems.is_empty() {
        tracing::warn!("{}", problems.render(name, text));
    }
}
