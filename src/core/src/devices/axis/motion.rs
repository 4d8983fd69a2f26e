//! The next write to the drive, decided from what is demanded, what the drive echoed, and what
//! its status word confirmed. Pure: nothing changes here.
//!
//! ```text
//!   Nothing ──block──> Loaded ──start edge──> Offered ──status bit 12──> Running
//!      ^                 │ (mode displayed)      │ late: again             │ speed on the fly
//!      └─────────────────┴──── halt, stop, another target, lost ───────────┘
//! ```
//!
//! A set-point is *loaded* when the block of target, speed and ramps was echoed, *offered* when
//! the control word with the rising bit 4 was echoed, and *running* when status bit 12 confirmed
//! it. Bit 4 then goes low again, and only after bit 12 has followed may another be offered.
//! Targets are absolute, so whatever is sent twice moves nothing twice.

use core::time::Duration;

use super::drive::Sample;
use crate::cia402::{AT_ONCE, Command, Goal, HALT, Mode, PowerState, START, next_command};
use crate::moment::Moment;

/// How long the status word may take to follow a command before the command is sent again.
/// Chosen: five reads at 20 ms.
pub(super) const CONFIRM_WITHIN: Duration = Duration::from_millis(100);

/// Control word of a carriage that runs to its set-point, bit 4 low.
const RUNNING: u16 = Command::EnableOperation.word() | AT_ONCE;
/// Control word of a carriage that stands under torque.
pub(super) const STANDING: u16 = Command::EnableOperation.word() | HALT;

/// A motion in the drive's units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::devices) struct SetPoint {
    pub(super) mode: Mode,
    pub(super) target: i32,
    pub(super) velocity: u32,
    pub(super) ramp: u32,
}

impl SetPoint {
    /// Whether the other leads to the same place by the same ramps, at whatever speed.
    fn leads_like(&self, other: &Self) -> bool {
        self.mode == other.mode && self.target == other.target && self.ramp == other.ramp
    }
}

/// What the carriage is asked to do, in the drive's units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wish {
    /// No torque.
    Off,
    /// Quick stop.
    Stopped,
    /// Under torque, standing.
    Still,
    /// To an end point.
    Move(SetPoint),
    /// To the datum, at the set-point's velocity.
    Home(SetPoint),
}

impl Wish {
    const fn goal(&self) -> Goal {
        match self {
            Self::Off => Goal::Off,
            Self::Stopped => Goal::Stopped,
            Self::Still | Self::Move(_) | Self::Home(_) => Goal::Enabled,
        }
    }
}

/// How far the drive has come with a set-point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Motion {
    /// None is in force, or nobody knows.
    Nothing,
    /// Block echoed.
    Loaded(SetPoint),
    /// For homing: the search speed was echoed too.
    Prepared(SetPoint),
    /// Start edge echoed at this moment.
    Offered(SetPoint, Moment),
    /// Confirmed by the status word.
    Running(SetPoint, Moment),
}

/// A write to the drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::devices) enum Write {
    /// The control word alone.
    Control(u16),
    /// This control word (bit 4 low), mode, target, speed and ramps in one.
    Block(SetPoint, u16),
    /// The profile velocity alone, on the fly.
    Velocity(u32),
    /// The speed of the search.
    HomingSpeed(SetPoint),
}

/// What the drive last echoed of its control word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Echoed {
    pub(super) word: u16,
    pub(super) at: Moment,
}

/// Everything the decision rests on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Situation {
    pub(super) wish: Wish,
    pub(super) motion: Motion,
    /// `None` until the drive has echoed a control word.
    pub(super) control: Option<Echoed>,
    /// `None` until the drive has been read.
    pub(super) sample: Option<Sample>,
    /// A person's reset is still to be passed on.
    pub(super) fault_reset: FaultReset,
    /// Smallest difference of velocity that is worth a write, pulses/s.
    pub(super) velocity_step: u32,
    /// The drive may be given torque: it stops by itself when the line falls silent.
    pub(super) permission: Permission,
}

/// Whether the drive's fault is to be reset.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum FaultReset {
    /// No.
    No,
    /// Once.
    Wanted,
}

/// Whether the drive may be given torque.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Permission {
    /// Not before its settings agree.
    Withheld,
    /// Yes.
    Given,
}

/// A write and the moment from which it is wanted.
pub(super) type Wanted = Option<(Write, Moment)>;

impl Situation {
    /// The control word's write, at once when it is another than the one echoed, again when the
    /// status word has not followed in time.
    fn control(&self, word: u16) -> Wanted {
        let due = match self.control {
            Some(echoed) if echoed.word == word => echoed.at + CONFIRM_WITHIN,
            _ => Moment::START,
        };
        Some((Write::Control(word), due))
    }

    /// The same, only when the drive has not echoed it.
    fn control_once(&self, word: u16) -> Wanted {
        match self.control {
            Some(echoed) if echoed.word == word => None,
            _ => Some((Write::Control(word), Moment::START)),
        }
    }

    /// Whether the sample shows what the last change of the power section led to: it was taken
    /// after the echo, or the echoed word left the torque on.
    fn is_settled(&self, sample: &Sample) -> bool {
        let torque = Command::EnableOperation.word();
        self.control.is_none_or(|echoed| sample.at > echoed.at || echoed.word & torque == torque)
    }

    /// The next write, if one is wanted.
    pub(super) fn next(&self) -> Wanted {
        let sample = self.sample?;
        let power = sample.status.power();
        if power == PowerState::Fault {
            return self.in_fault();
        }
        let goal = match self.permission {
            Permission::Given => self.wish.goal(),
            Permission::Withheld => Goal::Off,
        };
        if goal != Goal::Enabled {
            // Stopping does not wait for a fresh sample.
            return next_command(power, goal).and_then(|command| self.control(command.word()));
        }
        // Each step is taken from a state that was read after the step before: a sample from
        // before a stop still says "enabled" and means nothing.
        if !self.is_settled(&sample) {
            return None;
        }
        match next_command(power, goal) {
            Some(command) => self.control(command.word() | halted(command)),
            None if power == PowerState::OperationEnabled => self.enabled(&sample),
            None => None,
        }
    }

    /// A fault is kept until a person's reset, which is one rising edge of bit 7.
    fn in_fault(&self) -> Wanted {
        let reset = Command::FaultReset.word();
        match (self.fault_reset, self.control) {
            (FaultReset::Wanted, Some(echoed)) if echoed.word & reset == 0 => {
                Some((Write::Control(reset), Moment::START))
            }
            _ => self.control_once(Command::DisableVoltage.word()),
        }
    }

    /// Under torque.
    fn enabled(&self, sample: &Sample) -> Wanted {
        match self.wish {
            Wish::Move(wanted) | Wish::Home(wanted) => self.moving(sample, wanted),
            Wish::Off | Wish::Stopped | Wish::Still => self.control_once(STANDING),
        }
    }

    fn moving(&self, sample: &Sample, wanted: SetPoint) -> Wanted {
        let now = Moment::START;
        match self.motion {
            Motion::Running(at, _) if at.leads_like(&wanted) => match wanted.mode {
                Mode::Homing => None,
                Mode::ProfilePosition => {
                    let changed = at.velocity.abs_diff(wanted.velocity) > self.velocity_step;
                    self.control_once(RUNNING)
                        .or_else(|| changed.then_some((Write::Velocity(wanted.velocity), now)))
                }
            },
            // The drive has not confirmed it in time: begin again, with a new edge.
            Motion::Offered(at, since) if at.leads_like(&wanted) => {
                Some((self.block(wanted), since + CONFIRM_WITHIN))
            }
            // Without an echo nobody knows whether bit 4 is low: the block says so again.
            Motion::Loaded(_) | Motion::Prepared(_) if self.control.is_none() => {
                Some((self.block(wanted), now))
            }
            Motion::Loaded(at) if at.leads_like(&wanted) && wanted.mode == Mode::Homing => {
                Some((Write::HomingSpeed(at), now))
            }
            Motion::Loaded(at) | Motion::Prepared(at) if at.leads_like(&wanted) => {
                // A mode that is not displayed yet is waited for; so is the fall of bit 12.
                let ready = sample.in_mode(wanted.mode) && self.is_ready_for_edge(sample);
                let word = match wanted.mode {
                    Mode::ProfilePosition => RUNNING | START,
                    Mode::Homing => Command::EnableOperation.word() | START,
                };
                ready.then_some((Write::Control(word), now))
            }
            _ => Some((self.block(wanted), now)),
        }
    }

    /// The block of a set-point. A carriage on its way to another one is not halted for it, even
    /// if the set-point before this one was still being handed over.
    fn block(&self, wanted: SetPoint) -> Write {
        let on_its_way = match self.motion {
            Motion::Running(at, _) | Motion::Offered(at, _) => at.mode == Mode::ProfilePosition,
            Motion::Loaded(at) | Motion::Prepared(at) => {
                at.mode == Mode::ProfilePosition
                    && self.control.is_some_and(|echoed| echoed.word & HALT == 0)
            }
            Motion::Nothing => false,
        };
        let runs_on = on_its_way && wanted.mode == Mode::ProfilePosition;
        Write::Block(wanted, if runs_on { RUNNING } else { STANDING })
    }

    /// Bit 4 is low in the drive, and in profile position bit 12 has followed it.
    fn is_ready_for_edge(&self, sample: &Sample) -> bool {
        let Some(echoed) = self.control else { return false };
        echoed.word & START == 0
            && sample.at > echoed.at
            && (!sample.in_mode(Mode::ProfilePosition) || !sample.status.acknowledged())
    }
}

/// Enabling happens under halt, so that torque alone moves nothing.
const fn halted(command: Command) -> u16 {
    match command {
        Command::EnableOperation => HALT,
        _ => 0,
    }
}
