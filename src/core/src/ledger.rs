//! What is written down: numbered entries in a bounded ring, taken out by whoever keeps the
//! record. A full ring drops its oldest entries, counts them, and never waits.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::moment::Moment;

/// What kind of thing an entry tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EntryKind {
    /// A transition of the state chart, with its cause.
    State,
    /// A request and its answer.
    Request,
    /// A cause that was confirmed, has returned, was acknowledged or reset.
    Cause,
    /// An effect of a hold, a stop or a trip, with its time after the cause counted.
    Effect,
    /// The images around the first cause of a hold, a stop or a trip.
    Images,
    /// A prompt to a person, or its answer.
    Prompt,
    /// A coil that changed and was acknowledged by its module.
    Coil,
    /// A contact that changed.
    Contact,
    /// A powder edge: planned and done.
    Powder,
    /// A pass began or ended.
    Pass,
    /// The coat so far: powder that arrived in a spraying step, by place.
    Coat,
    /// Values at one time.
    Sample,
    /// Something about a line: silence, reconnection.
    Line,
}

/// One entry.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entry {
    /// Its number, without gaps from 1; a gap in what was taken out is entries lost.
    pub number: u64,
    /// When it happened.
    pub at: Moment,
    /// What kind of thing.
    pub kind: EntryKind,
    /// In words.
    pub text: String,
    /// Why it happened, in words; empty where the text says all.
    pub cause: String,
    /// Figures for programs.
    pub data: serde_json::Value,
}

/// The bounded ring.
#[derive(Debug, Clone)]
pub struct Ledger {
    entries: VecDeque<Entry>,
    capacity: usize,
    next: u64,
    lost: u64,
}

impl Ledger {
    /// A ring for so many entries.
    #[must_use]
    pub fn with_capacity(capacity: usize) -> Self {
        Self { entries: VecDeque::with_capacity(capacity), capacity, next: 1, lost: 0 }
    }

    /// Writes an entry down.
    pub fn write(
        &mut self,
        at: Moment,
        kind: EntryKind,
        text: String,
        cause: String,
        data: serde_json::Value,
    ) {
        if self.entries.len() >= self.capacity {
            self.entries.pop_front();
            self.lost += 1;
        }
        self.entries.push_back(Entry { number: self.next, at, kind, text, cause, data });
        self.next += 1;
    }

    /// Takes the oldest entry out.
    pub fn take(&mut self) -> Option<Entry> {
        self.entries.pop_front()
    }

    /// How many entries were dropped because nobody took them in time.
    #[must_use]
    pub const fn lost(&self) -> u64 {
        self.lost
    }
}
