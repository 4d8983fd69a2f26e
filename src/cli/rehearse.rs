//! `rehearse`: the job on the twin in virtual time, before any gas is lit.

mod batch;

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::Args;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::Time;
use serde_json::json;

use super::learned::{self, Learning, RecordsAre};
use super::records::{Clock, course_sheet, passes_sheet, section, told_sheet};
use super::sheet::{Layout, Sheet};
use super::{Exit, Setting, ending, response, say};
use crate::attendant::{Attended, End, first_cause};
use crate::clock::virtual_time::Trace;
use crate::comparison::{self, ZoneComparison};
use crate::files::{self, Job};
use crate::keeping::{self, Ended, Keeping};
use crate::margins::{self, Margin};
use crate::record::RunKind;
use crate::record::facts::passes;
use crate::record::response::responses;
use crate::twin_job::TwinJob;

/// The longest job: two days of virtual time.
const LONGEST: Moment = Moment::from_micros(172_800_000_000);

/// What `rehearse` is asked.
#[derive(Debug, Args)]
pub(super) struct RehearseArguments {
    /// The recipe.
    #[arg(required_unless_present = "batch", conflicts_with = "batch")]
    recipe: Option<PathBuf>,
    /// All parts of this batch that are to be made, one after another, instead of a recipe.
    #[arg(long, value_name = "BATCH")]
    batch: Option<String>,
    /// With --batch: people's work from the end of a part to the start of the next; 3 min when left
    /// out.
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    between: Option<Time>,
    #[command(flatten)]
    setting: Setting,
    /// Seed of everything random in the twin.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Write every burst on the lines to this file.
    #[arg(long, value_name = "FILE")]
    trace: Option<PathBuf>,
    /// Keep the rehearsal in the records too.
    #[arg(long)]
    record: bool,
    /// The records to learn from, and with --record to keep it in; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    #[command(flatten)]
    learning: Learning,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

/// A rehearsal as it went.
struct Rehearsed {
    end: End,
    entries: Vec<Entry>,
    zones: Vec<ZoneComparison>,
    margins: Vec<Margin>,
    lasted: Moment,
    first_cause: Option<String>,
    bursts: u64,
    bytes: u64,
    times_real_time: f64,
    record: Option<String>,
}

pub(super) fn answer(arguments: &RehearseArguments) -> Exit {
    // Clap would not tell: it drops what an option requires where that conflicts with the recipe.
    if arguments.between.is_some() && arguments.batch.is_none() {
        return say::bad_input(
            "--between: is about the parts of a batch, and none is named: nothing was rehearsed\n\
             accepted: --between with --batch BATCH, without a recipe\n",
        );
    }
    match (&arguments.batch, &arguments.recipe) {
        (Some(batch), _) => batch::answer(arguments, batch),
        (None, Some(recipe)) => one(arguments, recipe),
        (None, None) => say::bad_input("name a recipe, or a batch with --batch\n"),
    }
}

fn one(arguments: &RehearseArguments, recipe: &Path) -> Exit {
    let records = if arguments.record { RecordsAre::Written } else { RecordsAre::Read };
    let lessons = match arguments.learning.or(arguments.records.as_deref(), records) {
        Ok(lessons) => lessons,
        Err(problem) => return say::bad_input(&problem),
    };
    let (job, plan) = match super::plan::prepare(recipe, &arguments.setting, lessons) {
        Ok(prepared) => prepared,
        Err(problem) => return say::bad_input(&problem),
    };
    if let Some(trace) = &arguments.trace
        && let Err(problem) = files::may_write("--trace", trace, &[recipe])
    {
        return say::bad_input(&problem);
    }
    let rehearsed = match rehearse(arguments, &job, &plan) {
        Ok(rehearsed) => rehearsed,
        Err(problem) => return say::failed(&problem),
    };
    let printed = if arguments.json {
        say::json(&json!({
            "end": rehearsed.end,
            "first_cause": rehearsed.first_cause,
            "lasted_s": rehearsed.lasted.as_seconds(),
            "zones": rehearsed.zones,
            "margins": rehearsed.margins,
            "bursts": rehearsed.bursts,
            "bytes": rehearsed.bytes,
            "times_real_time": rehearsed.times_real_time,
            "record": rehearsed.record,
            "learned": job.learned,
            "responses": responses(&rehearsed.entries),
            "entries": rehearsed.entries,
        }))
    } else {
        print(&job, &plan, &rehearsed, arguments.seed)
    };
    match say::printed(printed) {
        Exit::Done if rehearsed.past_a_limit().is_some() => Exit::Failed,
        Exit::Done => ending::exit(rehearsed.end),
        other => other,
    }
}

impl Rehearsed {
    /// A job that came to its end past a limit is not one to light a torch for.
    fn past_a_limit(&self) -> Option<String> {
        let passed = margins::passed(&self.margins).filter(|_| self.end == End::Complete)?;
        Some(format!("but past a limit, {passed}"))
    }
}

fn rehearse(arguments: &RehearseArguments, job: &Job, plan: &Plan) -> Result<Rehearsed, String> {
    let create = |path: &PathBuf| match File::create(path) {
        Ok(file) => Ok(BufWriter::new(file)),
        Err(trouble) => Err(format!("{}: {trouble}", path.display())),
    };
    let trace = arguments.trace.as_ref().map(create).transpose()?;
    let keeping = if arguments.record {
        let begin = keeping::Begin::fresh(
            RunKind::Rehearsed,
            Some(arguments.seed),
            arguments.records.as_deref(),
        );
        Some(Keeping::begin(job, plan, &begin)?)
    } else {
        None
    };
    let mut twin = TwinJob::new(job, plan, arguments.seed, Attended::No, Trace::new(trace))?;
    let mut entries = Vec::new();
    let began = Instant::now();
    let mut keep = |entry: Entry| {
        if let Some(keeping) = &keeping {
            keeping.deliver(entry.clone());
        }
        entries.push(entry);
    };
    let end = twin.run_until(LONGEST, &mut keep).unwrap_or(End::Held);
    let took = began.elapsed().as_secs_f64();
    let snapshot = twin.snapshot();
    let zones = comparison::zones(plan, twin.bench());
    let first_cause = first_cause(end, &snapshot, &entries);
    let powder_fed = twin.bench().truth().powder_fed_g;
    let record = match keeping {
        Some(keeping) => {
            let first_cause = first_cause.clone();
            let zones = &zones;
            Some(keeping.finish(&Ended {
                end,
                first_cause,
                zones,
                powder_fed_g: Some(powder_fed),
            })?)
        }
        None => None,
    };
    if let Some(trouble) = twin.witness().trouble() {
        return Err(format!("the trace cannot be written: {trouble}"));
    }
    Ok(Rehearsed {
        end,
        zones,
        margins: margins::margins(plan, &entries),
        lasted: twin.now(),
        first_cause,
        bursts: twin.witness().bursts(),
        bytes: twin.witness().bytes(),
        times_real_time: twin.now().as_seconds() / took.max(1e-9),
        entries,
        record,
    })
}

fn print(job: &Job, plan: &Plan, rehearsed: &Rehearsed, seed: u64) -> io::Result<()> {
    let to = &mut io::stdout().lock();
    let entries = &rehearsed.entries;
    let clock = Clock::of(entries);
    writeln!(to, "{}, rehearsed on the twin, seed {seed}", plan.program.title)?;
    section(learned::LEARNED, &learned::sheet(job), to)?;
    section("Course", &course_sheet(entries, clock), to)?;
    section("Passes", &passes_sheet(&passes(entries), clock), to)?;
    response::print(entries, clock, response::With::Effects, to)?;
    section("Causes", &told_sheet(entries, clock, &[EntryKind::Cause]), to)?;
    section("Planned and deposited, as sprayed", &zones_sheet(&rehearsed.zones), to)?;
    section("Margins", &super::margins::sheet(&rehearsed.margins), to)?;
    writeln!(
        to,
        "\n{} bursts, {} bytes on the lines; {:.0} times real time",
        rehearsed.bursts, rehearsed.bytes, rehearsed.times_real_time
    )?;
    if let Some(record) = &rehearsed.record {
        writeln!(to, "record {record}")?;
    }
    let cause = rehearsed.first_cause.clone().or_else(|| rehearsed.past_a_limit());
    ending::print(rehearsed.end, cause.as_deref(), to)
}

/// Planned against deposited.
pub(super) fn zones_sheet(zones: &[ZoneComparison]) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("zone", Layout::Prose),
            ("planned", Layout::Figure),
            ("as changed", Layout::Figure),
            ("deposited", Layout::Figure),
            ("off", Layout::Figure),
            ("thinnest", Layout::Figure),
            ("thickest", Layout::Figure),
        ],
    );
    for zone in zones {
        sheet.row([
            zone.zone.clone(),
            format!("{:.4}", zone.planned),
            zone.as_changed.map_or_else(|| "-".to_owned(), |changed| format!("{changed:.4}")),
            format!("{:.4}", zone.deposited),
            format!("{:+.2} %", zone.off_percent()),
            format!("{:.4}", zone.thinnest),
            format!("{:.4}", zone.thickest),
        ]);
    }
    sheet
}
