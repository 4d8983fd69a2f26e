//! What the interlocks remember from scan to scan, and the scene they make of it.

use core::time::Duration;

use super::feed::{Feed, Hose};
use super::plant::Plant;
use super::scene::{self, AT_REST, Contacts, SPINDLE_AT_REST, Scene, on};
use super::{Limits, durations};
use crate::cia402::PowerState;
use crate::image::{
    Analogue, AxisDemand, AxisReading, Coil, Contact, Failure, Inputs, Kind, Outputs, SpindleDemand,
};
use crate::moment::Moment;
use crate::quantity::Pressure;
use crate::rig::LitBy;

/// Gas pressure has settled so long after supply and valve were opened; five time constants of
/// filling and more (arbitrary).
const PRESSURE_SETTLES: Duration = Duration::from_secs(3);
/// Carrier air has settled so long after it was turned on (arbitrary).
const CARRIER_SETTLES: Duration = Duration::from_secs(2);
/// How long a pipe may vent after a try to light that failed, with the guard still open (arbitrary,
/// a few times what a pipe takes).
const VENTING: Duration = Duration::from_secs(10);
/// The watchdog relay has picked up so long after the first beat (arbitrary).
const RELAY_PICKS_UP: Duration = Duration::from_millis(500);
/// The spindle has reached a new speed so long after it was asked (arbitrary).
const SPINDLE_SETTLES: Duration = Duration::from_secs(10);
/// A flame seen so long without a break is proved (common practice).
const FLAME_PROVES: Duration = Duration::from_secs(1);
/// The torch has swung away so long after it was asked (arbitrary).
const SWING_TAKES: Duration = Duration::from_secs(1);
/// Delay between a travel asked and a reading that shows it: scan, line and drive (arbitrary).
const TRAVEL_LATENCY: Duration = Duration::from_millis(300);

/// Since when something has been so.
#[derive(Debug, Clone, Copy, Default)]
struct Since(Option<Moment>);

impl Since {
    fn update(&mut self, is_so: bool, now: Moment) {
        self.0 = is_so.then(|| self.0.unwrap_or(now));
    }

    fn lasted(self, now: Moment) -> Duration {
        self.0.map_or(Duration::ZERO, |since| now.since(since))
    }

    fn for_at_least(self, span: Duration, now: Moment) -> bool {
        self.0.is_some_and(|since| now.since(since) >= span)
    }
}

/// How fast the carriage should be by now.
#[derive(Debug, Clone, Copy, Default)]
struct Expected {
    /// Direction of the travel: the sign of what is left.
    direction: f64,
    /// When its ramp begins to be expected.
    from: Moment,
    /// Speed expected, mm/s.
    speed: f64,
}

/// The spindle's reference and the one before it.
#[derive(Debug, Clone, Copy, Default)]
struct SpindleReference {
    now: Option<f64>,
    before: Option<f64>,
    since: Moment,
}

/// The memory.
#[derive(Debug, Clone, Default)]
pub(super) struct Memory {
    last_step: Option<Moment>,
    fuel_open: Since,
    fuel_shut: Since,
    oxygen_open: Since,
    oxygen_shut: Since,
    supply_open: Since,
    supply_shut: Since,
    carrier: Since,
    beat: Since,
    swung: Since,
    flame: Since,
    rest: Since,
    enabled: Since,
    purge: Since,
    flame_unbroken: bool,
    burning: bool,
    gas_present: bool,
    /// Gas or powder has been asked since the last purge.
    pub(super) purge_owed: bool,
    /// It could not be made, and is left to the next lighting: a reset does not wait for it.
    pub(super) purge_left: bool,
    /// The guard has been seen shut over the burning torch since fuel was opened.
    shut_over_flame: bool,
    expected: Expected,
    spindle: SpindleReference,
    fuel_set: Option<f64>,
    oxygen_set: Option<f64>,
    carrier_set: Option<f64>,
    feed: Feed,
    hose: Hose,
}

impl Memory {
    /// Whether the drive has had torque without a break up to now, with a position to trust.
    pub(super) fn enabled_without_break(&self) -> bool {
        self.enabled.0.is_some()
    }

    /// Takes in one scan and says what it shows.
    pub(super) fn update(
        &mut self,
        inputs: &Inputs,
        last: &Outputs,
        limits: &Limits,
        plant: &Plant,
    ) -> Scene {
        let now = inputs.now;
        let gap = self.last_step.map_or(Duration::ZERO, |before| now.since(before));
        self.last_step = Some(now);
        let mut scene = Scene { now, gap, ..Scene::default() };
        self.contacts(&mut scene, inputs, plant);
        self.gas(&mut scene, inputs, last, plant);
        self.axis(&mut scene, inputs, last, plant);
        self.spindle(&mut scene, inputs, last, limits, plant);
        self.place(&mut scene, last, limits, plant);
        self.powder(&mut scene, inputs, last, plant);
        self.references(&mut scene, limits);
        scene.energised = scene.gas_present
            || scene.process
            || scene.torque
            || scene.axis_asked
            || scene.spindle_asked.is_some()
            || scene.spindle.is_some_and(|spindle| spindle.measured.rpm() > SPINDLE_AT_REST)
            || on(last.coil(Coil::Igniter));
        self.beat.update(on(last.watchdog), now);
        scene.beating = self.beat.for_at_least(RELAY_PICKS_UP, now);
        scene
    }

    fn contacts(&mut self, scene: &mut Scene, inputs: &Inputs, plant: &Plant) {
        scene.contacts = Contacts::read(inputs, plant);
        for (tag, signal) in Contact::ALL.iter().zip(&inputs.contacts) {
            if plant.has_contact(*tag) {
                scene.field_known |= scene.contacts.is_known(*tag);
                scene.field_frozen |= signal.kind == Kind::Failed(Failure::Frozen);
            }
        }
        scene.flame_known = scene.contacts.is_known(Contact::Flame);
        scene.seen = scene.contacts.is_on(Contact::Flame);
        self.flame.update(scene.seen, inputs.now);
    }

    fn gas(&mut self, scene: &mut Scene, inputs: &Inputs, last: &Outputs, plant: &Plant) {
        let now = inputs.now;
        scene.fuel = on(last.coil(Coil::Fuel));
        scene.oxygen = on(last.coil(Coil::Oxygen));
        scene.supply =
            if plant.isolates { on(last.coil(Coil::Supply)) } else { scene.fuel || scene.oxygen };
        scene.powder = on(last.powder.now)
            || last.powder.next.is_some_and(|edge| on(edge.to) && edge.at <= now);
        self.fuel_open.update(scene.fuel, now);
        self.fuel_shut.update(!scene.fuel, now);
        self.oxygen_open.update(scene.oxygen, now);
        self.oxygen_shut.update(!scene.oxygen, now);
        self.supply_open.update(scene.supply, now);
        self.supply_shut.update(!scene.supply, now);
        let air = on(last.coil(Coil::CarrierAir));
        self.carrier.update(air, now);
        let dark = scene.flame_known && !scene.seen;
        self.flame_unbroken = scene.fuel || (self.flame_unbroken && !dark);
        self.burning = scene.fuel && (self.burning || self.flame.for_at_least(FLAME_PROVES, now));
        self.presence(scene, inputs, plant);
        scene.gas_present = self.gas_present;
        scene.process = scene.powder || (scene.gas_present && (scene.fuel || scene.oxygen));
        if scene.process {
            self.purge_owed = true;
            self.purge_left = false;
        }
        let shut = !scene.powder && !scene.fuel && !scene.oxygen;
        self.purge.update(air && shut && self.air_is_seen(inputs, plant), now);
        if self.purge.for_at_least(durations::PURGE, now) {
            self.purged();
        }
        scene.burning = self.burning;
        scene.heat = scene.gas_present && (scene.fuel || scene.seen);
        scene.flame_unbroken = self.flame_unbroken;
        scene.fuel_open_for = self.fuel_open.lasted(now);
        scene.fuel_shut_for = self.fuel_shut.lasted(now);
        scene.oxygen_shut_for = self.oxygen_shut.lasted(now);
        let supply_settled = self.supply_open.for_at_least(PRESSURE_SETTLES, now);
        scene.fuel_settled = supply_settled && self.fuel_open.for_at_least(PRESSURE_SETTLES, now);
        scene.oxygen_settled =
            supply_settled && self.oxygen_open.for_at_least(PRESSURE_SETTLES, now);
        scene.carrier_settled = self.carrier.for_at_least(CARRIER_SETTLES, now);
    }

    /// A coil that is on blows nothing out: air is what the carrier's transmitter shows.
    fn air_is_seen(&self, inputs: &Inputs, plant: &Plant) -> bool {
        let found = scene::value(inputs, Analogue::CarrierPressure, plant).map(Pressure::from_bar);
        let set = self.carrier_set.map(Pressure::from_bar);
        plant.purge_air.is_seen(found, set)
    }

    /// Torch and hose are clear of gas and powder.
    pub(super) fn purged(&mut self) {
        self.purge_owed = false;
        self.purge_left = false;
    }

    /// Gas is present while the supply is open, and after that until every transmitter shows the
    /// pipe vented. Without transmitters the time that venting takes must do. A valve opened
    /// behind a shut supply and a vented pipe, as in a proof test, is open to nothing.
    fn presence(&mut self, scene: &Scene, inputs: &Inputs, plant: &Plant) {
        let pipes = [Analogue::FuelPressure, Analogue::OxygenPressure];
        let reading =
            |tag| plant.has_analogue(tag).then(|| scene::value(inputs, tag, plant).map(f64::abs));
        let waited = self.supply_shut.for_at_least(plant.vents_within, inputs.now);
        let is_vented = |tag: &Analogue| match reading(*tag) {
            Some(reading) if plant.isolates => reading.is_some_and(|p| p <= plant.vented_below),
            _ => waited,
        };
        let holds_pressure =
            |tag: &Analogue| reading(*tag).flatten().is_some_and(|p| p > plant.vented_below);
        let vented = pipes.iter().all(is_vented);
        let opened = scene.fuel || scene.oxygen;
        let pressure = plant.isolates && pipes.iter().any(holds_pressure);
        if scene.supply || pressure || (opened && !vented) {
            self.gas_present = true;
        } else if vented {
            self.gas_present = false;
        }
    }

    fn axis(&mut self, scene: &mut Scene, inputs: &Inputs, last: &Outputs, plant: &Plant) {
        let now = inputs.now;
        scene.axis = scene::axis(inputs, plant);
        scene.axis_asked = last.axis != AxisDemand::Off;
        scene.travel = scene::travel(last.axis);
        scene.homing = matches!(last.axis, AxisDemand::Home(_));
        scene.torque = scene.axis.is_some_and(|axis| {
            matches!(
                axis.power,
                PowerState::OperationEnabled
                    | PowerState::QuickStopActive
                    | PowerState::FaultReactionActive
            )
        });
        scene.moving = scene.axis.is_some_and(|axis| axis.velocity.abs() >= AT_REST);
        let enabled = scene.axis.is_some_and(|axis| axis.power == PowerState::OperationEnabled)
            && scene::position(scene.axis).is_some();
        self.enabled.update(enabled, now);
        self.expect(scene, plant);
    }

    /// Follows the ramp of the travel asked: a carriage that is under half of it has stalled.
    fn expect(&mut self, scene: &mut Scene, plant: &Plant) {
        let (Some(travel), Some(axis)) = (scene.travel, scene.axis) else {
            self.expected = Expected::default();
            return;
        };
        if axis.power != PowerState::OperationEnabled {
            self.expected = Expected::default();
            return;
        }
        let left = (travel.to - axis.position).mm();
        let ramp = travel.ramp.mm_per_s2().max(plant.ramp.mm_per_s2().min(1.0));
        let direction = if left < 0.0 { -1.0 } else { 1.0 };
        if direction != self.expected.direction {
            let turning = Duration::try_from_secs_f64(axis.velocity.abs().mm_per_s() / ramp)
                .unwrap_or(Duration::ZERO);
            let from = scene.now + TRAVEL_LATENCY + turning;
            self.expected = Expected { direction, from, speed: 0.0 };
        }
        if scene.now >= self.expected.from {
            let step = ramp * scene.gap.as_secs_f64();
            let asked = travel.at.abs().mm_per_s();
            let rising = (self.expected.speed + step).min(asked);
            let braking = (2.0 * ramp * left.abs()).sqrt();
            self.expected.speed = rising.min(braking);
        }
        scene.expected_speed = self.expected.speed;
        scene.speed_toward = axis.velocity.mm_per_s() * direction;
    }

    fn spindle(
        &mut self,
        scene: &mut Scene,
        inputs: &Inputs,
        last: &Outputs,
        limits: &Limits,
        plant: &Plant,
    ) {
        scene.spindle = scene::spindle(inputs, plant);
        scene.spindle_asked = match last.spindle {
            SpindleDemand::Stop => None,
            SpindleDemand::Turn(speed) => Some(speed.rpm()),
        };
        let reference =
            scene.spindle_asked.map(|asked| limits.spindle.map_or(asked, |speed| speed.rpm()));
        if reference != self.spindle.now {
            self.spindle =
                SpindleReference { now: reference, before: self.spindle.now, since: scene.now };
        }
        let reference = self.spindle;
        scene.spindle_settled =
            reference.now.is_some() && scene.now.since(reference.since) >= SPINDLE_SETTLES;
        let before = if scene.spindle_settled { None } else { reference.before };
        let either = |pick: fn(f64, f64) -> f64| match (reference.now, before) {
            (Some(now), Some(before)) => Some(pick(now, before)),
            (now, before) => now.or(before),
        };
        scene.spindle_low = either(f64::min);
        scene.spindle_high = either(f64::max);
    }

    fn place(&mut self, scene: &mut Scene, last: &Outputs, limits: &Limits, plant: &Plant) {
        let now = scene.now;
        let place = scene::place(scene.contacts, scene.axis, limits, plant);
        self.swung.update(plant.swings && on(last.coil(Coil::SwingAway)), now);
        let swung = self.swung.for_at_least(SWING_TAKES, now);
        scene.clear = place.clear || swung;
        scene.over_part = place.over_part && !swung;
        self.rest.update(scene.heat && !scene.clear && !scene.moving, now);
        scene.rested_for = self.rest.lasted(now);
        let spindle_rests = scene.spindle_asked.is_none()
            && scene.spindle.is_some_and(|spindle| spindle.measured.rpm() <= SPINDLE_AT_REST);
        let carriage_rests = scene.travel.is_none()
            && !scene.homing
            && scene.axis.is_some_and(|axis: AxisReading| axis.velocity.abs() < AT_REST);
        // The guard may be open for lighting only: from the supply's opening until the guard has
        // been seen shut over the burning torch, and while what a failed try left still vents.
        let fuel = on(last.coil(Coil::Fuel));
        let shut = scene.contacts.is_on(Contact::Guard);
        self.shut_over_flame = fuel && (self.shut_over_flame || (shut && scene.seen));
        let lighting = on(last.coil(Coil::Supply)) || !self.supply_shut.for_at_least(VENTING, now);
        scene.lit_by_hand = plant.lit_by == LitBy::Hand
            && lighting
            && !self.shut_over_flame
            && spindle_rests
            && carriage_rests
            && place.parked
            && !scene.powder;
    }

    fn powder(&mut self, scene: &mut Scene, inputs: &Inputs, last: &Outputs, plant: &Plant) {
        let weight = scene::value(inputs, Analogue::HopperWeight, plant);
        scene.feed_share = self.feed.update(scene.now, scene.powder, weight);
        let pressure = scene::value(inputs, Analogue::BackPressure, plant);
        let air = on(last.coil(Coil::CarrierAir));
        let settled = scene.carrier_settled;
        scene.back_pressure_before = self.hose.update(air, settled, scene.powder, pressure);
    }

    /// A reference that the step leaves out keeps the value it had.
    fn references(&mut self, scene: &mut Scene, limits: &Limits) {
        self.fuel_set = limits.fuel_pressure.map(|p| p.bar()).or(self.fuel_set);
        self.oxygen_set = limits.oxygen_pressure.map(|p| p.bar()).or(self.oxygen_set);
        self.carrier_set = limits.carrier_pressure.map(|p| p.bar()).or(self.carrier_set);
        scene.fuel_set = self.fuel_set;
        scene.oxygen_set = self.oxygen_set;
        scene.carrier_set = self.carrier_set;
    }
}
