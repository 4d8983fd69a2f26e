//! The job of a batch: its recipe as it was ordered, planned as of now, on the batch's own rig.

use std::path::{Path, PathBuf};

use evenpass_core::plan::{Plan, plan};

use super::find;
use crate::batch::standing::Standing;
use crate::cli::refused::Refused;
use crate::files::{self, Job, Places, Source};
use crate::learning::{Lessons, Whose};
use crate::record::{Batch, RunKind, Store, records_file};

/// A batch with its job and how it stands.
pub(in crate::cli) struct BatchJob {
    pub(in crate::cli) batch: Batch,
    pub(in crate::cli) job: Job,
    pub(in crate::cli) plan: Plan,
    pub(in crate::cli) standing: Standing,
    pub(in crate::cli) file: PathBuf,
}

impl BatchJob {
    /// Reads it.
    pub(in crate::cli) fn of(
        asked: &str,
        records: Option<&Path>,
        places: Places<'_>,
        from: Lessons<'_>,
    ) -> Result<Self, Refused> {
        let file = records_file(records)?;
        let store = Store::open_existing(&file)?;
        let batch = find(&store, asked)?;
        let (job, plan) = planned(&batch, places, from)?;
        let standing = Standing::of(&store, &batch, batch.kind, &job, &plan)?;
        Ok(Self { batch, job, plan, standing, file })
    }
}

/// The recipe of a batch as it was ordered, whatever has become of its file since.
fn planned(batch: &Batch, places: Places<'_>, from: Lessons<'_>) -> Result<(Job, Plan), Refused> {
    let source = Source { name: batch.recipe.name.clone(), text: batch.recipe.text.clone() };
    let path = PathBuf::from(&batch.recipe.name);
    let job = files::job_of(source, &path, places, from).map_err(Refused::Input)?;
    let whose = Whose::of(&job.rig);
    if whose.rig != batch.rig || whose.kind != batch.kind {
        return Err(Refused::Input(format!(
            "--rig: found \"{}\"; batch {} was ordered for \"{}\"\naccepted: the rig file that it \
             was ordered for\n",
            whose.rig, batch.id, batch.rig
        )));
    }
    let plan = plan(&job.recipe, &job.rig, &job.catalogue)
        .map_err(|problems| Refused::Input(format!("{}: {problems}\n", batch.recipe.name)))?;
    Ok((job, plan))
}

/// Where the runs of a batch take place, in words.
pub(in crate::cli) const fn place(kind: RunKind) -> &'static str {
    match kind {
        RunKind::Rehearsed => "rehearsed on the twin",
        RunKind::Twin => "on the twin",
        RunKind::Machine => "on the machine",
    }
}

/// What a report is of, in words.
pub(in crate::cli) const fn parts_made(kind: RunKind) -> &'static str {
    match kind {
        RunKind::Rehearsed => "parts rehearsed on the twin",
        RunKind::Twin => "parts made on the twin",
        RunKind::Machine => "parts made on the machine",
    }
}

/// A file's own name, without its folder.
pub(in crate::cli) fn file_name(path: &str) -> String {
    let name = Path::new(path).file_name();
    name.map_or_else(|| path.to_owned(), |name| name.to_string_lossy().into_owned())
}
