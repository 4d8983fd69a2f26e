//! `plan`: works a job out and prints it.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;

use super::learned::{self, Learning};
use super::{Exit, Setting, say};
use crate::files::{self, Job};
use crate::learning::Lessons;
use evenpass_core::plan::Plan;

/// What `plan` is asked.
#[derive(Debug, Args)]
pub(super) struct PlanArguments {
    /// The recipe.
    recipe: PathBuf,
    #[command(flatten)]
    setting: Setting,
    /// The records to learn from; the user's own when left out.
    #[arg(long, value_name = "FILE", conflicts_with = "unlearned")]
    records: Option<PathBuf>,
    #[command(flatten)]
    learning: Learning,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

pub(super) fn answer(arguments: &PlanArguments) -> Exit {
    let kept = arguments.records.as_deref().map_or(Lessons::Kept(None), Lessons::From);
    let lessons = arguments.learning.or(kept);
    let (job, plan) = match prepare(&arguments.recipe, &arguments.setting, lessons) {
        Ok(prepared) => prepared,
        Err(problem) => return say::bad_input(&problem),
    };
    let printed = if arguments.json {
        say::json(&serde_json::json!({
            "recipe": job.recipe,
            "program": plan.program,
            "forecast": plan.forecast,
            "notes": plan.notes,
            "learned": job.learned,
            "bands": learned::bands(&job, &plan),
        }))
    } else {
        write!(io::stdout(), "{}", plan.page())
            .and_then(|()| learned::print(&job, &plan, &mut io::stdout().lock()))
    };
    say::printed(printed)
}

/// Reads the files of a job and plans it.
///
/// # Errors
/// Every problem, as a person is to read it.
pub(super) fn prepare(
    recipe: &std::path::Path,
    setting: &Setting,
    from: Lessons<'_>,
) -> Result<(Job, Plan), String> {
    let job = files::job_after(recipe, setting.places(), from)?;
    let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue)
        .map_err(|problems| format!("{}: {problems}\n", job.recipe_source.name))?;
    Ok((job, plan))
}
