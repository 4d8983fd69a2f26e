//! `rig matrix`: the interlocks of a rig as a cause-and-effect matrix, for a terminal, for the
//! wall, for programs; and what would happen if a signal failed.

mod asked;
mod html;
mod keys;
mod sheet;
mod times;

use std::path::{Path, PathBuf};

use clap::Args;
use evenpass_core::document::nearest;
use evenpass_core::interlock::what_if::{ScenePhase, assumptions, what_if, within_ranges};
use evenpass_core::rig::Rig;
use evenpass_core::scan;
use serde_json::{Value, json};

use super::day::day;
use super::{Exit, say};
use crate::files;

/// What `rig matrix` is asked.
#[derive(Debug, Args)]
pub(super) struct MatrixArguments {
    /// The rig file; the bench's twin when left out.
    rig: Option<PathBuf>,
    /// Write the matrix as one HTML file to be printed for the wall.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["what_if", "times"])]
    html: Option<PathBuf>,
    /// The date at the rim of the HTML file; today when left out.
    #[arg(long, value_name = "DATE", requires = "html")]
    date: Option<String>,
    /// Print how long each row takes until the valves have no current, against what it may.
    #[arg(long)]
    times: bool,
    /// Print the keys by which a rig file names the rows, with the figures it may tighten.
    #[arg(long, conflicts_with_all = ["html", "times", "what_if", "json"])]
    keys: bool,
    /// Say what would happen: SIGNAL=FAULT[,SIGNAL=FAULT...], a fault being ok, off, stuck,
    /// garbage, wrong, slow, delayed, intermittent, a level or a value with its unit.
    #[arg(long, value_name = "SIGNAL=FAULT", conflicts_with = "times")]
    what_if: Option<String>,
    /// The phase in which it happens.
    #[arg(long, value_name = "PHASE", default_value = "spraying", requires = "what_if")]
    during: String,
    /// Print one JSON value for programs.
    #[arg(long, conflicts_with = "html")]
    json: bool,
}

pub(super) fn answer(arguments: &MatrixArguments) -> Exit {
    let rig = match files::rig(arguments.rig.as_deref()) {
        Ok((rig, _)) => rig,
        Err(problem) => return say::bad_input(&problem),
    };
    if let Some(asked) = &arguments.what_if {
        return answer_what_if(&rig, asked, arguments);
    }
    let (reaction, rows) = match scan::times(&rig) {
        Ok(times) => times,
        Err(problem) => return say::bad_input(&problem.to_string()),
    };
    if let Some(file) = &arguments.html {
        let date = match day(arguments.date.as_deref()) {
            Ok(date) => date,
            Err(problem) => return say::bad_input(&problem),
        };
        let read: Vec<&Path> = arguments.rig.iter().map(PathBuf::as_path).collect();
        return say::page("--html", file, &read, &html::page(&rig, &date, &reaction, &rows));
    }
    let printed = match (arguments.json, arguments.times) {
        (true, _) => say::json(&as_json(&rig, &reaction, &rows)),
        (false, true) => times::print(&rig, &reaction, &rows),
        (false, false) if arguments.keys => keys::print(&rig, &rows),
        (false, false) => sheet::print(&rig, &rows),
    };
    say::printed(printed)
}

fn answer_what_if(rig: &Rig, asked: &str, arguments: &MatrixArguments) -> Exit {
    let Some(phase) = ScenePhase::ALL.into_iter().find(|known| known.word() == arguments.during)
    else {
        let words = ScenePhase::ALL.map(ScenePhase::word);
        let help = nearest(&arguments.during, &words)
            .map_or_else(String::new, |nearest| format!("help: did you mean `{nearest}`?\n"));
        return say::bad_input(&format!(
            "--during: `{}` is no phase\naccepted: {}\n{help}",
            arguments.during,
            words.join(", "),
        ));
    };
    let assumed = match assumptions(asked) {
        Ok(assumed) => assumed,
        Err(problem) => return say::bad_input(&format!("--what-if: {problem}\n")),
    };
    if let Err(problem) = within_ranges(rig, &assumed) {
        return say::bad_input(&format!("--what-if: {problem}\n"));
    }
    let found = match what_if(rig, phase, &assumed) {
        Ok(found) => found,
        Err(problem) => return say::bad_input(&problem.to_string()),
    };
    let printed = if arguments.json {
        say::json(&json!({ "rig": rig.title, "what_if": found }))
    } else {
        asked::print(rig, &found)
    };
    say::printed(printed)
}

fn as_json(rig: &Rig, reaction: &scan::Reaction, rows: &[scan::RowTimes]) -> Value {
    let rows = rows.iter().map(|times| {
        json!({
            "subject": times.row.row.subject(),
            "condition": times.row.condition(),
            "in_force": times.row,
            "course": times.row.row.course(),
            "meanwhile": times.row.row.meanwhile.words(),
            "read_s": times.read.as_secs_f64(),
            "wait_s": times.wait.as_secs_f64(),
            "reaction_s": times.reaction.as_secs_f64(),
            "total_s": times.total.as_secs_f64(),
            "permitted_s": times.permitted.as_secs_f64(),
            "why_longer": times.why,
            "holds": times.holds(),
        })
    });
    json!({
        "rig": rig.title,
        "reaction": reaction,
        "rows": rows.collect::<Vec<_>>(),
        "answered_elsewhere": evenpass_core::interlock::matrix::BEYOND,
    })
}
