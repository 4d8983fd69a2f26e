//! Idle: nothing moves, nothing flows, nothing starts by itself.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::{Permitted, Scan};
use super::super::event::Wish;
use super::super::machine::{Cursor, Job, Machine, Owed, Suspect};
use super::super::state::{Errand, State};
use super::manual;
use crate::program::Rises;
use crate::request::Request;

/// How long extraction and guard may take to be proved; arbitrary.
const PROVED_WITHIN: Duration = Duration::from_secs(30);

pub(in super::super) fn not_ready(machine: &mut Machine, scan: &mut Scan<'_>) -> Outcome<State> {
    if scan.program.is_some() && scan.permitted == Permitted::Yes {
        return machine.go(State::Ready, Cause::PermissivesGiven);
    }
    Outcome::Handled
}

pub(in super::super) fn ready(machine: &mut Machine, scan: &mut Scan<'_>) -> Outcome<State> {
    if scan.program.is_none() || scan.permitted == Permitted::No {
        return machine.go(State::NotReady, Cause::PermissiveMissing);
    }
    Outcome::Handled
}

pub(in super::super) fn ask(
    request: Request,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let cause = Cause::Asked(request);
    match request {
        Request::Start => {
            machine.job = Job::Begun;
            machine.rises = Rises::default();
            machine.cursor = Cursor::default();
            machine.torch = scan
                .program
                .and_then(|program| program.steps.iter().find_map(super::super::steps::torch_of))
                .unwrap_or_default();
            machine.done_to = None;
            machine.hold_after_pass = Owed::Nothing;
            machine.tries = 0;
            machine.setback = None;
            machine.suspect = Suspect::No;
            machine.started_at = scan.now;
            machine.restarted_at = scan.now;
            scan.wish(Wish::Restarted);
            machine.lever = None;
            machine.go(checking(Errand::Start, scan), cause)
        }
        Request::Reset => {
            machine.clear_drive_fault(scan);
            Outcome::Handled
        }
        Request::Home => machine.go(manual::Homing::first_state(scan), cause),
        Request::EnterManual => machine.go(manual::Jogging::first_state(), cause),
        Request::EnterProving => machine.go(manual::proving_state(scan), cause),
        _ => Outcome::Super,
    }
}

pub(in super::super) fn checking(errand: Errand, scan: &Scan<'_>) -> State {
    State::Checking { errand, until: scan.now + PROVED_WITHIN }
}
