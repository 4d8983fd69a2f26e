//! The field I/O module: contacts, currents, tachometer, coils.
//!
//! Whatever it says is as old as the end of the request plus the silence after it: that is when
//! the module looks. When it has not answered for some time, nothing is known of its coils; the
//! first thing it is told, always, is to de-energise all of them. Nothing is energised before it
//! has the rig file's reaction to a silent controller.
//!
//! If this program dies, the module lets go of all outputs after its own communication time-out,
//! and the watchdog relay, fed by edges that only a scan makes, lets go of fuel, oxygen and
//! powder by hardware.

mod coils;
mod current;
mod feeder;
mod image;
mod raw;
mod tachometer;

use core::time::Duration;

pub use coils::{CoilBelief, Switched};
pub use feeder::PowderCounters;
pub use raw::RawField;

use self::coils::CoilBank;
use self::feeder::{Feeder, FeederStep};
use self::image::FieldImage;
use super::poll::Poll;
use super::settings::{Commissioned, Settings};
use super::{REFUSED_PAUSE, words};
use crate::image::{Coil, Inputs, Level, Outputs, PowderEdge};
use crate::line::{Answer, Offer, Outcome, Presence, Rank, Reply, Request, Timing, Words};
use crate::moment::Moment;
use crate::rig::{FieldSpec, LineSpec};

/// How urgent a scan's demand is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Urgency {
    /// Writes take their turn.
    #[default]
    Routine,
    /// The coils go out in one frame, before anything else.
    Trip,
}

/// Reaction of the module to a silent controller: all outputs off.
const REACTION_OFF: u16 = 1;
/// How often the module's own coils are read back. Arbitrary: often enough to show a module that
/// lost them, rarely enough to cost the polls nothing.
const READ_BACK_EVERY: Duration = Duration::from_secs(1);
/// A transaction with the module.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum FieldJob {
    Clear,
    Trip,
    PowderOff,
    PowderEdge(PowderEdge),
    Run(usize),
    Settings,
    Contacts,
    Registers,
    ReadBack,
}

/// Whether the module's coils were de-energised since it appeared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cleared {
    No,
    Yes,
}

/// The driver of the field I/O module.
#[derive(Debug, Clone)]
pub(super) struct Field {
    pub(super) unit: u8,
    pub(super) presence: Presence,
    image: FieldImage,
    coils: CoilBank,
    feeder: Feeder,
    settings: Settings,
    cleared: Cleared,
    contacts: Poll,
    registers: Poll,
    read_back: Poll,
    urgency: Urgency,
    /// A new trip is sent once even to a silent module; then it is tried like everything else.
    trip_from: Moment,
    writes_from: Moment,
    beat_every: Duration,
    beat_due: Moment,
    /// When the module last heard a request of ours, as far as its answers tell.
    heard: Moment,
    /// After so long a silence it lets go of its outputs.
    lets_go_after: Duration,
}

impl Field {
    /// `None` when the module's inputs, registers or coils lie further apart than one request
    /// reaches.
    pub(super) fn new(spec: &FieldSpec, line: &LineSpec) -> Option<Self> {
        let coils = CoilBank::new(spec)?;
        let timing = Timing::of(line);
        let frame = coils.powder_request(Level::On).request_length();
        let settings = match spec.communication_register {
            Some(register) => {
                let words = Words::new()
                    .with(words::milliseconds(spec.communication_loss))
                    .with(REACTION_OFF);
                Settings::new(register, words)
            }
            None => Settings::none(),
        };
        Some(Self {
            unit: spec.unit,
            presence: Presence::new(line),
            image: FieldImage::new(spec)?,
            coils,
            feeder: Feeder::new(timing.wire(frame) + spec.coil_latency.to_duration()),
            settings,
            cleared: Cleared::No,
            contacts: Poll::new(spec.poll_every.to_duration()),
            registers: Poll::new(spec.registers_every.to_duration()),
            read_back: Poll::new(READ_BACK_EVERY),
            urgency: Urgency::Routine,
            trip_from: Moment::NEVER,
            writes_from: Moment::START,
            beat_every: spec.watchdog.beat.to_duration(),
            beat_due: Moment::START,
            heard: Moment::START,
            lets_go_after: spec.communication_loss.to_duration(),
        })
    }

    pub(super) const fn commissioned(&self) -> Commissioned {
        self.settings.state()
    }

    /// What its settings are to read; empty when it has none.
    pub(super) fn settings_wanted(&self) -> &[u16] {
        self.settings.wanted()
    }

    pub(super) const fn powder_counters(&self) -> &PowderCounters {
        self.feeder.counters()
    }

    pub(super) fn belief(&self, coil: Coil) -> CoilBelief {
        self.coils.belief(coil)
    }

    /// What the module said last, as it was on the wire.
    pub(super) fn raw(&self) -> RawField {
        RawField { coils: self.coils.beliefs(), ..self.image.raw() }
    }

    pub(super) fn drain_switched(&mut self) -> std::vec::Drain<'_, Switched> {
        self.coils.drain_switched()
    }

    pub(super) fn fill(&self, inputs: &mut Inputs) {
        self.image.fill(inputs);
    }

    /// Whether coils may be energised: the module starts from nothing and stops by itself.
    fn may_energise(&self) -> bool {
        self.cleared == Cleared::Yes && self.settings.is_agreed()
    }

    /// A scan's demand. The watchdog's edge is made here and nowhere else: a scan that does not
    /// run makes none.
    pub(super) fn demand(&mut self, now: Moment, outputs: &Outputs, urgency: Urgency) {
        if self.urgency == Urgency::Routine && urgency == Urgency::Trip {
            self.trip_from = now;
        }
        self.urgency = urgency;
        self.feeder.demand(now, &outputs.powder);
        self.coils.want(|coil| outputs.coil(coil));
        if !self.may_energise() {
            self.coils.want_nothing();
            return;
        }
        if outputs.watchdog.is_on() && now >= self.beat_due {
            self.coils.beat();
            let next = self.beat_due + self.beat_every;
            self.beat_due = if next <= now { now + self.beat_every } else { next };
        }
    }

    /// Drops what is past due. A module that heard nothing for so long that it let go of its
    /// outputs is a stranger, whoever slept: what it was told before does not hold any more.
    pub(super) fn handle_time(&mut self, now: Moment) {
        self.feeder.expire(now);
        if self.cleared == Cleared::Yes && now.since(self.heard) >= self.lets_go_after {
            self.forget();
        }
    }

    fn feeder_step(&self) -> FeederStep {
        let off = Level::from_bit(self.coils.powder_is_off());
        match self.feeder.step(self.coils.powder_commanded(), off) {
            FeederStep::Edge(edge, _) if edge.to == Level::On && !self.may_energise() => {
                FeederStep::Rest
            }
            step => step,
        }
    }

    /// When the next edge's frame is to leave; [`Moment::NEVER`] without one.
    pub(super) fn edge_start(&self) -> Moment {
        match (self.cleared, self.feeder_step()) {
            (Cleared::Yes, FeederStep::Edge(_, start)) => start.max(self.presence.from()),
            _ => Moment::NEVER,
        }
    }

    pub(super) fn request(&self, job: FieldJob) -> Option<Request> {
        match job {
            FieldJob::Clear => Some(self.coils.clear_request()),
            FieldJob::Trip => Some(self.coils.trip_request()),
            FieldJob::PowderOff => Some(self.coils.powder_request(Level::Off)),
            FieldJob::PowderEdge(edge) => Some(self.coils.powder_request(edge.to)),
            FieldJob::Run(index) => Some(self.coils.run_request(index)),
            FieldJob::Settings => self.settings.next(),
            FieldJob::Contacts => Some(self.image.contacts_request()),
            FieldJob::Registers => Some(self.image.registers_request()),
            FieldJob::ReadBack => Some(self.coils.read_back_request()),
        }
    }

    /// Offers everything that is wanted of the line.
    pub(super) fn offer(&self, now: Moment, mut consider: impl FnMut(Offer<FieldJob>)) {
        let from = self.presence.from();
        let mut propose = |rank, due: Moment, job| {
            if let Some(request) = self.request(job) {
                let from = if rank == Rank::Trip { from.min(self.trip_from) } else { from };
                consider(Offer { rank, due: due.max(from), request, job });
            }
        };
        let writes = self.writes_from;
        if self.urgency == Urgency::Trip && self.coils.trip_pending() {
            propose(Rank::Trip, writes, FieldJob::Trip);
        } else if self.cleared == Cleared::No {
            // What the module's coils are is unknown: nothing may come before this.
            propose(Rank::Edge, writes, FieldJob::Clear);
        } else {
            match self.feeder_step() {
                FeederStep::OffNow => propose(Rank::Edge, writes, FieldJob::PowderOff),
                FeederStep::Edge(edge, start) => {
                    propose(Rank::Edge, start.max(writes), FieldJob::PowderEdge(edge));
                }
                FeederStep::Rest => {}
            }
            propose(Rank::Write, self.settings.due(), FieldJob::Settings);
            if let Some(run) = self.coils.pending_run() {
                propose(Rank::Write, writes, FieldJob::Run(run));
            }
            let powder_open = !self.coils.powder_is_known();
            let read_back = if powder_open { Rank::Write } else { Rank::Background };
            let due = if powder_open { writes } else { self.read_back.due() };
            propose(read_back, due, FieldJob::ReadBack);
        }
        propose(self.contacts.rank(now), self.contacts.due(), FieldJob::Contacts);
        propose(self.registers.rank(now), self.registers.due(), FieldJob::Registers);
    }

    /// A transaction's first byte left.
    pub(super) fn handle_sent(&mut self, job: FieldJob, request: &Request) {
        self.coils.handle_sent(request);
        match job {
            FieldJob::PowderEdge(edge) => self.feeder.handle_sent(edge),
            FieldJob::Trip => self.trip_from = Moment::NEVER,
            _ => {}
        }
    }

    /// A transaction ended.
    pub(super) fn handle_outcome(&mut self, job: FieldJob, outcome: &Outcome<'_>) {
        let now = outcome.ended;
        if !matches!(outcome.answer, Answer::Missed(_)) {
            self.heard = self.heard.max(outcome.sampled);
        }
        let poll = match job {
            FieldJob::Contacts => Some(&mut self.contacts),
            FieldJob::Registers => Some(&mut self.registers),
            FieldJob::ReadBack => Some(&mut self.read_back),
            _ => None,
        };
        if let Some(poll) = poll {
            match outcome.answer {
                Answer::Missed(_) => poll.handle_miss(now),
                _ => poll.handle_answer(now),
            }
        }
        match (job, &outcome.answer) {
            (FieldJob::Settings, answer) => self.settings.handle(answer, outcome.ended),
            (FieldJob::Contacts, Answer::Given(Reply::Bits(bits))) => {
                self.image.handle_contacts(bits.0, outcome.sampled);
            }
            (FieldJob::Contacts, Answer::Refused(_)) => {
                self.image.refuse_contacts(outcome.sampled);
            }
            (FieldJob::Registers, Answer::Given(Reply::Registers(registers))) => {
                self.image.handle_registers(registers, outcome.sampled);
            }
            (FieldJob::Registers, Answer::Refused(_)) => {
                self.image.refuse_registers(outcome.sampled);
            }
            (FieldJob::ReadBack, Answer::Given(Reply::Bits(bits))) => {
                self.coils.handle_read_back(bits.0, outcome.sampled);
            }
            (_, Answer::Refused(_)) => self.writes_from = now + REFUSED_PAUSE,
            (_, Answer::Given(Reply::Written)) => self.handle_echo(job, outcome),
            _ => {}
        }
    }

    fn handle_echo(&mut self, job: FieldJob, outcome: &Outcome<'_>) {
        let planned = match job {
            FieldJob::PowderEdge(edge) => Some(edge.at),
            _ => None,
        };
        let changed = self.coils.handle_echo(&outcome.request, outcome.request_end, planned);
        match job {
            FieldJob::PowderEdge(edge) => self.feeder.handle_echo(edge, changed),
            FieldJob::Clear | FieldJob::Trip => self.cleared = Cleared::Yes,
            _ => {}
        }
    }

    /// The module was away or the port was: nothing is known of its coils and settings.
    pub(super) fn forget(&mut self) {
        self.coils.forget();
        self.feeder.forget();
        self.settings.forget();
        self.cleared = Cleared::No;
        self.writes_from = Moment::START;
    }
}
