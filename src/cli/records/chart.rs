//! `records chart`: what was measured of a torch with a powder, as control charts.

use std::fmt::Write as _;
use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use evenpass_core::inspection::FEWEST;
use evenpass_core::learn::{Lesson, Pair};
use evenpass_core::quantity::fixed;

use super::told::{PairArguments, lesson};
use super::{print_json, section};
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::cli::sheet::{Layout, Sheet};
use crate::files;
use crate::followed::{Followed, followed};
use crate::learning::Whose;
use crate::picture::{self, control_chart};
use crate::record::{Store, records_file};
use crate::shown::escaped;

/// The style of a page of a plan, whose pictures these are like.
const STYLE: &str = include_str!("../plan/page.css");

/// What `records chart` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct ChartArguments {
    #[command(flatten)]
    pair: PairArguments,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// The folder with powders.toml and torches.toml; the shipped one when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
    /// Write the charts into a page, a file that ends in .html.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

/// Prints the charts of a pair.
pub(super) fn chart(arguments: &ChartArguments, to: &mut impl Write) -> Result<(), Refused> {
    let catalogue =
        files::catalogue(arguments.catalogue.as_deref(), None).map_err(Refused::Input)?;
    let (pair, rig, kind, figures) = arguments.pair.found(&catalogue)?;
    let records = records_file(arguments.records.as_deref())?;
    let store = Store::open_to_read(&records)?;
    let known = lesson(&store, &rig, kind, &pair, &figures)?;
    let all = followed(&store, Whose { rig: &rig, kind, by: None }, &known, &catalogue)?;
    if let Some(file) = &arguments.out {
        write_page(file, &[&records], &page(&pair, &rig, &all, &known)?)?;
    }
    if arguments.json {
        let value = serde_json::json!({"pair": pair, "rig": rig, "kind": kind, "charts": all,
            "held_back": known.held_back});
        return Ok(print_json(&value, to)?);
    }
    if all.is_empty() {
        let rig = say::one_line(&rig);
        return Ok(writeln!(to, "nothing was measured of {pair} on \"{rig}\"")?);
    }
    for one in &all {
        let title = format!("{}, {}", one.tracked.title(), one.unit);
        section(&title, &points_sheet(one), to)?;
        for sentence in limits(one) {
            writeln!(to, "  {sentence}")?;
        }
    }
    for sentence in told(&all, &known) {
        writeln!(to, "\n{}", say::one_line(&sentence))?;
    }
    Ok(())
}

fn write_page(file: &Path, read: &[&Path], page: &str) -> Result<(), Refused> {
    if file.extension().is_none_or(|ending| ending != "html") {
        return Err(Refused::Input(format!(
            "--out: found {}\naccepted: a file that ends in .html\n",
            file.display()
        )));
    }
    files::may_write("--out", file, read).map_err(Refused::Input)?;
    std::fs::write(file, page)
        .map_err(|trouble| Refused::Failure(format!("{}: {trouble}", file.display())))
}

/// Decimals a figure of a unit is told with.
fn places(one: &Followed) -> usize {
    if one.unit == "%" { 1 } else { 3 }
}

fn points_sheet(one: &Followed) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("point", Layout::Figure),
            ("day", Layout::Word),
            ("measurement", Layout::Figure),
            ("run", Layout::Word),
            (one.unit, Layout::Figure),
            ("range", Layout::Figure),
        ],
    );
    let places = places(one);
    let ranges = one.chart.iter().flat_map(|chart| &chart.ranges).map(Some);
    let ranges = std::iter::once(None).chain(ranges);
    for ((place, point), range) in (1..).zip(&one.points).zip(ranges) {
        sheet.row([
            place.to_string(),
            point.on.to_string(),
            point.measurement.to_string(),
            super::or_nothing(point.run.clone()),
            fixed(point.value, places),
            super::or_nothing(range.map(|range| fixed(*range, places))),
        ]);
    }
    sheet
}

/// Mean and limits, in words.
fn limits(one: &Followed) -> Vec<String> {
    let (places, unit) = (places(one), one.unit);
    let Some(chart) = &one.chart else {
        return vec!["one point: limits from the second on".to_owned()];
    };
    let figure = |value: f64| format!("{} {unit}", fixed(value, places));
    let mut told = vec![format!(
        "mean {}, limits {} and {}; mean range {}, limit {} (ISO 7870-2, individuals)",
        figure(chart.centre),
        figure(chart.lower),
        figure(chart.upper),
        figure(chart.mean_range),
        figure(chart.range_upper)
    )];
    if chart.is_provisional() {
        told.push(format!("provisional: limits settle from {FEWEST} points on"));
    }
    told
}

/// What is no chance, and what waits for the engineer.
fn told(all: &[Followed], known: &Lesson) -> Vec<String> {
    let mut told: Vec<String> = all.iter().flat_map(Followed::sentences).collect();
    if told.is_empty() {
        told.push(
            "No point is out of what chance makes, nor far from what plans stand on.".to_owned(),
        );
    }
    if known.held_back.is_some() {
        told.extend(known.sentences());
    }
    told
}

/// The charts as one page: nothing outside the file is needed to read it.
fn page(pair: &Pair, rig: &str, all: &[Followed], known: &Lesson) -> Result<String, Refused> {
    let mut page = String::new();
    let title = escaped(&format!("{pair} on {rig}")).to_string();
    // Writing to a `String` cannot fail.
    let _ = writeln!(
        page,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta \
         name=\"viewport\" content=\"width=device-width\">\n<meta name=\"color-scheme\" \
         content=\"light dark\">\n<title>Control charts: {title}</title>\n<style>\n{}{STYLE}</style>\n\
         </head>\n<body>\n<header><h1>Control charts: {title}</h1></header>",
        picture::STYLE
    );
    for one in all {
        let drawn = control_chart(one)
            .map_err(|fault| Refused::Failure(format!("the chart cannot be drawn: {fault}")))?;
        let heading = escaped(one.tracked.title()).to_string();
        let _ = writeln!(page, "<section><h2>{heading}</h2>\n{}", drawn.unwrap_or_default());
        for sentence in limits(one) {
            let _ = writeln!(page, "<p>{}</p>", escaped(&sentence));
        }
        let _ = writeln!(page, "</section>");
    }
    let _ = writeln!(page, "<section><h2>What is told</h2><ul>");
    for sentence in told(all, known) {
        let _ = writeln!(page, "<li>{}</li>", escaped(&sentence));
    }
    let _ = writeln!(page, "</ul></section>\n</body>\n</html>");
    Ok(page)
}
