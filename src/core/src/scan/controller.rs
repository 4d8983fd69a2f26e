//! The whole deciding part of the program as one value.

mod by_hand;
mod coating;
mod missing;
mod proving;
mod telling;
mod wishes;

use core::fmt;
use core::time::Duration;
use std::sync::Arc;

pub use self::by_hand::ByHand;
pub use self::missing::{KEY_PERMISSIVE, NO_DATUM};
pub use self::proving::ProofState;
use self::proving::Proofs;
use super::around::Around;
use super::came::{Came, Datum};
use super::effects::EffectsLog;
use super::episode::Episodes;
use super::sample::Sampler;
use super::snapshot::{Beat, Snapshot};
use super::tell::Teller;
use crate::coat::Coat;
use crate::devices::{Rack, RackProblem, Transmit, Urgency};
use crate::image::{Inputs, Level, Outputs};
use crate::interlock::{FigureProblem, Interlocks, News, Raised, Verdict, enforce};
use crate::ledger::{Entry, Ledger};
use crate::line::Link;
use crate::moment::Moment;
use crate::plan::Plan;
use crate::quantity::Mass;
use crate::request::{Answer, Origin, Request};
use crate::rig::{LineId, Rig};
use crate::sequence::{Leaf, Phase, Sequence, Status};

/// Entries kept until somebody takes them: at the few dozen a second of a busy job, minutes.
const LEDGER: usize = 16_384;
/// A scan later than this many periods does not feed the watchdog: one missed scan is jitter,
/// two are a controller that does not keep its time. Arbitrary, well inside the relay's 0.3 s.
const LATE_PERIODS: u32 = 2;

/// Why a rig cannot be driven.
#[derive(Debug, Clone, PartialEq)]
pub enum RigProblem {
    /// Its devices cannot be put on its lines.
    Devices(RackProblem),
    /// It names an interlock that is not there, or loosens one.
    Interlock(FigureProblem),
}

impl fmt::Display for RigProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Devices(problem) => problem.fmt(f),
            Self::Interlock(problem) => problem.fmt(f),
        }
    }
}

impl core::error::Error for RigProblem {}

/// The whole deciding part of the program.
///
/// Whoever drives it (wall time or virtual time) calls, in this order, whenever something
/// happened or [`next_wake`](Self::next_wake) has come:
///
/// 1. [`handle_bytes`](Self::handle_bytes), [`handle_link`](Self::handle_link): what came in;
/// 2. [`request`](Self::request) or [`request_by`](Self::request_by), [`load`](Self::load): what a
///    person wants;
/// 3. [`handle_time`](Self::handle_time): a scan if one is due, deadlines of the lines; harmless
///    when nothing is due;
/// 4. [`poll_transmit`](Self::poll_transmit) until it answers `None`: what must go out now;
/// 5. [`take_entry`](Self::take_entry) until it answers `None`: what must be written down.
///
/// Time is what the caller says it is and never runs backwards in here: an earlier moment than
/// the last counts as the last one. A copy is the same controller, and goes on by itself from there.
#[derive(Debug, Clone)]
pub struct Controller {
    rack: Rack,
    interlocks: Interlocks,
    sequence: Sequence,
    coat: Option<Coat>,
    /// The coat of a part of the loaded job before anything is sprayed.
    bare: Option<Coat>,
    /// Powder that had arrived when the coat was last written down.
    coat_told: Mass,
    inputs: Inputs,
    outputs: Outputs,
    missing: Vec<&'static str>,
    ledger: Ledger,
    teller: Teller,
    sampler: Sampler,
    episodes: Episodes,
    effects: EffectsLog,
    around: Around,
    period: Duration,
    now: Moment,
    next_scan: Moment,
    beat: Beat,
    /// Since when the second runs whose worst lateness is being found, and that so far.
    second: Moment,
    worst_of_second_us: u64,
    lines: usize,
    /// Powder edges dropped so far, as far as the job has been held for them.
    dropped: u64,
    proofs: Proofs,
    came: Came,
    /// How old a contact and the drive's reading may be.
    ages: (Duration, Duration),
}

impl Controller {
    /// A controller at rest for a rig: all lines down, no job.
    ///
    /// # Errors
    /// [`RigProblem`] when the rig cannot be driven as it stands.
    pub fn new(rig: &Rig) -> Result<Self, RigProblem> {
        Ok(Self {
            rack: Rack::new(rig).map_err(RigProblem::Devices)?,
            interlocks: Interlocks::new(rig).map_err(RigProblem::Interlock)?,
            sequence: Sequence::new(rig),
            coat: None,
            bare: None,
            coat_told: Mass::ZERO,
            inputs: Inputs::unknown(),
            outputs: Outputs::default(),
            missing: Vec::with_capacity(32),
            ledger: Ledger::with_capacity(LEDGER),
            teller: Teller::new(rig),
            sampler: Sampler::default(),
            episodes: Episodes::default(),
            effects: EffectsLog::new(rig),
            around: Around::default(),
            period: rig.scan.to_duration(),
            now: Moment::START,
            next_scan: Moment::START,
            beat: Beat::default(),
            second: Moment::START,
            worst_of_second_us: 0,
            lines: rig.lines.len(),
            dropped: 0,
            proofs: Proofs::default(),
            came: Came::default(),
            ages: (rig.field.age_budget.to_duration(), rig.axis.age_budget.to_duration()),
        })
    }

    /// Takes a planned job over; only while none is under way.
    pub fn load(&mut self, plan: &Plan) -> Answer {
        let program = Arc::new(plan.program.clone());
        let answer = self.sequence.load(program);
        if answer == Answer::Accepted {
            self.coat = Some(Coat::new(&plan.coat));
            self.bare.clone_from(&self.coat);
        }
        answer
    }

    /// Drops the rest of a job, if that is what is loaded; only while none is under way.
    pub fn drop_rest(&mut self) -> Answer {
        self.sequence.drop_rest()
    }

    /// Bytes that have just arrived on a line, the last of them now.
    pub fn handle_bytes(&mut self, now: Moment, line: LineId, bytes: &[u8]) {
        self.now = self.now.max(now);
        self.rack.handle_bytes(self.now, line, bytes);
    }

    /// A line's port came or went.
    pub fn handle_link(&mut self, now: Moment, line: LineId, link: Link) {
        self.now = self.now.max(now);
        self.rack.handle_link(self.now, line, link);
        self.teller.link(self.now, line, link, &mut self.ledger);
    }

    /// What a person wants. Stop, hold and abort are taken from anyone, at any time.
    pub fn request(&mut self, now: Moment, request: Request, origin: Origin) -> Answer {
        self.request_by(now, request, origin, None)
    }

    /// The same with who the person is, where that is known: it goes into the record and decides
    /// nothing.
    pub fn request_by(
        &mut self,
        now: Moment,
        request: Request,
        origin: Origin,
        person: Option<&str>,
    ) -> Answer {
        self.now = self.now.max(now);
        let inputs = Inputs { now: self.now, ..self.inputs.clone() };
        let verdict = self.interlocks.verdict();
        let answer = self.sequence.request(self.now, request, origin, &inputs, verdict);
        self.grant_wishes(&inputs);
        self.tell_events(person);
        answer
    }

    /// Time has passed: deadlines of the lines, and a scan if one is due. Scans that were missed
    /// are skipped and counted, never made up for.
    pub fn handle_time(&mut self, now: Moment) {
        self.now = self.now.max(now);
        self.rack.handle_time(self.now);
        if self.now < self.next_scan {
            return;
        }
        let late = self.now.since(self.next_scan);
        self.beat.late(late);
        if self.now.since(self.second) >= Duration::from_secs(1) {
            self.second = self.now;
            self.beat.worst_lately_us = core::mem::take(&mut self.worst_of_second_us);
        }
        self.worst_of_second_us = self.worst_of_second_us.max(self.beat.late_us);
        self.beat.scans += 1;
        // After a long sleep of the computer whole hours may be missing: divided, not counted off.
        let period = self.period.as_micros();
        let skipped = late.as_micros().checked_div(period).unwrap_or_default();
        let whole = |micros: u128| Duration::from_micros(u64::try_from(micros).unwrap_or(u64::MAX));
        self.next_scan = self.next_scan + whole(period.saturating_mul(skipped + 1));
        self.beat.skipped =
            self.beat.skipped.saturating_add(u64::try_from(skipped).unwrap_or(u64::MAX));
        let on_time = if late > self.period * LATE_PERIODS { Level::Off } else { Level::On };
        self.scan(on_time);
    }

    /// A frame whose first byte leaves now, if one is due.
    pub fn poll_transmit(&mut self, now: Moment) -> Option<Transmit> {
        self.now = self.now.max(now);
        self.rack.poll_transmit(self.now)
    }

    /// When [`handle_time`](Self::handle_time) or [`poll_transmit`](Self::poll_transmit) has
    /// something to do; a moment that has passed means now.
    #[must_use]
    pub fn next_wake(&self) -> Moment {
        self.next_scan.min(self.rack.next_wake())
    }

    /// The oldest entry not yet taken.
    pub fn take_entry(&mut self) -> Option<Entry> {
        self.ledger.take()
    }

    /// The newest picture of everything.
    #[must_use]
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            at: self.now,
            inputs: self.inputs.clone(),
            outputs: self.outputs,
            verdict: self.interlocks.verdict().clone(),
            status: self.sequence.status(),
            program: self.sequence.program().cloned(),
            permissives: {
                let rows = self.interlocks.permissives(&self.inputs, &self.sequence.limits());
                let key = [self.key_permissive()];
                key.into_iter().chain(rows).chain(self.proofs.permissives()).collect()
            },
            proof: self.proof(),
            by_hand: self.by_hand(),
            came: self.came.way(),
            windows: self.interlocks.pressure_windows(),
            field: self.rack.raw_field(),
            lines: (0..self.lines)
                .filter_map(|line| self.rack.counters(LineId(line)).copied())
                .collect(),
            powder: *self.rack.powder_counters(),
            beat: self.beat,
        }
    }

    /// The sequence's state, in words and figures.
    #[must_use]
    pub fn status(&self) -> Status {
        self.sequence.status()
    }

    /// The super-state, for a driver that waits for an end.
    #[must_use]
    pub fn phase(&self) -> Phase {
        self.sequence.phase()
    }

    /// The running estimate of the coat.
    #[must_use]
    pub const fn coat(&self) -> Option<&Coat> {
        self.coat.as_ref()
    }

    /// Entries that were dropped because nobody took them in time.
    #[must_use]
    pub const fn entries_lost(&self) -> u64 {
        self.ledger.lost()
    }

    /// One scan.
    fn scan(&mut self, on_time: Level) {
        let inputs = self.rack.inputs(self.now);
        let limits = self.sequence.limits();
        self.hold_for_dropped_powder();
        self.begin_proof_scan();
        self.interlocks.step(&inputs, &self.outputs, &limits);
        self.look_for_permissives(&inputs);
        let mut proposed = self.sequence.step(&inputs, self.interlocks.verdict(), &self.missing);
        self.grant_wishes(&inputs);
        if !on_time.is_on() {
            proposed.watchdog = Level::Off;
        }
        let written = enforce(self.interlocks.verdict(), &inputs, proposed);
        let urgency = urgency(self.interlocks.verdict(), &self.outputs, &written);
        self.rack.demand(self.now, &written, urgency);
        self.estimate_coat(&inputs);
        self.see_which_way(&inputs);
        self.teller.contacts(&self.inputs, &inputs, &mut self.ledger);
        self.end_proof_scan(&inputs);
        let before = core::mem::replace(&mut self.outputs, written);
        self.inputs = inputs;
        self.tell_events(None);
        let news: Vec<News> = self.interlocks.drain_news().collect();
        for news in &news {
            self.teller.news(news, self.interlocks.verdict(), &mut self.ledger);
        }
        self.tell_effects(&before);
        for switched in self.rack.switched() {
            self.effects.switched(&switched, &mut self.ledger);
            self.teller.switched(switched, &self.inputs, &mut self.ledger);
        }
        self.tell_coat();
        let arriving = Level::from_bit(self.coat.as_ref().is_some_and(Coat::is_arriving));
        let phase = self.sequence.phase();
        self.sampler.sample(&self.inputs, &self.outputs, phase, arriving, &mut self.ledger);
    }

    /// An ON edge that the line could not send in time is no powder where powder was planned: the
    /// job is held, and the restart makes it up.
    fn hold_for_dropped_powder(&mut self) {
        let dropped = self.rack.powder_counters().dropped;
        if dropped == self.dropped {
            return;
        }
        self.dropped = dropped;
        let words = self.teller.dropped(self.now, &mut self.ledger);
        self.sequence.powder_dropped();
        self.interlocks.raise(self.now, Raised::Overdue, &words);
    }

    fn see_which_way(&mut self, inputs: &Inputs) {
        let (_, budget) = self.ages;
        let homes = self.sequence.leaf() == Leaf::Homing;
        let datum = if homes { Datum::Sought } else { Datum::Kept };
        self.came.see(inputs.axis.trusted(inputs.now, budget).as_ref(), datum);
    }
}

/// How a scan's demand goes out: before everything else when a trip takes gas or powder away, or
/// when a hold or a stop takes powder away, which a new epoch of its edges shows.
fn urgency(verdict: &Verdict, old: &Outputs, new: &Outputs) -> Urgency {
    let gone = |old: Level, new: Level| old.is_on() && !new.is_on();
    let coils = old.coils.iter().zip(&new.coils).any(|(old, new)| gone(*old, *new));
    let powder = gone(old.powder.now, new.powder.now);
    let voided = powder && old.powder.epoch != new.powder.epoch;
    if voided || (verdict.tripped() && (powder || coils)) {
        Urgency::Trip
    } else {
        Urgency::Routine
    }
}

#[cfg(test)]
mod tests;
