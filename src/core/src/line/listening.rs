//! What is heard while a reply is awaited.

use super::counters::LineCounters;
use super::frame::Frame;
use super::reply::{Expected, Progress};
use super::request::Request;
use crate::moment::Moment;

/// What the bytes heard since the last silence are worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Burst {
    /// They may be a reply.
    Open,
    /// They are none, and so is what follows without a silence.
    Spoiled,
}

/// What lay between bytes and those before them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Gap {
    /// At least 3.5 characters: a frame may begin.
    Silence,
    /// Less.
    Short,
}

/// A request in flight.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flight {
    pub(super) request: Request,
    pub(super) expected: Expected,
    pub(super) sent: Moment,
    pub(super) request_end: Moment,
    pub(super) deadline: Moment,
    pub(super) burst: Burst,
    /// Where in the buffer the last silence was heard; what lies before it may be noise.
    pub(super) silence_at: usize,
    /// Whether anything foreign was heard.
    pub(super) foreign: bool,
}

/// Collects the bytes of a reply and keeps everything else out of it.
pub(super) struct Ear<'line> {
    pub(super) heard: &'line mut Frame,
    pub(super) counters: &'line mut LineCounters,
}

impl Ear<'_> {
    /// Takes bytes, of which the first was complete at a moment. A verdict ends the transaction.
    pub(super) fn listen(
        &mut self,
        flight: &mut Flight,
        bytes: &[u8],
        first_complete: Moment,
        gap: Gap,
    ) -> Option<Progress> {
        if gap == Gap::Silence {
            match flight.burst {
                Burst::Spoiled => {
                    flight.burst = Burst::Open;
                    self.heard.clear();
                    flight.silence_at = 0;
                }
                Burst::Open => flight.silence_at = self.heard.len(),
            }
        }
        // On a two-wire line nobody can answer while the question is still being put.
        if first_complete < flight.request_end {
            self.spoil(flight);
        }
        let mut rest = bytes;
        while flight.burst == Burst::Open && !rest.is_empty() {
            let take = flight.expected.missing(self.heard).min(rest.len());
            let Some((taken, left)) = rest.split_at_checked(take) else { break };
            let judged = self.heard.len();
            for octet in taken {
                self.heard.push(*octet);
            }
            rest = left;
            match self.judge(flight, judged) {
                Progress::More => {}
                Progress::Foreign => self.spoil(flight),
                verdict => {
                    // Bytes behind a whole reply are noise; the silence is counted from them.
                    self.counters.foreign += u64::from(!rest.is_empty());
                    return Some(verdict);
                }
            }
        }
        None
    }

    /// Judges what was heard; when it is no reply but a silence was heard within it, what lies
    /// before that silence was noise and the rest is judged alone.
    fn judge(&mut self, flight: &mut Flight, judged: usize) -> Progress {
        let verdict = flight.expected.judge(self.heard, judged);
        let wrong = matches!(verdict, Progress::Foreign | Progress::Corrupt);
        if !wrong || flight.silence_at == 0 {
            return verdict;
        }
        self.counters.foreign += 1;
        flight.foreign = true;
        self.heard.drop_front(flight.silence_at);
        flight.silence_at = 0;
        flight.expected.judge(self.heard, 0)
    }

    fn spoil(&mut self, flight: &mut Flight) {
        self.counters.foreign += u64::from(flight.burst == Burst::Open);
        flight.burst = Burst::Spoiled;
        flight.foreign = true;
        self.heard.clear();
        flight.silence_at = 0;
    }
}
