//! The carriage: a drive with the power state machine of CiA 402, in homing and profile position.
//!
//! The control word says what is wanted, the echo that the drive heard it, the status word that
//! it did it; only the last one counts. A drive that was away is a stranger: its position is not
//! believed before it has been homed again, whatever motion was in force is forgotten,
//! and it gets no torque before its own reaction to a silent controller reads as the rig file
//! wants it. If this program dies, the drive makes a quick stop by that reaction.

mod drive;
mod motion;

use core::time::Duration;

use self::drive::{READ_COUNT, Sample, Scale};
use self::motion::{
    Echoed, FaultReset, Motion, Permission, STANDING, SetPoint, Situation, Wish, Write,
};
use super::lockout::{Found, Lockout};
use super::poll::Poll;
use super::settings::{Commissioned, Settings};
use super::{REFUSED_PAUSE, words};
use crate::cia402::{Command, HALT, Mode, PowerState, START};
use crate::image::{
    AxisDemand, AxisReading, DriveEnable, Failure, Level, Outputs, Referenced, Signal,
};
use crate::line::{Answer, Offer, Outcome, Presence, Rank, Reply, Request, Words};
use crate::moment::Moment;
use crate::quantity::{Acceleration, Speed};
use crate::rig::{AxisSpec, LineSpec, WordOrder};

/// Place of the profile velocity in the block that is written.
const VELOCITY_AT: u16 = 4;
/// Place of the communication time-out in that block; the reaction follows.
const SETTINGS_AT: u16 = 12;
/// Place of the homing speed in that block.
const HOMING_SPEED_AT: u16 = 14;
/// How long the drive's own clock may stand still before its readings count as frozen. Chosen:
/// between two and three reads at 40 ms, the slowest poll a carriage is sensibly given.
const FROZEN_AFTER: Duration = Duration::from_millis(100);

/// Whether the drive's word that it is referenced is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Datum {
    /// Yes.
    Believed,
    /// It was lost while it was known, and moved unseen: not before it was homed again.
    Doubted,
}

/// A transaction with the drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum AxisJob {
    Read,
    Settings,
    Write(Write),
}

/// The driver of the carriage.
#[derive(Debug, Clone)]
pub(super) struct Axis {
    pub(super) unit: u8,
    pub(super) presence: Presence,
    read_block: u16,
    write_block: u16,
    order: WordOrder,
    scale: Scale,
    quick_stop: Acceleration,
    homing_ramp: Acceleration,
    velocity_step: u32,
    poll: Poll,
    settings: Settings,
    wish: Wish,
    motion: Motion,
    control: Option<Echoed>,
    sample: Option<Sample>,
    fault_reset: FaultReset,
    enable: DriveEnable,
    datum: Datum,
    lockout: Lockout,
    writes_from: Moment,
    clock: Option<u16>,
    moved: Moment,
    reading: Signal<AxisReading>,
}

impl Axis {
    pub(super) fn new(spec: &AxisSpec, line: &LineSpec) -> Self {
        let loss = &spec.communication_loss;
        let wanted = Words::new().with(words::milliseconds(loss.after)).with(loss.reaction);
        let scale = Scale::new(spec);
        Self {
            unit: spec.unit,
            presence: Presence::new(line),
            read_block: spec.registers.read_block,
            write_block: spec.registers.write_block,
            order: spec.registers.word_order,
            scale,
            quick_stop: spec.quick_stop,
            homing_ramp: spec.ramp,
            velocity_step: scale.pulses_per_s(spec.speed_step),
            poll: Poll::new(spec.poll_every.to_duration()),
            settings: Settings::new(spec.registers.write_block.wrapping_add(SETTINGS_AT), wanted),
            wish: Wish::Off,
            motion: Motion::Nothing,
            control: None,
            sample: None,
            fault_reset: FaultReset::No,
            enable: DriveEnable::KeepFault,
            datum: Datum::Believed,
            lockout: Lockout::UntilRest,
            writes_from: Moment::START,
            clock: None,
            moved: Moment::START,
            reading: Signal::default(),
        }
    }

    pub(super) const fn commissioned(&self) -> Commissioned {
        self.settings.state()
    }

    /// What its settings are to read; empty when it has none.
    pub(super) fn settings_wanted(&self) -> &[u16] {
        self.settings.wanted()
    }

    pub(super) const fn signal(&self) -> Signal<AxisReading> {
        self.reading
    }

    /// A scan's demand. A place that is none, or lies beyond any register, is stood still for.
    pub(super) fn demand(&mut self, outputs: &Outputs) {
        let set_point = |mode, target, at: Speed, ramp: Acceleration| SetPoint {
            mode,
            target,
            velocity: self.scale.pulses_per_s(at),
            ramp: self.scale.pulses_per_s2(ramp),
        };
        let wish = match outputs.axis {
            AxisDemand::Off => Wish::Off,
            AxisDemand::QuickStop => Wish::Stopped,
            AxisDemand::Still => Wish::Still,
            AxisDemand::Travel(travel) => {
                match self.scale.target(travel.to, self.reading.value.referenced) {
                    Some(target) => {
                        Wish::Move(set_point(Mode::ProfilePosition, target, travel.at, travel.ramp))
                    }
                    None => Wish::Still,
                }
            }
            AxisDemand::Home(homing) => {
                Wish::Home(set_point(Mode::Homing, 0, homing.at, self.homing_ramp))
            }
        };
        self.wish = wish;
        if matches!(wish, Wish::Off | Wish::Stopped) {
            self.lockout = self.lockout.after_rest();
        }
        // A person's reset clears once, however many scans it is passed on in.
        self.fault_reset = match (self.enable, outputs.drive) {
            (DriveEnable::KeepFault, DriveEnable::ClearFault) => FaultReset::Wanted,
            (_, DriveEnable::KeepFault) => FaultReset::No,
            (DriveEnable::ClearFault, DriveEnable::ClearFault) => self.fault_reset,
        };
        self.enable = outputs.drive;
        // What was true of the last target says nothing of this one.
        self.refresh();
    }

    fn situation(&self) -> Situation {
        Situation {
            wish: self.wish,
            motion: self.motion,
            control: self.control,
            sample: self.sample,
            fault_reset: self.fault_reset,
            velocity_step: self.velocity_step,
            permission: if self.settings.is_agreed() && self.lockout == Lockout::Open {
                Permission::Given
            } else {
                Permission::Withheld
            },
        }
    }

    pub(super) fn request(&self, job: AxisJob) -> Option<Request> {
        let address = |place: u16| self.write_block.wrapping_add(place);
        match job {
            AxisJob::Read => {
                Some(Request::ReadHoldingRegisters { address: self.read_block, count: READ_COUNT })
            }
            AxisJob::Settings => self.settings.next(),
            AxisJob::Write(Write::Control(value)) => {
                Some(Request::WriteRegister { address: self.write_block, value })
            }
            AxisJob::Write(Write::Block(point, word)) => {
                let words = Words::new()
                    .with(word)
                    .with(point.mode.code())
                    .with_long(point.target.cast_unsigned(), self.order)
                    .with_long(point.velocity, self.order)
                    .with_long(point.ramp, self.order)
                    .with_long(point.ramp, self.order)
                    .with_long(self.scale.pulses_per_s2(self.quick_stop), self.order);
                Some(Request::WriteRegisters { address: self.write_block, words })
            }
            AxisJob::Write(Write::Velocity(velocity)) => Some(Request::WriteRegisters {
                address: address(VELOCITY_AT),
                words: Words::new().with_long(velocity, self.order),
            }),
            AxisJob::Write(Write::HomingSpeed(point)) => Some(Request::WriteRegisters {
                address: address(HOMING_SPEED_AT),
                words: Words::new().with_long(point.velocity, self.order),
            }),
        }
    }

    /// Offers everything that is wanted of the line.
    pub(super) fn offer(&self, now: Moment, mut consider: impl FnMut(Offer<AxisJob>)) {
        let from = self.presence.from();
        let mut propose = |rank, due: Moment, job| {
            if let Some(request) = self.request(job) {
                consider(Offer { rank, due: due.max(from), request, job });
            }
        };
        propose(self.poll.rank(now), self.poll.due(), AxisJob::Read);
        propose(Rank::Write, self.settings.due(), AxisJob::Settings);
        if let Some((write, due)) = self.situation().next() {
            propose(Rank::Write, due.max(self.writes_from), AxisJob::Write(write));
        }
    }

    /// A transaction ended.
    pub(super) fn handle_outcome(&mut self, job: AxisJob, outcome: &Outcome<'_>) {
        match (job, &outcome.answer) {
            (AxisJob::Settings, answer) => self.settings.handle(answer, outcome.ended),
            (AxisJob::Read, Answer::Missed(_)) => self.poll.handle_miss(outcome.ended),
            (AxisJob::Read, Answer::Refused(_)) => {
                self.poll.handle_answer(outcome.ended);
                self.sample = None;
                self.reading =
                    Signal::failed(self.reading.value, outcome.sampled, Failure::Refused);
            }
            (AxisJob::Read, Answer::Given(reply)) => {
                self.poll.handle_answer(outcome.ended);
                if let Reply::Registers(registers) = reply
                    && let Some(sample) = Sample::read(registers, self.order, outcome.sampled)
                {
                    self.handle_sample(sample);
                }
            }
            (AxisJob::Write(write), Answer::Given(_)) => self.handle_echo(write, outcome.ended),
            // A write that was missed or refused is still wanted: the next decision makes it
            // again. All of them are absolute, so hearing one twice moves nothing twice.
            (AxisJob::Write(write), Answer::Missed(_)) => self.handle_miss(write, outcome.ended),
            (AxisJob::Write(_), Answer::Refused(_)) => {
                self.writes_from = outcome.ended + REFUSED_PAUSE;
            }
        }
    }

    /// The drive echoed a write: it heard it.
    fn handle_echo(&mut self, write: Write, at: Moment) {
        match write {
            Write::Control(word) => self.handle_control(word, at),
            Write::Block(point, word) => {
                self.control = Some(Echoed { word, at });
                self.motion = Motion::Loaded(point);
            }
            Write::HomingSpeed(point) => self.motion = Motion::Prepared(point),
            Write::Velocity(velocity) => {
                if let Motion::Running(point, since) = self.motion {
                    self.motion = Motion::Running(SetPoint { velocity, ..point }, since);
                }
            }
        }
    }

    /// Nobody knows whether the drive heard a write. Its status word may still tell: a set-point
    /// whose start was heard is confirmed by bit 12.
    fn handle_miss(&mut self, write: Write, at: Moment) {
        self.poll.hurry(at);
        match (write, self.motion) {
            (Write::Control(word), Motion::Loaded(point)) if word & START != 0 => {
                self.control = None;
                self.motion = Motion::Offered(point, at);
            }
            (Write::Control(_) | Write::Block(..), _) => self.control = None,
            (Write::Velocity(_) | Write::HomingSpeed(_), _) => {}
        }
    }

    fn handle_control(&mut self, word: u16, at: Moment) {
        self.control = Some(Echoed { word, at });
        if word == Command::FaultReset.word() {
            self.fault_reset = FaultReset::No;
        }
        let under_torque = word & STANDING & !HALT == STANDING & !HALT;
        self.motion = match self.motion {
            _ if !under_torque || word & HALT != 0 => Motion::Nothing,
            Motion::Loaded(point) | Motion::Prepared(point) if word & START != 0 => {
                Motion::Offered(point, at)
            }
            motion => motion,
        };
    }

    /// The drive's status word confirms, or does not.
    fn handle_sample(&mut self, sample: Sample) {
        if self.clock != Some(sample.time) {
            self.clock = Some(sample.time);
            self.moved = sample.at;
        }
        self.sample = Some(sample);
        self.lockout = match sample.status.power() {
            PowerState::Fault | PowerState::FaultReactionActive => Lockout::UntilRest,
            power => self.lockout.after_return(match power {
                PowerState::OperationEnabled => Found::AtWork,
                _ => Found::AtRest,
            }),
        };
        if let Motion::Offered(point, _) = self.motion {
            let taken = match point.mode {
                Mode::ProfilePosition => sample.status.acknowledged(),
                // Homing has no acknowledge bit of its own; the mode displayed stands for it.
                Mode::Homing => true,
            };
            if sample.in_mode(point.mode) && taken {
                self.motion = Motion::Running(point, sample.at);
            }
        }
        self.refresh();
    }

    /// Makes the reading anew from the last sample and what is in force.
    fn refresh(&mut self) {
        let Some(sample) = self.sample else { return };
        let status = sample.status;
        let running = |mode| match (self.motion, self.wish) {
            (Motion::Running(point, since), Wish::Move(wanted) | Wish::Home(wanted)) => {
                point.mode == mode
                    && point.target == wanted.target
                    && wanted.mode == mode
                    && sample.in_mode(mode)
                    && sample.at >= since
            }
            _ => false,
        };
        let attained = running(Mode::Homing) && status.acknowledged();
        if attained && sample.homed == 1 {
            self.datum = Datum::Believed;
        }
        let reading = AxisReading {
            power: status.power(),
            position: self.scale.position(sample.position),
            velocity: self.scale.speed(sample.velocity),
            following_error: self.scale.length(sample.following_error),
            referenced: match (sample.homed, self.datum) {
                (1, Datum::Believed) => Referenced::Yes,
                _ => Referenced::No,
            },
            fault_code: sample.fault_code,
            arrived: Level::from_bit(running(Mode::ProfilePosition) && status.target_reached()),
            homing_attained: Level::from_bit(attained),
            homing_failed: Level::from_bit(running(Mode::Homing) && status.failed()),
        };
        self.reading = if sample.at.since(self.moved) >= FROZEN_AFTER {
            Signal::failed(reading, sample.at, Failure::Frozen)
        } else {
            Signal::measured(reading, sample.at)
        };
    }

    /// The drive was away or the port was: it is a stranger.
    pub(super) fn forget(&mut self) {
        if self.sample.is_some() {
            self.datum = Datum::Doubted;
        }
        self.motion = Motion::Nothing;
        self.control = None;
        self.sample = None;
        self.fault_reset = FaultReset::No;
        self.lockout = Lockout::Returned;
        self.writes_from = Moment::START;
        self.settings.forget();
        self.reading = Signal::failed(AxisReading::default(), self.reading.at, Failure::NeverRead);
    }
}
