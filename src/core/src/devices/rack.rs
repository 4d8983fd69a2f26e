//! All lines with all devices on them.

use core::fmt;

use super::axis::Axis;
use super::field::{CoilBelief, Field, PowderCounters, RawField, Switched, Urgency};
use super::roster::{DeviceId, Devices, Job};
use super::settings::Commissioned;
use super::spindle::Spindle;
use crate::image::{Coil, Inputs, LineHealth, Outputs};
use crate::line::{Answering, BITS_MAX, COILS_MAX, Frame, Line, LineCounters, Link, REGISTERS_MAX};
use crate::moment::Moment;
use crate::rig::{LineId, Rig};

/// Why a rig's devices cannot be put on its lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RackProblem {
    /// A device names a line that the rig does not have.
    NoSuchLine(DeviceId, LineId),
    /// Two devices have the same unit address on one line.
    SameUnit(DeviceId, DeviceId),
    /// The field module's coils, inputs or registers do not fit one request, or the powder
    /// feeder or the watchdog has no coil.
    FieldDoesNotFit,
}

impl fmt::Display for RackProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchLine(device, line) => {
                write!(
                    f,
                    "the {device} is on line {}, which the rig does not have; lines count from 0 \
                     in the order of the rig file",
                    line.0
                )
            }
            Self::SameUnit(one, other) => {
                write!(
                    f,
                    "the {one} and the {other} have the same unit address on one line; give each \
                     its own, 1 to 247"
                )
            }
            Self::FieldDoesNotFit => write!(
                f,
                "the field I/O must have a coil for powder feeder and watchdog, at least one \
                 input, at most {COILS_MAX} coils, {BITS_MAX} inputs and {REGISTERS_MAX} registers \
                 from first to last"
            ),
        }
    }
}

impl core::error::Error for RackProblem {}

/// A frame to put on a line: its first byte leaves at the moment it was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Transmit {
    /// The line.
    pub line: LineId,
    /// The frame.
    pub frame: Frame,
}

/// A line and what is in flight on it.
#[derive(Debug, Clone)]
struct Slot {
    line: Line,
    job: Option<Job>,
    /// When the line wants to be woken; `None` when something has changed since it was worked
    /// out. Bytes in the middle of a frame change nothing, and there are many of them.
    wake: Option<Moment>,
}

/// All lines with all devices on them.
///
/// * Getters: [`next_wake`](Self::next_wake), [`inputs`](Self::inputs),
///   [`counters`](Self::counters), [`powder_counters`](Self::powder_counters),
///   [`coil`](Self::coil), [`raw_field`](Self::raw_field),
///   [`commissioned`](Self::commissioned), [`answering`](Self::answering).
/// * What came in: [`handle_bytes`](Self::handle_bytes), [`handle_link`](Self::handle_link),
///   [`handle_time`](Self::handle_time). A call for nothing is harmless.
/// * What the scan wants: [`demand`](Self::demand).
/// * What must go out: [`poll_transmit`](Self::poll_transmit), after each of the above and at
///   [`next_wake`](Self::next_wake), until it returns `None`; [`switched`](Self::switched).
///
/// At one and the same moment: first what came in, then the scan, then what must go out. A line
/// is down until [`handle_link`](Self::handle_link) says otherwise. Time may stand still between
/// calls but never runs backwards.
#[derive(Debug, Clone)]
pub struct Rack {
    slots: Vec<Slot>,
    devices: Devices,
    now: Moment,
}

impl Rack {
    /// The rig's lines and devices, all lines down.
    ///
    /// # Errors
    /// [`RackProblem`] when the rig's devices cannot be put on its lines.
    pub fn new(rig: &Rig) -> Result<Self, RackProblem> {
        let motor = rig.spindle.motor();
        let line_of = |device, line: LineId| {
            rig.lines.get(line.0).ok_or(RackProblem::NoSuchLine(device, line))
        };
        let field_line = line_of(DeviceId::Field, rig.field.line)?;
        let axis_line = line_of(DeviceId::Axis, rig.axis.line)?;
        let spindle_line = line_of(DeviceId::Spindle, motor.line)?;
        let places = [
            (DeviceId::Field, rig.field.line, rig.field.unit),
            (DeviceId::Axis, rig.axis.line, rig.axis.unit),
            (DeviceId::Spindle, motor.line, motor.unit),
        ];
        for (at, (one, line, unit)) in places.iter().enumerate() {
            for (other, other_line, other_unit) in places.iter().skip(at + 1) {
                if line == other_line && unit == other_unit {
                    return Err(RackProblem::SameUnit(*one, *other));
                }
            }
        }
        let slot = |spec| Slot { line: Line::new(spec), job: None, wake: None };
        Ok(Self {
            slots: rig.lines.iter().map(slot).collect(),
            devices: Devices {
                field: Field::new(&rig.field, field_line).ok_or(RackProblem::FieldDoesNotFit)?,
                field_line: rig.field.line,
                axis: Axis::new(&rig.axis, axis_line),
                axis_line: rig.axis.line,
                spindle: Spindle::new(&rig.spindle, spindle_line),
                spindle_line: motor.line,
            },
            now: Moment::START,
        })
    }

    /// Bytes that have just arrived on a line, the last of them now.
    pub fn handle_bytes(&mut self, now: Moment, line: LineId, bytes: &[u8]) {
        self.now = self.now.max(now);
        let Some(slot) = self.slots.get_mut(line.0) else { return };
        if let Some(outcome) = slot.line.handle_bytes(now, bytes) {
            self.devices.settle(slot.job.take(), &outcome);
            slot.wake = None;
        } else if slot.job.is_none() {
            // What is heard between transactions postpones the next one.
            slot.wake = None;
        }
    }

    /// A line's port came or went.
    pub fn handle_link(&mut self, now: Moment, line: LineId, link: Link) {
        self.now = self.now.max(now);
        let Some(slot) = self.slots.get_mut(line.0) else { return };
        if slot.line.link() == link {
            return;
        }
        if let Some(outcome) = slot.line.handle_link(now, link) {
            self.devices.settle(slot.job.take(), &outcome);
        }
        slot.wake = None;
        self.devices.handle_link(line);
    }

    /// Time has passed: deadlines, quarantines, edges past due.
    pub fn handle_time(&mut self, now: Moment) {
        self.now = self.now.max(now);
        for slot in &mut self.slots {
            if slot.line.next_wake() > now {
                continue;
            }
            slot.wake = None;
            if let Some(outcome) = slot.line.handle_time(now) {
                self.devices.settle(slot.job.take(), &outcome);
            }
        }
    }

    /// What a scan asks of the machine. It holds until the next scan, except the watchdog's
    /// beat, which is one edge at most for each call.
    pub fn demand(&mut self, now: Moment, outputs: &Outputs, urgency: Urgency) {
        self.now = self.now.max(now);
        self.devices.field.demand(now, outputs, urgency);
        self.devices.axis.demand(outputs);
        self.devices.spindle.demand(outputs);
        for slot in &mut self.slots {
            slot.wake = None;
        }
    }

    /// A frame whose first byte leaves now, if one is due.
    pub fn poll_transmit(&mut self, now: Moment) -> Option<Transmit> {
        self.now = self.now.max(now);
        // Deadlines first: a caller may be late, and an answer that is overdue must not wait.
        self.handle_time(now);
        self.devices.field.handle_time(now);
        for (at, slot) in self.slots.iter_mut().enumerate() {
            if slot.wake.is_some_and(|wake| wake > now) {
                continue;
            }
            let line = LineId(at);
            let (offer, wake) = {
                let ready = slot.line.ready_at();
                let schedule = self.devices.schedule(line, ready, now, slot.line.timing());
                (schedule.best(), schedule.wake().min(slot.line.next_wake()))
            };
            slot.wake = Some(wake);
            let Some(offer) = offer else { continue };
            let unit = self.devices.unit(offer.job.device());
            if let Some(frame) = slot.line.transmit(now, unit, offer.request) {
                self.devices.handle_sent(offer.job, &offer.request);
                slot.job = Some(offer.job);
                slot.wake = Some(slot.line.next_wake());
                return Some(Transmit { line, frame });
            }
        }
        None
    }

    /// When [`handle_time`](Self::handle_time) or [`poll_transmit`](Self::poll_transmit) has
    /// something to do, as things stand; a moment that has passed means now.
    #[must_use]
    pub fn next_wake(&self) -> Moment {
        let mut earliest = Moment::NEVER;
        for (at, slot) in self.slots.iter().enumerate() {
            earliest = earliest.min(slot.wake.unwrap_or_else(|| {
                let (line, ready) = (&slot.line, slot.line.ready_at());
                let schedule = self.devices.schedule(LineId(at), ready, self.now, line.timing());
                schedule.wake().min(line.next_wake())
            }));
        }
        earliest
    }

    /// Everything known, each signal with the time at which it was true at its device.
    #[must_use]
    pub fn inputs(&self, now: Moment) -> Inputs {
        let mut inputs = Inputs::unknown();
        inputs.now = now;
        self.devices.field.fill(&mut inputs);
        inputs.axis = self.devices.axis.signal();
        let contacts = inputs.spindle.at;
        inputs.inverter_ok = self.devices.spindle.ok(contacts);
        inputs.lines =
            [self.devices.field_line, self.devices.axis_line].map(|line| self.health(line));
        inputs
    }

    fn health(&self, line: LineId) -> LineHealth {
        let up = self.slots.get(line.0).is_some_and(|slot| slot.line.link() == Link::Up);
        let devices = &self.devices;
        let any = [DeviceId::Field, DeviceId::Axis, DeviceId::Spindle].into_iter().any(|device| {
            devices.line(device) == line && devices.presence(device).answering() == Answering::Yes
        });
        if up && any { LineHealth::Up } else { LineHealth::Down }
    }

    /// What happened on a line.
    #[must_use]
    pub fn counters(&self, line: LineId) -> Option<&LineCounters> {
        self.slots.get(line.0).map(|slot| slot.line.counters())
    }

    /// What became of powder edges.
    #[must_use]
    pub const fn powder_counters(&self) -> &PowderCounters {
        self.devices.field.powder_counters()
    }

    /// What the field module said last, as it was on the wire.
    #[must_use]
    pub fn raw_field(&self) -> RawField {
        self.devices.field.raw()
    }

    /// What is commanded, acknowledged and confirmed of a coil.
    #[must_use]
    pub fn coil(&self, coil: Coil) -> CoilBelief {
        self.devices.field.belief(coil)
    }

    /// Whether a device has the rig file's reaction to a silent controller.
    #[must_use]
    pub const fn commissioned(&self, device: DeviceId) -> Commissioned {
        match device {
            DeviceId::Field => self.devices.field.commissioned(),
            DeviceId::Axis => self.devices.axis.commissioned(),
            DeviceId::Spindle => self.devices.spindle.commissioned(),
        }
    }

    /// Whether a device answers.
    #[must_use]
    pub const fn answering(&self, device: DeviceId) -> Answering {
        self.devices.presence(device).answering()
    }

    /// Acknowledged changes of coils since the last call, the watchdog's apart.
    pub fn switched(&mut self) -> std::vec::Drain<'_, Switched> {
        self.devices.field.drain_switched()
    }
}
