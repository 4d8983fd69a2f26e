//! `plan`: works a job out and prints it.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;

use super::{Exit, Setting, say};
use crate::files::{self, Job};
use evenpass_core::plan::Plan;

/// What `plan` is asked.
#[derive(Debug, Args)]
pub(super) struct PlanArguments {
    /// The recipe.
    recipe: PathBuf,
    #[command(flatten)]
    setting: Setting,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

pub(super) fn answer(arguments: &PlanArguments) -> Exit {
    let (job, plan) = match prepare(&arguments.recipe, &arguments.setting) {
        Ok(prepared) => prepared,
        Err(problem) => return say::bad_input(&problem),
    };
    let printed = if arguments.json {
        say::json(&serde_json::json!({
            "recipe": job.recipe,
            "program": plan.program,
            "forecast": plan.forecast,
            "notes": plan.notes,
        }))
    } else {
        write!(io::stdout(), "{}", plan.page())
    };
    say::printed(printed)
}

/// Reads the files of a job and plans it.
///
/// # Errors
/// Every problem, as a person is to read it.
pub(super) fn prepare(recipe: &std::path::Path, setting: &Setting) -> Result<(Job, Plan), String> {
    let job = files::job(recipe, setting.places())?;
    let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue)
        .map_err(|problems| format!("{}: {problems}\n", job.recipe_source.name))?;
    Ok((job, plan))
}
