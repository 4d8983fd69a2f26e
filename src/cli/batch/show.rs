//! `batch list` and `batch show`: what of an order is made, and what the next part needs first.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::json;

use super::{Place, print_json};
use crate::batch::before::{Before, Need, Weight};
use crate::batch::job::{BatchJob, file_name, place, recipe_since};
use crate::batch::parts::{tally_of, tally_rows, tried};
use crate::cli::records::{pairs, section};
use crate::cli::refused::Refused;
use crate::cli::sheet::{Layout, Sheet};
use crate::cli::{Setting, say};
use crate::learning::Lessons;
use crate::record::{Batch, RunId, Store};

/// What `batch show` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct ShowArguments {
    /// The batch, or `latest`.
    batch: String,
    #[command(flatten)]
    setting: Setting,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

/// Lists all batches.
pub(super) fn list(place: &Place, to: &mut impl Write) -> Result<(), Refused> {
    let store = place.store()?;
    let mut sheet = Sheet::new(
        0,
        &[
            ("batch", Layout::Word),
            ("made", Layout::Word),
            ("recipe", Layout::Prose),
            ("where", Layout::Word),
            ("parts", Layout::Figure),
            ("pass", Layout::Figure),
            ("undecided", Layout::Figure),
            ("hold", Layout::Figure),
            ("scrap", Layout::Figure),
            ("to make", Layout::Figure),
        ],
    );
    let mut all = Vec::new();
    for batch in store.batches()? {
        let tally = tally_of(&batch, &tried(&store, &batch)?);
        let made = batch.made_at.to_zoned_datetime(TimeZone::system());
        sheet.row([
            batch.id.to_string(),
            made.strftime("%Y-%m-%d").to_string(),
            file_name(&batch.recipe.name),
            batch.kind.word().to_owned(),
            tally.of.to_string(),
            tally.passed.len().to_string(),
            tally.undecided.len().to_string(),
            tally.on_hold.len().to_string(),
            tally.scrapped.to_string(),
            tally.queue.len().to_string(),
        ]);
        all.push(json!({ "batch": batch, "tally": tally }));
    }
    if place.json {
        return Ok(print_json(&all, to)?);
    }
    if all.is_empty() {
        return Ok(writeln!(to, "no batches in {}", store.file().display())?);
    }
    Ok(sheet.print(to)?)
}

/// Shows what is next and what it needs first.
pub(super) fn show(arguments: &ShowArguments, to: &mut impl Write) -> Result<(), Refused> {
    let records = arguments.records.as_deref();
    let from = Lessons::Kept(records);
    let of = BatchJob::of(&arguments.batch, records, arguments.setting.places(), from)?;
    let (standing, batch) = (&of.standing, &of.batch);
    let before = Before::next(standing, Timestamp::now());
    let tally = standing.tally();
    if arguments.json {
        let all = json!({ "batch": batch, "tally": tally, "next": before });
        return Ok(print_json(&all, to)?);
    }
    let mut sheet = pairs();
    let mut line = |name: &str, words: String| sheet.row([name.to_owned(), words]);
    line("recipe", batch.recipe.name.clone());
    line("rig", format!("{}, {}", batch.rig, place(batch.kind)));
    for (name, words) in &batch.ordered.particulars {
        line(name, words.clone());
    }
    for (name, words) in tally_rows(&tally) {
        line(name, words);
    }
    if let Some((number, run)) = left_undone(&of)? {
        line("to go on", format!("part {number}: `evenpass run --resume {run}`"));
    }
    if let Some((number, _)) = standing.first_good {
        line("first good", format!("part {number}: drift counts from it"));
    }
    for (what, lot) in &standing.lots {
        line("lot", format!("{lot} of {what}"));
    }
    writeln!(to, "Batch {}", say::one_line(batch.id.as_str()))?;
    sheet.print(to)?;
    if let Some(since) = recipe_since(batch) {
        writeln!(to, "{since}")?;
    }
    match before {
        None => Ok(writeln!(to, "\nno part is to be made")?),
        Some(before) => next(&before, batch, to),
    }
}

/// The part of an order that waits for a run that goes on with it, and the run that left it.
fn left_undone(of: &BatchJob) -> Result<Option<(u32, RunId)>, Refused> {
    let store = Store::open_to_read(&of.file)?;
    let Some(run) = store.left_undone(&of.batch.rig, of.batch.kind)? else { return Ok(None) };
    let part = store.batch_of(&run)?.filter(|(batch, _)| *batch == of.batch.id);
    Ok(part.map(|(_, part)| (part.number, run)))
}

/// The next part.
pub(in crate::cli) fn next(
    before: &Before,
    batch: &Batch,
    to: &mut impl Write,
) -> Result<(), Refused> {
    writeln!(to, "\nNext: {}", say::one_line(&before.title()))?;
    let mut sheet = pairs();
    let mut line = |name: &str, words: String| sheet.row([name.to_owned(), words]);
    for (name, words) in before.stocks() {
        line(&name, words);
    }
    sheet.print(to)?;
    needs(before, batch, to)
}

fn needs(before: &Before, batch: &Batch, to: &mut impl Write) -> Result<(), Refused> {
    if before.needs.is_empty() {
        return Ok(writeln!(to, "\nnothing is needed before it")?);
    }
    let mut sheet = Sheet::new(2, &[("", Layout::Word), ("", Layout::Prose)]);
    for need in &before.needs {
        let first = match need.weight() {
            Weight::Told => "",
            Weight::Stops | Weight::StopsUnlessOverridden => "first",
        };
        sheet.row([first.to_owned(), said(need, batch, before.part.number)]);
    }
    Ok(section("Needed before it", &sheet, to)?)
}

/// A need with the verb that tells it as done.
pub(in crate::cli) fn said(need: &Need, batch: &Batch, number: u32) -> String {
    match need.verb(batch.id.as_str(), number) {
        Some(verb) => format!("{need}: then `evenpass batch {verb}`"),
        None => need.to_string(),
    }
}
