//! Access: hands go inside only with gas isolated and seen to vent, spindle measured at rest and
//! the axis read back without torque.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::event::Wish;
use super::super::leaf::Leaf;
use super::super::machine::{Cursor, Machine};
use super::super::prompt::Ask;
use super::super::state::{Errand, Flame, Proof, Spin, State};
use super::super::steps::{self, is_late};
use super::cooling::Shutting;
use super::starting::SpinUp;
use super::{aborting, holding};
use crate::cia402::PowerState;
use crate::image::{Analogue, AxisDemand, Coil, Contact};
use crate::moment::Moment;
use crate::program::Step;
use crate::request::Request;

/// How long hands may be inside while a hot part stands; arbitrary, shown as it runs down.
const INSIDE_WITHIN: Duration = Duration::from_secs(600);
/// How long guard and pressure may take to come back; arbitrary.
const CLOSED_WITHIN: Duration = Duration::from_secs(60);
/// On top of the rig's time for venting: for the spindle to come to rest; arbitrary.
const REST_ALLOWANCE: Duration = Duration::from_secs(20);
/// How long isolation may be unproved with hands inside: a lost poll or two, as for a transmitter
/// (0.3 s), no more.
const UNPROVED_FOR: Duration = Duration::from_millis(300);
/// Share of the torch's set pressure that counts as back, while the interlocks' own rows are not
/// armed yet; arbitrary.
const PRESSURE_BACK: f64 = 0.7;

/// Isolating, step by step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum Isolating {
    /// The torch leaves the part, flame as it was.
    Clearing { until: Moment, flame: Flame },
    /// Gases shut, purge.
    Shutting(Shutting),
    /// Supply shut; pressures fall, spindle and axis come to rest.
    Venting { until: Moment },
}

pub(in super::super) fn first_state(machine: &Machine, scan: &Scan<'_>) -> State {
    let until = scan.now + Machine::patience_to(scan.park(), scan);
    State::Isolating(Isolating::Clearing { until, flame: machine.flame() })
}

impl Isolating {
    fn venting(scan: &Scan<'_>) -> Self {
        Self::Venting { until: scan.now + scan.figures.vented_within + REST_ALLOWANCE }
    }

    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        if let Self::Shutting(shutting) = self {
            if shutting.is_done(machine, scan) {
                *self = Self::venting(scan);
            }
            return Outcome::Handled;
        }
        match *self {
            Self::Clearing { .. } if scan.is_parked() => {
                *self =
                    Shutting::of(machine, scan).map_or_else(|| Self::venting(scan), Self::Shutting);
                Outcome::Handled
            }
            Self::Clearing { until, .. } if is_late(until, scan) => {
                machine.setback = Some(Cause::NotParked);
                holding::begin(Cause::NotParked, machine, scan)
            }
            Self::Venting { .. } if is_isolated(scan) => {
                machine.unproved_since = None;
                machine.go(State::Inside { until: scan.now + INSIDE_WITHIN }, Cause::Isolated)
            }
            Self::Venting { until } if is_late(until, scan) => {
                let to = State::HeldUnlit { shutting: None, spin: Spin::AtRest };
                machine.fall_back(to, Cause::NotIsolated)
            }
            Self::Clearing { .. } | Self::Shutting(_) | Self::Venting { .. } => Outcome::Handled,
        }
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        scan.energise(Coil::Extraction);
        match self {
            Self::Clearing { flame, .. } => {
                if *flame == Flame::Lit {
                    Machine::propose_flame(scan);
                }
                machine.propose_spin(machine.spin(scan), scan);
                Machine::propose_park(scan);
            }
            Self::Shutting(shutting) => {
                shutting.propose(machine, scan);
                machine.propose_spin(machine.spin(scan), scan);
                Machine::propose_park(scan);
            }
            Self::Venting { .. } => scan.outputs.axis = AxisDemand::Off,
        }
    }
}

/// Commanded is not enough: pressures, spindle and drive are all read back.
fn is_isolated(scan: &Scan<'_>) -> bool {
    let torqueless = scan.axis().is_some_and(|axis| {
        !matches!(
            axis.power,
            PowerState::OperationEnabled
                | PowerState::QuickStopActive
                | PowerState::FaultReactionActive
                | PowerState::Unknown
        )
    });
    torqueless && scan.is_vented() && scan.spindle_is_at_rest() && scan.is_off(Contact::Flame)
}

pub(in super::super) fn inside(
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    // Hands are inside: what was proved must stay proved, and unknown is not proved.
    if is_isolated(scan) {
        machine.unproved_since = None;
    } else {
        let since = *machine.unproved_since.get_or_insert(scan.now);
        if scan.now.since(since) >= UNPROVED_FOR {
            scan.wish(Wish::IsolationLost);
            machine.setback = Some(Cause::IsolationLost);
            return aborting::begin(Cause::IsolationLost, machine, scan);
        }
    }
    if is_late(until, scan) {
        let to = State::HeldUnlit { shutting: None, spin: Spin::AtRest };
        return machine.fall_back(to, Cause::AccessTooLong);
    }
    Outcome::Handled
}

pub(in super::super) fn propose_inside(scan: &mut Scan<'_>) {
    scan.energise(Coil::Extraction);
}

/// A hold while hands may be inside: nothing moves, nothing is energised.
pub(in super::super) fn hold(cause: Cause, machine: &mut Machine) -> Outcome<State> {
    match machine.leaf {
        Leaf::Inside | Leaf::ClosingUp => {
            machine.go(State::HeldUnlit { shutting: None, spin: Spin::AtRest }, cause)
        }
        _ => Outcome::Super,
    }
}

pub(in super::super) fn ask(
    request: Request,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    match request {
        Request::Accept => {
            if let Some(Step::ChangeTorch(torch)) = scan.step(machine.cursor) {
                machine.torch = *torch;
            }
            let until = scan.now + CLOSED_WITHIN;
            machine.go(State::ClosingUp { until }, Cause::Asked(request))
        }
        _ => Outcome::Super,
    }
}

pub(in super::super) fn closing_up(
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if scan.cell_is_proved() && pressures_are_back(machine, scan) {
        let next = Cursor { step: machine.cursor.step.saturating_add(1), pass: 0, band: 0 };
        if !steps::needs_flame(next, scan) {
            return steps::next_step(Cause::ClosedUp, machine, scan);
        }
        machine.cursor = next;
        machine.done_to = None;
        // Speed proved before any flame, as at the first start.
        let phase = SpinUp::first(machine, scan);
        let to = State::SpinningUp { errand: Errand::Continue, proof: Proof::BeforeFlame, phase };
        return machine.go(to, Cause::ClosedUp);
    }
    if is_late(until, scan) {
        let to = State::HeldUnlit { shutting: None, spin: Spin::AtRest };
        return machine.fall_back(to, Cause::NotClosedUp);
    }
    Outcome::Handled
}

fn pressures_are_back(machine: &Machine, scan: &Scan<'_>) -> bool {
    let Some(torch) = machine.torch_plan(scan) else { return false };
    let back = |tag: Analogue, set: crate::quantity::Pressure| {
        scan.value(tag).is_some_and(|bar| bar >= set.bar() * PRESSURE_BACK)
    };
    back(Analogue::FuelPressure, torch.fuel_pressure)
        && back(Analogue::OxygenPressure, torch.oxygen_pressure)
}

/// The supply opens only behind a shut guard.
pub(in super::super) fn propose_closing_up(scan: &mut Scan<'_>) {
    scan.energise(Coil::Extraction);
    if scan.cell_is_proved() {
        scan.energise(Coil::Supply);
        scan.outputs.axis = AxisDemand::Still;
    }
}

pub(in super::super) fn prompt_closing_up(
    scan: &Scan<'_>,
    until: Moment,
) -> Option<(Ask, Option<Moment>)> {
    (!scan.is_on(Contact::Guard)).then_some((Ask::ShutGuard, Some(until)))
}
