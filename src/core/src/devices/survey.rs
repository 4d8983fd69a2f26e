//! A walk over everything that is read of a rig, one read at a time: what answers, what it says,
//! how long it takes, and whether the polls fit on their lines. It only reads; nothing moves.

use core::fmt;
use core::time::Duration;

use serde::Serialize;

use super::axis::{Axis, AxisJob};
use super::field::{Field, FieldJob};
use super::rack::{RackProblem, Transmit};
use super::roster::{DeviceId, Devices, Job};
use super::spindle::{Spindle, SpindleJob};
use crate::image::{Coil, Inputs, Level};
use crate::line::{Answer, ExceptionCode, Line, Link, Miss, Outcome, Reply, Request};
use crate::moment::Moment;
use crate::rig::{LineId, Rig};

/// How often each read is made: the longest of a few shows more than one. Arbitrary.
const TIMES: u32 = 5;

/// What is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Read {
    /// The field module's contacts.
    Contacts,
    /// Its currents, tachometer and cycle counter.
    Registers,
    /// Its own coils.
    Coils,
    /// The state of a drive.
    State,
    /// What a device does by itself when the controller falls silent.
    Settings,
}

impl fmt::Display for Read {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Contacts => "contacts",
            Self::Registers => "registers",
            Self::Coils => "coils",
            Self::State => "state registers",
            Self::Settings => "settings",
        })
    }
}

/// What came of a read that was made a few times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Finding {
    /// Not made yet.
    Pending,
    /// Answered every time.
    Answered {
        /// The shortest exchange, from the request's first byte to the reply's last.
        shortest: Duration,
        /// The longest exchange, likewise.
        longest: Duration,
    },
    /// The device is there and refused.
    Refused(ExceptionCode),
    /// At least one of the reads brought no answer.
    Missed(Miss),
}

/// One read of the register map.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SurveyItem {
    /// The device.
    pub device: DeviceId,
    /// Its line.
    pub line: LineId,
    /// Its unit address.
    pub unit: u8,
    /// What is read.
    pub read: Read,
    /// How it is asked.
    pub request: Request,
    /// What came of it.
    pub finding: Finding,
    /// What was read last, as registers; levels are packed sixteen to one, the first lowest.
    pub values: Vec<u16>,
    /// What a device's settings are to read; empty for every other read.
    pub wanted: Vec<u16>,
    /// The exchange as the rig file's turn-round makes it, without the silence behind it.
    pub budget: Duration,
    /// How often the read is made in a run; `None` for one that is made once.
    pub every: Option<Duration>,
    job: Job,
}

impl SurveyItem {
    /// Whether a device's settings were read and are not as the rig file wants them.
    #[must_use]
    pub fn differs(&self) -> bool {
        !self.wanted.is_empty() && self.values != self.wanted
    }

    /// Whether it was answered within its budget.
    #[must_use]
    pub fn is_within_budget(&self) -> bool {
        matches!(self.finding, Finding::Answered { longest, .. } if longest <= self.budget)
    }
}

/// A survey of a rig: a line's reads one after the other, the lines at the same time.
///
/// * Getters: [`items`](Self::items), [`is_finished`](Self::is_finished),
///   [`load`](Self::load), [`inputs`](Self::inputs), [`coil`](Self::coil),
///   [`next_wake`](Self::next_wake).
/// * What came in: [`handle_bytes`](Self::handle_bytes), [`handle_link`](Self::handle_link),
///   [`handle_time`](Self::handle_time); a call for nothing is harmless.
/// * What must go out: [`poll_transmit`](Self::poll_transmit), until it returns `None`.
#[derive(Debug)]
pub struct Survey {
    lines: Vec<Line>,
    /// For each line: which item is read, and how often it has been.
    places: Vec<(usize, u32)>,
    items: Vec<SurveyItem>,
    /// What the rig's own drivers make of the replies; they ask for nothing here.
    devices: Devices,
}

impl Survey {
    /// The reads of a rig.
    ///
    /// # Errors
    /// [`RackProblem`] as for the rack itself.
    pub fn new(rig: &Rig) -> Result<Self, RackProblem> {
        let motor = rig.spindle.motor();
        let line_of = |device, line: LineId| {
            rig.lines.get(line.0).ok_or(RackProblem::NoSuchLine(device, line))
        };
        let field_line = line_of(DeviceId::Field, rig.field.line)?;
        let field = Field::new(&rig.field, field_line).ok_or(RackProblem::FieldDoesNotFit)?;
        let axis = Axis::new(&rig.axis, line_of(DeviceId::Axis, rig.axis.line)?);
        let spindle = Spindle::new(&rig.spindle, line_of(DeviceId::Spindle, motor.line)?);
        let lines: Vec<_> = rig.lines.iter().map(Line::new).collect();
        let every = |time: crate::quantity::Time| Some(time.to_duration());
        let reads = [
            (Read::Contacts, Job::Field(FieldJob::Contacts)),
            (Read::Registers, Job::Field(FieldJob::Registers)),
            (Read::Coils, Job::Field(FieldJob::ReadBack)),
            (Read::Settings, Job::Field(FieldJob::Settings)),
            (Read::State, Job::Axis(AxisJob::Read)),
            (Read::Settings, Job::Axis(AxisJob::Settings)),
            (Read::State, Job::Spindle(SpindleJob::Read)),
            (Read::Settings, Job::Spindle(SpindleJob::Settings)),
        ];
        let items = reads.into_iter().filter_map(|(read, job)| {
            let device = job.device();
            let (request, wanted) = match job {
                Job::Field(job) => (field.request(job), field.settings_wanted()),
                Job::Axis(job) => (axis.request(job), axis.settings_wanted()),
                Job::Spindle(job) => (spindle.request(job), spindle.settings_wanted()),
            };
            let (line, unit) = match device {
                DeviceId::Field => (rig.field.line, rig.field.unit),
                DeviceId::Axis => (rig.axis.line, rig.axis.unit),
                DeviceId::Spindle => (motor.line, motor.unit),
            };
            let request = request?;
            let timing = lines.get(line.0)?.timing();
            Some(SurveyItem {
                device,
                line,
                unit,
                read,
                request,
                finding: Finding::Pending,
                values: Vec::new(),
                wanted: if read == Read::Settings { wanted.to_vec() } else { Vec::new() },
                budget: timing.exchange(&request).saturating_sub(timing.silence),
                every: match (device, read) {
                    (DeviceId::Field, Read::Contacts) => every(rig.field.poll_every),
                    (DeviceId::Field, Read::Registers) => every(rig.field.registers_every),
                    (DeviceId::Axis, Read::State) => every(rig.axis.poll_every),
                    (DeviceId::Spindle, Read::State) => every(motor.poll_every),
                    _ => None,
                },
                job,
            })
        });
        let items: Vec<_> = items.collect();
        let places = vec![(0, 0); lines.len()];
        let devices = Devices {
            field,
            field_line: rig.field.line,
            axis,
            axis_line: rig.axis.line,
            spindle,
            spindle_line: motor.line,
        };
        let mut survey = Self { lines, places, items, devices };
        for line in 0..survey.places.len() {
            survey.skip_to_own(line);
        }
        Ok(survey)
    }

    /// Every read, in order.
    #[must_use]
    pub fn items(&self) -> &[SurveyItem] {
        &self.items
    }

    /// Whether every read has been made.
    #[must_use]
    pub fn is_finished(&self) -> bool {
        self.items.iter().all(|item| item.finding != Finding::Pending)
            && self.places.iter().all(|(place, _)| *place >= self.items.len())
    }

    /// The share of a line's time that its cyclic reads take, each at its longest exchange; over
    /// 1 they do not fit. `None` while a read is unanswered.
    #[must_use]
    pub fn load(&self, line: LineId) -> Option<f64> {
        let silence = self.lines.get(line.0)?.timing().silence;
        let mut load = 0.0;
        for item in self.items.iter().filter(|item| item.line == line) {
            let Some(every) = item.every else { continue };
            let Finding::Answered { longest, .. } = item.finding else { return None };
            load += (longest + silence).as_secs_f64() / every.as_secs_f64();
        }
        Some(load)
    }

    /// What the rig's drivers make of what was read last. Times mean nothing here: values are
    /// judged for themselves, not for their age, and nothing counts as standing still.
    #[must_use]
    pub fn inputs(&self) -> Inputs {
        let mut inputs = Inputs::unknown();
        self.devices.field.fill(&mut inputs);
        inputs.axis = self.devices.axis.signal();
        inputs.inverter_ok = self.devices.spindle.ok(Moment::START);
        inputs
    }

    /// A coil as the module itself reports it; `None` when it was not read or is not fitted.
    #[must_use]
    pub fn coil(&self, coil: Coil) -> Option<Level> {
        self.devices.field.belief(coil).confirmed
    }

    /// When something is to be done next.
    #[must_use]
    pub fn next_wake(&self) -> Moment {
        let mut wake = Moment::NEVER;
        for (line, (place, _)) in self.lines.iter().zip(&self.places) {
            wake = wake.min(line.next_wake());
            if *place < self.items.len() {
                wake = wake.min(line.ready_at());
            }
        }
        wake
    }

    /// A line's port came or went.
    pub fn handle_link(&mut self, now: Moment, line: LineId, link: Link) {
        self.run(line.0, |line| line.handle_link(now, link));
    }

    /// Bytes that have just arrived, the last of them now.
    pub fn handle_bytes(&mut self, now: Moment, line: LineId, bytes: &[u8]) {
        self.run(line.0, |line| line.handle_bytes(now, bytes));
    }

    /// Time has passed.
    pub fn handle_time(&mut self, now: Moment) {
        for line in 0..self.lines.len() {
            self.run(line, |line| line.handle_time(now));
        }
    }

    /// A frame whose first byte leaves now, if one is due.
    pub fn poll_transmit(&mut self, now: Moment) -> Option<Transmit> {
        for (at, (line, (place, _))) in self.lines.iter_mut().zip(&self.places).enumerate() {
            if let Some(item) = self.items.get(*place)
                && let Some(frame) = line.transmit(now, item.unit, item.request)
            {
                return Some(Transmit { line: LineId(at), frame });
            }
        }
        None
    }

    fn run<'survey>(
        &'survey mut self,
        at: usize,
        handle: impl FnOnce(&'survey mut Line) -> Option<Outcome<'survey>>,
    ) {
        let Some(line) = self.lines.get_mut(at) else { return };
        let Some(outcome) = handle(line) else { return };
        let Some((place, made)) = self.places.get_mut(at) else { return };
        let Some(item) = self.items.get_mut(*place) else { return };
        *made += 1;
        note(item, &outcome);
        decode(&mut self.devices, item.job, &outcome);
        if *made >= TIMES || !matches!(item.finding, Finding::Answered { .. }) {
            *place += 1;
            *made = 0;
            skip(&self.items, place, LineId(at));
        }
    }

    fn skip_to_own(&mut self, at: usize) {
        if let Some((place, _)) = self.places.get_mut(at) {
            skip(&self.items, place, LineId(at));
        }
    }
}

/// Moves a place on to the next read of a line.
fn skip(items: &[SurveyItem], place: &mut usize, line: LineId) {
    while items.get(*place).is_some_and(|item| item.line != line) {
        *place += 1;
    }
}

/// Lets a device's own driver read what it said, at a moment that stands still: a survey is no
/// place to judge a device's clock. Settings are compared, never decided upon.
fn decode(devices: &mut Devices, job: Job, outcome: &Outcome<'_>) {
    let timeless = Outcome { sampled: Moment::START, ended: Moment::START, ..*outcome };
    match job {
        Job::Field(FieldJob::Settings)
        | Job::Axis(AxisJob::Settings)
        | Job::Spindle(SpindleJob::Settings) => {}
        Job::Field(job) => devices.field.handle_outcome(job, &timeless),
        Job::Axis(job) => devices.axis.handle_outcome(job, &timeless),
        Job::Spindle(job) => devices.spindle.handle_outcome(job, &timeless),
    }
}

/// Writes the end of a read into its item.
fn note(item: &mut SurveyItem, outcome: &Outcome<'_>) {
    let took = outcome.ended.since(outcome.sent);
    item.finding = match (item.finding, &outcome.answer) {
        (_, Answer::Missed(miss)) => Finding::Missed(*miss),
        (_, Answer::Refused(code)) => Finding::Refused(*code),
        (Finding::Answered { shortest, longest }, Answer::Given(_)) => {
            Finding::Answered { shortest: shortest.min(took), longest: longest.max(took) }
        }
        (_, Answer::Given(_)) => Finding::Answered { shortest: took, longest: took },
    };
    item.values.clear();
    match &outcome.answer {
        Answer::Given(Reply::Registers(registers)) => item.values.extend(registers.iter()),
        Answer::Given(Reply::Bits(bits)) => {
            let packed = bits.0.to_le_bytes();
            item.values.extend(packed.chunks_exact(2).filter_map(|pair| match pair {
                [low, high] => Some(u16::from_le_bytes([*low, *high])),
                _ => None,
            }));
        }
        Answer::Given(Reply::Written) | Answer::Refused(_) | Answer::Missed(_) => {}
    }
}
