//! The command line: what is asked, and which verb answers.

mod batch;
mod check;
mod commands;
mod day;
mod ending;
mod exit;
mod home;
mod interrupts;
mod jog;
mod learned;
mod margins;
mod matrix;
mod outlet;
mod people;
mod plan;
mod ports;
mod progress;
mod prove;
pub mod records;
mod refused;
mod rehearse;
mod response;
mod run;
mod say;
mod serve;
mod served;
mod sheet;
mod signing;
mod teach;
mod terminal;
mod twin;
mod words;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::files::Places;
pub use exit::Exit;

/// Plans, rehearses, runs and records flame spray-and-fuse work on a lathe carriage.
///
/// Evenpass is no safety device: emergency stop, gas shut-off, guard and hard limits must be
/// wired. The torch maker's handbook and local codes override everything shown here.
#[derive(Debug, Parser)]
#[command(version, propagate_version = true)]
pub struct CommandLine {
    #[command(subcommand)]
    verb: Verb,
    /// Show more of what happens inside (repeat for more); EVENPASS_LOG overrides it.
    #[arg(short, long, action = clap::ArgAction::Count, global = true)]
    verbose: u8,
}

#[derive(Debug, Subcommand)]
enum Verb {
    /// Work out a job and print what it will take.
    ///
    /// Example: evenpass plan config/recipes/pump-sleeve.toml
    Plan(plan::PlanArguments),
    /// Run a job against the twin in virtual time, before any gas is lit.
    ///
    /// Example: evenpass rehearse config/recipes/taper-spindle.toml --seed 7
    Rehearse(rehearse::RehearseArguments),
    /// Run a job: through a running serve, else on the embedded twin, or on the machine behind the
    /// rig's serial lines.
    ///
    /// A serve with the same records is asked to load the recipe, which has to be one that it
    /// offers; words that are typed answer it, and Ctrl-C stops in order. The machine is the
    /// serve's: what it does goes on when this ends.
    ///
    /// With --resume, one that was cut off is taken up: what lies on its part is told, and a person
    /// chooses what is done about it. Nothing moves before the start at the machine.
    ///
    /// Example: evenpass run config/recipes/pump-sleeve.toml
    Run(Box<run::RunArguments>),
    /// Serve the machine with its panel; the twin when no rig is named.
    ///
    /// Example: evenpass serve --recipes config/recipes
    Serve(serve::ServeArguments),
    /// Find the carriage's datum, then go to the park.
    ///
    /// Goes through a running serve with the same records when there is one. The start button at
    /// the machine begins it.
    ///
    /// Example: evenpass home --person "A. Fitter"
    Home(home::HomeArguments),
    /// Move the carriage by short steps, gas isolated and vented.
    ///
    /// A terminal does not tell when a key is let go: it nudges, each time by one step of up to
    /// 5 mm, and never holds to run. Goes through a running serve with the same records when there
    /// is one.
    ///
    /// Example: evenpass jog --person "A. Fitter" --by "-0.5 mm"
    Jog(jog::JogArguments),
    /// Make a new recipe of points taken at the machine.
    ///
    /// The torch is nudged to faces, shoulders and zone edges, each place is taken, diameters are
    /// typed; what they make is shown with its forecast before it is saved. Goes through a running
    /// serve with the same records when there is one.
    ///
    /// Example: evenpass teach config/recipes/new-shaft.toml --person "B. Engineer" --finish "0.3 mm"
    Teach(teach::TeachArguments),
    /// Prove interlocks at their field devices, gas isolated and vented, and record the result.
    ///
    /// Example: evenpass prove emergency_stop --person "A. Fitter"
    Prove(prove::ProveArguments),
    /// Look after the rig.
    #[command(subcommand)]
    Rig(check::RigVerb),
    /// Serve the twin alone on two pseudo-terminals, for a controller in another process.
    ///
    /// Example: evenpass twin config/recipes/short-job.toml --field field.tty --motion motion.tty
    Twin(twin::TwinArguments),
    /// Make many parts alike: what is next, what it needs first, and the shift's report.
    #[command(subcommand)]
    Batch(Box<batch::BatchVerb>),
    /// Say who may sign in at this machine, and as what.
    #[command(subcommand)]
    People(people::PeopleVerb),
    /// Look at the records of earlier runs, and take in what was measured of their parts.
    #[command(subcommand)]
    Records(records::RecordsVerb),
}

/// Which machine and which catalogue.
#[derive(Debug, Clone, Args)]
struct Setting {
    /// The rig file; the bench's twin when left out.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// The folder with powders.toml and torches.toml; the recipe's neighbours when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
}

impl Setting {
    fn places(&self) -> Places<'_> {
        Places { rig: self.rig.as_deref(), catalogue: self.catalogue.as_deref() }
    }
}

/// Answers the command line; nothing moves before every file has been read and checked.
#[must_use]
pub fn answer(line: CommandLine) -> Exit {
    crate::log::start(line.verbose);
    match line.verb {
        Verb::Plan(arguments) => plan::answer(&arguments),
        Verb::Rehearse(arguments) => rehearse::answer(&arguments),
        Verb::Run(arguments) => run::answer(&arguments),
        Verb::Serve(arguments) => serve::answer(&arguments),
        Verb::Home(arguments) => home::answer(&arguments),
        Verb::Jog(arguments) => jog::answer(&arguments),
        Verb::Teach(arguments) => teach::answer(&arguments),
        Verb::Prove(arguments) => prove::answer(&arguments),
        Verb::Rig(verb) => check::answer(&verb),
        Verb::Twin(arguments) => twin::answer(&arguments),
        Verb::Batch(verb) => batch::answer(&verb),
        Verb::People(verb) => people::answer(&verb),
        Verb::Records(verb) => records::answer(&verb),
    }
}
