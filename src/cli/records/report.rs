//! `records report`, `records export` and `records compare`: a run, or two, as files to keep.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use jiff::tz::TimeZone;

use super::{print_json, section};
use crate::cli::refused::Refused;
use crate::cli::say;
pub(super) use crate::cli::say::keep;
use crate::cli::say::not_kept;
use crate::cli::sheet::{Layout, Sheet};
use crate::export::{ExportError, Table, write_json};
use crate::people::{LengthUnit, PressureUnit, TemperatureUnit, Units};
use crate::record::{RunId, Store, records_file};
use crate::report::comparison::{self, Comparison};
use crate::report::{Look, Paper, Report};

/// The records and the units of a page.
#[derive(Debug, Args)]
pub(in crate::cli) struct Reading {
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// Units to read in, such as in,degF,psi; mm, degC and bar where left out.
    #[arg(long, value_name = "UNIT", value_delimiter = ',')]
    units: Vec<UnitWord>,
    /// The paper a page is made for; whatever the printer holds when left out.
    #[arg(long)]
    paper: Option<Paper>,
}

/// A unit that a reader chooses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[value(rename_all = "verbatim")]
enum UnitWord {
    /// Millimetres.
    #[value(name = "mm")]
    Millimetre,
    /// Inches.
    #[value(name = "in")]
    Inch,
    /// Degrees Celsius.
    #[value(name = "degC")]
    Celsius,
    /// Degrees Fahrenheit.
    #[value(name = "degF")]
    Fahrenheit,
    /// Bar.
    #[value(name = "bar")]
    Bar,
    /// Pounds per square inch.
    #[value(name = "psi")]
    Psi,
}

impl Reading {
    fn store(&self) -> Result<Store, Refused> {
        let file = records_file(self.records.as_deref())?;
        Ok(Store::open_to_read(&file)?)
    }

    fn look(&self) -> Look {
        let mut units = Units::default();
        for word in &self.units {
            match word {
                UnitWord::Millimetre => units.length = LengthUnit::Millimetre,
                UnitWord::Inch => units.length = LengthUnit::Inch,
                UnitWord::Celsius => units.temperature = TemperatureUnit::Celsius,
                UnitWord::Fahrenheit => units.temperature = TemperatureUnit::Fahrenheit,
                UnitWord::Bar => units.pressure = PressureUnit::Bar,
                UnitWord::Psi => units.pressure = PressureUnit::Psi,
            }
        }
        Look { units, zone: TimeZone::system(), paper: self.paper }
    }
}

/// What `records report` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct ReportArguments {
    /// Which run: its id, the beginning of its id, or `latest`.
    run: String,
    /// The file, which must not be there yet; named after the run, in this folder, when left out.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    #[command(flatten)]
    reading: Reading,
}

/// What `records export` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct ExportArguments {
    /// Which run: its id, the beginning of its id, or `latest`.
    run: String,
    /// One file with every row as it is stored, or a folder of tables.
    #[arg(long)]
    format: Format,
    /// The file for JSON, the folder for CSV; neither may be there yet.
    #[arg(long, value_name = "PATH")]
    out: PathBuf,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
}

/// How a run is exported.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// One file with every row about the run, all columns as they are stored.
    Json,
    /// A folder of tables.
    Csv,
}

/// What `records compare` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct CompareArguments {
    /// The first run: its id, the beginning of its id, or `latest`.
    one: String,
    /// The second run.
    other: String,
    /// Write a page with both drawn over each other into this file, which must not be there yet.
    #[arg(long, value_name = "FILE", conflicts_with = "json")]
    out: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    reading: Reading,
}

/// Writes the report of a run.
pub(super) fn report(asked: &ReportArguments, to: &mut impl Write) -> Result<(), Refused> {
    let store = asked.reading.store()?;
    let report = Report::of(&store, &store.find(&asked.run)?)?;
    let file = asked.out.clone().unwrap_or_else(|| named(&report.record.summary.id));
    keep(&file, report.page(&asked.reading.look()).as_bytes())?;
    told(&file, to)
}

fn named(run: &RunId) -> PathBuf {
    PathBuf::from(format!("{run}-report.html"))
}

/// Writes a run for other programs.
pub(super) fn export(asked: &ExportArguments, to: &mut impl Write) -> Result<(), Refused> {
    let store = Store::open_to_read(&records_file(asked.records.as_deref())?)?;
    let run = store.find(&asked.run)?;
    match asked.format {
        Format::Json => {
            keep(&asked.out, &rows(&store, &run)?)?;
        }
        Format::Csv => {
            let report = Report::of(&store, &run)?;
            fs::create_dir(&asked.out).map_err(|trouble| not_kept(&asked.out, &trouble))?;
            let is_here = |table: &Table| !table.is_of_entries() || report.record.pruned.is_none();
            for table in Table::ALL.into_iter().filter(is_here) {
                let mut text = Vec::new();
                table.write(&report, &mut text)?;
                keep(&asked.out.join(table.file()), &text)?;
            }
        }
    }
    told(&asked.out, to)?;
    if let Some(pruned) = store.pruned(&run)? {
        writeln!(
            to,
            "its entries, and tables of them, are not in it: they were put into {}",
            say::one_line(&pruned.file)
        )?;
    }
    Ok(())
}

/// A run as JSON.
pub(super) fn rows(store: &Store, run: &RunId) -> Result<Vec<u8>, Refused> {
    let mut text = Vec::new();
    write_json(store, run, &mut text).map_err(|problem| match problem {
        ExportError::Record(problem) => Refused::from(problem),
        ExportError::Output(trouble) => Refused::Output(trouble),
    })?;
    Ok(text)
}

/// Tells, or writes, what two runs have otherwise.
pub(super) fn compare(asked: &CompareArguments, to: &mut impl Write) -> Result<(), Refused> {
    let store = asked.reading.store()?;
    let of = |run: &str| Ok::<_, Refused>(Report::of(&store, &store.find(run)?)?);
    let (one, other) = (of(&asked.one)?, of(&asked.other)?);
    let look = asked.reading.look();
    if let Some(file) = &asked.out {
        keep(file, comparison::page(&one, &other, &look).as_bytes())?;
        return told(file, to);
    }
    let found = Comparison::of(&one, &other, look.units);
    if asked.json {
        print_json(&found, to)?
    } else {
        print(&found, to)?
    }
    Ok(())
}

fn print(found: &Comparison, to: &mut impl Write) -> io::Result<()> {
    let [one, other] = &found.runs;
    let columns = |first: &'static str| {
        Sheet::new(
            2,
            &[
                (first, Layout::Prose),
                (one.as_str(), Layout::Prose),
                (other.as_str(), Layout::Prose),
            ],
        )
    };
    writeln!(to, "Runs {} and {}", say::one_line(one.as_str()), say::one_line(other.as_str()))?;
    for words in found.elsewhere() {
        writeln!(to, "{}", say::one_line(&words))?;
    }
    for (what, fields) in [("Recipe", &found.recipe), ("Rig", &found.rig)] {
        match fields {
            None => writeln!(to, "\n{what}: one of the two texts cannot be read by this version")?,
            Some(fields) if fields.is_empty() => writeln!(to, "\n{what}: both say the same")?,
            Some(fields) => {
                let mut sheet = columns("field");
                for field in fields {
                    let told =
                        |value: &Option<String>| value.clone().unwrap_or_else(|| "-".to_owned());
                    sheet.row([field.path.clone(), told(&field.old), told(&field.new)]);
                }
                section(what, &sheet, to)?;
            }
        }
    }
    for group in &found.groups {
        let mut sheet = columns("figure");
        for figure in group.otherwise() {
            sheet.row([figure.what.clone(), figure.one.clone(), figure.other.clone()]);
        }
        let title = say::one_line(&group.title);
        if sheet.is_empty() {
            writeln!(to, "\n{title}: all {} figures are alike", group.figures.len())?;
        } else {
            section(&title, &sheet, to)?;
        }
    }
    Ok(())
}

fn told(file: &Path, to: &mut impl Write) -> Result<(), Refused> {
    Ok(writeln!(to, "written: {}", say::one_line(&file.display().to_string()))?)
}
