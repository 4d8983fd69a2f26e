//! Checks, park and spindle, before and after lighting.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::{Cause, Unproved};
use super::super::context::Scan;
use super::super::machine::{Drive, Machine};
use super::super::prompt::Ask;
use super::super::state::{Errand, Flame, Proof, Spin, State};
use super::super::steps::{self, is_late};
use super::lighting;
use crate::image::{Coil, SpindleDemand};
use crate::moment::Moment;
use crate::quantity::SpindleSpeed;
use crate::request::Request;

/// How far the measured speed may be from the one set: the trade's 5 %, common practice.
const SPEED_TOLERANCE: f64 = 0.05;
/// How long it must be that near before it counts as proved; arbitrary.
const PROVED_FOR: Duration = Duration::from_secs(1);
/// How long the spindle may take to get there; arbitrary, above a lathe's usual 3 to 5 s.
const SPEED_WITHIN: Duration = Duration::from_secs(10);
/// How long the extraction may take to come up before a person is asked to look at it; arbitrary,
/// above a fan's usual 2 to 3 s.
const EXTRACTION_COMES: Duration = Duration::from_secs(5);
/// How long a person may take to set the gear lever; arbitrary.
const LEVER_WITHIN: Duration = Duration::from_secs(600);

/// What bringing the spindle up waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum SpinUp {
    /// A person at the gear lever.
    Lever {
        /// Deadline.
        until: Moment,
    },
    /// The torch at the park and the speed.
    Speed {
        /// Since when it is right.
        right_since: Option<Moment>,
        /// Deadline.
        until: Moment,
    },
}

/// Extraction and guard, the supply still shut.
pub(in super::super) fn checking(
    errand: Errand,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some(unproved) = scan.unproved() else {
        let until = scan.now + Machine::patience_to(scan.park(), scan);
        return machine.go(State::Parking { errand, until }, Cause::Proved);
    };
    if is_late(until, scan) {
        return steps::give_up(errand, Cause::NotProved(unproved), machine, scan);
    }
    Outcome::Handled
}

/// Which of the two is missing, for whoever stands there: the guard at once, the extraction when it
/// has had its time to come up.
pub(in super::super) fn prompt_checking(
    until: Moment,
    machine: &Machine,
    scan: &Scan<'_>,
) -> Option<(Ask, Option<Moment>)> {
    let ask = match scan.unproved()? {
        Unproved::Guard | Unproved::Both => Ask::ShutGuard,
        Unproved::Extraction if scan.now.since(machine.since) < EXTRACTION_COMES => return None,
        Unproved::Extraction => Ask::ProveExtraction,
    };
    Some((ask, Some(until)))
}

pub(in super::super) fn propose_checking(machine: &Machine, scan: &mut Scan<'_>) {
    scan.energise(Coil::Extraction);
    machine.propose_spin(machine.spin(scan), scan);
}

/// To the park, no flame.
pub(in super::super) fn parking(
    errand: Errand,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if scan.is_parked() {
        let phase = SpinUp::first(machine, scan);
        let to = State::SpinningUp { errand, proof: Proof::BeforeFlame, phase };
        return machine.go(to, Cause::AtPark);
    }
    if is_late(until, scan) {
        return steps::give_up(errand, Cause::NotParked, machine, scan);
    }
    Outcome::Handled
}

pub(in super::super) fn propose_parking(machine: &Machine, scan: &mut Scan<'_>) {
    propose_checking(machine, scan);
    Machine::propose_park(scan);
}

impl SpinUp {
    /// The first phase: the lever is asked for where it may stand elsewhere.
    pub(in super::super) fn first(machine: &Machine, scan: &Scan<'_>) -> Self {
        let wanted = machine.speed(scan);
        if machine.figures.drive == Drive::Gears && machine.lever != wanted {
            Self::Lever { until: scan.now + LEVER_WITHIN }
        } else {
            Self::speed(scan)
        }
    }

    fn speed(scan: &Scan<'_>) -> Self {
        let until = scan.now + SPEED_WITHIN + Machine::patience_to(scan.park(), scan);
        Self::Speed { right_since: None, until }
    }

    pub(in super::super) fn scan(
        &mut self,
        errand: Errand,
        proof: Proof,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match self {
            Self::Lever { until } if is_late(*until, scan) => {
                steps::give_up(errand, Cause::LeverNotConfirmed, machine, scan)
            }
            Self::Lever { .. } => Outcome::Handled,
            Self::Speed { right_since, until } => {
                let Some(set) = machine.speed(scan) else {
                    return steps::give_up(errand, Cause::ProgramShort, machine, scan);
                };
                let measured = scan.spindle();
                let right = measured.is_some_and(|speed| is_near(speed, set));
                if right && scan.is_parked() {
                    let since = *right_since.get_or_insert(scan.now);
                    if scan.now.since(since) >= PROVED_FOR {
                        return proved(errand, proof, machine, scan);
                    }
                } else {
                    *right_since = None;
                }
                if is_late(*until, scan) {
                    machine.lever = None;
                    let cause = match measured {
                        None => Cause::SpindleUnknown,
                        Some(_) if right => Cause::NotParked,
                        Some(measured) => Cause::SpindleWrong { measured, set },
                    };
                    return steps::give_up(errand, cause, machine, scan);
                }
                Outcome::Handled
            }
        }
    }

    pub(in super::super) fn propose(&self, proof: Proof, machine: &Machine, scan: &mut Scan<'_>) {
        scan.energise(Coil::Extraction);
        if proof == Proof::BeforeWork {
            Machine::propose_flame(scan);
        }
        Machine::propose_park(scan);
        let burns_over_the_part = proof == Proof::BeforeWork && !scan.is_clear();
        match self {
            // Under a flame that has not left the part yet the spindle keeps its speed.
            _ if burns_over_the_part => machine.propose_spin(machine.spin(scan), scan),
            // The lever is only moved on a spindle at rest.
            Self::Lever { .. } => scan.outputs.spindle = SpindleDemand::Stop,
            Self::Speed { .. } => machine.propose_turning(scan),
        }
    }

    pub(in super::super) fn ask(
        &mut self,
        request: Request,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match (*self, request) {
            (Self::Lever { .. }, Request::Accept) => {
                machine.lever = machine.speed(scan);
                *self = Self::speed(scan);
                Outcome::Handled
            }
            _ => Outcome::Super,
        }
    }

    /// What is asked of a person.
    pub(in super::super) fn prompt(
        self,
        machine: &Machine,
        scan: &Scan<'_>,
    ) -> Option<(Ask, Option<Moment>)> {
        match self {
            Self::Lever { until } => {
                machine.speed(scan).map(|speed| (Ask::SetLever(speed), Some(until)))
            }
            Self::Speed { .. } => None,
        }
    }
}

fn is_near(measured: SpindleSpeed, set: SpindleSpeed) -> bool {
    (measured - set).abs() <= set * SPEED_TOLERANCE
}

/// What is wrong with the spindle's speed, if anything is.
pub(in super::super) fn spindle_is_wrong(machine: &Machine, scan: &Scan<'_>) -> Option<Cause> {
    let Some(set) = machine.speed(scan) else { return Some(Cause::ProgramShort) };
    match scan.spindle() {
        None => Some(Cause::SpindleUnknown),
        Some(measured) if !is_near(measured, set) => Some(Cause::SpindleWrong { measured, set }),
        Some(_) => None,
    }
}

fn proved(
    errand: Errand,
    proof: Proof,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if proof == Proof::BeforeFlame && steps::needs_flame(machine.cursor, scan) {
        let to = lighting::Purging::first_state(errand, machine, scan);
        return machine.go(to, Cause::AtSpeed);
    }
    steps::take_up(errand, Cause::AtSpeed, machine, scan)
}

/// Where a restart begins: with the spindle when the flame burns still, else with the checks.
pub(in super::super) fn restart(
    flame: Flame,
    spin: Spin,
    machine: &Machine,
    scan: &Scan<'_>,
) -> State {
    let errand = Errand::Restart;
    match (flame, spin) {
        (Flame::Lit, Spin::Turning) => State::SpinningUp {
            errand,
            proof: Proof::BeforeWork,
            phase: SpinUp::first(machine, scan),
        },
        // A flame whose part stands is put out by the checks: the speed is proved before gas.
        _ => super::idle::checking(errand, scan),
    }
}
