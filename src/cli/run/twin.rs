//! A run on the embedded twin: virtual time, slowed by a pacer.

use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::quantity::Mass;
use evenpass_core::request::Request;

use super::{ON_THE_TWIN, Ran, RunArguments, Work, greeting, not_written, resume};
use crate::attendant::{Attended, ended, first_cause};
use crate::cli::ending;
use crate::cli::interrupts::Interrupts;
use crate::cli::progress::Progress;
use crate::cli::words::{self, Typed};
use crate::clock::virtual_time::Unwitnessed;
use crate::comparison;
use crate::keeping::{Begin, Ended, Keeping};
use crate::record::changes::Changes;
use crate::record::{RunKind, Store, records_file};
use crate::resuming::hopper_left;
use crate::twin_job::TwinJob;

/// How long a shipped job takes on the twin by default.
const DEFAULT_LENGTH_S: f64 = 30.0;
/// Homing, lighting and people's work, which the forecast leaves out, s; measured on the bench.
const BESIDE_THE_FORECAST_S: f64 = 150.0;
/// How much wall time goes by between two looks at people.
const STEP: Duration = Duration::from_millis(20);

/// Runs the job on the twin.
pub(super) fn run(work: &Work<'_>, arguments: &RunArguments) -> Result<Ran, String> {
    let Work { job, plan, ref goes_on, .. } = *work;
    let mut interrupts = Interrupts::take_over().map_err(|trouble| trouble.to_string())?;
    let attended = if words::can_type() { Attended::Yes } else { Attended::No };
    let typed = (attended == Attended::Yes).then(words::listen);
    let mut twin = TwinJob::new(job, plan, arguments.seed, attended, Unwitnessed)?;
    let records = arguments.records.as_deref();
    let note = resume::note(records, &job.rig, RunKind::Twin);
    let mut begin = Begin::fresh(RunKind::Twin, Some(arguments.seed), records);
    begin.goes_on.clone_from(goes_on);
    begin.part = work.of_batch();
    begin.particulars.clone_from(&work.said);
    if let Some(holds) = hopper(work, records)? {
        twin.bench().fill_hopper(holds.g());
    }
    let keeping = Keeping::begin(job, plan, &begin)?;
    let mut progress = Progress::new();
    progress.print(&greeting(job, plan, ON_THE_TWIN));
    work.lines().iter().for_each(|line| progress.print(line));
    if let Some(note) = note.filter(|_| goes_on.is_none()) {
        progress.print(&format!("warning: {note}"));
    }
    let pace = arguments.pace.unwrap_or_else(|| {
        ((plan.forecast.total.s() + BESIDE_THE_FORECAST_S) / DEFAULT_LENGTH_S).max(1.0)
    });
    let mut entries: Vec<Entry> = Vec::new();
    let mut trouble_told = false;
    let began = Instant::now();
    let end = loop {
        let due = Moment::START + began.elapsed().mul_f64(pace);
        let before = entries.len();
        let end = twin.run_until(due, &mut |entry: Entry| {
            keeping.deliver(entry.clone());
            entries.push(entry);
        });
        for entry in entries.iter().skip(before) {
            progress.tell(entry);
        }
        if let Some(end) = end {
            break end;
        }
        progress.show(plan, &twin.snapshot());
        if let Some(request) = interrupts.asked() {
            twin.request(request);
        }
        for typed in typed.iter().flat_map(|typed| typed.try_iter()) {
            answer(&typed, &mut twin, &mut progress);
        }
        if let Some(trouble) = keeping.trouble().filter(|_| !trouble_told) {
            trouble_told = true;
            progress.print(&not_written(&trouble));
        }
        thread::sleep(STEP);
    };
    let zones = comparison::zones(plan, twin.bench());
    let zones = comparison::as_changed(zones, &Changes::of(&entries));
    let end = ended(end, &entries);
    let first_cause = first_cause(end, &twin.snapshot(), &entries);
    let powder_fed_g = Some(twin.bench().truth().powder_fed_g);
    let told = Ended { end, first_cause: first_cause.clone(), zones: &zones, powder_fed_g };
    let record = keeping.finish(&told)?;
    interrupts.end_program_as(ending::exit(end));
    progress.print("");
    Ok(Ran { end, first_cause, record, zones, entries })
}

/// What is in the hopper, where that is known: a rest goes on with what the run before left in it.
fn hopper(work: &Work<'_>, records: Option<&Path>) -> Result<Option<Mass>, String> {
    let Some(goes_on) = &work.goes_on else {
        return Ok(work.part.and_then(|part| part.standing.hopper));
    };
    records_file(records)
        .and_then(|file| hopper_left(&Store::open_existing(&file)?, &goes_on.run))
        .map_err(|problem| problem.whole())
}

fn answer(typed: &Typed, twin: &mut TwinJob<Unwitnessed>, progress: &mut Progress) {
    match typed {
        Typed::Request(request) => {
            twin.request(*request);
            // The hands at the twin's machine do not acknowledge: a reset asked for does both.
            if *request == Request::Reset {
                twin.request(Request::Acknowledge);
            }
        }
        Typed::Unclear(what) => progress.print(what),
        Typed::Unknown(word) => {
            progress.print(&format!("\"{word}\" is none of these:\n{}", words::explained()));
        }
    }
}
