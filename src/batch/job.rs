//! The job of a batch: its recipe as it was ordered, planned as of now, on the batch's own rig.

use std::path::{Path, PathBuf};

use evenpass_core::plan::{Plan, plan};

use super::standing::Standing;
use crate::files::{self, Job, Places, Source};
use crate::learning::{Lessons, Whose};
use crate::record::{Batch, BatchId, RecordError, RunKind, Store, records_file};
use crate::shown::one_line;

/// A batch with its job and how it stands.
#[derive(Debug)]
pub struct BatchJob {
    /// The batch.
    pub batch: Batch,
    /// What was read of its recipe.
    pub job: Job,
    /// What was planned of it.
    pub plan: Plan,
    /// How it stands.
    pub standing: Standing,
    /// The records file that says so.
    pub file: PathBuf,
}

/// Why a batch has no job that could be planned.
#[derive(Debug, thiserror::Error)]
pub enum NoJob {
    /// The records do not give it.
    #[error("{}", .0.whole())]
    Record(#[from] RecordError),
    /// Its recipe, rig or catalogue does not: as a person is to read it.
    #[error("{0}")]
    Input(String),
}

/// The batch a person means: by its name, or the one made last by `latest`.
///
/// # Errors
/// There is none of that name, or the records cannot be read.
pub fn find(store: &Store, asked: &str) -> Result<Batch, RecordError> {
    if asked == "latest"
        && let Some(last) = store.batches()?.pop()
    {
        return Ok(last);
    }
    store.batch(&BatchId::stored(asked.to_owned()))
}

impl BatchJob {
    /// Reads it.
    ///
    /// # Errors
    /// There is no such batch, its job cannot be planned, or it is another rig's.
    pub fn of(
        asked: &str,
        records: Option<&Path>,
        places: Places<'_>,
        from: Lessons<'_>,
    ) -> Result<Self, NoJob> {
        let file = records_file(records)?;
        let store = Store::open_existing(&file)?;
        let batch = find(&store, asked)?;
        let (job, plan) = planned(&batch, places, from)?;
        let standing = Standing::of(&store, &batch, batch.kind, &job, &plan)?;
        Ok(Self { batch, job, plan, standing, file })
    }
}

/// The recipe of a batch as it was ordered, whatever has become of its file since.
fn planned(batch: &Batch, places: Places<'_>, from: Lessons<'_>) -> Result<(Job, Plan), NoJob> {
    let path = PathBuf::from(&batch.recipe.name);
    let job = files::job_of(ordered(batch), &path, places, from).map_err(NoJob::Input)?;
    let whose = Whose::of(&job.rig);
    if whose.rig != batch.rig || whose.kind != batch.kind {
        return Err(NoJob::Input(format!(
            "--rig: found \"{}\"; batch {} was ordered for \"{}\"\naccepted: the rig file that it \
             was ordered for\n",
            whose.rig, batch.id, batch.rig
        )));
    }
    let plan = plan(&job.recipe, &job.rig, &job.catalogue)
        .map_err(|problems| NoJob::Input(format!("{}: {problems}\n", batch.recipe.name)))?;
    Ok((job, plan))
}

/// The text of a batch's recipe, as it was ordered.
#[must_use]
pub fn ordered(batch: &Batch) -> Source {
    Source { name: batch.recipe.name.clone(), text: batch.recipe.text.clone() }
}

/// What is to be told where the file of an order's recipe is not what was ordered any more.
#[must_use]
pub fn recipe_since(batch: &Batch) -> Option<String> {
    let now = std::fs::read_to_string(&batch.recipe.name);
    let since = match now {
        Ok(text) if text == batch.recipe.text => return None,
        Ok(_) => "was changed since the order",
        Err(trouble) if trouble.kind() == std::io::ErrorKind::NotFound => "is not there any more",
        Err(_) => "cannot be read any more",
    };
    Some(format!(
        "its recipe {} {since}: the order's own text counts",
        one_line(&batch.recipe.name)
    ))
}

/// Where the runs of a batch take place, in words.
#[must_use]
pub const fn place(kind: RunKind) -> &'static str {
    match kind {
        RunKind::Rehearsed => "rehearsed on the twin",
        RunKind::Twin => "on the twin",
        RunKind::Machine => "on the machine",
    }
}

/// What a report is of, in words.
#[must_use]
pub const fn parts_made(kind: RunKind) -> &'static str {
    match kind {
        RunKind::Rehearsed => "parts rehearsed on the twin",
        RunKind::Twin => "parts made on the twin",
        RunKind::Machine => "parts made on the machine",
    }
}

/// A file's own name, without its folder.
#[must_use]
pub fn file_name(path: &str) -> String {
    let name = Path::new(path).file_name();
    name.map_or_else(|| path.to_owned(), |name| name.to_string_lossy().into_owned())
}
