//! Preheating: the flame goes from end to end of the span until the part is in its window, then
//! the part soaks with the torch at the park. A part that is warm at once goes straight to soak.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::machine::Machine;
use super::super::state::{State, Toward, Warming};
use super::super::steps::{self, LONGEST_WAIT, is_late};
use super::holding;
use crate::moment::Moment;
use crate::quantity::{Length, Range, Speed, Temperature};

/// What the warming needs, from a preheat step or, where a job has none, from the spray step.
struct Figures {
    span: Range<Length>,
    feed: Speed,
    window: Range<Temperature>,
    aim: Temperature,
    soak: Duration,
}

fn figures(warming: Warming, machine: &Machine, scan: &Scan<'_>) -> Option<Figures> {
    let spray = scan.spray(machine.cursor);
    let mut figures = scan.preheat(machine.cursor).map_or_else(
        || {
            spray.map(|step| Figures {
                span: step.edges,
                feed: Machine::positioning(scan),
                window: step.window,
                aim: step.window.low,
                soak: Duration::ZERO,
            })
        },
        |step| {
            Some(Figures {
                span: step.span,
                feed: step.feed,
                window: step.window,
                aim: step.aim,
                soak: step.soak.to_duration(),
            })
        },
    )?;
    if let (Warming::Again, Some(step)) = (warming, spray) {
        // The step in hand decides when it is warm enough and when too hot.
        figures.window = Range {
            low: figures.window.low.max(step.window.low),
            high: step.window.high.max(figures.window.low),
        };
        figures.aim = figures.aim.max(figures.window.low).min(figures.window.high);
    }
    Some(figures)
}

pub(in super::super) fn first_state(
    warming: Warming,
    longest: Duration,
    scan: &Scan<'_>,
    machine: &Machine,
) -> State {
    let warm = figures(warming, machine, scan)
        .zip(scan.temperature())
        .is_some_and(|(figures, part)| part >= figures.aim);
    if warm {
        return soak(warming, machine, scan);
    }
    State::Traversing {
        warming,
        toward: nearer_end(warming, machine, scan),
        until: scan.now + longest,
    }
}

fn soak(warming: Warming, machine: &Machine, scan: &Scan<'_>) -> State {
    let soak = figures(warming, machine, scan).map_or(Duration::ZERO, |figures| figures.soak);
    State::Soaking { warming, since: None, until: scan.now + soak + LONGEST_WAIT }
}

/// The carriage first crosses the span from the end that is nearer.
fn nearer_end(warming: Warming, machine: &Machine, scan: &Scan<'_>) -> Toward {
    let Some(figures) = figures(warming, machine, scan) else { return Toward::Low };
    Toward::nearer(figures.span, scan.position())
}

pub(in super::super) fn traversing(
    warming: Warming,
    toward: Toward,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some(figures) = figures(warming, machine, scan) else {
        return holding::begin(Cause::ProgramShort, machine, scan);
    };
    if is_late(until, scan) {
        machine.setback = Some(Cause::PreheatTooLong);
        return holding::begin(Cause::PreheatTooLong, machine, scan);
    }
    // Judged at the end of the span only: under the torch the surface is hotter than the part.
    if scan.is_at(toward.end(figures.span)) {
        if scan.temperature().is_some_and(|part| part >= figures.aim) {
            let to = soak(warming, machine, scan);
            return machine.go(to, Cause::Warm);
        }
        let to = State::PreheatTurning { warming, toward: toward.other(), until };
        return machine.go(to, Cause::AtEnd);
    }
    Outcome::Handled
}

/// The reversal itself: over as soon as the carriage is on its way back.
pub(in super::super) fn turning(
    warming: Warming,
    toward: Toward,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if !scan.at_rest() || is_late(until, scan) {
        return machine.go(State::Traversing { warming, toward, until }, Cause::Turned);
    }
    Outcome::Handled
}

pub(in super::super) fn propose_traversing(toward: Toward, machine: &Machine, scan: &mut Scan<'_>) {
    Machine::propose_flame(scan);
    machine.propose_turning(scan);
    if let (Some(figures), Some(position)) =
        (figures(Warming::Step, machine, scan), scan.position())
    {
        let at =
            if figures.span.contains(position) { figures.feed } else { Machine::positioning(scan) };
        scan.outputs.axis = Machine::travel(toward.end(figures.span), at, scan);
    }
}

pub(in super::super) fn soaking(
    warming: Warming,
    since: &mut Option<Moment>,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some(figures) = figures(warming, machine, scan) else {
        return holding::begin(Cause::ProgramShort, machine, scan);
    };
    // Without a datum the torch is not known to be at the park, and never will be in this job.
    if scan.datum_is_lost() {
        machine.setback = Some(Cause::NotParked);
        return holding::begin(Cause::NotParked, machine, scan);
    }
    let part = scan.temperature();
    if part.is_some_and(|part| part < figures.window.low) {
        let longest = scan
            .preheat(machine.cursor)
            .map_or(LONGEST_WAIT, |preheat| preheat.longest.to_duration());
        let toward = nearer_end(warming, machine, scan);
        let to = State::Traversing { warming, toward, until: scan.now + longest };
        return steps::leave_park(to, Cause::TooCold, machine, scan);
    }
    if scan.is_parked() && part.is_some_and(|part| figures.window.contains(part)) {
        let begun = *since.get_or_insert(scan.now);
        if scan.now.since(begun) >= figures.soak {
            return match warming {
                Warming::Step => steps::next_step(Cause::Warm, machine, scan),
                Warming::Again => {
                    let to = State::of_step(machine.cursor, machine, scan);
                    steps::leave_park(to, Cause::Warm, machine, scan)
                }
            };
        }
    } else {
        *since = None;
    }
    if is_late(until, scan) {
        machine.setback = Some(Cause::SoakTooLong);
        return holding::begin(Cause::SoakTooLong, machine, scan);
    }
    Outcome::Handled
}
