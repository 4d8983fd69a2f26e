//! Stopping: the job ends early, in order.

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::machine::{Job, Machine};
use super::super::state::{Flame, Spin, State};
use super::super::steps::is_late;
use super::cooling::{Shutting, cool_step, is_cool, shortest};
use super::holding::{Withdrawal, Withdrawn};
use crate::image::Coil;
use crate::moment::Moment;
use crate::request::Request;

/// The orderly end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Stopping {
    flame: Flame,
    spin: Spin,
    phase: Phase,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Phase {
    /// Powder off, hose emptied, torch clear.
    Withdrawing(Withdrawal),
    /// Gases shut, purge.
    Shutting(Shutting),
    /// The part turns until cool.
    Turning {
        since: Moment,
        /// When it may stand still even if the sensor cannot say that it is cool.
        until: Moment,
    },
}

/// The root's answer to a stop.
pub(in super::super) fn begin(
    cause: Cause,
    machine: &mut Machine,
    scan: &Scan<'_>,
) -> Outcome<State> {
    let phase = Phase::Withdrawing(Withdrawal::begin(machine));
    let (flame, spin) = (machine.flame(), machine.spin(scan));
    machine.job = Job::Ending;
    machine.go(State::Stopping(Stopping { flame, spin, phase }), cause)
}

impl Stopping {
    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match &mut self.phase {
            Phase::Withdrawing(withdrawal) => match withdrawal.advance(machine, scan) {
                Withdrawn::NotYet => Outcome::Handled,
                // Stuck: the gas is shut where the torch is.
                Withdrawn::Clear | Withdrawn::Stuck => {
                    self.phase = Shutting::of(machine, scan)
                        .map_or_else(|| Self::turning(machine, scan), Phase::Shutting);
                    Outcome::Handled
                }
            },
            Phase::Shutting(shutting) => {
                if shutting.is_done(machine, scan) {
                    self.phase = Self::turning(machine, scan);
                }
                Outcome::Handled
            }
            Phase::Turning { since, until } => {
                let long_enough = scan.now.since(*since) >= shortest(machine, scan);
                let cool = is_cool(machine, scan) && long_enough;
                if self.spin == Spin::AtRest || cool || is_late(*until, scan) {
                    machine.end_job(scan);
                    machine.job = Job::Ending;
                    return machine.go(State::Stopped, Cause::Cool);
                }
                Outcome::Handled
            }
        }
    }

    fn turning(machine: &Machine, scan: &Scan<'_>) -> Phase {
        let longest = cool_step(machine, scan)
            .map_or(core::time::Duration::ZERO, |step| step.longest.to_duration())
            .max(shortest(machine, scan));
        Phase::Turning { since: scan.now, until: scan.now + longest }
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        scan.energise(Coil::Extraction);
        match self.phase {
            Phase::Withdrawing(withdrawal) => {
                withdrawal.propose(self.flame, self.spin, machine, scan);
            }
            Phase::Shutting(shutting) => {
                shutting.propose(machine, scan);
                machine.propose_spin(self.spin, scan);
            }
            Phase::Turning { .. } => machine.propose_spin(self.spin, scan),
        }
    }
}

/// Leaving a job that has ended.
pub(in super::super) fn ask(request: Request, machine: &mut Machine) -> Outcome<State> {
    match request {
        Request::Reset | Request::Accept => {
            machine.job = Job::None;
            machine.go(State::NotReady, Cause::Asked(request))
        }
        _ => Outcome::Super,
    }
}
