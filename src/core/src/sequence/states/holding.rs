//! Holding and held: powder off, the hose emptied over the rest of the pass, the torch clear.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::event::Wish;
use super::super::leaf::Leaf;
use super::super::machine::{Machine, Owed};
use super::super::prompt::Ask;
use super::super::state::{Flame, Spin, State};
use super::super::steps::is_late;
use super::cooling::Shutting;
use super::{spraying, starting};
use crate::image::{AxisDemand, Coil, Level};
use crate::moment::Moment;
use crate::request::Request;

/// How long the flame waits at the park before it is put out (the design's figure; a longer wait
/// burns gas and heats the cell for nothing).
const LIT_FOR: Duration = Duration::from_secs(60);
/// How long a person may take to look at the surface; arbitrary.
const SURFACE_WITHIN: Duration = Duration::from_secs(600);

/// The orderly withdrawal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Holding {
    flame: Flame,
    spin: Spin,
    phase: Withdrawal,
}

/// Where it stands; an orderly stop begins with the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum Withdrawal {
    /// Powder is off from the next proposal on.
    Begun {
        /// Whether it flowed.
        flowed: Level,
        /// Whether a flame burns: without one nothing has to leave the part, and nothing moves.
        flame: Flame,
        /// Out of which state.
        out_of: Leaf,
    },
    /// What is in the hose still lands on the part: the pass goes on until it is empty.
    Emptying { until: Moment },
    /// To the park.
    Clearing { until: Moment },
}

impl Withdrawal {
    /// Turns powder off for good. What the last scan still asked counts as flowing, even if a
    /// request since then has voided it.
    pub(in super::super) fn begin(machine: &mut Machine) -> Self {
        let flows = machine.feeder.level().is_on() || machine.last.powder.now.is_on();
        let flowed = Level::from_bit(flows);
        machine.feeder.void();
        machine.hold_after_pass = Owed::Nothing;
        Self::Begun { flowed, flame: machine.flame(), out_of: machine.leaf }
    }

    fn clearing(scan: &Scan<'_>) -> Self {
        Self::Clearing { until: scan.now + Machine::patience_to(scan.park(), scan) }
    }

    /// Whether the withdrawal is over; goes from phase to phase by itself.
    pub(in super::super) fn advance(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Withdrawn {
        if let Self::Begun { flowed, flame, out_of } = *self {
            // Counted from this scan, whose proposal is the first without powder, and not from
            // the request before it.
            let empty = scan.now + spraying::emptying(machine, scan);
            // A stop that comes while a hold empties the hose goes on emptying it.
            let spraying = matches!(out_of, Leaf::Crossing | Leaf::SprayTurning | Leaf::Holding);
            if flowed.is_on() {
                machine.hose_empty_at = empty;
            }
            if out_of == Leaf::Crossing {
                spraying::lose_powder(flowed, empty, machine, scan);
            }
            if flame == Flame::Out {
                return Withdrawn::Clear;
            }
            // The hose empties over the rest of the pass, whether a hold shut it or the pass's end.
            let until = machine.hose_empty_at;
            *self = if spraying && until > scan.now {
                Self::Emptying { until }
            } else {
                Self::clearing(scan)
            };
        }
        match *self {
            Self::Begun { .. } => Withdrawn::NotYet,
            Self::Emptying { until } => {
                if is_late(until, scan) {
                    *self = Self::clearing(scan);
                }
                Withdrawn::NotYet
            }
            Self::Clearing { .. } if scan.is_parked() => Withdrawn::Clear,
            Self::Clearing { until } if is_late(until, scan) => Withdrawn::Stuck,
            Self::Clearing { .. } => Withdrawn::NotYet,
        }
    }

    pub(in super::super) fn propose(
        self,
        flame: Flame,
        spin: Spin,
        machine: &Machine,
        scan: &mut Scan<'_>,
    ) {
        scan.energise(Coil::Extraction);
        if flame == Flame::Lit {
            Machine::propose_flame(scan);
        }
        machine.propose_spin(spin, scan);
        match self {
            Self::Begun { .. } | Self::Emptying { .. } => {
                scan.outputs.axis = machine.propose_leg(scan);
            }
            Self::Clearing { .. } => Machine::propose_park(scan),
        }
    }
}

/// How a withdrawal stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in super::super) enum Withdrawn {
    /// Under way.
    NotYet,
    /// The torch is at rest at the park.
    Clear,
    /// It did not get there: gas must not burn over the part.
    Stuck,
}

/// The root's answer to a hold.
pub(in super::super) fn begin(
    cause: Cause,
    machine: &mut Machine,
    scan: &Scan<'_>,
) -> Outcome<State> {
    let phase = Withdrawal::begin(machine);
    let (flame, spin) = (machine.flame(), machine.spin(scan));
    machine.go(State::Holding(Holding { flame, spin, phase }), cause)
}

impl Holding {
    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        let spin = self.spin;
        match (self.phase.advance(machine, scan), self.flame) {
            (Withdrawn::NotYet, _) => Outcome::Handled,
            (Withdrawn::Clear, Flame::Lit) => {
                machine.go(State::HeldLit { until: scan.now + LIT_FOR, spin }, Cause::ClearLit)
            }
            (Withdrawn::Clear, Flame::Out) => unlit(spin, Cause::ClearUnlit, machine, scan),
            (Withdrawn::Stuck, _) => {
                machine.setback = Some(Cause::NotParked);
                unlit(spin, Cause::NotParked, machine, scan)
            }
        }
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        self.phase.propose(self.flame, self.spin, machine, scan);
    }
}

fn unlit(spin: Spin, cause: Cause, machine: &mut Machine, scan: &Scan<'_>) -> Outcome<State> {
    let shutting = Shutting::of(machine, scan);
    machine.go(State::HeldUnlit { shutting, spin }, cause)
}

pub(in super::super) fn held_lit(
    until: Moment,
    spin: Spin,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if is_late(until, scan) {
        return unlit(spin, Cause::FlameWaitedEnough, machine, scan);
    }
    // A flame over a torch that has drifted from the park is put out at once.
    if !scan.is_clear() {
        return unlit(spin, Cause::NotParked, machine, scan);
    }
    Outcome::Handled
}

pub(in super::super) fn propose_held_lit(spin: Spin, machine: &Machine, scan: &mut Scan<'_>) {
    Machine::propose_flame(scan);
    machine.propose_spin(spin, scan);
    Machine::propose_park(scan);
}

pub(in super::super) fn held_unlit(
    shutting: &mut Option<Shutting>,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if shutting.as_mut().is_some_and(|shutting| shutting.is_done(machine, scan)) {
        *shutting = None;
    }
    Outcome::Handled
}

pub(in super::super) fn propose_held_unlit(
    shutting: Option<Shutting>,
    spin: Spin,
    machine: &Machine,
    scan: &mut Scan<'_>,
) {
    if let Some(shutting) = shutting {
        shutting.propose(machine, scan);
    }
    machine.propose_spin(spin, scan);
}

/// Restart, after the gate has seen that nothing stands against it.
pub(in super::super) fn ask(
    request: Request,
    flame: Flame,
    spin: Spin,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if request != Request::Restart {
        return Outcome::Super;
    }
    machine.restarted_at = scan.now;
    machine.setback = None;
    // A coat that was left wet in part has set: the whole zone is heated again, band by band.
    if scan.fuse(machine.cursor).is_some() {
        machine.cursor.band = 0;
    }
    scan.wish(Wish::Restarted);
    let cause = Cause::Asked(request);
    if surface_is_old(machine, scan) {
        let until = scan.now + SURFACE_WITHIN;
        return machine.go(State::Restarting { flame, spin, until }, cause);
    }
    let to = starting::restart(flame, spin, machine, scan);
    machine.go(to, cause)
}

/// Only a surface that still gets powder matters.
fn surface_is_old(machine: &Machine, scan: &Scan<'_>) -> bool {
    let Some(program) = scan.program else { return false };
    let sprays = program
        .steps
        .iter()
        .skip(machine.cursor.step)
        .any(|step| matches!(step, crate::program::Step::Spray(_)));
    let blasted = machine.blasted_at.unwrap_or(machine.started_at);
    sprays && scan.now.since(blasted) > program.blasted_within.to_duration()
}

pub(in super::super) fn restarting(
    flame: Flame,
    spin: Spin,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if is_late(until, scan) {
        machine.setback = Some(Cause::NotAnswered);
        return back(flame, spin, machine, scan);
    }
    Outcome::Handled
}

fn back(flame: Flame, spin: Spin, machine: &mut Machine, scan: &Scan<'_>) -> Outcome<State> {
    match flame {
        Flame::Lit => {
            machine.go(State::HeldLit { until: scan.now + LIT_FOR, spin }, Cause::NotAnswered)
        }
        Flame::Out => unlit(spin, Cause::NotAnswered, machine, scan),
    }
}

pub(in super::super) fn propose_restarting(
    flame: Flame,
    spin: Spin,
    machine: &Machine,
    scan: &mut Scan<'_>,
) {
    if flame == Flame::Lit {
        Machine::propose_flame(scan);
        Machine::propose_park(scan);
    }
    machine.propose_spin(spin, scan);
}

pub(in super::super) fn ask_restarting(
    request: Request,
    flame: Flame,
    spin: Spin,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    if !matches!(request, Request::Accept | Request::BlastedNow) {
        return Outcome::Super;
    }
    // Looked at and found clean: the time counts anew from here.
    machine.blasted_at = Some(scan.now);
    let to = starting::restart(flame, spin, machine, scan);
    machine.go(to, Cause::Asked(request))
}

pub(in super::super) const fn prompt(until: Moment) -> (Ask, Option<Moment>) {
    (Ask::Surface, Some(until))
}

impl Machine {
    /// The rest of the pass, if the carriage is on one; else it stays where it is.
    pub(in super::super) fn propose_leg(&self, scan: &Scan<'_>) -> AxisDemand {
        if scan.at_rest() && scan.is_at(self.leg.from()) {
            AxisDemand::Still
        } else {
            spraying::leg_demand(self, scan)
        }
    }
}
