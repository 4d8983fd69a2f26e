//! What a screen shows, built when it is asked for.

use crate::image::{AxisDemand, Level, PowderEdge, SpindleDemand};
use crate::interlock::Limits;
use crate::moment::Moment;
use crate::program::{Pass, Program, Step, feed_at};
use crate::quantity::{Length, Range, SpindleSpeed, Time};

use super::cause::Cause;
use super::in_hand::ZoneInHand;
use super::leaf::{Leaf, Phase};
use super::machine::{Job, Machine, Owed, Suspect};
use super::prompt::Prompt;
use super::state::State;
use super::steps::torch_of;

/// Where a job stands, counted from 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Progress {
    /// Step of the program.
    pub step: usize,
    /// How many steps it has.
    pub steps: usize,
    /// The zone being sprayed or fused.
    pub zone: Option<String>,
    /// Pass and number of passes, while spraying.
    pub pass: Option<(usize, usize)>,
    /// Band and number of bands, while fusing.
    pub band: Option<(usize, usize)>,
    /// The coat to watch, while fusing.
    pub coat: Option<Range<Length>>,
}

/// Time left, by what the program says; people's time and waits are not in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeLeft {
    /// Of the passes not yet done in the step in hand.
    pub passes: Time,
    /// Of the steps after it.
    pub later: Time,
}

/// What a screen shows.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Status {
    /// Super-state and what is being done, in words.
    pub text: String,
    /// The super-state.
    pub phase: Phase,
    /// The state.
    pub leaf: Leaf,
    /// Since when.
    pub since: Moment,
    /// Why it was entered.
    pub cause: Cause,
    /// Why the last start, restart or wait did not go as asked.
    pub setback: Option<Cause>,
    /// Where the job stands.
    pub progress: Option<Progress>,
    /// The zone in hand with what people have changed in it.
    pub in_hand: Option<ZoneInHand>,
    /// What a person is asked.
    pub prompt: Option<Prompt>,
    /// Permissives that are missing, in words.
    pub missing: Vec<&'static str>,
    /// Where the carriage is sent.
    pub target: Option<Length>,
    /// The powder's level as commanded.
    pub powder: Level,
    /// The powder edge that comes next.
    pub powder_next: Option<PowderEdge>,
    /// The spindle speed of the step in hand.
    pub spindle: Option<SpindleSpeed>,
    /// Time left by the program.
    pub left: TimeLeft,
    /// The first cause of the trip that is latched.
    pub first_cause: Option<String>,
    /// Tries of the lighting under way or last made.
    pub tries: u32,
    /// What a restart would do; `None` where none is possible.
    pub restart: Option<String>,
    /// Where powder ceased to arrive in the pass in hand.
    pub powder_lost: Option<Length>,
    /// Whether "finish this pass, then hold" is pending.
    pub hold_after_pass: Level,
    /// Whether the coat may have been spoiled.
    pub suspect: Suspect,
    /// The two points last taken, newest first.
    pub taught: [Option<Length>; 2],
}

pub(super) fn of(
    state: &State,
    machine: &Machine,
    program: Option<&Program>,
    missing: &[&'static str],
    first_cause: Option<&str>,
) -> Status {
    let phase = state.phase();
    let progress =
        program.filter(|_| machine.job != Job::None).map(|program| progress(machine, program));
    Status {
        text: text(phase, machine.leaf, progress.as_ref()),
        phase,
        leaf: machine.leaf,
        since: machine.since,
        cause: machine.cause,
        setback: machine.setback,
        prompt: machine.prompt,
        missing: missing.to_vec(),
        target: match machine.last.axis {
            AxisDemand::Travel(travel) => Some(travel.to),
            _ => None,
        },
        powder: machine.feeder.level(),
        powder_next: machine.feeder.next(),
        spindle: program.and_then(|program| speed(machine, program)),
        left: program.map_or(TimeLeft { passes: Time::ZERO, later: Time::ZERO }, |program| {
            time_left(machine, program)
        }),
        first_cause: first_cause.map(str::to_owned),
        tries: machine.tries,
        restart: restart(machine, program, progress.as_ref()),
        powder_lost: machine.done_to,
        hold_after_pass: Level::from_bit(machine.hold_after_pass == Owed::Owed),
        in_hand: program
            .filter(|_| machine.job != Job::None)
            .and_then(|program| ZoneInHand::of(machine, program)),
        suspect: machine.suspect,
        taught: machine.taught,
        progress,
    }
}

fn text(phase: Phase, leaf: Leaf, progress: Option<&Progress>) -> String {
    let (word, words) = (phase.word(), leaf.words());
    match progress {
        Some(Progress { pass: Some((pass, of)), .. }) if phase.is_running() => {
            format!("{word}: {words} pass {pass} of {of}")
        }
        Some(Progress { band: Some((band, of)), coat: Some(coat), .. }) if phase.is_running() => {
            let (low, high) = (coat.low.mm(), coat.high.mm());
            format!("{word}: {words} band {band} of {of}, {low:.0} to {high:.0} mm")
        }
        _ => format!("{word}: {words}"),
    }
}

fn progress(machine: &Machine, program: &Program) -> Progress {
    let cursor = machine.cursor;
    let mut progress = Progress {
        step: (cursor.step + 1).min(program.steps.len()),
        steps: program.steps.len(),
        zone: None,
        pass: None,
        band: None,
        coat: None,
    };
    match program.steps.get(cursor.step) {
        Some(Step::Spray(step)) => {
            let of = step.passes.len();
            progress.zone = Some(step.zone.clone());
            progress.pass = Some(((cursor.pass + 1).min(of), of));
        }
        Some(Step::Fuse(step)) => {
            let of = step.bands.len();
            progress.zone = Some(step.zone.clone());
            progress.band = Some(((cursor.band + 1).min(of), of));
            progress.coat = step.bands.get(cursor.band).map(|band| band.coat);
        }
        _ => {}
    }
    progress
}

fn restart(
    machine: &Machine,
    program: Option<&Program>,
    progress: Option<&Progress>,
) -> Option<String> {
    let held = matches!(machine.leaf.phase(), Phase::Holding | Phase::Held);
    let tripped = matches!(machine.leaf.phase(), Phase::Aborting | Phase::Aborted);
    if !(held || tripped) || machine.job != Job::Begun {
        return None;
    }
    let progress = progress?;
    let lighting = if machine.leaf == Leaf::HeldLit { "" } else { "light the torch, " };
    Some(match (progress.pass, machine.done_to) {
        (Some((pass, of)), Some(place)) => {
            format!("{lighting}take up pass {pass} of {of}: powder arrives again at {place:.1}")
        }
        (Some((pass, of)), None) => format!("{lighting}begin pass {pass} of {of}"),
        (None, _) => {
            match (progress.band, program.and_then(|p| p.steps.get(machine.cursor.step))) {
                (Some((_, 1)), _) => format!("{lighting}heat the whole zone again"),
                (Some((_, of)), _) => {
                    format!("{lighting}heat the whole zone again, from band 1 of {of}")
                }
                (None, Some(Step::Preheat(_))) => format!("{lighting}go on preheating"),
                (None, Some(Step::ChangeTorch(_))) => {
                    "isolate again for the change of torch".to_owned()
                }
                (None, _) => "go on cooling".to_owned(),
            }
        }
    })
}

fn speed(machine: &Machine, program: &Program) -> Option<SpindleSpeed> {
    program.steps.iter().skip(machine.cursor.step).find_map(Step::spindle)
}

/// Time of one crossing of a zone, by the feed in its middle.
#[must_use]
pub fn crossing_time(pass: &Pass) -> Time {
    let middle = (pass.from + pass.to) / 2.0;
    let feed = feed_at(&pass.feed, middle).mm_per_s().max(1e-3);
    Time::from_s((pass.to - pass.from).abs().mm() / feed)
}

/// Time of one step by its own figures, from a pass on.
fn step_time(step: &Step, from_pass: usize) -> Time {
    match step {
        Step::Preheat(step) => step.expected + step.soak,
        Step::Spray(step) => {
            step.passes.iter().skip(from_pass).map(|pass| crossing_time(pass) + step.dwell).sum()
        }
        Step::Fuse(step) => step
            .bands
            .iter()
            .map(|band| {
                let feed = step.feed.mm_per_s().max(1e-3);
                Time::from_s((band.coat.high - band.coat.low).abs().mm() / feed)
            })
            .sum(),
        Step::Cool(step) => step.at_least.max(step.after_fusing),
        Step::ChangeTorch(_) => Time::ZERO,
    }
}

fn time_left(machine: &Machine, program: &Program) -> TimeLeft {
    let cursor = machine.cursor;
    TimeLeft {
        passes: program
            .steps
            .get(cursor.step)
            .map_or(Time::ZERO, |step| step_time(step, cursor.pass)),
        later: program
            .steps
            .iter()
            .skip(cursor.step.saturating_add(1))
            .map(|step| step_time(step, 0))
            .sum(),
    }
}

/// What the step in hand sets for the interlocks.
pub(super) fn limits(machine: &Machine, program: Option<&Program>) -> Limits {
    let mut limits = Limits { park: machine.figures.park, ..Limits::default() };
    let Some(program) = program else { return limits };
    limits.park = program.park;
    limits.part = Some(program.part);
    limits.clear_by = program.clear_by;
    if let Some(torch) = program.torches.get(machine.torch) {
        limits.fuel_pressure = Some(torch.fuel_pressure);
        limits.fuel_pressure_limit = Some(torch.fuel_pressure_limit);
        limits.oxygen_pressure = Some(torch.oxygen_pressure);
        limits.carrier_pressure = Some(torch.carrier_pressure);
        limits.trial = Some(torch.lighting.trial);
    }
    if machine.job == Job::None {
        return limits;
    }
    // One torch may spray and fuse: the step in hand says with which flame.
    let step = program.steps.get(machine.cursor.step);
    let flame = step.and_then(torch_of).unwrap_or(machine.torch);
    limits.longest_rest = program.torches.get(flame).map(|torch| torch.longest_rest);
    // The speed that is asked for now; a step's own until the spindle is asked to turn.
    limits.spindle = match machine.last.spindle {
        SpindleDemand::Turn(speed) => Some(speed),
        SpindleDemand::Stop => speed(machine, program),
    };
    match step {
        Some(Step::Spray(step)) => {
            limits.spray_window = Some(step.window);
            limits.pass = (machine.cursor.pass < step.passes.len())
                .then(|| machine.cursor.pass.saturating_add(1));
        }
        Some(Step::Fuse(step)) => limits.fuse_ceiling = Some(step.ceiling),
        Some(Step::Preheat(_) | Step::ChangeTorch(_) | Step::Cool(_)) | None => {}
    }
    limits
}
