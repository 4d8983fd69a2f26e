//! A machine that does what it is told, and a person who does what the prompts say: just enough
//! to drive the sequence. It shares nothing with the twin of the bench.

use std::sync::Arc;

use core::time::Duration;

use super::fixture::PARK;
use crate::cia402::PowerState;
use crate::image::{
    Analogue, AxisDemand, AxisReading, Coil, Contact, DriveEnable, Failure, Inputs, Level, Outputs,
    PowderEdge, Referenced, Signal, SpindleDemand, SpindleReading,
};
use crate::interlock::{Acknowledged, CarriageEffect, Presence, Verdict};
use crate::moment::Moment;
use crate::program::Program;
use crate::quantity::{Length, Speed, SpindleSpeed};
use crate::request::{Answer, Origin, Request};
use crate::rig::Rig;
use crate::sequence::{Ask, Cause, Event, Happening, Leaf, Phase, Sequence, Wish};

pub(super) const SCAN: Duration = Duration::from_millis(20);

/// A change of the powder coil: when, to what, and where the carriage was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Switched {
    pub(super) at: Moment,
    pub(super) to: Level,
    pub(super) carriage: f64,
}

/// Whether the person at the machine answers prompts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Person {
    Helpful,
    Absent,
}

#[derive(Clone)]
pub(super) struct Plant {
    pub(super) sequence: Sequence,
    pub(super) inputs: Inputs,
    pub(super) verdict: Verdict,
    pub(super) outputs: Outputs,
    pub(super) now: Moment,
    pub(super) missing: Vec<&'static str>,
    pub(super) person: Person,
    pub(super) events: Vec<Event>,
    pub(super) wishes: Vec<Wish>,
    pub(super) switched: Vec<Switched>,
    pub(super) position: f64,
    pub(super) velocity: f64,
    pub(super) rpm: f64,
    pub(super) gear: Option<f64>,
    pub(super) part: f64,
    pub(super) coat: f64,
    pub(super) lit: bool,
    pub(super) lights: bool,
    pub(super) frozen: bool,
    pub(super) drive_delay: Duration,
    pub(super) vents: bool,
    /// Whether the compressor runs.
    pub(super) has_air: bool,
    /// What is wrong with the fuel pressure's transmitter.
    pub(super) blind: Option<Failure>,
    pub(super) lies: bool,
    pub(super) drive_fault: bool,
    /// The drive takes its torque away, and says so.
    pub(super) lets_go: bool,
    /// The line is busy: the next ON edge is dropped, and the job held for it.
    pub(super) drops: bool,
    moves_from: Option<Moment>,
    target: f64,
    powder: Level,
    pending: Option<PowderEdge>,
    gas_since: Option<Moment>,
    pub(super) presses: Vec<(Contact, Moment)>,
    pub(super) asked: Option<(Ask, Moment)>,
    homed: bool,
    home_since: Option<Moment>,
}

impl Plant {
    pub(super) fn new(rig: &Rig) -> Self {
        let mut plant = Self {
            sequence: Sequence::new(rig),
            inputs: Inputs::unknown(),
            verdict: Verdict::default(),
            outputs: Outputs::default(),
            now: Moment::from_micros(1_000_000),
            missing: Vec::new(),
            person: Person::Helpful,
            events: Vec::new(),
            wishes: Vec::new(),
            switched: Vec::new(),
            position: PARK,
            velocity: 0.0,
            rpm: 0.0,
            gear: None,
            part: 20.0,
            coat: 20.0,
            lit: false,
            lights: true,
            frozen: false,
            drive_delay: Duration::ZERO,
            vents: true,
            has_air: true,
            blind: None,
            lies: false,
            drive_fault: false,
            lets_go: false,
            drops: false,
            moves_from: None,
            target: f64::NAN,
            powder: Level::Off,
            pending: None,
            gas_since: None,
            presses: Vec::new(),
            asked: None,
            homed: true,
            home_since: None,
        };
        for contact in Contact::ALL {
            plant.set(*contact, Level::On);
        }
        for contact in [
            Contact::Flame,
            Contact::StartButton,
            Contact::ResetButton,
            Contact::AcceptButton,
            Contact::WetButton,
            Contact::BadFlameButton,
            Contact::CoatLiftingButton,
            Contact::HoldToRun,
        ] {
            plant.set(contact, Level::Off);
        }
        plant.scan();
        plant
    }

    /// A plant with a job loaded, ready to start.
    pub(super) fn ready(rig: &Rig, program: Arc<Program>) -> Self {
        let mut plant = Self::new(rig);
        assert_eq!(plant.sequence.load(program), Answer::Accepted);
        plant.scan();
        assert_eq!(plant.leaf(), Leaf::Ready);
        plant
    }

    pub(super) fn set(&mut self, contact: Contact, level: Level) {
        self.inputs.contacts[contact.index()] = Signal::measured(level, self.now);
    }

    pub(super) fn level(&self, contact: Contact) -> Level {
        self.inputs.contacts[contact.index()].value
    }

    pub(super) fn leaf(&self) -> Leaf {
        self.sequence.leaf()
    }

    pub(super) fn ask(&mut self, request: Request) -> Answer {
        self.ask_from(request, Origin::Seat)
    }

    pub(super) fn ask_from(&mut self, request: Request, origin: Origin) -> Answer {
        let answer = self.sequence.request(self.now, request, origin, &self.inputs, &self.verdict);
        self.collect();
        answer
    }

    pub(super) fn run(&mut self, seconds: f64) {
        let end = self.now + Duration::from_secs_f64(seconds);
        while self.now < end {
            self.scan();
        }
    }

    pub(super) fn until(&mut self, leaf: Leaf, seconds: f64) {
        let end = self.now + Duration::from_secs_f64(seconds);
        while self.leaf() != leaf {
            assert!(
                self.now < end,
                "{leaf:?} was not reached in {seconds} s; in {:?} at {:.1}: {}",
                self.leaf(),
                self.position,
                self.story()
            );
            self.scan();
        }
    }

    pub(super) fn story(&self) -> String {
        let mut story = String::new();
        for event in self.events.iter().rev().take(30).rev() {
            story.push_str(&format!("\n  {} {:?}", event.at, event.what));
        }
        story
    }

    /// The transitions so far.
    pub(super) fn edges(&self) -> Vec<(Leaf, Leaf, Cause)> {
        self.events
            .iter()
            .filter_map(|event| match &event.what {
                Happening::Moved { from, to, cause } => Some((*from, *to, *cause)),
                _ => None,
            })
            .collect()
    }

    fn collect(&mut self) {
        while let Some(event) = self.sequence.take_event() {
            self.events.push(event);
        }
        while let Some(wish) = self.sequence.take_wish() {
            self.wishes.push(wish);
            match wish {
                Wish::Abort | Wish::Stalled => self.trip(CarriageEffect::Retreat),
                Wish::Acknowledge => {
                    self.verdict.acknowledged = Acknowledged::Yes;
                    self.verdict.reset_needs.clear();
                }
                Wish::Reset if self.verdict.reset_needs.is_empty() => {
                    self.verdict = Verdict::default();
                }
                Wish::Restarted | Wish::Ended => {
                    self.verdict.holds.retain(|hold| hold.present == Presence::Active);
                    if self.verdict.holds.is_empty() && !self.verdict.tripped() {
                        self.verdict.class = None;
                    }
                }
                _ => {}
            }
        }
    }

    /// One scan: the machine moves on, is read, judged and told.
    pub(super) fn scan(&mut self) {
        // Where nothing moves there is nothing to resolve inside a scan.
        let travels = matches!(self.outputs.axis, AxisDemand::Travel(_) | AxisDemand::Home(_));
        let rests = !travels && self.velocity == 0.0 && self.pending.is_none();
        let steps = if rests { 1 } else { 20 };
        for _ in 0..steps {
            let step = SCAN / steps;
            self.now = self.now + step;
            self.physics(step.as_secs_f64());
        }
        self.helper();
        self.read();
        self.outputs = self.sequence.step(&self.inputs, &self.verdict, &self.missing);
        self.collect();
        self.take_powder();
        assert_eq!(self.sequence.unanswered(), 0, "{}", self.story());
    }

    fn take_powder(&mut self) {
        let demand = self.outputs.powder;
        if demand.now == Level::Off && self.powder == Level::On {
            self.switch(Level::Off);
        }
        self.pending = demand.next;
    }

    fn switch(&mut self, to: Level) {
        if self.powder != to {
            self.powder = to;
            self.switched.push(Switched { at: self.now, to, carriage: self.position });
        }
    }

    fn physics(&mut self, dt: f64) {
        if let Some(edge) = self.pending.filter(|edge| edge.at <= self.now) {
            self.pending = None;
            if self.drops && edge.to == Level::On {
                self.drops = false;
                self.sequence.powder_dropped();
                self.hold_by_interlock(Presence::Returned);
            } else {
                self.switch(edge.to);
            }
        }
        self.axis(dt);
        let wanted = match self.outputs.spindle {
            SpindleDemand::Stop => 0.0,
            SpindleDemand::Turn(speed) => self.gear.unwrap_or(speed.rpm()),
        };
        self.rpm += (wanted - self.rpm).clamp(-100.0 * dt, 100.0 * dt);
        let gas = [Coil::Fuel, Coil::Oxygen, Coil::Supply]
            .into_iter()
            .all(|coil| self.outputs.coil(coil).is_on());
        if gas {
            let since = *self.gas_since.get_or_insert(self.now);
            if self.lights && self.now.since(since) > Duration::from_millis(500) {
                self.lit = true;
            }
        } else {
            self.gas_since = None;
            self.lit = false;
        }
        let over = self.position < 300.0;
        let part = if self.lit && over && self.part < 300.0 { 20.0 } else { -1.0 };
        self.part = (self.part + part * dt).clamp(20.0, 400.0);
        let coat = if self.lit && self.position < 180.0 { 40.0 } else { -5.0 };
        self.coat = (self.coat + coat * dt).clamp(20.0, 1100.0);
    }

    fn axis(&mut self, dt: f64) {
        let (target, ramp) = match self.outputs.axis {
            AxisDemand::Travel(travel) if !self.frozen => {
                if self.target != travel.to.mm() {
                    self.target = travel.to.mm();
                    self.moves_from = None;
                }
                let from = *self.moves_from.get_or_insert(self.now + self.drive_delay);
                if self.now < from {
                    (0.0, 100.0)
                } else {
                    let left = travel.to.mm() - self.position;
                    let ramp = travel.ramp.mm_per_s2();
                    let limit = (2.0 * ramp * left.abs()).sqrt();
                    (left.signum() * travel.at.mm_per_s().min(limit), ramp)
                }
            }
            AxisDemand::Off | AxisDemand::QuickStop => (0.0, 250.0),
            _ => (0.0, 100.0),
        };
        if !matches!(self.outputs.axis, AxisDemand::Travel(_)) {
            self.moves_from = None;
        }
        let before = self.velocity;
        self.velocity += (target - self.velocity).clamp(-ramp * dt, ramp * dt);
        self.position += 0.5 * (before + self.velocity) * dt;
        if let AxisDemand::Travel(travel) = self.outputs.axis {
            let left = travel.to.mm() - self.position;
            if left.abs() < 0.01 && self.velocity.abs() < 1.5 {
                self.position = travel.to.mm();
                self.velocity = 0.0;
            }
        }
        if let AxisDemand::Home(_) = self.outputs.axis {
            let since = *self.home_since.get_or_insert(self.now);
            self.homed = self.now.since(since) > Duration::from_secs(3);
        } else {
            self.home_since = None;
        }
    }

    fn read(&mut self) {
        let now = self.now;
        self.inputs.now = now;
        for contact in &mut self.inputs.contacts {
            contact.at = now;
        }
        self.set(Contact::Flame, Level::from_bit(self.lit || self.lies));
        let supply = self.outputs.coil(Coil::Supply).is_on();
        let gas = if supply || !self.vents { 1.0 } else { 0.0 };
        let air = self.has_air && self.outputs.coil(Coil::CarrierAir).is_on();
        for (tag, value) in [
            (Analogue::CarrierPressure, if air { 3.0 } else { 0.0 }),
            (Analogue::FuelPressure, 0.8 * gas),
            (Analogue::OxygenPressure, 2.0 * gas),
            (Analogue::PartTemperature, self.part),
            (Analogue::FuseTemperature, self.coat),
        ] {
            self.inputs.analogues[tag.index()] = Signal::measured(value, now);
        }
        if let Some(why) = self.blind {
            self.inputs.analogues[Analogue::FuelPressure.index()] = Signal::failed(0.0, now, why);
        }
        if self.outputs.drive == DriveEnable::ClearFault {
            self.drive_fault = false;
        }
        let powered = !matches!(self.outputs.axis, AxisDemand::Off) && !self.lets_go;
        let homing_attained = Level::from_bit(self.homed);
        let reading = AxisReading {
            power: match (self.drive_fault, powered) {
                (true, _) => PowerState::Fault,
                (false, true) => PowerState::OperationEnabled,
                (false, false) => PowerState::SwitchOnDisabled,
            },
            position: Length::from_mm(self.position),
            velocity: Speed::from_mm_per_s(self.velocity),
            referenced: if self.homed { Referenced::Yes } else { Referenced::No },
            homing_attained,
            ..AxisReading::default()
        };
        self.inputs.axis = Signal::measured(reading, now);
        let spindle = SpindleReading {
            measured: SpindleSpeed::from_rpm(self.rpm),
            ..SpindleReading::default()
        };
        self.inputs.spindle = Signal::measured(spindle, now);
        self.inputs.inverter_ok = Signal::measured(Level::On, now);
    }

    /// Powder edges as switched, in pairs of (to, carriage).
    pub(super) fn powder_edges(&self) -> Vec<(Level, f64)> {
        self.switched.iter().map(|edge| (edge.to, edge.carriage)).collect()
    }

    /// Energy is where a job at rest after a trip has it.
    pub(super) fn is_safe(&self) -> bool {
        !self.outputs.coil(Coil::Fuel).is_on()
            && !self.outputs.coil(Coil::Oxygen).is_on()
            && self.powder == Level::Off
            && self.velocity.abs() < 0.2
    }

    pub(super) fn unhome(&mut self) {
        self.homed = false;
        self.scan();
    }

    pub(super) fn phase(&self) -> Phase {
        self.sequence.phase()
    }
}
