//! A job that is loaded: everything that was read, planned and drawn of it.

use std::path::{Path, PathBuf};

use evenpass_core::plan::forecast::{PassByPass, pass_by_pass};
use evenpass_core::plan::{self, Plan};

use crate::files::{self, Job, Places, Source};
use crate::learning::Lessons;
use crate::picture::Pictures;

/// A loaded job.
#[derive(Debug)]
pub struct Loaded {
    /// Where its recipe came from.
    pub path: PathBuf,
    /// What was read.
    pub job: Job,
    /// What was planned.
    pub plan: Plan,
    /// What was drawn.
    pub pictures: Pictures,
    /// The coat of each zone after each of its passes.
    pub coats: Vec<PassByPass>,
}

/// Places along a zone at which its coat is told: finer than a screen shows.
const PLACES: u32 = 121;

impl Loaded {
    /// Reads, checks, plans and draws a job; nothing moves. Takes up to seconds for a large part.
    ///
    /// # Errors
    /// Every problem, as a person is to read it.
    pub fn read(path: &Path, places: Places<'_>, from: Lessons<'_>) -> Result<Self, String> {
        Self::of(files::read(path)?, path, places, from)
    }

    /// The same of a text that is not, or not yet, what stands in the recipe's file.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn of(
        source: Source,
        path: &Path,
        places: Places<'_>,
        from: Lessons<'_>,
    ) -> Result<Self, String> {
        let job = files::job_of(source, path, places, from)?;
        let plan = plan::plan(&job.recipe, &job.rig, &job.catalogue)
            .map_err(|problems| format!("{}: {problems}\n", job.recipe_source.name))?;
        let pictures = Pictures::of(&job.recipe, &plan)
            .map_err(|fault| format!("the plan cannot be drawn: {fault}\n"))?;
        let coats = pass_by_pass(&plan, PLACES);
        Ok(Self { path: path.to_owned(), job, plan, pictures, coats })
    }
}
