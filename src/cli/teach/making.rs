//! What taught points make: geometry, the text of a recipe, its plan.

use std::path::{Path, PathBuf};

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::Problems;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::Length;
use evenpass_core::recipe::{Recipe, Substrate};
use evenpass_core::rig::Rig;
use evenpass_core::teach::{
    Limits, Particulars, Taught, Teaching, blank, blank_torch, judge, recipe_text,
};
use jiff::Timestamp;

use crate::files::{self, Places, Source};
use crate::learning::Lessons;
use crate::revisions::{self, Beginning, Origin};

/// What no point says of the new part.
#[derive(Debug)]
pub(super) struct Part {
    /// The file that it becomes.
    pub(super) file: PathBuf,
    /// Title of the recipe, and the part's name.
    pub(super) title: String,
    /// What it is made of; what the other recipe says when `None`.
    pub(super) substrate: Option<Substrate>,
    /// Finished coat of every zone; as the other recipe has it when `None`.
    pub(super) finish: Option<Length>,
    /// Names of the zones, from the chuck side.
    pub(super) zones: Vec<String>,
    /// The rig file; the bench's own when `None`.
    pub(super) rig_file: Option<PathBuf>,
    /// The catalogue's folder; the recipe's neighbours when `None`.
    pub(super) catalogue_folder: Option<PathBuf>,
    /// The text that everything else comes from.
    other: String,
    limits: Limits,
}

/// What is told of a new part besides its file.
pub(super) struct Told<'a> {
    pub(super) title: Option<&'a str>,
    pub(super) like: Option<&'a Path>,
    pub(super) substrate: Option<Substrate>,
    pub(super) finish: Option<Length>,
    pub(super) zones: &'a [String],
    pub(super) rig_file: Option<&'a Path>,
    pub(super) catalogue: Option<&'a Path>,
}

impl Part {
    /// A new part, before any point was taken. What is wrong with files is told before anything
    /// moves.
    ///
    /// # Errors
    /// As a person is to read it.
    pub(super) fn new(file: &Path, told: &Told<'_>) -> Result<Self, String> {
        if file.exists() {
            return Err(format!(
                "{}: is there already; a taught part becomes a new recipe\nhelp: name another \
                 file\n",
                file.display()
            ));
        }
        if file.extension().is_none_or(|extension| extension != "toml") {
            return Err(format!("{}: accepted is a name that ends in .toml\n", file.display()));
        }
        let catalogue = files::catalogue(told.catalogue, Some(file))?;
        let (rig, _) = files::rig(told.rig_file)?;
        let (other, torch) = match told.like {
            Some(path) => {
                let Source { name, text } = files::read(path)?;
                let recipe = Recipe::read(&text, &catalogue)
                    .map_err(|problems| problems.render(&name, &text))?;
                (text, Some(recipe.spray.torch))
            }
            None => {
                let substrate = told.substrate.unwrap_or(Substrate::PlainSteel);
                (blank(&catalogue, substrate).ok_or_else(no_torch)?, None)
            }
        };
        let limits = limits(&rig, &catalogue, torch.as_deref())?;
        let stem = file.file_stem().map(|stem| stem.to_string_lossy().into_owned());
        Ok(Self {
            file: file.to_owned(),
            title: told.title.map_or_else(|| stem.unwrap_or_default(), str::to_owned),
            substrate: told.substrate,
            finish: told.finish,
            zones: told.zones.to_vec(),
            rig_file: told.rig_file.map(Path::to_owned),
            catalogue_folder: told.catalogue.map(Path::to_owned),
            other,
            limits,
        })
    }

    /// The geometry that points make.
    ///
    /// # Errors
    /// Everything that is wrong with them.
    pub(super) fn judged(&self, teaching: &Teaching) -> Result<Taught, String> {
        judge(teaching, &self.limits).map_err(|problems| words(&problems))
    }

    /// The recipe's text, read and planned; nothing is written.
    ///
    /// # Errors
    /// What is still open, or wrong with it.
    pub(super) fn planned(&self, taught: &Taught) -> Result<(String, Plan), String> {
        let zones: Vec<&str> = self.zones.iter().map(String::as_str).collect();
        let particulars = Particulars {
            title: &self.title,
            part: &self.title,
            substrate: self.substrate,
            bore: None,
            finish: self.finish,
            zones: &zones,
        };
        let text = recipe_text(taught, &particulars, &self.other).map_err(|p| words(&p))?;
        let source = Source { name: self.file.display().to_string(), text: text.clone() };
        let places =
            Places { rig: self.rig_file.as_deref(), catalogue: self.catalogue_folder.as_deref() };
        let job = files::job_of(source, &self.file, places, Lessons::Ignored)?;
        let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue)
            .map_err(|problems| format!("{problems}\n"))?;
        Ok((text, plan))
    }

    /// Writes the recipe, never over another, with who taught it as its first revision.
    ///
    /// # Errors
    /// Why it could not be written.
    pub(super) fn write(&self, text: &str, who: &str) -> Result<(), String> {
        let catalogue = files::catalogue(self.catalogue_folder.as_deref(), Some(&self.file))?;
        let origin = Origin { who, when: Timestamp::now(), how: Beginning::Taught };
        revisions::begin(&self.file, text, origin, &catalogue).map(drop)
    }
}

fn limits(rig: &Rig, catalogue: &Catalogue, torch: Option<&str>) -> Result<Limits, String> {
    let torch = match torch {
        Some(key) => catalogue.torch(key),
        None => blank_torch(catalogue),
    };
    Ok(Limits::of(rig, torch.ok_or_else(no_torch)?, None))
}

fn no_torch() -> String {
    "the catalogue has no torch that can spray its powder\nhelp: name another with --catalogue\n"
        .to_owned()
}

fn words(problems: &Problems) -> String {
    format!("{problems}\n")
}
