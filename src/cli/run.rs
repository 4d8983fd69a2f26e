//! `run`: the job itself, on the embedded twin or on the machine behind the serial lines.

mod machine;
mod part;
mod particulars;
mod resume;
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
use self::particulars::ParticularsArguments;
use self::resume::ResumeArguments;
use super::learned::{self, Learning, RecordsAre};
use super::ports::Ports;
use super::progress::clock;
use super::records::Clock;
use super::served::{self, ServedArguments, Trouble, Wanted, Where};
use super::{Exit, Setting, ending, response, say};
use crate::attendant::End;
use crate::comparison::ZoneComparison;
use crate::files::Job;
use crate::keeping::OfBatch;
use crate::particulars::Particulars;
use crate::port::Port;
use crate::resuming::GoesOn;

/// What `run` is asked.
#[derive(Debug, Args)]
pub(super) struct RunArguments {
    /// The recipe; none with --batch or --resume.
    #[arg(required_unless_present_any = ["batch", "resume"], conflicts_with = "batch")]
    recipe: Option<PathBuf>,
    /// The next part of this batch, instead of a recipe.
    #[arg(long, value_name = "BATCH", requires = "person")]
    batch: Option<String>,
    /// With --batch or --resume: sprays the part though it was not blasted in time, as the engineer,
    /// who says why; it stands in the record.
    #[arg(long, value_name = "WHY")]
    unblasted: Option<String>,
    #[command(flatten)]
    resume: ResumeArguments,
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
    /// Who runs it, by the name that a running serve knows; who decides about a run that was cut off.
    /// With --batch or --resume, and people.toml beside the records, it is somebody there who may; no
    /// PIN is asked, for whoever may write the records could write it.
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    #[command(flatten)]
    of_part: ParticularsArguments,
    #[command(flatten)]
    served: ServedArguments,
}

/// What is run.
struct Work<'a> {
    job: &'a Job,
    plan: &'a Plan,
    /// The run that it goes on with, if it does.
    goes_on: Option<GoesOn>,
    /// The part of a batch that it goes on with, if it does.
    of: Option<&'a OfBatch>,
    /// The part of a batch that is begun, if one is.
    part: Option<&'a PartToRun>,
    /// What was said of the part.
    said: Particulars,
}

impl<'a> Work<'a> {
    /// What stands in the record of the part of a batch.
    fn of_batch(&self) -> Option<&'a OfBatch> {
        self.of.or_else(|| self.part.map(|part| &part.of))
    }

    /// What a person reads of the part before it begins.
    fn lines(&self) -> Vec<String> {
        self.part.map(PartToRun::lines).unwrap_or_default()
    }
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
    if let Err(problem) = arguments.options_belong() {
        return say::bad_input(&problem);
    }
    let found = match arguments.find() {
        Ok(found) => found,
        Err(trouble) => return trouble.told(),
    };
    let said = match arguments.of_part.read(arguments.person.as_deref()) {
        Ok(said) => said,
        Err(problem) => return say::bad_input(&problem),
    };
    let asked = (&arguments.resume.resume, &arguments.batch, &arguments.recipe);
    match (found, asked) {
        (Where::Served(served), (Some(_), ..)) => say::bad_input(&format!(
            "--resume: a serve with these records runs at {}\nhelp: choose on its Run page, or say \
             --alone\n",
            served.address
        )),
        (Where::Served(served), (None, Some(_), _)) => say::bad_input(&format!(
            "--batch: a serve runs at {} and has the machine\nhelp: end it first; a part of a batch \
             is run from here\n",
            served.address
        )),
        (Where::Served(served), (None, None, Some(recipe))) => {
            served::run::run(&served, recipe, arguments.person.as_deref(), &arguments.served)
        }
        (Where::Alone, (Some(asked), ..)) => resume::answer(arguments, asked, said),
        (Where::Alone, (None, Some(batch), _)) => match PartToRun::next(batch, arguments, &said) {
            Ok(part) => {
                let (job, plan, part) = (&part.job, &part.plan, Some(&part));
                alone(arguments, &Work { job, plan, goes_on: None, of: None, part, said })
            }
            Err(refused) => refused.told(),
        },
        (Where::Alone, (None, None, Some(recipe))) => of_recipe(arguments, recipe, said),
        (_, (None, None, None)) => {
            say::bad_input("run: name a recipe, a batch with --batch, or a run with --resume\n")
        }
    }
}

fn of_recipe(arguments: &RunArguments, recipe: &Path, said: Particulars) -> Exit {
    let lessons = match arguments.learning.or(arguments.records.as_deref(), RecordsAre::Written) {
        Ok(lessons) => lessons,
        Err(problem) => return say::bad_input(&problem),
    };
    let (job, plan) = match super::plan::prepare(recipe, &arguments.setting, lessons) {
        Ok(prepared) => prepared,
        Err(problem) => return say::bad_input(&problem),
    };
    alone(arguments, &Work { job: &job, plan: &plan, goes_on: None, of: None, part: None, said })
}

/// Runs a job without a serve.
fn alone(arguments: &RunArguments, work: &Work<'_>) -> Exit {
    if work.job.rig.kind == RigKind::Machine || arguments.ports.are_given() {
        match arguments.ports.resolve(&work.job.rig) {
            Ok(ports) => on_lines(work, arguments, ports),
            Err(problem) => say::bad_input(&problem),
        }
    } else {
        on_twin(work, arguments)
    }
}

/// Runs it over serial ports, to its end.
fn on_lines(work: &Work<'_>, arguments: &RunArguments, ports: Vec<Port>) -> Exit {
    if arguments.pace.is_some() {
        return say::bad_input(
            "--pace: a machine runs at its own pace; leave --pace out, or the ports",
        );
    }
    over(machine::run(work, arguments, ports), work.part)
}

/// Runs it on the embedded twin, to its end.
fn on_twin(work: &Work<'_>, arguments: &RunArguments) -> Exit {
    over(twin::run(work, arguments), work.part)
}

fn over(ran: Result<Ran, String>, part: Option<&PartToRun>) -> Exit {
    match ran {
        Ok(ran) => finish(&ran, part),
        Err(problem) => say::failed(&problem),
    }
}

impl RunArguments {
    /// Refuses what is said of a run that is taken up, or of a part of a batch, where neither is
    /// named. Clap would not: what an option requires it drops where that conflicts with what is
    /// given, and a whole new job would be sprayed.
    fn options_belong(&self) -> Result<(), String> {
        let resumes = self.resume.resume.is_some();
        if let Some(option) = self.resume.given().filter(|_| !resumes) {
            return Err(format!(
                "{option}: is about a run that was cut off, and none is named: nothing was begun\n\
                 accepted: {option} with --resume RUN, without a recipe or a batch\n\
                 help: `evenpass run --resume latest {option} ...` takes it up\n"
            ));
        }
        if self.unblasted.is_some() && self.batch.is_none() && !resumes {
            return Err("--unblasted: is about a part of a batch, or a run that was cut off, and \
                        neither is named: nothing was begun\naccepted: --unblasted with --batch \
                        BATCH or --resume RUN\n"
                .to_owned());
        }
        Ok(())
    }

    /// Where it is run.
    fn find(&self) -> Result<Where, Trouble> {
        let found = self.served.find(Wanted {
            rig: self.setting.rig.as_deref(),
            ports: &self.ports,
            records: self.records.as_deref(),
        })?;
        let of_part = self.of_part.given();
        let own = [
            ("--pace", self.pace.is_some()),
            ("--catalogue", self.setting.catalogue.is_some()),
            ("--unlearned", self.learning.is_unlearned()),
        ];
        match (&found, own.into_iter().find(|(_, given)| *given)) {
            (Where::Served(served), None) if of_part.is_some() => Err(Trouble::Input(format!(
                "{}: a serve runs at {} and keeps the record\nhelp: say it beside the set-up \
                 list on its Run page, add it later by `evenpass records note particular`, or say \
                 --alone\n",
                of_part.unwrap_or_default(),
                served.address
            ))),
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
        part.print_drift(ran.end, &ran.entries, to)?;
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
