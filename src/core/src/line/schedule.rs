//! Who speaks next on a line.
//!
//! Everybody who wants the line makes an [`Offer`] for each thing wanted. Of those that are due,
//! the highest rank goes first, and within a rank the one that has been due longest. Nothing
//! below the rank of an edge is started when it could still be running at the moment an edge
//! wants to start: that keeps a window free before it, as long as the exchange at hand.

use super::request::Request;
use super::timing::Timing;
use crate::moment::Moment;

/// How urgent a transaction is, most urgent first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rank {
    /// The frame of a trip.
    Trip,
    /// A powder edge at its own instant, or powder off at once.
    Edge,
    /// A poll that should have been made a whole period ago.
    OverduePoll,
    /// A write because something changed.
    Write,
    /// A poll of the cycle.
    Poll,
    /// What may wait: reading back.
    Background,
}

/// One thing wanted of the line.
#[derive(Debug, Clone, Copy)]
pub struct Offer<Job> {
    /// How urgent.
    pub rank: Rank,
    /// Not before this moment; an edge's own instant.
    pub due: Moment,
    /// How it is asked: how long it keeps the line follows from that.
    pub request: Request,
    /// What it is.
    pub job: Job,
}

/// The choice among the offers of one line, made offer by offer.
#[derive(Debug, Clone, Copy)]
pub struct Schedule<'line, Job> {
    timing: &'line Timing,
    /// When the line is free.
    ready: Moment,
    /// Latest moment known.
    now: Moment,
    /// The start of the next edge, if one is planned.
    edge: Moment,
    best: Option<Offer<Job>>,
    wake: Moment,
}

impl<'line, Job: Copy> Schedule<'line, Job> {
    /// A line that is free at `ready` and must be free again for an edge at `edge`
    /// ([`Moment::NEVER`] when none is planned). `now` is the latest moment known.
    #[must_use]
    pub const fn new(timing: &'line Timing, ready: Moment, now: Moment, edge: Moment) -> Self {
        Self { timing, ready, now, edge, best: None, wake: Moment::NEVER }
    }

    /// Considers an offer.
    pub fn consider(&mut self, offer: Offer<Job>) {
        let start = offer.due.max(self.ready);
        if start == Moment::NEVER {
            return;
        }
        let begins = start.max(self.now);
        let guarded = self.edge != Moment::NEVER && offer.rank > Rank::Edge && begins < self.edge;
        if guarded && begins + self.timing.exchange(&offer.request) > self.edge {
            return;
        }
        self.wake = self.wake.min(start);
        if start > self.now {
            return;
        }
        let better = match &self.best {
            None => true,
            Some(best) => (offer.rank, offer.due) < (best.rank, best.due),
        };
        if better {
            self.best = Some(offer);
        }
    }

    /// What goes out now, if anything.
    #[must_use]
    pub const fn best(&self) -> Option<Offer<Job>> {
        self.best
    }

    /// When something could go out, as far as the offers tell.
    #[must_use]
    pub const fn wake(&self) -> Moment {
        self.wake
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(us: u64) -> Moment {
        Moment::from_micros(us)
    }

    const READ: Request = Request::ReadCoils { address: 0, count: 8 };
    /// Computed here for 115,200 baud: 8 bytes, 3 ms of turn-round, 6 bytes, 1.75 ms of silence.
    const EXCHANGE: u64 = 764 + 3_000 + 573 + 1_750;

    fn offer(rank: Rank, due: u64, job: &'static str) -> Offer<&'static str> {
        Offer { rank, due: at(due), request: READ, job }
    }

    fn chosen(edge: Moment, offers: &[Offer<&'static str>]) -> (Option<&'static str>, Moment) {
        let timing = Timing::of(&crate::rig::support::line());
        let mut schedule = Schedule::new(&timing, at(1_000), at(1_000), edge);
        for offer in offers {
            schedule.consider(*offer);
        }
        (schedule.best().map(|offer| offer.job), schedule.wake())
    }

    #[test]
    fn a_trip_goes_before_an_edge_and_an_edge_before_a_poll() {
        let all = [
            offer(Rank::Poll, 0, "poll"),
            offer(Rank::Trip, 900, "trip"),
            offer(Rank::Edge, 800, "edge"),
        ];
        assert_eq!(chosen(Moment::NEVER, &all).0, Some("trip"));
        assert_eq!(chosen(Moment::NEVER, &[all[0], all[2]]).0, Some("edge"));
    }

    #[test]
    fn of_two_polls_the_one_due_longer_goes_first() {
        let both = [offer(Rank::Poll, 500, "late"), offer(Rank::Poll, 400, "later")];
        assert_eq!(chosen(Moment::NEVER, &both).0, Some("later"));
    }

    #[test]
    fn nothing_starts_that_could_still_run_when_the_edge_starts() {
        let poll = offer(Rank::Poll, 0, "poll");
        let just = 1_000 + EXCHANGE;
        let edge = offer(Rank::Edge, just - 1, "edge");
        assert_eq!(chosen(at(just - 1), &[poll, edge]), (None, at(just - 1)));
        assert_eq!(chosen(at(just), &[poll]).0, Some("poll"));
    }

    #[test]
    fn an_edge_that_is_past_due_does_not_hold_the_line_shut_for_others() {
        let poll = offer(Rank::Poll, 0, "poll");
        assert_eq!(chosen(at(900), &[poll]).0, Some("poll"));
    }
}
