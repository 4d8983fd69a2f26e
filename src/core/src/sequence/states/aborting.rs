//! A trip. Its effects are the interlocks'; here stands what is proposed with them: powder and
//! gas off, the torch off the part if it may and can, the purge once it is clear.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::event::{Damage, Happening, PurgeHindrance, Wish};
use super::super::leaf::{Leaf, Phase as Group};
use super::super::machine::{Job, Machine, Owed, Suspect};
use super::super::state::{Spin, State};
use super::super::steps::is_late;
use super::{lighting, spraying};
use crate::cia402::PowerState;
use crate::image::{AxisDemand, Coil, Level};
use crate::interlock::{CarriageEffect, SpindleEffect, Veto, durations};
use crate::moment::Moment;
use crate::request::Request;

/// How long a moving carriage may take to come to rest; arbitrary, above any ramp.
const REST_WITHIN: Duration = Duration::from_secs(3);
/// How long the purge waits for the interlocks to give the air back; after a flashback they do
/// not, and the purge is left to the next lighting. Arbitrary.
const AIR_WITHIN: Duration = Duration::from_secs(5);
/// A cause is believed to have spoiled the coat no longer than this before it was confirmed;
/// the longest delay of a tripping row that matters to the coat is 1 s.
const LOOK_BACK: Duration = Duration::from_secs(1);

/// Rows that tell of a flame over a part that did not turn as it should.
const UNTURNED: [&str; 4] = ["spindle_stopped", "spindle_slow", "tachometer", "part_not_turning"];

/// A trip under way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Aborting {
    spin: Spin,
    phase: Phase,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Phase {
    /// To the park, inside the same uninterrupted enable.
    Retreating { until: Moment },
    /// Coming to rest where it is.
    Resting { until: Moment },
    /// Air through the torch, clear of the part.
    Purging { purge: Purge, air_until: Moment },
}

/// The purge that a reset needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Purge {
    /// To be made.
    Due {
        /// Since when air is asked for it.
        asked: Option<Moment>,
        /// Since when air is seen.
        seen: Option<Moment>,
        /// Whether the interlocks were told that it is left to the next lighting. It is made all
        /// the same once air is back and the torch is known to be clear.
        left: Level,
    },
    /// Made: told to the interlocks.
    Told,
}

impl Purge {
    const DUE: Self = Self::Due { asked: None, seen: None, left: Level::Off };

    /// Counts the time in which air is seen; tells the interlocks when the purge is made, and when
    /// it can't be.
    fn advance(&mut self, machine: &mut Machine, scan: &mut Scan<'_>) {
        let Self::Due { asked, seen, left } = self else { return };
        if machine.purge == Owed::Nothing {
            scan.wish(Wish::PurgeDone);
            *self = Self::Told;
            return;
        }
        if let Some(why) = hindrance(machine, scan) {
            (*asked, *seen) = (None, None);
            leave(why, left, scan);
            return;
        }
        if scan.verdict.effects.air_off == Veto::Imposed {
            (*asked, *seen) = (None, None);
            return;
        }
        let asked = *asked.get_or_insert(scan.now);
        if !scan.sees_air(machine.torch_plan(scan)) {
            *seen = None;
            if scan.now.since(asked) >= durations::PURGE_AIR {
                leave(PurgeHindrance::NoAir, left, scan);
            }
            return;
        }
        if scan.now.since(*seen.get_or_insert(scan.now)) < durations::PURGE {
            return;
        }
        machine.purge = Owed::Nothing;
        scan.wish(Wish::PurgeDone);
        *self = Self::Told;
    }

    /// Whether the trip need not wait for it: made, or left.
    fn is_settled(self) -> bool {
        matches!(self, Self::Told | Self::Due { left: Level::On, .. })
    }

    fn propose(self, machine: &Machine, scan: &mut Scan<'_>) {
        let due = matches!(self, Self::Due { .. }) && machine.purge == Owed::Owed;
        if due && hindrance(machine, scan).is_none() {
            scan.energise(Coil::CarrierAir);
        }
    }
}

/// Tells once that the purge is left to the next lighting, and why.
fn leave(why: PurgeHindrance, left: &mut Level, scan: &mut Scan<'_>) {
    if *left == Level::Off {
        *left = Level::On;
        scan.tell(Happening::NotPurged(why));
        scan.wish(Wish::PurgeLeft);
    }
}

/// The root's answer to a trip.
pub(in super::super) fn begin(
    cause: Cause,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let flowed = machine.feeder.level();
    machine.feeder.void();
    machine.hold_after_pass = Owed::Nothing;
    if machine.leaf == Leaf::Crossing {
        let confirmed = scan.now.before(LOOK_BACK);
        let since = scan.verdict.first.as_ref().map_or(scan.now, |first| first.since);
        spraying::lose_powder(flowed, since.max(confirmed), machine, scan);
    }
    if machine.last.coil(Coil::Fuel) == Level::On {
        machine.relight_from = scan.now + lighting::wait_before_relighting(machine, scan);
    }
    if over_the_part(machine, scan) {
        machine.suspect = Suspect::Inspect;
        tell_damage(machine, scan);
    }
    let may =
        matches!(scan.verdict.effects.carriage, CarriageEffect::Free | CarriageEffect::Retreat);
    // A trip takes a flame away and lets a way out go on; a carriage that was not asked to travel
    // is not moved for nothing.
    let travels = matches!(machine.last.axis, AxisDemand::Travel(_));
    let needed = travels || machine.last.coil(Coil::Fuel).is_on();
    let away = needed && !scan.is_parked() && machine.job != Job::None;
    let phase = if may && away && can_retreat(scan) {
        Phase::Retreating { until: scan.now + Machine::patience_to(scan.park(), scan) }
    } else {
        Phase::Resting { until: scan.now + REST_WITHIN }
    };
    let spin = machine.spin(scan);
    machine.reset = Owed::Nothing;
    machine.go(State::Aborting(Aborting { spin, phase }), cause)
}

/// A flame that was over the part, or a coat that may have been wet.
fn over_the_part(machine: &Machine, scan: &Scan<'_>) -> bool {
    let group = machine.leaf.phase();
    // A valve that is stroked to prove an interlock opens to an isolated and vented pipe.
    let burned = machine.last.coil(Coil::Fuel) == Level::On && group != Group::Manual;
    group == Group::Fusing || (burned && !scan.is_clear())
}

/// What the trip has probably done to the part, for its record.
fn tell_damage(machine: &Machine, scan: &mut Scan<'_>) {
    let Some(place) = scan.position() else { return };
    let stops = scan.verdict.effects.spindle == SpindleEffect::Stop;
    let by_spindle = scan.verdict.first.as_ref().is_some_and(|first| UNTURNED.contains(&first.key));
    let damage = match machine.leaf.phase() {
        Group::Fusing if stops => Damage::Molten,
        _ if by_spindle => Damage::Overheated,
        _ => return,
    };
    scan.tell(Happening::Spoiled { damage, place });
}

fn can_retreat(scan: &Scan<'_>) -> bool {
    scan.position().is_some()
        && scan.axis().is_some_and(|axis| axis.power == PowerState::OperationEnabled)
}

/// What stands against a purge whatever the air.
fn hindrance(machine: &Machine, scan: &Scan<'_>) -> Option<PurgeHindrance> {
    let torch = machine.torch_plan(scan);
    if torch.is_some_and(|torch| torch.carrier_may_purge == Level::Off) {
        return Some(PurgeHindrance::OxygenCarrier);
    }
    (!scan.is_clear()).then_some(PurgeHindrance::NotClear)
}

impl Aborting {
    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        give_up_spin(&mut self.spin, scan);
        match &mut self.phase {
            Phase::Retreating { until } => {
                let allowed = matches!(
                    scan.verdict.effects.carriage,
                    CarriageEffect::Free | CarriageEffect::Retreat
                );
                if !allowed || !can_retreat(scan) || scan.is_parked() || is_late(*until, scan) {
                    self.phase = Phase::Resting { until: scan.now + REST_WITHIN };
                }
                Outcome::Handled
            }
            Phase::Resting { until } => {
                if scan.at_rest() || is_late(*until, scan) {
                    let air_until = scan.now + AIR_WITHIN;
                    self.phase = Phase::Purging { purge: Purge::DUE, air_until };
                }
                Outcome::Handled
            }
            Phase::Purging { purge, air_until } => {
                purge.advance(machine, scan);
                let waits = scan.verdict.effects.air_off == Veto::Imposed;
                if purge.is_settled() || (waits && is_late(*air_until, scan)) {
                    let aborted = Aborted { spin: self.spin, purge: *purge };
                    let cause = match machine.purge {
                        Owed::Nothing => Cause::Safe,
                        Owed::Owed => Cause::SafeNotPurged,
                    };
                    return machine.go(State::Aborted(aborted), cause);
                }
                Outcome::Handled
            }
        }
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        scan.energise(Coil::Extraction);
        machine.propose_spin(self.spin, scan);
        match self.phase {
            Phase::Retreating { .. } => Machine::propose_park(scan),
            Phase::Resting { .. } => scan.outputs.axis = AxisDemand::QuickStop,
            Phase::Purging { purge, .. } => purge.propose(machine, scan),
        }
    }
}

/// What the interlocks stop is not turned again by dropping the effect.
fn give_up_spin(spin: &mut Spin, scan: &Scan<'_>) {
    if scan.verdict.effects.spindle == SpindleEffect::Stop {
        *spin = Spin::AtRest;
    }
}

/// At rest after a trip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Aborted {
    spin: Spin,
    purge: Purge,
}

impl Aborted {
    /// Waits for a reset that the gate let through and the interlocks have carried out.
    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        give_up_spin(&mut self.spin, scan);
        self.purge.advance(machine, scan);
        if machine.reset == Owed::Nothing || scan.verdict.tripped() {
            return Outcome::Handled;
        }
        machine.reset = Owed::Nothing;
        let to = match machine.job {
            Job::Begun => State::HeldUnlit { shutting: None, spin: self.spin },
            Job::Ending => State::Stopped,
            Job::None => State::NotReady,
        };
        machine.go(to, Cause::TripReset)
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        scan.energise(Coil::Extraction);
        machine.propose_spin(self.spin, scan);
        self.purge.propose(machine, scan);
    }
}

pub(in super::super) fn ask(
    request: Request,
    machine: &mut Machine,
    scan: &Scan<'_>,
) -> Outcome<State> {
    match request {
        Request::Reset => {
            machine.clear_drive_fault(scan);
            machine.reset = Owed::Owed;
            Outcome::Handled
        }
        _ => Outcome::Super,
    }
}
