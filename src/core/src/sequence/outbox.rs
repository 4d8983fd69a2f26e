//! Events and wishes that wait to be taken. Bounded; a full box drops its oldest and counts.

use std::collections::VecDeque;

use super::event::{Event, Wish};

/// Events kept; a job of 17 passes makes a few hundred, a scan takes them all. Arbitrary.
const EVENTS: usize = 256;
/// Wishes kept; a scan makes a few. Arbitrary.
const WISHES: usize = 16;

#[derive(Debug, Clone)]
pub(super) struct Outbox {
    events: VecDeque<Event>,
    wishes: VecDeque<Wish>,
    lost: u64,
}

impl Outbox {
    pub(super) fn new() -> Self {
        Self {
            events: VecDeque::with_capacity(EVENTS),
            wishes: VecDeque::with_capacity(WISHES),
            lost: 0,
        }
    }

    pub(super) fn tell(&mut self, event: Event) {
        if self.events.len() >= EVENTS {
            self.events.pop_front();
            self.lost += 1;
        }
        self.events.push_back(event);
    }

    /// The same wish twice before it is taken is one wish.
    pub(super) fn wish(&mut self, wish: Wish) {
        if !self.wishes.contains(&wish) && self.wishes.len() < WISHES {
            self.wishes.push_back(wish);
        }
    }

    pub(super) fn take_event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    pub(super) fn take_wish(&mut self) -> Option<Wish> {
        self.wishes.pop_front()
    }

    pub(super) const fn lost(&self) -> u64 {
        self.lost
    }
}
