//! What a check needs to know of what was so before: how long each unsafe thing has lasted, and
//! which acts there were. Worked out from outputs, plant and accepted requests alone.

use std::time::Duration;

use evenpass_core::cia402::PowerState;
use evenpass_core::image::{Analogue, AxisDemand, Coil, Contact, Referenced, SpindleDemand};
use evenpass_core::interlock::CarriageEffect;
use evenpass_core::interlock::matrix::{self, ResetRule};
use evenpass_core::moment::Moment;
use evenpass_core::request::{Origin, Request};
use evenpass_core::sequence::{Leaf, Phase};

use crate::faults::{Bad, Fault};
use crate::machine::Machine;
use crate::node::Before;
use crate::plant::Plant;
use crate::world::World;

/// A flame seen so long is proved (as the interlocks have it).
const PROVED: Duration = Duration::from_secs(1);
/// Slower than this the carriage rests, mm/s, and the spindle, rpm.
const RESTS: f64 = 0.5;

/// What a reset that came about leaned on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Reset {
    pub(crate) asked: bool,
    pub(crate) acknowledged: bool,
    pub(crate) inspected: bool,
    pub(crate) purged: bool,
}

/// How long each unsafe thing has lasted, and which acts there were.
#[derive(Debug, Clone, Default)]
pub(crate) struct Monitor {
    pub(crate) powder_unlit: Duration,
    pub(crate) powder_still: Duration,
    pub(crate) flame_for: Duration,
    pub(crate) burned: bool,
    pub(crate) fuel_after_loss: Duration,
    pub(crate) fuel_unlit: Duration,
    pub(crate) flame_on_still_part: Duration,
    pub(crate) flame_rests: Duration,
    pub(crate) gas_for: Duration,
    pub(crate) without_extraction: Duration,
    pub(crate) air_for: Duration,
    pub(crate) air_before_gas: Duration,
    pub(crate) sparks_for: Duration,
    pub(crate) spindle_asked_for: Duration,
    pub(crate) moves_in_open_guard: Duration,
    pub(crate) asked_in_open_guard: Duration,
    pub(crate) stopping_for: Duration,
    pub(crate) blind_for: Duration,
    pub(crate) unattended_for: Duration,
    /// An act at the machine since the machine last came to rest.
    pub(crate) act: bool,
    pub(crate) stop_taken: bool,
    pub(crate) jog_until: Option<Moment>,
    pub(crate) nudges: bool,
    /// The drive has had torque and its datum without a break.
    pub(crate) unbroken: bool,
    /// The same since before the trip.
    pub(crate) trusted: bool,
    pub(crate) first: Option<&'static str>,
    pub(crate) before_first: Option<&'static str>,
    /// A cause of the trip asks for an inspection.
    pub(crate) inspection: bool,
    acknowledged: bool,
    inspected: bool,
    gas_since_purge: bool,
    reset_asked: bool,
    /// The torch was not known to be clear at some time of the trip: no purge is made then, the
    /// next lighting makes it.
    unclear: bool,
    /// Purge air was asked for and not seen at some time of the trip: the same.
    airless: bool,
    /// The trip ended in this scan.
    pub(crate) reset: Option<Reset>,
}

/// The least that something lasts: it is so, and was not in the scan before.
const JUST_BEGUN: Duration = Duration::from_nanos(1);

fn lasts(counter: &mut Duration, is_so: bool, span: Duration) {
    *counter = match (is_so, *counter) {
        (false, _) => Duration::ZERO,
        (true, Duration::ZERO) => JUST_BEGUN,
        (true, lasted) => lasted + span,
    };
}

impl Monitor {
    /// Whether an inspection is asked for and has not been reported.
    pub(crate) const fn inspection_waits(&self) -> bool {
        self.inspection && !self.inspected
    }

    /// A jog renews its lease without being told.
    pub(crate) fn asked(&mut self, request: Request, origin: Origin, key: bool, now: Moment) {
        if let Request::Jog(_) = request {
            self.jog_until = Some(now);
            self.nudges = false;
            self.act |= origin != Origin::Watcher && key;
        }
    }

    /// Takes in one scan.
    pub(crate) fn follow(
        &mut self,
        world: &World,
        machine: &Machine,
        plant: &Plant,
        before: &Before,
        span: Duration,
    ) {
        self.follow_acts(machine);
        self.follow_energy(world, machine, plant, span);
        self.follow_motion(world, machine, plant, span);
        self.follow_trip(world, machine);
        let leaf = machine.sequence.leaf();
        let came_to_rest = leaf != before.situation.leaf
            && matches!(
                leaf,
                Leaf::NotReady
                    | Leaf::Ready
                    | Leaf::Stopped
                    | Leaf::Complete
                    | Leaf::Aborted
                    | Leaf::HeldUnlit
            );
        if came_to_rest {
            self.act = false;
        }
    }

    fn follow_acts(&mut self, machine: &Machine) {
        // As it is read: a key that lies has been turned, for all that a machine can know.
        let key = machine.inputs.is_on(Contact::EnablingKey, Duration::from_secs(1));
        self.stop_taken = false;
        self.reset_asked = false;
        for (request, origin) in &machine.accepted {
            let there = *origin == Origin::Machine || (*origin == Origin::Seat && key);
            if there {
                self.unattended_for = Duration::ZERO;
            }
            match request {
                Request::Stop | Request::Hold | Request::Abort => self.stop_taken = true,
                Request::Acknowledge => self.acknowledged = true,
                Request::Inspected => self.inspected = true,
                Request::Reset => self.reset_asked = true,
                Request::Nudge(_) => self.nudges = true,
                _ => {}
            }
            let starts = matches!(
                request,
                Request::Start
                    | Request::Restart
                    | Request::Accept
                    | Request::Nudge(_)
                    | Request::EnterManual
                    | Request::Wet
                    | Request::NotWet
            );
            self.act |= starts && there;
        }
    }

    fn follow_energy(&mut self, world: &World, machine: &Machine, plant: &Plant, span: Duration) {
        let outputs = &machine.outputs;
        let on = |coil| outputs.coil(coil).is_on();
        let (fuel, oxygen) = (on(Coil::Fuel), on(Coil::Oxygen));
        let gas = fuel || oxygen;
        let powder = plant.feeder.is_on();
        let rests = plant.velocity.abs() < RESTS;
        let over = plant.is_over_part(world);
        // A flame sensor that lies cannot be known: what is seen counts then.
        let lies = plant.has(world, Fault::Contact(Contact::Flame, Bad::Wrong)).is_some();
        let burns = plant.lit || lies;
        let part = world.program.part;
        let on_part = plant.position >= part.low.mm() && plant.position <= part.high.mm();
        lasts(&mut self.powder_unlit, powder && !burns, span);
        lasts(&mut self.powder_still, powder && on_part && rests, span);
        lasts(&mut self.flame_for, plant.lit, span);
        self.burned = plant.fuel && (self.burned || self.flame_for >= PROVED);
        lasts(&mut self.fuel_after_loss, plant.fuel && self.burned && !burns, span);
        lasts(&mut self.fuel_unlit, plant.fuel && !self.burned && !burns, span);
        lasts(&mut self.flame_on_still_part, plant.lit && over && plant.rpm < RESTS, span);
        lasts(&mut self.flame_rests, plant.lit && over && rests, span);
        if gas && self.gas_for == Duration::ZERO {
            self.air_before_gas = self.air_for;
        }
        lasts(&mut self.gas_for, gas, span);
        lasts(&mut self.without_extraction, plant.fuel && !plant.extraction, span);
        let asked = on(Coil::CarrierAir) && !gas && !powder;
        let seen = sees_air(machine, world);
        self.airless |= asked && !seen;
        lasts(&mut self.air_for, asked && seen, span);
        lasts(&mut self.sparks_for, on(Coil::Igniter), span);
        lasts(&mut self.spindle_asked_for, outputs.spindle != SpindleDemand::Stop, span);
        if gas || powder {
            self.gas_since_purge = true;
        } else if self.air_for >= world.program.torches[0].lighting.purge.to_duration() {
            self.gas_since_purge = false;
        }
        let blind = [Fault::FieldSilent, Fault::FieldLineDown, Fault::FieldFrozen]
            .iter()
            .any(|fault| plant.has(world, *fault).is_some());
        lasts(&mut self.blind_for, blind, span);
        let attended = !fuel || machine.sequence.phase() == Phase::Lighting;
        lasts(&mut self.unattended_for, !attended, span);
    }

    fn follow_motion(&mut self, world: &World, machine: &Machine, plant: &Plant, span: Duration) {
        let axis = machine.outputs.axis;
        let asked = matches!(axis, AxisDemand::Travel(_) | AxisDemand::Home(_));
        let open = plant.guard_open_for.is_some();
        // A contact that lies cannot be known; the wired circuit takes the torque all the same.
        let lies = plant.has(world, Fault::Contact(Contact::Guard, Bad::Wrong)).is_some();
        lasts(&mut self.asked_in_open_guard, open && asked && !lies, span);
        let moves = plant.velocity.abs() >= RESTS;
        lasts(&mut self.moves_in_open_guard, open && moves && !lies, span);
        self.unbroken = plant.power == PowerState::OperationEnabled && plant.referenced;
        let stopping = machine.verdict().tripped()
            && machine.verdict().effects.carriage == CarriageEffect::Stop
            && axis != AxisDemand::Off;
        lasts(&mut self.stopping_for, stopping, span);
        if machine.inputs.is_on(Contact::HoldToRun, Duration::from_secs(1)) {
            self.jog_until = Some(plant.now);
        }
    }

    fn follow_trip(&mut self, world: &World, machine: &Machine) {
        let verdict = machine.verdict();
        let was = self.first;
        self.first = verdict.first.as_ref().map(|first| first.key);
        // After a reset between two scans the second may find another trip.
        let again = self.reset_asked && was.is_some() && self.first.is_some() && self.first != was;
        let ended = was.is_some() && (self.first.is_none() || again);
        let begun = self.first.is_some() && (was.is_none() || again);
        self.before_first = was.filter(|_| !again);
        self.reset = ended.then_some(Reset {
            asked: self.reset_asked,
            acknowledged: self.acknowledged,
            inspected: self.inspected || !self.inspection,
            purged: !self.gas_since_purge || self.unclear || self.airless,
        });
        if begun {
            self.acknowledged = false;
            self.inspected = false;
            self.inspection = false;
            self.trusted = self.unbroken;
            self.unclear = false;
            self.airless = false;
        }
        // What was not to be made is left to the next lighting.
        self.gas_since_purge &= !(self.reset.is_some() && (self.unclear || self.airless));
        self.trusted &= self.unbroken;
        self.unclear |= !is_seen_parked(machine, world);
        let causes = verdict.first.iter().chain(&verdict.consequent);
        self.inspection |= causes
            .filter_map(|cause| matrix::row(cause.key))
            .any(|row| row.reset == ResetRule::Inspected);
    }
}

/// Whether the carrier's pressure is freshly read as what blows a hose out: 65 % of the torch's.
fn sees_air(machine: &Machine, world: &World) -> bool {
    let inputs = &machine.inputs;
    let least = 0.65 * world.program.torches[0].carrier_pressure.bar();
    let age = world.rig.field.age_budget.to_duration();
    inputs
        .analogue(Analogue::CarrierPressure)
        .trusted(inputs.now, age)
        .is_some_and(|found| found >= least)
}

/// Whether a fresh and trusted position says that the torch is at the park.
fn is_seen_parked(machine: &Machine, world: &World) -> bool {
    let (inputs, axis) = (&machine.inputs, &world.rig.axis);
    inputs.axis.trusted(inputs.now, axis.age_budget.to_duration()).is_some_and(|read| {
        read.referenced == Referenced::Yes
            && (read.position - axis.park).abs() <= axis.park_tolerance
    })
}
