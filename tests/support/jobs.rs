//! Jobs made from the shipped files, as they are or with a line changed.

use std::fs;
use std::path::Path;

use evenpass::files::{Job, Source};
use evenpass::learning::Learned;
use evenpass_core::catalogue::Catalogue;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::{Rig, check_together};

/// The shipped recipes.
pub(crate) const RECIPES: [&str; 5] =
    ["short-job", "reference-shaft", "pump-sleeve", "stepped-shaft", "taper-spindle"];

/// A shipped file's text.
pub(crate) fn shipped(path: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config").join(path);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// A text with one line changed, which must be there once.
pub(crate) fn changed(text: &str, from: &str, to: &str) -> String {
    assert_eq!(text.matches(from).count(), 1, "\"{from}\" stands once in the text");
    text.replacen(from, to, 1)
}

/// Texts a job is made from.
#[derive(Debug, Clone)]
pub(crate) struct Texts {
    pub(crate) recipe: String,
    pub(crate) rig: String,
    pub(crate) powders: String,
    pub(crate) torches: String,
}

impl Texts {
    /// A shipped recipe on the bench.
    pub(crate) fn of(recipe: &str) -> Self {
        Self {
            recipe: shipped(&format!("recipes/{recipe}.toml")),
            rig: shipped("rigs/bench.toml"),
            powders: shipped("powders.toml"),
            torches: shipped("torches.toml"),
        }
    }

    /// The same bench with a gear lever instead of the inverter: speeds R20/3 (ISO 3, from memory).
    pub(crate) fn with_gears(mut self) -> Self {
        let gears = "driven_by = \"gears\"\ngears = [\"31.5 rpm\", \"45 rpm\", \"63 rpm\", \
                     \"90 rpm\", \"125 rpm\", \"180 rpm\", \"250 rpm\", \"355 rpm\", \"500 rpm\", \
                     \"710 rpm\", \"1000 rpm\", \"1400 rpm\"]";
        self.rig = changed(&self.rig, "driven_by = \"inverter\"", gears);
        self.rig = changed(&self.rig, "rpm_per_count = 0.1\n", "");
        self.rig = changed(&self.rig, "speeds = { from = \"20 rpm\", to = \"1500 rpm\" }\n", "");
        self
    }

    /// With one line of the recipe changed.
    pub(crate) fn recipe(mut self, from: &str, to: &str) -> Self {
        self.recipe = changed(&self.recipe, from, to);
        self
    }

    /// With one line of the rig changed.
    pub(crate) fn rig(mut self, from: &str, to: &str) -> Self {
        self.rig = changed(&self.rig, from, to);
        self
    }

    /// Read and checked; nothing may stand against it.
    pub(crate) fn job(&self) -> Job {
        self.read().unwrap_or_else(|told| panic!("{told}"))
    }

    /// Read and checked.
    pub(crate) fn read(&self) -> Result<Job, String> {
        let files =
            [("powders.toml", self.powders.as_str()), ("torches.toml", self.torches.as_str())];
        let catalogue = Catalogue::read(&files).map_err(|problems| problems.render(&files))?;
        let recipe = Recipe::read(&self.recipe, &catalogue)
            .map_err(|problems| problems.render("recipe", &self.recipe))?;
        let rig = Rig::read(&self.rig).map_err(|problems| problems.render("rig", &self.rig))?;
        let together = check_together(&recipe, &rig, &catalogue);
        if together.forbid() {
            return Err(together.render("recipe", &self.recipe));
        }
        let source =
            |name: &str, text: &str| Source { name: name.to_owned(), text: text.to_owned() };
        Ok(Job {
            recipe_source: source("recipe", &self.recipe),
            rig_source: source("rig", &self.rig),
            recipe,
            rig,
            catalogue,
            learned: Learned::default(),
        })
    }
}
