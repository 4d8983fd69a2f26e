//! `run`: the job itself, on the embedded twin or on the machine behind the serial lines.

mod machine;
mod part;
mod twin;

use std::io;
use std::path::{Path, PathBuf};

use clap::Args;
use evenpass_core::ledger::Entry;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::Length;
use evenpass_core::rig::RigKind;

pub(super) use self::machine::check_ports;
use self::part::PartToRun;
use super::learned::{self, Learning, RecordsAre};
use super::ports::Ports;
use super::progress::clock;
use super::records::Clock;
use super::served::{self, ServedArguments, Trouble, Wanted, Where};
use super::{Exit, Setting, ending, response, say};
use crate::attendant::End;
use crate::comparison::ZoneComparison;
use crate::files::Job;

/// What `run` is asked.
#[derive(Debug, Args)]
pub(super) struct RunArguments {
    /// The recipe.
    #[arg(required_unless_present = "batch", conflicts_with = "batch")]
    recipe: Option<PathBuf>,
    /// The next part of this batch, instead of a recipe.
    #[arg(long, value_name = "BATCH", requires = "person")]
    batch: Option<String>,
    /// With --batch: sprays the part though it was not blasted in time, as the engineer, who says
    /// why; it stands in the record as a deviation.
    #[arg(long, value_name = "WHY", requires = "batch")]
    unblasted: Option<String>,
    #[command(flatten)]
    setting: Setting,
    #[command(flatten)]
    ports: Ports,
    /// On the embedded twin: how many times faster than life; ends within a minute when left out.
    #[arg(long, value_name = "TIMES", allow_negative_numbers = true)]
    pace: Option<f64>,
    /// On the embedded twin: seed of everything random in it.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// The records to learn from and to keep it in; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    #[command(flatten)]
    learning: Learning,
    /// Who runs it, by the name that a running serve knows.
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    #[command(flatten)]
    served: ServedArguments,
}

/// How a run ended.
struct Ran {
    end: End,
    first_cause: Option<String>,
    record: String,
    zones: Vec<ZoneComparison>,
    entries: Vec<Entry>,
}

/// Shown before anything can move on a machine.
pub(super) const CAUTIONS: &str = "\
CAUTION: Evenpass is no safety device. Emergency stop, gas shut-off, flame safeguard, guard and
hard limits are wired and work without it. The torch maker's handbook and local codes override
every figure here. Flashback arrestors fitted, leak test done, extraction on, respirator at hand,
acetylene never above 1.03 bar gauge, no oil on oxygen. Hot and rotating part: keep clear. After
a flashback: stop, cool, inspect. Set-points are examples until you have proved them.
Nothing starts but by the buttons at the machine. Ctrl-C stops in order, twice aborts.
";

/// The same for the twin, in short.
const ON_THE_TWIN: &str = "\
On the embedded twin: no gas, no motion; simulated hands answer at the machine. No proof tests of
interlocks are demanded here. Evenpass is no safety device. Ctrl-C stops in order, twice aborts.
";

pub(super) fn answer(arguments: &RunArguments) -> Exit {
    if let Some(Err(problem)) = arguments.pace.map(say::check_pace) {
        return say::bad_input(&problem);
    }
    let found = match arguments.find() {
        Ok(found) => found,
        Err(trouble) => return trouble.told(),
    };
    match (found, &arguments.batch, &arguments.recipe) {
        (Where::Served(served), None, Some(recipe)) => {
            served::run::run(&served, recipe, arguments.person.as_deref(), &arguments.served)
        }
        (Where::Served(served), Some(_), _) => say::bad_input(&format!(
            "--batch: a serve runs at {} and has the machine\nhelp: end it first; a part of a batch \
             is run from here\n",
            served.address
        )),
        (Where::Alone, Some(batch), _) => match PartToRun::next(batch, arguments) {
            Ok(part) => alone(arguments, &part.job, &part.plan, Some(&part)),
            Err(refused) => refused.told(),
        },
        (Where::Alone, None, Some(recipe)) => of_recipe(arguments, recipe),
        (_, None, None) => say::bad_input("name a recipe, or a batch with --batch\n"),
    }
}

fn of_recipe(arguments: &RunArguments, recipe: &Path) -> Exit {
    let lessons = match arguments.learning.or(arguments.records.as_deref(), RecordsAre::Written) {
        Ok(lessons) => lessons,
        Err(problem) => return say::bad_input(&problem),
    };
    match super::plan::prepare(recipe, &arguments.setting, lessons) {
        Ok((job, plan)) => alone(arguments, &job, &plan, None),
        Err(problem) => say::bad_input(&problem),
    }
}

/// Runs a job without a serve; with `part`, as that part of a batch.
fn alone(arguments: &RunArguments, job: &Job, plan: &Plan, part: Option<&PartToRun>) -> Exit {
    let on_lines = job.rig.kind == RigKind::Machine || arguments.ports.are_given();
    let ran = if on_lines {
        if arguments.pace.is_some() {
            return say::bad_input(
                "--pace: a machine runs at its own pace; leave --pace out, or the ports",
            );
        }
        match arguments.ports.resolve(&job.rig) {
            Ok(ports) => machine::run(job, plan, arguments, ports, part),
            Err(problem) => return say::bad_input(&problem),
        }
    } else {
        twin::run(job, plan, arguments, part)
    };
    match ran {
        Ok(ran) => finish(&ran, part),
        Err(problem) => say::failed(&problem),
    }
}

impl RunArguments {
    /// Where it is run.
    fn find(&self) -> Result<Where, Trouble> {
        let found = self.served.find(Wanted {
            rig: self.setting.rig.as_deref(),
            ports: &self.ports,
            records: self.records.as_deref(),
        })?;
        let own = [
            ("--pace", self.pace.is_some()),
            ("--catalogue", self.setting.catalogue.is_some()),
            ("--unlearned", self.learning.is_unlearned()),
        ];
        match (&found, own.into_iter().find(|(_, given)| *given)) {
            (Where::Served(served), Some((option, _))) => Err(Trouble::Input(format!(
                "{option}: a serve runs at {} and plans by its own\nhelp: leave {option} out to ask \
                 it, or say --alone\n",
                served.address
            ))),
            _ => Ok(found),
        }
    }
}

fn finish(ran: &Ran, part: Option<&PartToRun>) -> Exit {
    let printed = print(ran, part);
    match say::printed(printed) {
        Exit::Done => ending::exit(ran.end),
        other => other,
    }
}

fn print(ran: &Ran, part: Option<&PartToRun>) -> io::Result<()> {
    use std::io::Write as _;
    let to = &mut io::stdout().lock();
    let sprayed = ran.zones.iter().any(|zone| zone.deposited > Length::ZERO);
    if sprayed {
        writeln!(to, "\nPlanned and deposited, as sprayed")?;
        super::rehearse::zones_sheet(&ran.zones).print(to)?;
    }
    let clock = Clock::of(&ran.entries);
    response::print(&ran.entries, clock, response::With::Effects, to)?;
    if let Some(part) = part {
        part.print_drift(&ran.entries, to)?;
    }
    writeln!(to, "record {}", ran.record)?;
    ending::print(ran.end, ran.first_cause.as_deref(), to)
}

/// What a person reads when the disk refuses.
fn not_written(trouble: &str) -> String {
    format!("the record cannot be written, the run goes on: {trouble}")
}

/// What a person reads before the job begins.
fn greeting(job: &Job, plan: &Plan, cautions: &str) -> String {
    let passes: u32 = plan.forecast.zones.iter().map(|zone| zone.passes.planned).sum();
    format!(
        "{}, revision {}, on {}\n{passes} passes, {} by the forecast, people's work aside\n\
         {}\n{cautions}",
        job.recipe.title,
        job.recipe.revision,
        job.rig.title,
        clock(plan.forecast.total.s()),
        learned::lines(job)
    )
}
