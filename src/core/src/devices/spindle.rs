//! The spindle's motor: an inverter, or a contactor behind a gearbox.
//!
//! Its speed is never believed here: that is the tachometer's. If this program dies, the inverter
//! turns a hot part on for its ride-on time and then ramps down; its hardware run latch drops hard
//! on emergency stop, guard and clamp. A latch that dropped under a run command takes the command
//! with it: nothing turns again when the latch closes, before a scan has asked for rest.

use super::lockout::{Found, Lockout};
use super::poll::Poll;
use super::settings::{Commissioned, Settings};
use super::{REFUSED_PAUSE, words};
use crate::image::{DriveEnable, Failure, Level, Outputs, Signal, SpindleDemand};
use crate::line::{Answer, Offer, Outcome, Presence, Rank, Reply, Request, Words};
use crate::moment::Moment;
use crate::quantity::SpindleSpeed;
use crate::rig::{LineSpec, SpindleSpec};

/// Command bit 0: run.
const RUN: u16 = 1;
/// Command bit 7: reset a fault, on the rising edge.
const FAULT_RESET: u16 = 1 << 7;
/// Status bit 1: running.
const RUNNING: u16 = 1 << 1;
/// Status bit 3: fault.
const FAULT: u16 = 1 << 3;
/// Status bit 4: the run latch is closed.
const LATCH: u16 = 1 << 4;
/// Registers in the block that is read: status, speed, current, fault code.
const READ_COUNT: u16 = 4;
/// Place of the communication time-out in the block that is written; the reaction and the
/// ride-on time follow.
const SETTINGS_AT: u16 = 2;

/// A transaction with the motor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SpindleJob {
    Read,
    Settings,
    Write(Order),
}

/// Command and speed as they go out together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Order {
    command: u16,
    speed: u16,
}

/// What turns the spindle.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Motor {
    /// At any speed in its range; rpm in one count of the reference.
    Inverter { rpm_per_count: f64, low: SpindleSpeed, high: SpindleSpeed },
    /// At the speed of the lever.
    Contactor,
}

/// The driver of the spindle.
#[derive(Debug, Clone)]
pub(super) struct Spindle {
    pub(super) unit: u8,
    pub(super) presence: Presence,
    motor: Motor,
    write_block: u16,
    read_block: u16,
    poll: Poll,
    settings: Settings,
    demand: SpindleDemand,
    acknowledged: Option<Order>,
    status: Option<u16>,
    enable: DriveEnable,
    fault_reset: Level,
    lockout: Lockout,
    writes_from: Moment,
    ok: Signal<Level>,
}

impl Spindle {
    pub(super) fn new(spec: &SpindleSpec, line: &LineSpec) -> Self {
        let motor = spec.motor();
        let loss = &motor.communication_loss;
        let wanted = Words::new()
            .with(words::milliseconds(loss.after))
            .with(loss.reaction)
            .with(words::unsigned(motor.ride_on.s()));
        Self {
            unit: motor.unit,
            presence: Presence::new(line),
            motor: match spec {
                SpindleSpec::Inverter(inverter) => Motor::Inverter {
                    rpm_per_count: inverter.rpm_per_count,
                    low: inverter.speeds.low,
                    high: inverter.speeds.high,
                },
                SpindleSpec::Gears(_) => Motor::Contactor,
            },
            write_block: motor.registers.write_block,
            read_block: motor.registers.read_block,
            poll: Poll::new(motor.poll_every.to_duration()),
            settings: Settings::new(motor.registers.write_block.wrapping_add(SETTINGS_AT), wanted),
            demand: SpindleDemand::Stop,
            acknowledged: None,
            status: None,
            enable: DriveEnable::KeepFault,
            fault_reset: Level::Off,
            lockout: Lockout::UntilRest,
            writes_from: Moment::START,
            ok: Signal::default(),
        }
    }

    pub(super) const fn commissioned(&self) -> Commissioned {
        self.settings.state()
    }

    /// What its settings are to read; empty when it has none.
    pub(super) fn settings_wanted(&self) -> &[u16] {
        self.settings.wanted()
    }

    /// On when there is an inverter that reports neither fault nor an open latch; `fresh` is the
    /// time of the field's image, as which a contactor, which reports nothing, counts.
    pub(super) const fn ok(&self, fresh: Moment) -> Signal<Level> {
        match self.motor {
            Motor::Inverter { .. } => self.ok,
            Motor::Contactor => Signal::measured(Level::On, fresh),
        }
    }

    /// A scan's demand.
    pub(super) fn demand(&mut self, outputs: &Outputs) {
        if outputs.spindle == SpindleDemand::Stop {
            self.lockout = self.lockout.after_rest();
        }
        // A person's reset clears once, however many scans it is passed on in.
        let new = self.enable == DriveEnable::KeepFault;
        match outputs.drive {
            DriveEnable::ClearFault if new && self.in_fault() => self.fault_reset = Level::On,
            DriveEnable::ClearFault => {}
            DriveEnable::KeepFault => self.fault_reset = Level::Off,
        }
        self.enable = outputs.drive;
        self.demand = outputs.spindle;
    }

    /// What the motor is to be told.
    fn order(&self) -> Order {
        let speed = match self.demand {
            SpindleDemand::Turn(speed) if self.may_run() => Some(speed),
            _ => None,
        };
        let command = match (speed, self.fault_reset) {
            (_, Level::On) => FAULT_RESET,
            (Some(_), Level::Off) => RUN,
            (None, Level::Off) => 0,
        };
        Order { command, speed: self.reference(speed) }
    }

    /// Whether enough is known to say anything: a motor that came back turning a hot part must
    /// not be stopped only because it has not been read yet.
    fn may_order(&self) -> bool {
        self.demand == SpindleDemand::Stop
            || self.lockout != Lockout::Returned && self.settings.state() != Commissioned::Pending
    }

    fn may_run(&self) -> bool {
        self.lockout == Lockout::Open && self.settings.is_agreed()
    }

    fn in_fault(&self) -> bool {
        self.status.is_some_and(|status| status & FAULT != 0)
    }

    /// The speed reference; at rest, and behind a gearbox, none.
    fn reference(&self, speed: Option<SpindleSpeed>) -> u16 {
        match (self.motor, speed) {
            (Motor::Inverter { rpm_per_count, low, high }, Some(speed)) => {
                words::unsigned(speed.max(low).min(high).rpm() / rpm_per_count)
            }
            _ => 0,
        }
    }

    pub(super) fn request(&self, job: SpindleJob) -> Option<Request> {
        match (job, self.motor) {
            (SpindleJob::Read, _) => {
                Some(Request::ReadHoldingRegisters { address: self.read_block, count: READ_COUNT })
            }
            (SpindleJob::Settings, _) => self.settings.next(),
            (SpindleJob::Write(order), Motor::Inverter { .. }) => Some(Request::WriteRegisters {
                address: self.write_block,
                words: Words::new().with(order.command).with(order.speed),
            }),
            (SpindleJob::Write(order), Motor::Contactor) => {
                Some(Request::WriteRegister { address: self.write_block, value: order.command })
            }
        }
    }

    /// Offers everything that is wanted of the line.
    pub(super) fn offer(&self, now: Moment, mut consider: impl FnMut(Offer<SpindleJob>)) {
        let from = self.presence.from();
        let mut propose = |rank, due: Moment, job| {
            if let Some(request) = self.request(job) {
                consider(Offer { rank, due: due.max(from), request, job });
            }
        };
        propose(self.poll.rank(now), self.poll.due(), SpindleJob::Read);
        propose(Rank::Write, self.settings.due(), SpindleJob::Settings);
        let order = self.order();
        if self.may_order() && self.acknowledged != Some(order) {
            propose(Rank::Write, self.writes_from, SpindleJob::Write(order));
        }
    }

    /// A transaction ended.
    pub(super) fn handle_outcome(&mut self, job: SpindleJob, outcome: &Outcome<'_>) {
        match (job, &outcome.answer) {
            (SpindleJob::Settings, answer) => self.settings.handle(answer, outcome.ended),
            (SpindleJob::Read, Answer::Missed(_)) => self.poll.handle_miss(outcome.ended),
            (SpindleJob::Read, Answer::Refused(_)) => {
                self.poll.handle_answer(outcome.ended);
                self.ok = Signal::failed(Level::Off, outcome.sampled, Failure::Refused);
            }
            (SpindleJob::Read, Answer::Given(reply)) => {
                self.poll.handle_answer(outcome.ended);
                if let Reply::Registers(registers) = reply
                    && let Some(status) = registers.word(0)
                {
                    self.handle_status(status, outcome.sampled);
                }
            }
            (SpindleJob::Write(order), Answer::Given(_)) => {
                self.acknowledged = Some(order);
                if order.command & FAULT_RESET != 0 {
                    self.fault_reset = Level::Off;
                }
                self.poll.hurry(outcome.ended);
            }
            (SpindleJob::Write(_), answer) => {
                self.acknowledged = None;
                if matches!(answer, Answer::Refused(_)) {
                    self.writes_from = outcome.ended + REFUSED_PAUSE;
                }
            }
        }
    }

    fn handle_status(&mut self, status: u16, at: Moment) {
        let was_closed = self.status.is_some_and(|before| before & LATCH != 0);
        let dropped = was_closed && status & LATCH == 0;
        let running = self.acknowledged.is_some_and(|order| order.command & RUN != 0);
        if running && (dropped || status & FAULT != 0) {
            self.lockout = Lockout::UntilRest;
        }
        let found = if status & RUNNING == 0 { Found::AtRest } else { Found::AtWork };
        self.lockout = self.lockout.after_return(found);
        self.status = Some(status);
        let ok = Level::from_bit(status & FAULT == 0 && status & LATCH != 0);
        self.ok = Signal::measured(ok, at);
    }

    /// The motor was away or the port was: what it does now is unknown, and what it was asked is
    /// said again.
    pub(super) fn forget(&mut self) {
        self.acknowledged = None;
        self.status = None;
        self.lockout = Lockout::Returned;
        self.writes_from = Moment::START;
        self.settings.forget();
        self.ok = Signal::failed(Level::Off, self.ok.at, Failure::NeverRead);
    }
}
