//! The devices by name: which line each is on, what each wants of it, who gets an answer.

use core::fmt;

use serde::Serialize;

use super::axis::{Axis, AxisJob};
use super::field::{Field, FieldJob};
use super::spindle::{Spindle, SpindleJob};
use crate::line::{Answer, Change, Offer, Outcome, Presence, Request, Schedule, Timing};
use crate::moment::Moment;
use crate::rig::LineId;

/// A device of the rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum DeviceId {
    /// The field I/O module.
    Field,
    /// The carriage drive.
    Axis,
    /// The spindle's inverter or contactor.
    Spindle,
}

impl fmt::Display for DeviceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Field => "field I/O",
            Self::Axis => "carriage drive",
            Self::Spindle => "spindle drive",
        })
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Job {
    Field(FieldJob),
    Axis(AxisJob),
    Spindle(SpindleJob),
}

impl Job {
    pub(super) const fn device(self) -> DeviceId {
        match self {
            Self::Field(_) => DeviceId::Field,
            Self::Axis(_) => DeviceId::Axis,
            Self::Spindle(_) => DeviceId::Spindle,
        }
    }
}

#[derive(Debug, Clone)]
pub(super) struct Devices {
    pub(super) field: Field,
    pub(super) field_line: LineId,
    pub(super) axis: Axis,
    pub(super) axis_line: LineId,
    pub(super) spindle: Spindle,
    pub(super) spindle_line: LineId,
}

impl Devices {
    pub(super) const fn line(&self, device: DeviceId) -> LineId {
        match device {
            DeviceId::Field => self.field_line,
            DeviceId::Axis => self.axis_line,
            DeviceId::Spindle => self.spindle_line,
        }
    }

    pub(super) const fn presence(&self, device: DeviceId) -> &Presence {
        match device {
            DeviceId::Field => &self.field.presence,
            DeviceId::Axis => &self.axis.presence,
            DeviceId::Spindle => &self.spindle.presence,
        }
    }

    const fn presence_mut(&mut self, device: DeviceId) -> &mut Presence {
        match device {
            DeviceId::Field => &mut self.field.presence,
            DeviceId::Axis => &mut self.axis.presence,
            DeviceId::Spindle => &mut self.spindle.presence,
        }
    }

    fn forget(&mut self, device: DeviceId) {
        match device {
            DeviceId::Field => self.field.forget(),
            DeviceId::Axis => self.axis.forget(),
            DeviceId::Spindle => self.spindle.forget(),
        }
    }

    /// Who speaks next on a line.
    pub(super) fn schedule<'line>(
        &self,
        line: LineId,
        ready: Moment,
        now: Moment,
        timing: &'line Timing,
    ) -> Schedule<'line, Job> {
        let edge = if self.field_line == line { self.field.edge_start() } else { Moment::NEVER };
        let mut schedule = Schedule::new(timing, ready, now, edge);
        if ready == Moment::NEVER {
            return schedule;
        }
        if self.field_line == line {
            self.field.offer(now, |offer| schedule.consider(as_job(offer, Job::Field)));
        }
        if self.axis_line == line {
            self.axis.offer(now, |offer| schedule.consider(as_job(offer, Job::Axis)));
        }
        if self.spindle_line == line {
            self.spindle.offer(now, |offer| schedule.consider(as_job(offer, Job::Spindle)));
        }
        schedule
    }

    /// A device's unit address.
    pub(super) const fn unit(&self, device: DeviceId) -> u8 {
        match device {
            DeviceId::Field => self.field.unit,
            DeviceId::Axis => self.axis.unit,
            DeviceId::Spindle => self.spindle.unit,
        }
    }

    pub(super) fn handle_sent(&mut self, job: Job, request: &Request) {
        if let Job::Field(job) = job {
            self.field.handle_sent(job, request);
        }
    }

    /// Gives a transaction's end to the device that asked.
    pub(super) fn settle(&mut self, job: Option<Job>, outcome: &Outcome<'_>) {
        let Some(job) = job else { return };
        let device = job.device();
        let change = match outcome.answer {
            Answer::Missed(_) => self.presence_mut(device).handle_miss(outcome.ended),
            Answer::Given(_) | Answer::Refused(_) => self.presence_mut(device).handle_answer(),
        };
        match job {
            Job::Field(job) => self.field.handle_outcome(job, outcome),
            Job::Axis(job) => self.axis.handle_outcome(job, outcome),
            Job::Spindle(job) => self.spindle.handle_outcome(job, outcome),
        }
        if change == Change::Vanished {
            self.forget(device);
        }
    }

    /// A line's port came or went: its devices are strangers.
    pub(super) fn handle_link(&mut self, line: LineId) {
        for device in [DeviceId::Field, DeviceId::Axis, DeviceId::Spindle] {
            if self.line(device) == line {
                self.presence_mut(device).handle_link();
                self.forget(device);
            }
        }
    }
}

fn as_job<J>(offer: Offer<J>, job: impl FnOnce(J) -> Job) -> Offer<Job> {
    Offer { rank: offer.rank, due: offer.due, request: offer.request, job: job(offer.job) }
}
