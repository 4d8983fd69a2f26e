//! `twin`: the bench alone on two pseudo-terminals, for a controller in another process.

use std::fs;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use clap::{Args, ValueEnum};
use evenpass_hil::pty::{self, Pacing, PtyOptions, Served};
use evenpass_hil::{HandScript, Presence, Truth};
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};

use super::{Exit, Setting, say};
use crate::embed;
use crate::learning::Lessons;

/// What `twin` is asked.
#[derive(Debug, Args)]
pub(super) struct TwinArguments {
    /// The recipe whose part is in the chuck.
    recipe: PathBuf,
    #[command(flatten)]
    setting: Setting,
    /// Link to the terminal of the field line; an older link there is replaced.
    #[arg(long, value_name = "LINK")]
    field: PathBuf,
    /// Link to the terminal of the motion line; an older link there is replaced.
    #[arg(long, value_name = "LINK")]
    motion: PathBuf,
    /// Seconds on the twin's clock for each second of wall time.
    #[arg(long, value_name = "TIMES", default_value_t = 1.0)]
    pace: f64,
    /// Seed of everything random in the twin.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Write what is physically so, as JSON lines: every 10 ms and at every switching.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Whether simulated hands answer at the machine.
    #[arg(long, value_enum, default_value_t = Hands::Present)]
    hands: Hands,
}

/// Who stands at the twin's machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Hands {
    /// Somebody who looks and does what is asked.
    Present,
    /// Nobody.
    Absent,
}

pub(super) fn answer(arguments: &TwinArguments) -> Exit {
    if let Err(problem) = say::check_pace(arguments.pace) {
        return say::bad_input(&problem);
    }
    if arguments.field == arguments.motion {
        return say::bad_input(
            "--field and --motion: found the same link twice; each line needs its own",
        );
    }
    // The twin is the world: it learns nothing.
    let prepared = super::plan::prepare(&arguments.recipe, &arguments.setting, Lessons::Ignored);
    let (job, plan) = match prepared {
        Ok(prepared) => prepared,
        Err(problem) => return say::bad_input(&problem),
    };
    let mut bench = match embed::bench(&job, &plan, arguments.seed) {
        Ok(bench) => bench,
        Err(problem) => return say::failed(&format!("twin: {problem}")),
    };
    bench.follow_script(&HandScript {
        presence: match arguments.hands {
            Hands::Present => Presence::Attentive,
            Hands::Absent => Presence::Absent,
        },
        presses: Vec::new(),
    });
    let options = PtyOptions {
        field_link: arguments.field.clone(),
        motion_link: arguments.motion.clone(),
        pace: arguments.pace,
        // A reply sooner than a wire could carry it would rightly be taken for noise.
        pacing: Pacing::AtLineSpeed,
        journal: arguments.journal.clone(),
    };
    let stop = match stop_on_signals() {
        Ok(stop) => stop,
        Err(trouble) => {
            return say::failed(&format!("twin: signals cannot be taken over: {trouble}"));
        }
    };
    let mut told = Ok(());
    match pty::serve(bench, &options, &stop, || told = tell_open(&options)) {
        Ok((bench, served)) => {
            say::printed(told.and_then(|()| tell_totals(&bench.truth(), &served)))
        }
        Err(trouble) => say::failed(&format!(
            "twin: {trouble}\nhelp: the links' folder must exist and be writable, and what stands \
             where a link goes must be a link"
        )),
    }
}

/// A flag that the signals which end a program set.
fn stop_on_signals() -> io::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM, SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    Ok(stop)
}

/// Says that the terminals are there; a program that started the twin waits for this.
fn tell_open(options: &PtyOptions) -> io::Result<()> {
    let mut to = io::stdout().lock();
    writeln!(to, "serving")?;
    for (line, link) in [("field", &options.field_link), ("motion", &options.motion_link)] {
        writeln!(to, "  {line:<7} {} -> {}", link.display(), fs::read_link(link)?.display())?;
    }
    to.flush()
}

fn tell_totals(truth: &Truth, served: &Served) -> io::Result<()> {
    let mut to = io::stdout().lock();
    writeln!(
        to,
        "served {:.1} s: {} bytes in, {} bytes out, {} replies that nobody took, latest wake-up \
         {:.1} ms",
        evenpass_core::moment::Moment::from_micros(truth.time_us).as_seconds(),
        served.bytes_in,
        served.bytes_out,
        served.lost_replies,
        std::time::Duration::from_micros(served.latest_wake_us).as_secs_f64() * 1e3,
    )?;
    writeln!(
        to,
        "powder fed {:.1} g, coat {:.2} g, part {:.0} degC at its hottest",
        truth.powder_fed_g, truth.coat_g, truth.part_highest_c
    )?;
    to.flush()
}
