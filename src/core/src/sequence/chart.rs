//! The state chart: states, super-states and which of them answers what.
//!
//! Outer states carry ISA-88 procedural words, inner ones the trade's. Hold, stop, abort and
//! trips are answered once, at the root, for every state; states below answer what is left.
//!
//! The diagram is a list of arrows, one a line, compared with what is observed in the tests:
//!
//! ```text
#![doc = include_str!("diagram.txt")]
//! ```

use statig::blocking::{self, IntoStateMachine, Outcome};

use crate::request::Request;

use super::cause::Cause;
use super::context::Scan;
use super::leaf::Phase;
use super::machine::Machine;
use super::state::{Flame, State};
use super::states::{
    aborting, access, fusing, holding, idle, lighting, manual, preheating, spraying, starting,
    stopping,
};

/// What the chart is told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Event {
    /// A scan: look at the inputs, make one transition if one is due.
    Scan,
    /// Name the outputs.
    Propose,
    /// A request that the gate has let through.
    Ask(Request),
    /// The devices dropped the powder edge that was due.
    PowderDropped,
    /// Withdraw in order, for a reason.
    Hold(Cause),
    /// End the job in order, for a reason.
    Stop(Cause),
    /// Remove energy, for a reason.
    Trip(Cause),
}

/// Super-states, from the inside out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Super {
    /// The inner group that ISA-88 has no word for: the trade's phase.
    Group(Phase),
    /// Everything a job does between start and its end.
    Running,
    /// Of every state: trips, hold, stop, abort and what nobody answered.
    Root,
}

impl IntoStateMachine for Machine {
    type Event<'evt> = Event;
    type Context<'ctx> = Scan<'ctx>;
    type State = State;
    type Superstate<'sub> = Super;

    fn initial() -> State {
        State::NotReady
    }

    fn after_transition(&mut self, source: &State, target: &State, scan: &mut Scan<'_>) {
        self.moved(source.leaf(), target.leaf(), scan);
    }
}

impl blocking::State<Machine> for State {
    fn call_handler(
        &mut self,
        machine: &mut Machine,
        event: &Event,
        scan: &mut Scan<'_>,
    ) -> Outcome<Self> {
        match event {
            Event::Scan => self.scan(machine, scan),
            Event::Propose => {
                self.propose(machine, scan);
                self.finish(machine, scan);
                Outcome::Handled
            }
            Event::Ask(request) => self.ask(*request, machine, scan),
            Event::PowderDropped | Event::Hold(_) | Event::Stop(_) | Event::Trip(_) => {
                Outcome::Super
            }
        }
    }

    fn superstate(&mut self) -> Option<Super> {
        Some(Super::Group(self.phase()))
    }
}

impl blocking::Superstate<Machine> for Super {
    fn call_handler(
        &mut self,
        machine: &mut Machine,
        event: &Event,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match self {
            Self::Group(Phase::Access) => match event {
                // Hands may be inside: nothing moves and nothing is energised for a hold.
                Event::Hold(cause) => access::hold(*cause, machine),
                _ => Outcome::Super,
            },
            Self::Group(_) => Outcome::Super,
            Self::Running => match event {
                Event::Hold(cause) => holding::begin(*cause, machine, scan),
                Event::Ask(Request::HoldAfterPass) => spraying::hold_after_pass(machine),
                _ => Outcome::Super,
            },
            Self::Root => machine.root(*event, scan),
        }
    }

    fn superstate(&mut self) -> Option<Self> {
        match self {
            Self::Group(phase) if phase.is_running() => Some(Self::Running),
            Self::Group(_) | Self::Running => Some(Self::Root),
            Self::Root => None,
        }
    }
}

impl State {
    fn scan(&mut self, machine: &mut Machine, scan: &mut Scan<'_>) -> Outcome<Self> {
        match self {
            Self::NotReady => idle::not_ready(machine, scan),
            Self::Ready => idle::ready(machine, scan),
            Self::Homing(homing) => homing.scan(machine, scan),
            Self::Jogging(jogging) => jogging.scan(scan),
            Self::Teaching | Self::Stopped | Self::Complete => Outcome::Handled,
            Self::Proving { until } => manual::proving(*until, machine, scan),
            Self::Checking { errand, until } => starting::checking(*errand, *until, machine, scan),
            Self::Parking { errand, until } => starting::parking(*errand, *until, machine, scan),
            Self::SpinningUp { errand, proof, phase } => phase.scan(*errand, *proof, machine, scan),
            Self::Purging(purging) => purging.scan(machine, scan),
            Self::Opening(opening) => opening.scan(machine, scan),
            Self::ConfirmingFlame(confirming) => confirming.scan(machine, scan),
            Self::Traversing { warming, toward, until } => {
                preheating::traversing(*warming, *toward, *until, machine, scan)
            }
            Self::PreheatTurning { warming, toward, until } => {
                preheating::turning(*warming, *toward, *until, machine, scan)
            }
            Self::Soaking { warming, since, until } => {
                preheating::soaking(*warming, since, *until, machine, scan)
            }
            Self::Approaching { until } => spraying::approaching(*until, machine, scan),
            Self::Crossing { start, until } => spraying::crossing(*start, *until, machine, scan),
            Self::SprayTurning { start } => spraying::turning(*start, machine, scan),
            Self::WaitingForTemperature { until } => spraying::waiting(*until, machine, scan),
            Self::Isolating(isolating) => isolating.scan(machine, scan),
            Self::Inside { until } => access::inside(*until, machine, scan),
            Self::ClosingUp { until } => access::closing_up(*until, machine, scan),
            Self::Heating { toward, place, until } => {
                fusing::heating(*toward, place, *until, machine, scan)
            }
            Self::Wetting { until } => fusing::wetting(*until, machine, scan),
            Self::FuseTurning { toward, until } => fusing::turning(*toward, *until, machine, scan),
            Self::CoolingDown(cooling) => cooling.scan(machine, scan),
            Self::Holding(holding) => holding.scan(machine, scan),
            Self::HeldLit { until, spin } => holding::held_lit(*until, *spin, machine, scan),
            Self::HeldUnlit { shutting, .. } => holding::held_unlit(shutting, machine, scan),
            Self::Restarting { flame, spin, until } => {
                holding::restarting(*flame, *spin, *until, machine, scan)
            }
            Self::Stopping(stopping) => stopping.scan(machine, scan),
            Self::Aborting(aborting) => aborting.scan(machine, scan),
            Self::Aborted(aborted) => aborted.scan(machine, scan),
        }
    }

    fn propose(&self, machine: &mut Machine, scan: &mut Scan<'_>) {
        match self {
            Self::NotReady | Self::Ready | Self::Teaching | Self::Stopped | Self::Complete => {}
            Self::Proving { .. } => manual::propose_proving(scan),
            Self::Homing(homing) => homing.propose(scan),
            Self::Jogging(jogging) => jogging.propose(scan),
            Self::Checking { .. } => starting::propose_checking(machine, scan),
            Self::Parking { .. } => starting::propose_parking(machine, scan),
            Self::SpinningUp { proof, phase, .. } => phase.propose(*proof, machine, scan),
            Self::Purging(purging) => purging.propose(machine, scan),
            Self::Opening(opening) => opening.propose(machine, scan),
            Self::ConfirmingFlame(_) => lighting::propose_confirming(machine, scan),
            Self::Traversing { toward, .. } | Self::PreheatTurning { toward, .. } => {
                preheating::propose_traversing(*toward, machine, scan);
            }
            Self::Soaking { .. } | Self::WaitingForTemperature { .. } => {
                machine.propose_waiting(scan);
            }
            Self::Approaching { .. } => spraying::propose_approaching(machine, scan),
            Self::Crossing { start, .. } => spraying::propose_crossing(*start, machine, scan),
            Self::SprayTurning { start } => spraying::propose_turning(*start, machine, scan),
            Self::Isolating(isolating) => isolating.propose(machine, scan),
            Self::Inside { .. } => access::propose_inside(scan),
            Self::ClosingUp { .. } => access::propose_closing_up(scan),
            Self::Heating { toward, place, .. } => {
                fusing::propose_heating(*toward, *place, machine, scan);
            }
            Self::FuseTurning { toward, .. } => {
                fusing::propose_heating(*toward, fusing::Place::OverBand, machine, scan);
            }
            Self::Wetting { .. } => fusing::propose_wetting(machine, scan),
            Self::CoolingDown(cooling) => cooling.propose(machine, scan),
            Self::Holding(holding) => holding.propose(machine, scan),
            Self::HeldLit { spin, .. } => holding::propose_held_lit(*spin, machine, scan),
            Self::HeldUnlit { shutting, spin } => {
                holding::propose_held_unlit(*shutting, *spin, machine, scan);
            }
            Self::Restarting { flame, spin, .. } => {
                holding::propose_restarting(*flame, *spin, machine, scan);
            }
            Self::Stopping(stopping) => stopping.propose(machine, scan),
            Self::Aborting(aborting) => aborting.propose(machine, scan),
            Self::Aborted(aborted) => aborted.propose(machine, scan),
        }
    }

    fn ask(
        &mut self,
        request: Request,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<Self> {
        match self {
            Self::NotReady | Self::Ready => idle::ask(request, machine, scan),
            Self::Homing(homing) => homing.ask(request, machine, scan),
            Self::Jogging(jogging) => jogging.ask(request, machine, scan),
            Self::Teaching | Self::Proving { .. } => manual::ask(request, machine, scan),
            Self::SpinningUp { phase, .. } => phase.ask(request, machine, scan),
            Self::Opening(opening) => opening.ask(request, machine, scan),
            Self::ConfirmingFlame(confirming) => confirming.ask(request, machine, scan),
            Self::Inside { .. } => access::ask(request, machine, scan),
            Self::Heating { .. } | Self::FuseTurning { .. } | Self::Wetting { .. } => {
                fusing::ask(request, machine, scan)
            }
            Self::CoolingDown(cooling) => cooling.ask(request, machine, scan),
            Self::HeldLit { spin, .. } => holding::ask(request, Flame::Lit, *spin, machine, scan),
            Self::HeldUnlit { spin, .. } => holding::ask(request, Flame::Out, *spin, machine, scan),
            Self::Restarting { flame, spin, .. } => {
                holding::ask_restarting(request, *flame, *spin, machine, scan)
            }
            Self::Stopped | Self::Complete => stopping::ask(request, machine),
            Self::Aborted(_) => aborting::ask(request, machine, scan),
            Self::Checking { .. }
            | Self::Parking { .. }
            | Self::Purging(_)
            | Self::Traversing { .. }
            | Self::PreheatTurning { .. }
            | Self::Soaking { .. }
            | Self::Approaching { .. }
            | Self::Crossing { .. }
            | Self::SprayTurning { .. }
            | Self::WaitingForTemperature { .. }
            | Self::Isolating(_)
            | Self::ClosingUp { .. }
            | Self::Holding(_)
            | Self::Stopping(_)
            | Self::Aborting(_) => Outcome::Super,
        }
    }
}
