//! `records list` and `records show`: the record for a person, or for a program; and what people
//! add to it.

mod acts;
mod adding;
mod care;
mod chart;
mod check;
mod decide;
mod delay;
mod feeder;
mod inspected;
mod measure;
mod note;
mod page;
mod proofs;
mod prune;
mod readings;
mod report;
mod told;
mod undone;
mod verdict;

use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

use clap::{Args, Subcommand};
use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::forecast::counted;
use evenpass_core::quantity::Time;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;
use thiserror::Error;

pub use self::acts::list_acts;
use self::page::print_run;
pub(super) use self::page::{course_sheet, passes_sheet, told_sheet};
pub use self::proofs::list_proofs;
pub(super) use self::undone::undone;
use super::refused::Refused;
use super::sheet::{Layout, Sheet};
use super::{Exit, say};
use crate::record::facts::Span;
use crate::record::{Inspected, Of, RecordError, RunSummary, Said, Store, records_file};

/// What `records` is asked.
#[derive(Debug, Subcommand)]
pub(super) enum RecordsVerb {
    /// List all runs, or all proof tests of interlocks.
    ///
    /// Example: evenpass records list
    List {
        /// The proof tests instead of the runs.
        #[arg(long)]
        proofs: bool,
        #[command(flatten)]
        place: RecordsPlace,
    },
    /// Show one run: by its id, the beginning of its id, or `latest`.
    ///
    /// Example: evenpass records show latest
    Show {
        /// Which run.
        run: String,
        #[command(flatten)]
        place: RecordsPlace,
    },
    /// Write one run as a report to keep and to print: one HTML file that needs nothing else.
    ///
    /// Example: evenpass records report latest --paper a4 --out shaft-17.html
    Report(report::ReportArguments),
    /// Write one run for other programs: JSON with every row as it is stored, or tables as CSV.
    ///
    /// Example: evenpass records export latest --format csv --out shaft-17
    Export(report::ExportArguments),
    /// Say what two runs have otherwise: recipe, rig, plan, every pass, and what was measured.
    ///
    /// Example: evenpass records compare 2026-11-25-001 latest
    Compare(report::CompareArguments),
    /// Show what people asked for, from where, and what was answered; refusals as well.
    ///
    /// Example: evenpass records acts --last 20
    Acts {
        /// How many, the latest last.
        #[arg(long, value_name = "NUMBER", default_value_t = 50)]
        last: u32,
        #[command(flatten)]
        place: RecordsPlace,
    },
    /// Take in the diameters and the weight of a run's part; the next plan learns from them.
    ///
    /// Example: evenpass records measure latest --person "A. Fitter" --diameter "60 mm=42.35 mm"
    Measure(Box<measure::MeasureArguments>),
    /// Take in powder caught from the feeder and weighed.
    ///
    /// Example: evenpass records feeder spray-6 nickel-hard --set "60 g/min" --caught "57.9 g in
    /// 60 s" --person "A. Fitter"
    Feeder(feeder::FeederArguments),
    /// Take in a single pass over a plate, measured across: it tells the footprint.
    ///
    /// Example: evenpass records stripe spray-6 nickel-hard --set "60 g/min" --feed "40 mm/s"
    /// --thickness "-6 mm=0.13 mm" ... --person "A. Fitter"
    Stripe(feeder::StripeArguments),
    /// Say that a measurement was a mistake; it stays in the records.
    ///
    /// Example: evenpass records withdraw 3 --reason "wrong micrometer" --person "A. Fitter"
    Withdraw(decide::WithdrawArguments),
    /// Confirm, as the engineer, a change of more than 10 %, which a plan leaves out until then.
    ///
    /// Example: evenpass records accept spray-6 nickel-hard --person "B. Engineer"
    Accept(decide::AcceptArguments),
    /// Look whether anything in the records was changed since it was written.
    ///
    /// Example: evenpass records verify
    Verify(care::VerifyArguments),
    /// Copy the records into a file, while a job runs too, and look through the copy.
    ///
    /// Example: evenpass records backup /media/stick/records-2026-11.sqlite
    Backup(care::BackupArguments),
    /// Put the entries of old runs into files of their own, one a run, and take them out of the
    /// records. What the runs were, how they ended, and what people said of them stay.
    ///
    /// Example: evenpass records prune --older-than "2 years" --to /media/archive --person "A. Fitter"
    Prune(prune::PruneArguments),
    /// Show every measurement, and what is known of every torch with a powder.
    ///
    /// Example: evenpass records learned
    Learned(decide::LearnedArguments),
    /// Take in how late powder comes and ceases; it is followed on a chart.
    ///
    /// Example: evenpass records delay spray-6 nickel-hard --on "0.62 s" --on "0.58 s" --on "0.60 s"
    /// --person "A. Fitter"
    Delay(delay::DelayArguments),
    /// Hold a coat that is measured between two passes, or after the last one, against the plan.
    ///
    /// Example: evenpass records check latest --diameter "160 mm=51.552 mm" --temperature "250 degC"
    /// --person "A. Fitter"
    Check(Box<check::CheckArguments>),
    /// Chart what was measured of a torch with a powder, and tell what is no chance.
    ///
    /// Example: evenpass records chart spray-6 nickel-hard --out chart.html
    Chart(chart::ChartArguments),
    /// Take in the hardness of a run's part, each reading with its scale.
    ///
    /// Example: evenpass records hardness latest --reading "160 mm=88.2 HR15N" --person "B. Inspector"
    Hardness(readings::HardnessArguments),
    /// Take in the thickness of a run's coat, by position.
    ///
    /// Example: evenpass records thickness latest --reading "160 mm=0.36 mm" --person "B. Inspector"
    Thickness(readings::ThicknessArguments),
    /// Write something else into the record: run-out, dye check, hold point, coupon, deviation,
    /// calibration of a gauge, drawing or serial number.
    ///
    /// Example: evenpass records note hold-point latest "bore after fusing" --person "B. Inspector"
    #[command(subcommand)]
    Note(note::NoteVerb),
    /// Decide what becomes of a run's part: pass, hold or scrap.
    ///
    /// Example: evenpass records decide latest pass --person "B. Inspector"
    Decide(verdict::DecideArguments),
    /// Say that something that was added was a mistake; it stays in the records.
    ///
    /// Example: evenpass records take-back 12 --reason "other part" --person "B. Inspector"
    TakeBack(verdict::TakeBackArguments),
}

/// Where the records are and who reads them.
#[derive(Debug, Args)]
pub(super) struct RecordsPlace {
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

pub(super) fn answer(verb: &RecordsVerb) -> Exit {
    let mut to = io::stdout().lock();
    let (place, run) = match verb {
        RecordsVerb::List { place, .. } | RecordsVerb::Acts { place, .. } => (place, None),
        RecordsVerb::Show { place, run } => (place, Some(run)),
        RecordsVerb::Verify(asked) => return ended(care::verify(asked, &mut to)),
        RecordsVerb::Backup(asked) => return ended(care::back_up(asked, &mut to)),
        RecordsVerb::Prune(asked) => return ended(prune::prune(asked, &mut to)),
        RecordsVerb::Report(asked) => return taken(report::report(asked, &mut to)),
        RecordsVerb::Export(asked) => return taken(report::export(asked, &mut to)),
        RecordsVerb::Compare(asked) => return taken(report::compare(asked, &mut to)),
        RecordsVerb::Measure(told) => return taken(measure::measure(told, &mut to)),
        RecordsVerb::Feeder(told) => return taken(feeder::feeder(told, &mut to)),
        RecordsVerb::Stripe(told) => return taken(feeder::stripe(told, &mut to)),
        RecordsVerb::Withdraw(told) => return taken(decide::withdraw(told, &mut to)),
        RecordsVerb::Accept(told) => return taken(decide::accept(told, &mut to)),
        RecordsVerb::Learned(asked) => return taken(decide::learned(asked, &mut to)),
        RecordsVerb::Delay(told) => return taken(delay::delay(told, &mut to)),
        RecordsVerb::Check(told) => return taken(check::check(told, &mut to)),
        RecordsVerb::Chart(asked) => return taken(chart::chart(asked, &mut to)),
        RecordsVerb::Hardness(told) => return taken(readings::hardness(told, &mut to)),
        RecordsVerb::Thickness(told) => return taken(readings::thickness(told, &mut to)),
        RecordsVerb::Note(told) => return taken(note::note(told, &mut to)),
        RecordsVerb::Decide(told) => return taken(verdict::decide(told, &mut to)),
        RecordsVerb::TakeBack(told) => return taken(verdict::take_back(told, &mut to)),
    };
    let store = records_file(place.records.as_deref()).and_then(|file| Store::open_to_read(&file));
    let store = match store {
        Ok(store) => store,
        Err(problem) => return say::failed(&problem.whole()),
    };
    let reader = if place.json { Reader::Program } else { Reader::Person };
    let zone = TimeZone::system();
    let printed = match (verb, run) {
        (_, Some(run)) => show(&store, run, reader, &zone, &mut to),
        (RecordsVerb::List { proofs: true, .. }, None) => {
            list_proofs(&store, reader, &zone, &mut to)
        }
        (RecordsVerb::Acts { last, .. }, None) => list_acts(&store, *last, reader, &zone, &mut to),
        (_, None) => list(&store, reader, &zone, &mut to),
    };
    match printed {
        Ok(()) => Exit::Done,
        Err(RecordsError::Output(trouble)) => say::printed(Err(trouble)),
        Err(RecordsError::Record(problem @ RecordError::UnknownRun { .. })) => {
            say::bad_input(&problem.whole())
        }
        Err(RecordsError::Record(problem)) => say::failed(&problem.whole()),
    }
}

/// How something that a person told was taken.
fn taken(result: Result<(), Refused>) -> Exit {
    ended(result.map(|()| Exit::Done))
}

/// How something that a person asked for ended.
fn ended(result: Result<Exit, Refused>) -> Exit {
    match result {
        Ok(exit) => exit,
        Err(refused) => refused.told(),
    }
}

/// Who reads the output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reader {
    /// Columns of text, at most 100 characters wide.
    Person,
    /// One JSON value.
    Program,
}

/// Why nothing, or not all, was shown.
#[derive(Debug, Error)]
pub enum RecordsError {
    /// The record can't be read, or has no such run.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The output can't be written.
    #[error("the output cannot be written")]
    Output(#[from] io::Error),
}

const NOTHING: &str = "-";

/// Prints all runs, the latest last; for a person with the wall clock of `zone`.
///
/// # Errors
/// [`RecordsError`] when the record can't be read or the output can't be written.
pub fn list(
    store: &Store,
    reader: Reader,
    zone: &TimeZone,
    to: &mut impl Write,
) -> Result<(), RecordsError> {
    let runs = store.runs()?;
    match reader {
        Reader::Program => print_json(&runs, to)?,
        Reader::Person if runs.is_empty() => {
            writeln!(to, "no runs in {}", store.file().display())?;
        }
        Reader::Person => list_sheet(store, &runs, zone)?.print(to)?,
    }
    let proofs = store.proofs()?.len();
    if reader == Reader::Person && proofs > 0 {
        let (proofs, shows) =
            (counted(proofs, "proof test"), if proofs == 1 { "it" } else { "them" });
        writeln!(to, "\n{proofs}: `evenpass records list --proofs` shows {shows}")?;
    }
    Ok(())
}

/// Prints one run: the one a person asked for by its id, the beginning of its id, or `latest`.
///
/// # Errors
/// [`RecordsError`]; an unknown run is answered with the nearest ones.
pub fn show(
    store: &Store,
    asked: &str,
    reader: Reader,
    zone: &TimeZone,
    to: &mut impl Write,
) -> Result<(), RecordsError> {
    let record = store.run(&store.find(asked)?)?;
    let mut measured = store.measurements()?;
    measured.retain(|kept| kept.measurement.run.as_ref() == Some(&record.summary.id));
    let marks = store.marks(Of::Part(&record.summary.id))?;
    match reader {
        Reader::Program => print_json(&inspected::Whole::of(&record, &measured, &marks), to)?,
        Reader::Person => {
            print_run(&record, zone, to)?;
            undone::print(store, &record, zone, to)?;
            section("Measured", &decide::measurements_sheet(&measured), to)?;
            inspected::print(&record, &marks, zone, to)?;
            let size = store.size_of(&record.summary.id)?;
            writeln!(to, "{} kB in the records", size.div_ceil(1000))?;
        }
    }
    Ok(())
}

fn print_json(value: &impl Serialize, to: &mut impl Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *to, value)?;
    writeln!(to)
}

fn list_sheet(store: &Store, runs: &[RunSummary], zone: &TimeZone) -> Result<Sheet, RecordError> {
    let mut sheet = Sheet::new(
        0,
        &[
            ("run", Layout::Word),
            ("began", Layout::Word),
            ("title", Layout::Prose),
            ("where", Layout::Word),
            ("took", Layout::Figure),
            ("passes", Layout::Figure),
            ("powder", Layout::Figure),
            ("outcome", Layout::Prose),
            ("part", Layout::Word),
        ],
    );
    for run in runs {
        let marks = store.marks(Of::Part(&run.id))?;
        let inspected = Inspected::of(&marks);
        let stands = inspected.stands(&store.wanted(&run.id)?);
        let decided = inspected.decision().and_then(|kept| match &kept.mark.said {
            Said::Decided { verdict, .. } if stands => Some(verdict.word().to_owned()),
            Said::Decided { .. } => Some("open again".to_owned()),
            _ => None,
        });
        let outcome = run.outcome.word();
        sheet.row([
            run.id.to_string(),
            // The id has the year.
            wall(run.started_at, zone, "%m-%d %H:%M"),
            run.title.clone(),
            run.kind.word().to_owned(),
            whole_seconds(run.lasted),
            passes_words(run),
            or_nothing(run.powder.map(|powder| format!("{powder:.1}"))),
            run.first_cause
                .as_ref()
                .map_or_else(|| outcome.to_owned(), |cause| format!("{outcome}: {cause}")),
            or_nothing(decided),
        ]);
    }
    Ok(sheet)
}

fn passes_words(run: &RunSummary) -> String {
    match run.passes_planned {
        Some(planned) => format!("{}/{planned}", run.passes_done),
        None => run.passes_done.to_string(),
    }
}

pub(super) fn section(title: &str, sheet: &Sheet, to: &mut impl Write) -> io::Result<()> {
    if sheet.is_empty() {
        return Ok(());
    }
    writeln!(to, "\n{}", say::one_line(title))?;
    sheet.print(to)
}

pub(super) fn pairs() -> Sheet {
    Sheet::new(2, &[("", Layout::Word), ("", Layout::Prose)])
}

/// Reads the run's own time line from its first entry on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clock {
    zero: Moment,
}

impl Clock {
    pub(super) fn of(entries: &[Entry]) -> Self {
        Self { zero: entries.first().map_or(Moment::START, |entry| entry.at) }
    }

    pub(super) fn read(self, at: Moment) -> String {
        span_of_time(at - self.zero)
    }
}

/// Hours, minutes, seconds and tenths.
pub(super) fn span_of_time(span: Duration) -> String {
    let tenths = span.as_millis() / 100;
    let (seconds, tenth) = (tenths / 10, tenths % 10);
    format!("{}:{:02}:{:02}.{tenth}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}

fn whole_seconds(span: Time) -> String {
    let seconds = span.to_duration().as_secs();
    format!("{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}

fn span_words(span: Span) -> String {
    format!("{:.0} to {:.0} degC", span.low.celsius(), span.high.celsius())
}

fn wall(at: Timestamp, zone: &TimeZone, form: &str) -> String {
    at.to_zoned_datetime(zone.clone()).strftime(form).to_string()
}

fn or_nothing(words: Option<String>) -> String {
    words.unwrap_or_else(|| NOTHING.to_owned())
}
