//! Shutting the gas in the order of the torch's handbook, the purge after it, and cooling with
//! the spindle turning.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::event::{Happening, PurgeHindrance};
use super::super::machine::{Drive, Machine, Owed};
use super::super::prompt::Ask;
use super::super::state::{Flame, Spin, State};
use super::super::steps::{self, is_late};
use crate::catalogue::ShutOrder;
use crate::image::{Coil, Level};
use crate::interlock::durations;
use crate::moment::Moment;
use crate::program::{CoolStep, Program, Step};
use crate::request::Request;

/// Shutting the gas: since when, and whether the two gases keep their lag.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Shutting {
    since: Moment,
    /// Whether gas flowed when it began: without gas there is only the purge.
    gas: Flame,
    /// Since when purge air is seen with the gas shut.
    air: Option<Moment>,
}

impl Shutting {
    /// For a machine as it stands now; `None` when no gas flows and no purge is owed, or the
    /// torch is not clear: a hose is not blown out over the part, the next lighting purges it.
    pub(in super::super) fn of(machine: &Machine, scan: &Scan<'_>) -> Option<Self> {
        let gas = machine.flame();
        let purges = Self::purge(machine, scan) > Duration::ZERO;
        let purge = machine.purge == Owed::Owed && purges && scan.is_clear();
        (gas == Flame::Lit || purge).then_some(Self { since: scan.now, gas, air: None })
    }

    fn lag(self, machine: &Machine, scan: &Scan<'_>) -> Duration {
        match (self.gas, machine.torch_plan(scan)) {
            (Flame::Lit, Some(torch)) if torch.shut_order != ShutOrder::Together => {
                torch.shut_lag.to_duration()
            }
            _ => Duration::ZERO,
        }
    }

    fn purge(machine: &Machine, scan: &Scan<'_>) -> Duration {
        machine.torch_plan(scan).map_or(Duration::ZERO, |torch| match torch.carrier_may_purge {
            Level::On => torch.purge_after.to_duration(),
            Level::Off => Duration::ZERO,
        })
    }

    /// Whether gases are shut and the purge is over. Only air that is seen pays the purge owed;
    /// without it the purge is left to the next lighting, and that is told.
    pub(in super::super) fn is_done(&mut self, machine: &mut Machine, scan: &mut Scan<'_>) -> bool {
        let shut_for = scan.now.since(self.since).checked_sub(self.lag(machine, scan));
        let Some(shut_for) = shut_for else { return false };
        let purge = Self::purge(machine, scan);
        if purge.is_zero() {
            if self.gas == Flame::Lit && machine.torch_plan(scan).is_some() {
                scan.tell(Happening::NotPurged(PurgeHindrance::OxygenCarrier));
            }
            return true;
        }
        if scan.sees_air(machine.torch_plan(scan)) {
            let seen = *self.air.get_or_insert(scan.now);
            if scan.now.since(seen) >= purge {
                machine.purge = Owed::Nothing;
                return true;
            }
        } else {
            self.air = None;
        }
        let given_up = shut_for >= purge + durations::PURGE_AIR;
        if given_up {
            scan.tell(Happening::NotPurged(PurgeHindrance::NoAir));
        }
        given_up
    }

    pub(in super::super) fn propose(self, machine: &Machine, scan: &mut Scan<'_>) {
        scan.energise(Coil::Extraction);
        let lag = self.lag(machine, scan);
        let elapsed = scan.now.since(self.since);
        if elapsed < lag {
            let second = match machine.torch_plan(scan).map(|torch| torch.shut_order) {
                Some(ShutOrder::FuelFirst) => Some(Coil::Oxygen),
                Some(ShutOrder::OxygenFirst) => Some(Coil::Fuel),
                Some(ShutOrder::Together) | None => None,
            };
            if let Some(coil) = second {
                scan.energise(coil);
                scan.energise(Coil::Supply);
                scan.energise(Coil::CarrierAir);
            }
        } else if Self::purge(machine, scan) > Duration::ZERO {
            // Until it is done, by the air seen and not by the clock.
            scan.energise(Coil::CarrierAir);
        }
    }
}

/// The cool step in hand or to come: its figures hold for an early end too.
pub(in super::super) fn cool_step<'a>(machine: &Machine, scan: &Scan<'a>) -> Option<&'a CoolStep> {
    let program = scan.program?;
    let cool = |step: &'a Step| match step {
        Step::Cool(step) => Some(step),
        _ => None,
    };
    program
        .steps
        .iter()
        .skip(machine.cursor.step)
        .find_map(cool)
        .or_else(|| program.steps.iter().rev().find_map(cool))
}

/// Shortest time the part turns before its sensor is believed. Fusing counts from the moment that
/// its step is in hand: how far it came does not tell which place is hot.
pub(in super::super) fn shortest(machine: &Machine, scan: &Scan<'_>) -> Duration {
    let Some(step) = cool_step(machine, scan) else { return Duration::ZERO };
    let begun = |program: &Program| {
        let until_now = machine.cursor.step.saturating_add(1);
        program.steps.iter().take(until_now).any(|step| matches!(step, Step::Fuse(_)))
    };
    let fused = scan.program.is_some_and(begun);
    let least = if fused { step.at_least.max(step.after_fusing) } else { step.at_least };
    least.to_duration()
}

/// Whether the part is known to be below where it may stand still.
pub(in super::super) fn is_cool(machine: &Machine, scan: &Scan<'_>) -> bool {
    match (cool_step(machine, scan), scan.temperature()) {
        (Some(step), Some(part)) => part < step.turn_until,
        (None, _) => true,
        (Some(_), None) => false,
    }
}

/// Cooling down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum Cooling {
    /// The torch leaves the part, flame as it was.
    Clearing { until: Moment, flame: Flame },
    /// Gases shut, purge.
    Shutting(Shutting),
    /// The part turns until cool.
    Turning {
        since: Moment,
        /// From here on a person is asked.
        ask_from: Moment,
    },
}

pub(in super::super) fn first_state(machine: &Machine, scan: &Scan<'_>) -> State {
    let until = scan.now + Machine::patience_to(scan.park(), scan);
    State::CoolingDown(Cooling::Clearing { until, flame: machine.flame() })
}

impl Cooling {
    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        if let Self::Shutting(shutting) = self {
            if shutting.is_done(machine, scan) {
                *self = Self::turning(machine, scan);
            }
            return Outcome::Handled;
        }
        match *self {
            Self::Clearing { until, .. } if scan.is_parked() || is_late(until, scan) => {
                *self = Shutting::of(machine, scan)
                    .map_or_else(|| Self::turning(machine, scan), Self::Shutting);
                Outcome::Handled
            }
            Self::Turning { since, .. } => {
                let long_enough = scan.now.since(since) >= shortest(machine, scan);
                if long_enough && is_cool(machine, scan) {
                    return steps::next_step(Cause::Cool, machine, scan);
                }
                Outcome::Handled
            }
            Self::Clearing { .. } | Self::Shutting(_) => Outcome::Handled,
        }
    }

    fn turning(machine: &Machine, scan: &Scan<'_>) -> Self {
        let longest =
            cool_step(machine, scan).map_or(Duration::ZERO, |step| step.longest.to_duration());
        Self::Turning { since: scan.now, ask_from: scan.now + longest }
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        scan.energise(Coil::Extraction);
        machine.propose_spin(machine.spin(scan), scan);
        match self {
            // The step's own speed once the torch is clear; a lever is not moved on a turning
            // spindle.
            Self::Turning { .. } if machine.figures.drive == Drive::Inverter => {
                if machine.spin(scan) == Spin::Turning {
                    machine.propose_turning(scan);
                }
            }
            Self::Clearing { flame, .. } => {
                if *flame == Flame::Lit {
                    Machine::propose_flame(scan);
                }
                Machine::propose_park(scan);
            }
            Self::Shutting(shutting) => {
                shutting.propose(machine, scan);
                Machine::propose_park(scan);
            }
            Self::Turning { .. } => {}
        }
    }

    pub(in super::super) fn ask(
        &mut self,
        request: Request,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match request {
            Request::Accept if self.prompt(scan.now).is_some() => {
                steps::next_step(Cause::Asked(request), machine, scan)
            }
            _ => Outcome::Super,
        }
    }

    pub(in super::super) fn prompt(&self, now: Moment) -> Option<(Ask, Option<Moment>)> {
        match self {
            Self::Turning { ask_from, .. } if now >= *ask_from => Some((Ask::StillHot, None)),
            _ => None,
        }
    }
}
