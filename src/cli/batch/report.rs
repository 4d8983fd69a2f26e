//! `batch report`: the shift's report, on the terminal, as a page to print, or for programs.

use std::io::{self, Write};
use std::path::PathBuf;

use clap::Args;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::print_json;
use crate::batch::job::{find, parts_made};
use crate::batch::shift::{Asked, Shift};
use crate::cli::records::{pairs, section};
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::cli::sheet::{Layout, Sheet};
use crate::files;
use crate::record::{Batch, RunKind, Store, records_file};
use crate::report::Paper;
use crate::report::shift::page;
use crate::report::shift::rows::{
    COURSE, DRIFT, KEEP_LINKS, MEASURED, OTHERWISE, PARTS, TOLD, TROUBLE, WENT, course_cells,
    deviation_rows, drift_rows, head, measured_cells, part_cells, trouble_rows, wall,
};

/// What `batch report` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct ReportArguments {
    /// The batch, or `latest`; all that were at work in the time when left out.
    batch: Option<String>,
    /// Parts begun from then on: a day or a day and a time, such as 2026-11-29T06:00.
    #[arg(long, value_name = "WHEN", required_unless_present = "batch")]
    since: Option<String>,
    /// Parts begun before that.
    #[arg(long, value_name = "WHEN")]
    until: Option<String>,
    /// The parts that were rehearsed, instead of those that were made.
    #[arg(long)]
    rehearsed: bool,
    /// Write it as one page to print, into this file.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// The paper that page is made for; whatever the printer holds when left out.
    #[arg(long, requires = "out")]
    paper: Option<Paper>,
    /// The folder with powders.toml and torches.toml; the recipe's neighbours when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

/// Reports.
pub(super) fn report(arguments: &ReportArguments, to: &mut impl Write) -> Result<(), Refused> {
    let since = arguments.since.as_deref().map(|text| when("--since", text)).transpose()?;
    let until = arguments.until.as_deref().map(|text| when("--until", text)).transpose()?;
    if let (Some(from), Some(before)) = (since, until)
        && from >= before
    {
        return Err(Refused::Input(
            "--since: it is not before --until, so that no part can be of that time\n".to_owned(),
        ));
    }
    let store = Store::open_to_read(&records_file(arguments.records.as_deref())?)?;
    let mut batches: Vec<Batch> = match &arguments.batch {
        Some(asked) => vec![find(&store, asked)?],
        None => store.batches()?,
    };
    // Twin and machine are never one report.
    let machine = batches.iter().any(|batch| batch.kind == RunKind::Machine);
    let made = if machine { RunKind::Machine } else { RunKind::Twin };
    let kind = if arguments.rehearsed { RunKind::Rehearsed } else { made };
    if !arguments.rehearsed {
        batches.retain(|batch| batch.kind == kind);
    }
    let recipe = batches.last().map(|batch| PathBuf::from(&batch.recipe.name));
    let catalogue = files::catalogue(arguments.catalogue.as_deref(), recipe.as_deref())
        .map_err(Refused::Input)?;
    let asked = Asked { batches: &batches, kind, since, until };
    let mut shift = Shift::of(&store, asked, &catalogue)?;
    if arguments.batch.is_none() {
        let at_work: Vec<_> = shift.parts.iter().map(|line| line.batch.clone()).collect();
        shift.batches.retain(|batch| at_work.contains(&batch.id));
    }
    if let Some(file) = &arguments.out {
        let text = page(&shift, &TimeZone::system(), arguments.paper);
        say::keep(file, text.as_bytes())?;
        return Ok(writeln!(to, "written: {}", say::one_line(&file.display().to_string()))?);
    }
    if arguments.json {
        return Ok(print_json(&shift, to)?);
    }
    Ok(print(&shift, &TimeZone::system(), to)?)
}

/// A day, or a day and a time, by this computer's clock.
fn when(option: &str, text: &str) -> Result<Timestamp, Refused> {
    let instant = |at: DateTime| TimeZone::system().to_timestamp(at).ok();
    text.parse().ok().and_then(instant).ok_or_else(|| {
        Refused::Input(format!(
            "{option}: found \"{}\"\naccepted: a day or a day and a time, such as 2026-11-29 or \
             2026-11-29T06:00\n",
            say::one_line(text)
        ))
    })
}

/// The report for a person at a terminal.
pub(in crate::cli) fn print(shift: &Shift, zone: &TimeZone, to: &mut impl Write) -> io::Result<()> {
    writeln!(to, "Shift report: {}", parts_made(shift.kind))?;
    pairs_sheet(head(shift, zone)).print(to)?;
    if shift.parts.is_empty() {
        return writeln!(to, "\nno part was begun");
    }
    let parts = shift.parts.iter().map(|line| part_cells(line, zone));
    section("Parts", &rows_sheet(&PARTS, parts), to)?;
    section(WENT, &rows_sheet(&COURSE, shift.parts.iter().map(course_cells)), to)?;
    section(DRIFT, &pairs_sheet(drift_rows(shift)), to)?;
    section(TROUBLE, &pairs_sheet(trouble_rows(shift)), to)?;
    section("Measured", &rows_sheet(&MEASURED, measured_cells(shift).into_iter()), to)?;
    section(TOLD, &told_sheet(shift, zone), to)?;
    section(OTHERWISE, &pairs_sheet(deviation_rows(shift)), to)?;
    match &shift.last_links {
        Some(last) => writeln!(to, "\nThe last links of the records: {last}\n{KEEP_LINKS}"),
        None => Ok(()),
    }
}

fn pairs_sheet(rows: Vec<(String, String)>) -> Sheet {
    let mut sheet = pairs();
    rows.into_iter().for_each(|(name, words)| sheet.row([name, words]));
    sheet
}

fn rows_sheet<const N: usize>(
    columns: &[(&str, Layout); N],
    rows: impl Iterator<Item = [String; N]>,
) -> Sheet {
    let mut sheet = Sheet::new(2, columns);
    rows.for_each(|cells| sheet.row(cells));
    sheet
}

fn told_sheet(shift: &Shift, zone: &TimeZone) -> Sheet {
    let columns = [("", Layout::Word), ("", Layout::Word), ("", Layout::Prose)];
    let mut sheet = Sheet::new(2, &columns);
    for line in &shift.told {
        let at = wall(line.at, zone, "%H:%M:%S");
        sheet.row([at, line.person.clone(), line.words.clone()]);
    }
    sheet
}
