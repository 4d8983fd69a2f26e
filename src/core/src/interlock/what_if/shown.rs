//! What the controller is shown of the scene: the machine through its faults, as images.

use core::time::Duration;
use std::collections::VecDeque;

use super::asked::{Assumed, Assumption, Device, FaultWord, Reading, Target};
use super::world::World;
use crate::cia402::PowerState;
use crate::image::{
    Analogue, Contact, Failure, Inputs, Kind, Level, LineHealth, Signal, SpindleReading,
};
use crate::moment::Moment;
use crate::quantity::{Length, Speed, SpindleSpeed};
use crate::rig::Rig;

/// How late a slow or delayed signal is.
const LATE: Duration = Duration::from_secs(1);
/// Time constant of a slow value, s.
const SLOW: f64 = 5.0;
/// An intermittent signal changes so often.
const TURNS: Duration = Duration::from_millis(240);
/// A wrong value is off by this share of its span, or of itself for a speed.
const OFF_BY: f64 = 0.2;

/// Shows a world through faults.
#[derive(Debug, Clone)]
pub(super) struct Shown {
    /// What is assumed from the moment of the fault on.
    assumptions: Vec<Assumption>,
    /// When the fault comes; none before.
    from: Option<Moment>,
    /// The world a second ago and since, oldest first.
    past: VecDeque<World>,
    /// The world when the fault came.
    frozen: Option<World>,
    /// The last image.
    inputs: Inputs,
    fitted: Fitted,
    looks: u32,
}

/// What a rig has, and what is read of what it has not.
#[derive(Debug, Clone)]
struct Fitted {
    contacts: [Option<Level>; Contact::COUNT],
    analogues: [bool; Analogue::COUNT],
    spans: [f64; Analogue::COUNT],
    pulses_per_turn: f64,
}

impl Fitted {
    fn of(rig: &Rig) -> Self {
        let mut fitted = Self {
            contacts: [None; Contact::COUNT],
            analogues: [false; Analogue::COUNT],
            spans: [0.0; Analogue::COUNT],
            pulses_per_turn: f64::from(rig.field.tachometer.pulses_per_turn),
        };
        for spec in &rig.field.contacts {
            if let Some(slot) = fitted.contacts.get_mut(spec.tag.index()) {
                *slot = spec.input.is_none().then_some(spec.absent);
            }
        }
        for spec in &rig.field.analogues {
            let at = spec.tag.index();
            if let Some(slot) = fitted.analogues.get_mut(at) {
                *slot = spec.register.is_some();
            }
            if let Some(slot) = fitted.spans.get_mut(at) {
                *slot = spec.at_20_ma - spec.at_4_ma;
            }
        }
        fitted
    }
}

impl Shown {
    pub(super) fn new(assumptions: &[Assumption], rig: &Rig) -> Self {
        Self {
            assumptions: assumptions.to_vec(),
            from: None,
            past: VecDeque::new(),
            frozen: None,
            inputs: Inputs { lines: [LineHealth::Up; 2], ..Inputs::unknown() },
            fitted: Fitted::of(rig),
            looks: 0,
        }
    }

    /// The fault comes now.
    pub(super) fn begin(&mut self, world: &World) {
        self.from = Some(world.now);
        self.frozen = Some(world.clone());
    }

    /// The image of the world as it is now.
    pub(super) fn look(&mut self, world: &World) -> &Inputs {
        self.looks = self.looks.wrapping_add(1);
        self.past.push_back(world.clone());
        while self.past.front().is_some_and(|old| world.now.since(old.now) > LATE) {
            self.past.pop_front();
        }
        self.inputs.now = world.now;
        self.field(world);
        self.drive(world);
        self.inverter(world);
        &self.inputs
    }

    fn fault(&self, target: Target) -> Option<Assumed> {
        self.from?;
        let found = self.assumptions.iter().rev().find(|one| one.target == target);
        found.map(|one| one.assumed).filter(|assumed| *assumed != Assumed::Word(FaultWord::Ok))
    }

    fn word(&self, device: Device) -> Option<FaultWord> {
        match self.fault(Target::Device(device)) {
            Some(Assumed::Word(word)) => Some(word),
            _ => None,
        }
    }

    /// Whether an intermittent signal is dead just now. It begins dead.
    fn is_out(&self) -> bool {
        let since = self.from.map_or(Duration::ZERO, |from| self.inputs.now.since(from));
        (since.as_millis() / TURNS.as_millis()).is_multiple_of(2)
    }

    /// A level that changes without sense, the same each time it is asked for.
    const fn noise(&self) -> bool {
        self.looks.wrapping_mul(2_654_435_761) >> 27 & 1 == 1
    }

    fn late(&self) -> Option<&World> {
        self.past.front()
    }

    fn field(&mut self, world: &World) {
        let fresh = match self.word(Device::Field) {
            None => true,
            Some(FaultWord::Intermittent) => !self.is_out(),
            // What can't be read is as good as silence.
            Some(FaultWord::Off | FaultWord::Garbage) => false,
            Some(FaultWord::Stuck) => return self.fail_field(Failure::Frozen),
            Some(FaultWord::Wrong) => return self.fail_field(Failure::Refused),
            Some(FaultWord::Slow | FaultWord::Delayed | FaultWord::Ok) => {
                let Some(late) = self.late().cloned() else { return };
                return self.read_field(&late);
            }
        };
        if fresh {
            self.read_field(world);
        }
    }

    fn fail_field(&mut self, why: Failure) {
        for signal in &mut self.inputs.contacts {
            signal.kind = Kind::Failed(why);
        }
        for signal in &mut self.inputs.analogues {
            signal.kind = Kind::Failed(why);
        }
        self.inputs.spindle.kind = Kind::Failed(why);
    }

    fn read_field(&mut self, world: &World) {
        for tag in Contact::ALL {
            let absent = self.fitted.contacts.get(tag.index()).copied().flatten();
            let level = absent.unwrap_or_else(|| self.contact(*tag, world));
            if let Some(slot) = self.inputs.contacts.get_mut(tag.index()) {
                *slot = Signal::measured(level, world.now);
            }
        }
        for tag in Analogue::ALL {
            if !self.fitted.analogues.get(tag.index()).copied().unwrap_or(false) {
                continue;
            }
            let signal = self.analogue(*tag, world);
            if let Some(slot) = self.inputs.analogues.get_mut(tag.index()) {
                *slot = signal;
            }
        }
        self.inputs.spindle = self.spindle(world);
    }

    fn contact(&self, tag: Contact, world: &World) -> Level {
        let truth = world.contact(tag);
        let inverted = Level::from_bit(!truth.is_on());
        match self.fault(Target::Contact(tag)) {
            Some(Assumed::Level(level)) => level,
            Some(Assumed::Word(word)) => match word {
                FaultWord::Off => Level::Off,
                FaultWord::Stuck => self.frozen.as_ref().map_or(truth, |old| old.contact(tag)),
                FaultWord::Garbage => Level::from_bit(self.noise()),
                FaultWord::Wrong => inverted,
                FaultWord::Slow | FaultWord::Delayed => {
                    self.late().map_or(truth, |old| old.contact(tag))
                }
                FaultWord::Intermittent if self.is_out() => Level::Off,
                FaultWord::Intermittent | FaultWord::Ok => truth,
            },
            _ => truth,
        }
    }

    fn analogue(&self, tag: Analogue, world: &World) -> Signal<f64> {
        let truth = world.analogue(tag);
        let span = self.fitted.spans.get(tag.index()).copied().unwrap_or_default();
        let good = |value: f64| Signal::measured(value, world.now);
        let failed = |why| Signal::failed(truth, world.now, why);
        match self.fault(Target::Analogue(tag)) {
            Some(Assumed::Value(value)) => good(value),
            Some(Assumed::Word(word)) => match word {
                FaultWord::Off => failed(Failure::BrokenWire),
                FaultWord::Garbage => failed(Failure::Implausible),
                FaultWord::Stuck => {
                    good(self.frozen.as_ref().map_or(truth, |old| old.analogue(tag)))
                }
                FaultWord::Wrong => good(truth - OFF_BY * span),
                FaultWord::Slow => {
                    let before = self.inputs.analogue(tag).value;
                    let seconds = world.now.since(self.inputs.analogue(tag).at).as_secs_f64();
                    good(before + (truth - before) * (1.0 - (-seconds / SLOW).exp()))
                }
                FaultWord::Delayed => good(self.late().map_or(truth, |old| old.analogue(tag))),
                FaultWord::Intermittent if self.is_out() => failed(Failure::BrokenWire),
                FaultWord::Intermittent | FaultWord::Ok => good(truth),
            },
            _ => good(truth),
        }
    }

    fn spindle(&self, world: &World) -> Signal<SpindleReading> {
        let turning = |rpm: f64| {
            let measured = SpindleSpeed::from_rpm(rpm);
            // A spindle at rest has given no pulse for long.
            let missed_pulses = if rpm > 1.0 { 0.0 } else { 65_535.0 };
            let reading = SpindleReading { measured, missed_pulses, ..SpindleReading::default() };
            Signal::measured(reading, world.now)
        };
        if let Some(Assumed::Value(rpm)) = self.fault(Target::Reading(Reading::Spindle)) {
            return turning(rpm);
        }
        let Some(word) = self.word(Device::Tachometer) else { return turning(world.rpm) };
        match word {
            FaultWord::Off => self.pulses_cease(world),
            FaultWord::Intermittent if self.is_out() => self.pulses_cease(world),
            FaultWord::Garbage => {
                Signal::failed(SpindleReading::default(), world.now, Failure::Implausible)
            }
            FaultWord::Stuck => turning(self.frozen.as_ref().map_or(world.rpm, |old| old.rpm)),
            FaultWord::Wrong => turning(world.rpm * (1.0 - OFF_BY)),
            FaultWord::Slow | FaultWord::Delayed => {
                turning(self.late().map_or(world.rpm, |old| old.rpm))
            }
            FaultWord::Intermittent | FaultWord::Ok => turning(world.rpm),
        }
    }

    /// No pulse since the fault came: the speed is at most what it would be if one came now.
    fn pulses_cease(&self, world: &World) -> Signal<SpindleReading> {
        let before = self.frozen.as_ref().map_or(world.rpm, |old| old.rpm);
        let since = self.from.map_or(Duration::ZERO, |from| world.now.since(from));
        let period = 60.0 / (before.max(1e-3) * self.fitted.pulses_per_turn.max(1.0));
        let missed = since.as_secs_f64() / period;
        let rpm = if missed >= 3.0 { 0.0 } else { before / missed.max(1.0) };
        let reading = SpindleReading {
            measured: SpindleSpeed::from_rpm(rpm),
            missed_pulses: missed,
            since_pulse: since,
        };
        Signal::measured(reading, world.now)
    }

    fn drive(&mut self, world: &World) {
        let shown = match self.word(Device::Drive) {
            None | Some(FaultWord::Ok) => Some(world.clone()),
            Some(FaultWord::Off | FaultWord::Garbage) => None,
            Some(FaultWord::Intermittent) => (!self.is_out()).then(|| world.clone()),
            // Its own sample time stands still, and its driver says so.
            Some(FaultWord::Stuck) => {
                self.inputs.axis.kind = Kind::Failed(Failure::Frozen);
                None
            }
            Some(FaultWord::Wrong) => {
                let mut failed = world.clone();
                failed.axis.power = PowerState::Fault;
                failed.axis.velocity = Speed::ZERO;
                Some(failed)
            }
            Some(FaultWord::Slow | FaultWord::Delayed) => self.late().cloned(),
        };
        let Some(shown) = shown else { return };
        let mut axis = shown.axis;
        if let Some(Assumed::Value(speed)) = self.fault(Target::Reading(Reading::Carriage)) {
            axis.velocity = Speed::from_mm_per_s(speed);
        }
        if let Some(Assumed::Value(behind)) = self.fault(Target::Reading(Reading::FollowingError)) {
            axis.following_error = Length::from_mm(behind);
        }
        self.inputs.axis = Signal::measured(axis, shown.now);
    }

    fn inverter(&mut self, world: &World) {
        let (level, at) = match self.word(Device::Inverter) {
            None | Some(FaultWord::Ok | FaultWord::Stuck) => (Level::On, world.now),
            Some(FaultWord::Off | FaultWord::Garbage) => return,
            Some(FaultWord::Intermittent) if self.is_out() => return,
            Some(FaultWord::Intermittent) => (Level::On, world.now),
            Some(FaultWord::Wrong) => (Level::Off, world.now),
            Some(FaultWord::Slow | FaultWord::Delayed) => {
                (Level::On, self.late().map_or(world.now, |old| old.now))
            }
        };
        self.inputs.inverter_ok = Signal::measured(level, at);
    }
}
