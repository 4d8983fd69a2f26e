//! A crude machine for a scene: what is so, and how it follows what is asked. It knows nothing of
//! heat or deposit; it only keeps valves, flame, pressures, carriage and spindle from standing
//! still while the interlocks act, so that what follows a trip is not told as its cause.

use core::time::Duration;

use super::phase::{self, CARRIER, FUEL, OXYGEN, ScenePhase};
use crate::cia402::PowerState;
use crate::image::{
    Analogue, AxisDemand, AxisReading, Coil, Contact, Level, Outputs, Referenced, SpindleDemand,
};
use crate::moment::Moment;
use crate::quantity::{Length, Speed};
use crate::rig::Rig;

/// A flame dies so long after its fuel (arbitrary).
const FLAME_DIES: Duration = Duration::from_millis(100);
/// A valve proves shut so long after it lost its current (arbitrary).
const VALVE_SHUTS: Duration = Duration::from_millis(120);
/// A torch is lit so long after its fuel opened (arbitrary).
const LIT_AFTER: Duration = Duration::from_secs(2);
/// The watchdog relay drops so long after the last beat, and picks up with the next.
const RELAY: Duration = Duration::from_millis(300);
/// Pressures fall with this time constant, s (arbitrary).
const VENTS: f64 = 0.8;
/// How fast the spindle changes its speed, rpm/s (arbitrary).
const SPINDLE_RAMP: f64 = 60.0;
/// What the feeder takes from the hopper, g/s.
const FEED_RATE: f64 = 1.0;

/// What is physically so.
#[derive(Debug, Clone)]
pub(super) struct World {
    /// When.
    pub(super) now: Moment,
    /// The contacts.
    pub(super) contacts: [Level; Contact::COUNT],
    /// The transmitters' values.
    pub(super) analogues: [f64; Analogue::COUNT],
    /// The carriage.
    pub(super) axis: AxisReading,
    /// The spindle's speed, rpm.
    pub(super) rpm: f64,
    burns: Level,
    fuel_since: Option<Moment>,
    fuel_gone: Moment,
    oxygen_gone: Moment,
    beat: Moment,
    quick_stop: f64,
    park: Length,
    park_tolerance: Length,
}

impl World {
    /// The machine in order, as a phase finds it.
    pub(super) fn new(phase: ScenePhase, rig: &Rig) -> Self {
        let mut contacts = [Level::On; Contact::COUNT];
        for tag in [
            Contact::Flame,
            Contact::StartButton,
            Contact::ResetButton,
            Contact::AcceptButton,
            Contact::WetButton,
            Contact::BadFlameButton,
            Contact::CoatLiftingButton,
            Contact::HoldToRun,
        ] {
            put(&mut contacts, tag, Level::Off);
        }
        put(&mut contacts, Contact::Guard, phase::guard(phase, rig));
        put(&mut contacts, Contact::Flame, Level::from_bit(phase.burns()));
        let mut analogues = [0.0; Analogue::COUNT];
        for (tag, value) in [
            (Analogue::ExtractionFlow, 90.0),
            (Analogue::PartTemperature, if phase == ScenePhase::Idle { 20.0 } else { 250.0 }),
            (Analogue::FuseTemperature, if phase == ScenePhase::Fusing { 1040.0 } else { 300.0 }),
            (Analogue::HopperWeight, 1500.0),
            (Analogue::BackPressure, 0.2),
            (Analogue::OxygenInAir, 20.9),
        ] {
            put(&mut analogues, tag, value);
        }
        let at = if phase.works() { Length::from_mm(160.0) } else { rig.axis.park };
        let powered = !matches!(phase, ScenePhase::Idle | ScenePhase::Access | ScenePhase::Cooling);
        let axis = AxisReading {
            power: if powered {
                PowerState::OperationEnabled
            } else {
                PowerState::SwitchOnDisabled
            },
            position: at,
            referenced: Referenced::Yes,
            ..AxisReading::default()
        };
        let spins = phase::asks(phase, rig).spindle;
        Self {
            now: Moment::from_micros(1_000_000),
            contacts,
            analogues,
            axis,
            rpm: if spins == SpindleDemand::Stop { 0.0 } else { phase::spindle_speed(rig).rpm() },
            burns: Level::from_bit(phase.burns()),
            fuel_since: None,
            fuel_gone: Moment::START,
            oxygen_gone: Moment::START,
            beat: Moment::START,
            quick_stop: rig.axis.quick_stop.mm_per_s2().max(1.0),
            park: rig.axis.park,
            park_tolerance: rig.axis.park_tolerance,
        }
    }

    /// Time passes with these outputs on the machine.
    pub(super) fn advance(&mut self, span: Duration, outputs: &Outputs) {
        self.now = self.now + span;
        let seconds = span.as_secs_f64();
        self.gas(outputs);
        self.pressures(seconds, outputs);
        self.carriage(seconds, outputs);
        let asked = match outputs.spindle {
            SpindleDemand::Stop => 0.0,
            SpindleDemand::Turn(speed) => speed.rpm(),
        };
        let step = SPINDLE_RAMP * seconds;
        self.rpm += (asked - self.rpm).clamp(-step, step);
        put(&mut self.contacts, Contact::PartTurning, Level::from_bit(self.rpm > 1.0));
        if outputs.watchdog.is_on() {
            self.beat = self.now;
        }
        let picked_up = self.now.since(self.beat) < RELAY;
        put(&mut self.contacts, Contact::WatchdogRelay, Level::from_bit(picked_up));
        if outputs.powder.now.is_on() {
            let hopper = self.analogue(Analogue::HopperWeight) - FEED_RATE * seconds;
            put(&mut self.analogues, Analogue::HopperWeight, hopper);
        }
    }

    fn gas(&mut self, outputs: &Outputs) {
        let fuel = outputs.coil(Coil::Fuel).is_on();
        if fuel {
            self.fuel_gone = self.now;
            let since = *self.fuel_since.get_or_insert(self.now);
            if self.now.since(since) >= LIT_AFTER {
                self.burns = Level::On;
            }
        } else {
            self.fuel_since = None;
            if self.now.since(self.fuel_gone) >= FLAME_DIES {
                self.burns = Level::Off;
            }
        }
        if outputs.coil(Coil::Oxygen).is_on() {
            self.oxygen_gone = self.now;
        }
        put(&mut self.contacts, Contact::Flame, self.burns);
        let proved = |gone: Moment| Level::from_bit(self.now.since(gone) >= VALVE_SHUTS);
        let (fuel, oxygen) = (proved(self.fuel_gone), proved(self.oxygen_gone));
        put(&mut self.contacts, Contact::FuelShut, fuel);
        put(&mut self.contacts, Contact::OxygenShut, oxygen);
    }

    fn pressures(&mut self, seconds: f64, outputs: &Outputs) {
        let decay = (-seconds / VENTS).exp();
        let on = |coil: Coil| outputs.coil(coil).is_on();
        for (tag, set, open) in [
            (Analogue::FuelPressure, FUEL, on(Coil::Supply)),
            (Analogue::OxygenPressure, OXYGEN, on(Coil::Supply)),
            (Analogue::CarrierPressure, CARRIER, on(Coil::CarrierAir)),
        ] {
            let value = if open { set } else { self.analogue(tag) * decay };
            put(&mut self.analogues, tag, value);
        }
    }

    fn carriage(&mut self, seconds: f64, outputs: &Outputs) {
        let speed = self.axis.velocity.mm_per_s();
        let mut velocity = speed;
        match outputs.axis {
            AxisDemand::Off => {
                self.axis.power = PowerState::SwitchOnDisabled;
                velocity = 0.0;
            }
            AxisDemand::QuickStop => {
                self.axis.power = PowerState::QuickStopActive;
                let step = self.quick_stop * seconds;
                velocity += (-velocity).clamp(-step, step);
            }
            AxisDemand::Still | AxisDemand::Home(_) => {
                self.axis.power = PowerState::OperationEnabled;
                velocity = 0.0;
            }
            AxisDemand::Travel(travel) => {
                self.axis.power = PowerState::OperationEnabled;
                let left = (travel.to - self.axis.position).mm();
                let ramp = travel.ramp.mm_per_s2().max(1.0);
                let most = travel.at.abs().mm_per_s().min((2.0 * ramp * left.abs()).sqrt());
                let asked = if left.abs() < 0.01 { 0.0 } else { most.copysign(left) };
                let step = ramp * seconds;
                velocity += (asked - velocity).clamp(-step, step);
                if (velocity * seconds).abs() > left.abs() {
                    velocity = left / seconds.max(1e-6);
                }
            }
        }
        self.axis.velocity = Speed::from_mm_per_s(velocity);
        self.axis.position += Length::from_mm(velocity * seconds);
        let parked = (self.axis.position - self.park).abs() <= self.park_tolerance;
        put(&mut self.contacts, Contact::ParkSwitch, Level::from_bit(parked));
    }

    /// The level of a contact.
    pub(super) fn contact(&self, tag: Contact) -> Level {
        self.contacts.get(tag.index()).copied().unwrap_or_default()
    }

    /// The value of a transmitter.
    pub(super) fn analogue(&self, tag: Analogue) -> f64 {
        self.analogues.get(tag.index()).copied().unwrap_or_default()
    }
}

/// A tag of a table.
pub(super) trait Place: Copy {
    /// Its place.
    fn place(self) -> usize;
}

impl Place for Contact {
    fn place(self) -> usize {
        self.index()
    }
}

impl Place for Analogue {
    fn place(self) -> usize {
        self.index()
    }
}

fn put<T, P: Place>(table: &mut [T], tag: P, value: T) {
    if let Some(slot) = table.get_mut(tag.place()) {
        *slot = value;
    }
}
