//! From step to step: which state begins the step in hand.

use core::time::Duration;

use statig::blocking::Outcome;

use crate::moment::Moment;
use crate::program::{Rises, Step};

use super::cause::Cause;
use super::context::Scan;
use super::machine::{Cursor, Machine, Owed};
use super::state::{Errand, Flame, Proof, State, Warming};
use super::states::{access, cooling, fusing, holding, preheating, spraying, starting};

/// Longest wait for a part to cool before it is sprayed again; 683 s in still air from 350 to
/// 250 degC for the 50 mm bar of the reference job (computed there), so an hour is ample.
pub(super) const LONGEST_WAIT: Duration = Duration::from_secs(3600);

/// The first state of the step at a cursor, torch lit where it needs to be.
pub(super) fn first_state(cursor: Cursor, machine: &mut Machine, scan: &mut Scan<'_>) -> State {
    match scan.step(cursor) {
        Some(Step::Preheat(step)) => {
            preheating::first_state(Warming::Step, step.longest.to_duration(), scan, machine)
        }
        Some(Step::Spray(step)) => {
            // A restart, too, expects of the next pass what the passes before it added.
            if scan.temperature().is_some_and(|part| step.is_too_hot(part, machine.rises)) {
                State::WaitingForTemperature { until: scan.now + LONGEST_WAIT }
            } else {
                spraying::approach(machine, scan)
            }
        }
        Some(Step::ChangeTorch(_)) => access::first_state(machine, scan),
        Some(Step::Fuse(_)) => fusing::first_state(machine, scan),
        Some(Step::Cool(_)) => cooling::first_state(machine, scan),
        None => State::Complete,
    }
}

/// The step in hand is done: on to the next one, by way of the spindle where that asks another
/// speed.
pub(super) fn next_step(
    cause: Cause,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let before = machine.speed(scan);
    machine.cursor = Cursor { step: machine.cursor.step.saturating_add(1), pass: 0, band: 0 };
    machine.done_to = None;
    machine.rises = Rises::default();
    machine.hold_after_pass = Owed::Nothing;
    let next = scan.step(machine.cursor);
    if next.is_none() {
        // A program that does not end with cooling ends with the torch clear all the same.
        if machine.flame() == Flame::Lit {
            let to = cooling::first_state(machine, scan);
            return machine.go(to, cause);
        }
        machine.end_job(scan);
        return machine.go(State::Complete, cause);
    }
    let same = machine.speed(scan) == before;
    let needs_speed = matches!(next, Some(Step::Preheat(_) | Step::Spray(_) | Step::Fuse(_)));
    if needs_speed && !same && machine.flame() == Flame::Lit {
        let phase = starting::SpinUp::first(machine, scan);
        let to = State::SpinningUp { errand: Errand::Continue, proof: Proof::BeforeWork, phase };
        return machine.go(to, cause);
    }
    let to = State::of_step(machine.cursor, machine, scan);
    if scan.is_parked() && machine.flame() == Flame::Lit {
        return leave_park(to, cause, machine, scan);
    }
    machine.go(to, cause)
}

/// Spindle proved, torch lit: on with the step in hand. A restart first warms a part that is too
/// cold for the step.
pub(super) fn take_up(
    errand: Errand,
    cause: Cause,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if spraying::has_no_pass_left(machine, scan) {
        return next_step(Cause::NoPassLeft, machine, scan);
    }
    let to = match (errand, scan.spray(machine.cursor)) {
        (Errand::Restart | Errand::Continue, Some(step))
            if scan.temperature().is_none_or(|part| part < step.window.low) =>
        {
            let longest = scan
                .preheat(machine.cursor)
                .map_or(LONGEST_WAIT, |preheat| preheat.longest.to_duration());
            preheating::first_state(Warming::Again, longest, scan, machine)
        }
        _ => State::of_step(machine.cursor, machine, scan),
    };
    machine.go(to, cause)
}

/// From a wait at the park, flame lit, to a state that takes the torch over the part: only with the
/// spindle at its speed still. One that has stopped meanwhile holds, and the restart proves it.
pub(super) fn leave_park(
    to: State,
    cause: Cause,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let over_the_part =
        matches!(to, State::Traversing { .. } | State::Approaching { .. } | State::Heating { .. });
    let wrong = starting::spindle_is_wrong(machine, scan);
    match wrong.filter(|_| over_the_part) {
        Some(wrong) => {
            machine.setback = Some(wrong);
            holding::begin(wrong, machine, scan)
        }
        None => machine.go(to, cause),
    }
}

/// Whether the step at a cursor works with a flame.
pub(super) fn needs_flame(cursor: Cursor, scan: &Scan<'_>) -> bool {
    matches!(scan.step(cursor), Some(Step::Preheat(_) | Step::Spray(_) | Step::Fuse(_)))
}

/// The torch a step works with, where it names one.
pub(super) fn torch_of(step: &Step) -> Option<usize> {
    match step {
        Step::Preheat(step) => Some(step.torch),
        Step::Spray(step) => Some(step.torch),
        Step::Fuse(step) => Some(step.torch),
        Step::ChangeTorch(_) | Step::Cool(_) => None,
    }
}

/// A wait that was not fulfilled in starting: back to where the errand came from. Before the
/// first flame nothing of the job has happened, so it is idle again.
pub(super) fn give_up(
    errand: Errand,
    cause: Cause,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    use super::machine::Job;
    if errand == Errand::Start && machine.flame() == Flame::Out && machine.tries == 0 {
        machine.job = Job::None;
        return machine.fall_back(State::NotReady, cause);
    }
    let shutting = cooling::Shutting::of(machine, scan);
    let spin = machine.spin(scan);
    machine.fall_back(State::HeldUnlit { shutting, spin }, cause)
}

/// Whether a deadline has passed.
pub(super) fn is_late(until: Moment, scan: &Scan<'_>) -> bool {
    scan.now >= until
}
