//! `plan`: works a job out and prints it, draws it on a page, or tells what other values would
//! change.

mod figures;
mod page;
mod what_if;

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use self::page::Sheet;
use self::what_if::WhatIf;
use super::day::day;
use super::learned::{self, Learning, RecordsAre};
use super::{Exit, Setting, say};
use crate::files::{self, Job};
use crate::learning::Lessons;
use crate::picture::Pictures;
use evenpass_core::plan::forecast::EXPECTED_TO_FAIL;
use evenpass_core::plan::{Plan, Weight};

/// What `plan` is asked.
#[derive(Debug, Args)]
pub(super) struct PlanArguments {
    /// The recipe.
    recipe: PathBuf,
    #[command(flatten)]
    setting: Setting,
    /// Plan with another value, as often as wanted, and print both side by side; the recipe
    /// stays as it is. FIELD as messages name it, such as "zone[1].finish=0.40 mm"; FIELD= leaves
    /// a field out.
    #[arg(long = "set", value_name = "FIELD=VALUE")]
    changes: Vec<String>,
    /// Write the plan with its pictures as one HTML file that needs nothing else.
    #[arg(long, value_name = "FILE", conflicts_with = "json")]
    html: Option<PathBuf>,
    /// The date at the rim of the HTML file; today when left out.
    #[arg(long, value_name = "DATE", requires = "html")]
    date: Option<String>,
    /// The records to learn from, which have to be there; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    #[command(flatten)]
    learning: Learning,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

pub(super) fn answer(arguments: &PlanArguments) -> Exit {
    let lessons = match arguments.learning.or(arguments.records.as_deref(), RecordsAre::Read) {
        Ok(lessons) => lessons,
        Err(problem) => return say::bad_input(&problem),
    };
    let (job, plan) = match prepare(&arguments.recipe, &arguments.setting, lessons) {
        Ok(prepared) => prepared,
        Err(problem) => return say::bad_input(&problem),
    };
    if !arguments.changes.is_empty() {
        return match WhatIf::of(&job, &plan, &arguments.changes, lessons) {
            Ok(what_if) => answer_what_if(arguments, &what_if),
            Err(problem) => say::bad_input(&problem),
        };
    }
    if let Some(file) = &arguments.html {
        return draw(arguments, file, &job, &plan, &[]);
    }
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

fn answer_what_if(arguments: &PlanArguments, what_if: &WhatIf<'_>) -> Exit {
    if let Some(file) = &arguments.html {
        return draw(arguments, file, &what_if.job, &what_if.plan, &arguments.changes);
    }
    let printed =
        if arguments.json { say::json(&what_if.as_json()) } else { what_if.print(io::stdout()) };
    say::printed(printed)
}

/// Writes the page of a plan; with `changes`, marked as of a job that is not the recipe's own.
fn draw(
    arguments: &PlanArguments,
    file: &Path,
    job: &Job,
    plan: &Plan,
    changes: &[String],
) -> Exit {
    let date = match day(arguments.date.as_deref()) {
        Ok(date) => date,
        Err(problem) => return say::bad_input(&problem),
    };
    let pictures = match Pictures::of(&job.recipe, plan) {
        Ok(pictures) => pictures,
        Err(fault) => return say::failed(&format!("the plan cannot be drawn: {fault}")),
    };
    let sheet = Sheet { job, plan, pictures: &pictures, date: &date, changes };
    let mut read = vec![arguments.recipe.as_path()];
    read.extend(arguments.setting.rig.as_deref());
    match say::page("--html", file, &read, &sheet.page()) {
        Exit::Done => say::printed(tell_drawn(file, plan)),
        other => other,
    }
}

/// What a person who only asked for the page has to know before it is opened.
fn tell_drawn(file: &Path, plan: &Plan) -> io::Result<()> {
    let mut out = io::stdout().lock();
    if plan.notes.iter().any(|note| note.weight == Weight::Fails) {
        writeln!(out, "{EXPECTED_TO_FAIL}")?;
    }
    writeln!(out, "written: {}", say::one_line(&file.display().to_string()))
}

/// Reads the files of a job and plans it.
///
/// # Errors
/// Every problem, as a person is to read it.
pub(super) fn prepare(
    recipe: &Path,
    setting: &Setting,
    from: Lessons<'_>,
) -> Result<(Job, Plan), String> {
    let job = files::job_after(recipe, setting.places(), from)?;
    let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue)
        .map_err(|problems| format!("{}: {problems}\n", job.recipe_source.name))?;
    Ok((job, plan))
}
