//! Causes latched in their order, and the news of them.

use core::time::Duration;

use super::matrix::{Row, Watch};
use super::news::{Change, MOST_NEWS, News};
use super::slot::Slot;
use super::verdict::{Acknowledged, Class, Occurrence, Presence, Verdict};
use crate::moment::Moment;

/// Causes after the first that are listed; each row is listed once.
const MOST_CONSEQUENT: usize = 32;
/// A cause that comes back within this time is counted, not announced again (arbitrary).
const CHATTER: Duration = Duration::from_secs(60);

/// What is latched, as the verdict tells it, and what is new.
#[derive(Debug, Clone, Default)]
pub(super) struct Latch {
    /// The lists, and everything else that is told.
    pub(super) verdict: Verdict,
    /// News nobody has taken out yet.
    pub(super) news: Vec<News>,
    /// News dropped because nobody took them out.
    pub(super) lost_news: u64,
}

/// Whether a confirmation began a trip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Onset {
    /// It is the first trip.
    First,
    /// It is not.
    Later,
}

impl Latch {
    /// Whether nothing is latched.
    pub(super) fn is_empty(&self) -> bool {
        self.verdict.first.is_none() && self.verdict.holds.is_empty()
    }

    /// Takes in a confirmed cause. `words` are asked for only when it is not just a repeat.
    pub(super) fn confirm(
        &mut self,
        slot: &mut Slot,
        now: Moment,
        words: impl FnOnce(&Slot) -> String,
    ) -> Onset {
        slot.present = true;
        let repeat = slot.latched || now < slot.quiet_until;
        let before = slot.repeats;
        slot.repeats = if repeat { slot.repeats.saturating_add(1) } else { 0 };
        if slot.latched {
            if let Some(occurrence) = self.find(slot.row) {
                occurrence.present = Presence::Active;
                occurrence.repeats = occurrence.repeats.saturating_add(1);
            }
            // Whoever saw it go has not seen that it came back.
            if slot.row.class == Class::Trip {
                self.verdict.acknowledged = Acknowledged::No;
            }
            return Onset::Later;
        }
        let occurrence = Occurrence {
            key: slot.row.key,
            class: slot.row.class,
            since: slot.since.unwrap_or(now),
            confirmed: now,
            message: words(slot),
            advice: slot.row.advice,
            present: Presence::Active,
            repeats: slot.repeats,
        };
        if !repeat {
            self.tell(slot, now, Change::Confirmed, before, occurrence.message.clone());
        }
        slot.latched = slot.row.class != Class::Warn;
        self.list(occurrence)
    }

    fn list(&mut self, occurrence: Occurrence) -> Onset {
        match occurrence.class {
            Class::Warn => self.verdict.warnings.push(occurrence),
            Class::Hold | Class::Stop => self.verdict.holds.push(occurrence),
            Class::Trip => {
                self.verdict.acknowledged = Acknowledged::No;
                if self.verdict.first.is_none() {
                    self.verdict.first = Some(occurrence);
                    return Onset::First;
                }
                if self.verdict.consequent.len() < MOST_CONSEQUENT {
                    self.verdict.consequent.push(occurrence);
                } else {
                    self.verdict.more_consequent = self.verdict.more_consequent.saturating_add(1);
                }
            }
        }
        Onset::Later
    }

    /// Takes in that a cause's condition is gone.
    pub(super) fn return_to_normal(&mut self, slot: &mut Slot, now: Moment) {
        let told_before = slot.repeats > 0;
        if slot.row.class == Class::Warn {
            self.verdict.warnings.retain(|occurrence| occurrence.key != slot.row.key);
        } else if let Some(occurrence) = self.find(slot.row) {
            occurrence.present = Presence::Returned;
        }
        slot.quiet_until = now + CHATTER;
        // What somebody raised is over in the same moment; that is no news.
        if !told_before && !matches!(slot.row.watch, Watch::Person(_)) {
            self.tell(slot, now, Change::Returned, 0, slot.row.title.to_owned());
        }
    }

    /// Drops a hold or a stop.
    pub(super) fn clear(&mut self, slot: &mut Slot, now: Moment) {
        self.verdict.holds.retain(|occurrence| occurrence.key != slot.row.key);
        self.unlatch(slot, now);
    }

    /// Drops every trip.
    pub(super) fn clear_trips(&mut self, slots: &mut [Slot], now: Moment) {
        for slot in slots.iter_mut().filter(|slot| slot.row.class == Class::Trip && slot.latched) {
            self.unlatch(slot, now);
        }
        self.verdict.first = None;
        self.verdict.consequent.clear();
        self.verdict.more_consequent = 0;
        self.verdict.acknowledged = Acknowledged::No;
    }

    /// Takes in that somebody has seen the trip.
    pub(super) fn acknowledge(&mut self, now: Moment) {
        let Some(first) = &self.verdict.first else { return };
        if self.verdict.acknowledged == Acknowledged::Yes {
            return;
        }
        let news = News {
            at: now,
            key: first.key,
            class: first.class,
            change: Change::Acknowledged,
            repeats: first.repeats,
            message: first.message.clone(),
        };
        self.verdict.acknowledged = Acknowledged::Yes;
        self.keep(news);
    }

    fn unlatch(&mut self, slot: &mut Slot, now: Moment) {
        self.tell(slot, now, Change::Cleared, slot.repeats, slot.row.title.to_owned());
        slot.latched = false;
        slot.present = false;
        slot.healthy_since = None;
        slot.confirmed = false;
        slot.since = None;
        slot.repeats = 0;
        slot.quiet_until = Moment::START;
    }

    fn find(&mut self, row: &Row) -> Option<&mut Occurrence> {
        let verdict = &mut self.verdict;
        verdict
            .first
            .iter_mut()
            .chain(&mut verdict.consequent)
            .chain(&mut verdict.holds)
            .find(|occurrence| occurrence.key == row.key)
    }

    fn tell(&mut self, slot: &Slot, at: Moment, change: Change, repeats: u32, message: String) {
        let row = slot.row;
        self.keep(News { at, key: row.key, class: row.class, change, repeats, message });
    }

    fn keep(&mut self, news: News) {
        if self.news.len() < MOST_NEWS {
            self.news.push(news);
        } else {
            self.lost_news += 1;
        }
    }
}
