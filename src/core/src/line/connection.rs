//! One serial line as a state machine without I/O.
//!
//! ```text
//!            handle_link(Up)                    transmit
//!   Down ───────────────────> Quarantine ─> Clear ──────> Waiting
//!    ^                          ^   until     ^              │ whole reply, refusal, wrong CRC
//!    └── handle_link(Down) ──   │             └──────────────┤
//!        from anywhere          └────────────────────────────┘ deadline
//! ```
//!
//! *Clear*: nothing in flight; a request may leave once the line has been silent for 3.5
//! characters, whatever was heard last. *Waiting*: one request in flight, with one deadline for
//! its whole reply. *Quarantine*: a request went unanswered; its reply may still come and could
//! not be told from the next one's, because RTU numbers nothing. So the line keeps silent for the
//! devices' worst reply time and throws away what comes.
//!
//! Bytes that are no reply make what follows them worthless up to the next silence of 3.5
//! characters; then a reply may still begin, under the same deadline. The 1.5-character limit
//! inside a frame is not judged: arrival times are those of the caller's port, which may hand
//! over one frame in several pieces, and the length, the echo and the CRC already decide.

use core::time::Duration;

use super::counters::LineCounters;
use super::frame::Frame;
use super::listening::{Burst, Ear, Flight, Gap};
use super::reply::{ExceptionCode, Expected, Progress, Reply, read};
use super::request::Request;
use super::timing::Timing;
use crate::moment::Moment;
use crate::rig::LineSpec;

/// Times on the wire are rounded up to whole microseconds; a silence that is short by that much
/// is a whole one.
const ROUNDING: Duration = Duration::from_micros(1);

/// Whether the port is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Link {
    /// Open.
    Up,
    /// Gone: unplugged, closed, refused.
    Down,
}

/// Why a request brought no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Miss {
    /// Nothing came in time.
    TimedOut,
    /// A reply began and did not end in time.
    Torn,
    /// The reply's CRC was wrong.
    Corrupt,
    /// Only bytes that were no reply came in time.
    Foreign,
    /// The port went away.
    LinkLost,
}

/// What a request came to.
#[derive(Debug, Clone, Copy)]
pub enum Answer<'frame> {
    /// The device did as asked.
    Given(Reply<'frame>),
    /// The device is there and refused.
    Refused(ExceptionCode),
    /// Nobody knows whether the device heard it.
    Missed(Miss),
}

/// The end of a transaction.
#[derive(Debug, Clone, Copy)]
pub struct Outcome<'frame> {
    /// What was asked.
    pub request: Request,
    /// What came of it.
    pub answer: Answer<'frame>,
    /// When the request's first byte left.
    pub sent: Moment,
    /// When the request's last byte was on the wire.
    pub request_end: Moment,
    /// When the device knew that the request was complete, 3.5 characters later: the moment at
    /// which it samples what it was asked for.
    pub sampled: Moment,
    /// When the transaction ended.
    pub ended: Moment,
}

#[derive(Debug, Clone, Copy)]
enum State {
    Down,
    Clear {
        /// Spoiled once bytes were heard that nobody asked for.
        heard: Burst,
    },
    Waiting(Flight),
    Quarantine {
        until: Moment,
    },
}

/// One serial line.
///
/// * Getters: [`ready_at`](Self::ready_at), [`next_wake`](Self::next_wake),
///   [`counters`](Self::counters), [`timing`](Self::timing), [`link`](Self::link).
/// * What came in: [`handle_bytes`](Self::handle_bytes), [`handle_time`](Self::handle_time),
///   [`handle_link`](Self::handle_link). Each may end the transaction in flight and then returns
///   its [`Outcome`]; a call at any other time is harmless.
/// * What must go out: [`transmit`](Self::transmit), once [`ready_at`](Self::ready_at) has come.
///
/// Time may stand still between calls but never runs backwards.
#[derive(Debug, Clone)]
pub struct Line {
    timing: Timing,
    state: State,
    /// The last byte on the wire, ours or another's.
    last_activity: Moment,
    heard: Frame,
    counters: LineCounters,
    ups: u64,
}

impl Line {
    /// A line whose port is not open yet.
    #[must_use]
    pub fn new(spec: &LineSpec) -> Self {
        Self {
            timing: Timing::of(spec),
            state: State::Down,
            last_activity: Moment::START,
            heard: Frame::new(),
            counters: LineCounters::default(),
            ups: 0,
        }
    }

    /// Its times.
    #[must_use]
    pub const fn timing(&self) -> &Timing {
        &self.timing
    }

    /// What happened on it.
    #[must_use]
    pub const fn counters(&self) -> &LineCounters {
        &self.counters
    }

    /// Whether its port is there.
    #[must_use]
    pub const fn link(&self) -> Link {
        match self.state {
            State::Down => Link::Down,
            _ => Link::Up,
        }
    }

    /// The earliest moment at which a request may leave; [`Moment::NEVER`] while one is in flight
    /// or the port is gone.
    #[must_use]
    pub fn ready_at(&self) -> Moment {
        match self.state {
            State::Down | State::Waiting(_) => Moment::NEVER,
            State::Clear { .. } => self.clear_at(),
            State::Quarantine { until } => until,
        }
    }

    /// When [`handle_time`](Self::handle_time) has something to do.
    #[must_use]
    pub const fn next_wake(&self) -> Moment {
        match self.state {
            State::Waiting(flight) => flight.deadline,
            State::Quarantine { until } => until,
            State::Down | State::Clear { .. } => Moment::NEVER,
        }
    }

    /// Starts a transaction: the frame's first byte leaves now. `None`, and nothing changes, when
    /// the line is not ready.
    pub fn transmit(&mut self, now: Moment, unit: u8, request: Request) -> Option<Frame> {
        if now < self.ready_at() {
            return None;
        }
        let frame = request.frame(unit);
        let request_end = now + self.timing.wire(frame.len());
        let deadline =
            request_end + self.timing.reply_within + self.timing.wire(request.reply_length());
        self.heard.clear();
        self.last_activity = request_end;
        self.counters.requests += 1;
        self.state = State::Waiting(Flight {
            request,
            expected: Expected::of(&request, unit, &frame),
            sent: now,
            request_end,
            deadline,
            burst: Burst::Open,
            silence_at: 0,
            foreign: false,
        });
        Some(frame)
    }

    /// Bytes that have just arrived, the last of them now.
    pub fn handle_bytes(&mut self, now: Moment, bytes: &[u8]) -> Option<Outcome<'_>> {
        if bytes.is_empty() {
            return None;
        }
        let heard_for = self.timing.wire(bytes.len());
        let silent_for = now.since(self.last_activity) + ROUNDING;
        let gap =
            if silent_for >= self.timing.silence + heard_for { Gap::Silence } else { Gap::Short };
        match self.state {
            State::Down => None,
            State::Clear { heard } => {
                self.counters.foreign += u64::from(gap == Gap::Silence || heard == Burst::Open);
                self.last_activity = now;
                self.state = State::Clear { heard: Burst::Spoiled };
                None
            }
            State::Quarantine { until } => {
                self.counters.late += u64::from(gap == Gap::Silence);
                self.last_activity = now;
                self.state = State::Quarantine { until: until.max(self.clear_at()) };
                None
            }
            State::Waiting(flight) if now > flight.deadline => {
                self.counters.late += 1;
                self.last_activity = now;
                self.give_up(flight, now)
            }
            State::Waiting(ref mut flight) => {
                self.last_activity = self.last_activity.max(now);
                let mut ear = Ear { heard: &mut self.heard, counters: &mut self.counters };
                let first = now.before(self.timing.wire(bytes.len() - 1));
                let verdict = ear.listen(flight, bytes, first, gap)?;
                let flight = *flight;
                Some(self.conclude(flight, verdict, now))
            }
        }
    }

    /// Time has passed: ends what is overdue.
    pub fn handle_time(&mut self, now: Moment) -> Option<Outcome<'_>> {
        match self.state {
            State::Waiting(flight) if now >= flight.deadline => self.give_up(flight, now),
            State::Quarantine { until } if now >= until => {
                self.state = State::Clear { heard: Burst::Open };
                None
            }
            _ => None,
        }
    }

    /// The port came or went.
    pub fn handle_link(&mut self, now: Moment, link: Link) -> Option<Outcome<'_>> {
        let before = self.state;
        match (link, before) {
            (Link::Down, State::Waiting(flight)) => {
                self.state = State::Down;
                Some(Self::outcome(&self.timing, flight, Answer::Missed(Miss::LinkLost), now))
            }
            (Link::Down, _) => {
                self.state = State::Down;
                None
            }
            (Link::Up, State::Down) => {
                // What a device was saying when the port opened belongs to nobody.
                self.counters.reconnections += u64::from(self.ups > 0);
                self.ups += 1;
                self.last_activity = now;
                self.enter_quarantine(now);
                None
            }
            (Link::Up, _) => None,
        }
    }

    /// When the line will have been silent for long enough.
    fn clear_at(&self) -> Moment {
        self.last_activity + self.timing.silence
    }

    fn enter_quarantine(&mut self, from: Moment) {
        self.counters.quarantines += 1;
        let until = (from + self.timing.quarantine).max(self.clear_at());
        self.state = State::Quarantine { until };
    }

    /// Ends a transaction whose reply came: the line is clear after the next silence.
    fn conclude(&mut self, flight: Flight, verdict: Progress, now: Moment) -> Outcome<'_> {
        self.state = State::Clear { heard: Burst::Open };
        let answer = match verdict {
            Progress::Whole => {
                self.counters.replies += 1;
                Answer::Given(read(&flight.request, &self.heard))
            }
            Progress::Refused(code) => {
                self.counters.exceptions += 1;
                Answer::Refused(code)
            }
            Progress::Corrupt | Progress::Foreign | Progress::More => {
                self.counters.corrupt += 1;
                Answer::Missed(Miss::Corrupt)
            }
        };
        if !matches!(answer, Answer::Missed(_)) {
            let took = now.since(flight.sent);
            self.counters.longest_exchange = self.counters.longest_exchange.max(took);
        }
        Self::outcome(&self.timing, flight, answer, now)
    }

    /// Ends a transaction whose reply did not come: quarantine.
    fn give_up(&mut self, flight: Flight, now: Moment) -> Option<Outcome<'_>> {
        let miss = match (self.heard.is_empty(), flight.foreign) {
            (false, _) => Miss::Torn,
            (true, true) => Miss::Foreign,
            (true, false) => Miss::TimedOut,
        };
        match miss {
            Miss::Torn => self.counters.torn += 1,
            _ => self.counters.time_outs += 1,
        }
        self.heard.clear();
        self.enter_quarantine(now);
        Some(Self::outcome(&self.timing, flight, Answer::Missed(miss), now))
    }

    fn outcome<'frame>(
        timing: &Timing,
        flight: Flight,
        answer: Answer<'frame>,
        ended: Moment,
    ) -> Outcome<'frame> {
        Outcome {
            request: flight.request,
            answer,
            sent: flight.sent,
            request_end: flight.request_end,
            sampled: flight.request_end + timing.silence,
            ended,
        }
    }
}
