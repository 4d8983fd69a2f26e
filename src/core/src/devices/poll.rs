//! When a device is read next.

use core::time::Duration;

use crate::line::Rank;
use crate::moment::Moment;

/// How often in a row a missed read is repeated at once before it waits for its next turn.
/// Common practice for reads on a serial line, no source.
const REPEATS: u32 = 2;

/// One cyclic read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Poll {
    every: Duration,
    due: Moment,
    repeated: u32,
}

impl Poll {
    pub(super) const fn new(every: Duration) -> Self {
        Self { every, due: Moment::START, repeated: 0 }
    }

    pub(super) const fn due(&self) -> Moment {
        self.due
    }

    /// An ordinary poll, or one that has waited a whole period too long.
    pub(super) fn rank(&self, now: Moment) -> Rank {
        if now.since(self.due) > self.every { Rank::OverduePoll } else { Rank::Poll }
    }

    /// It was answered. A period that was slept through is left out, not made up for.
    pub(super) fn handle_answer(&mut self, now: Moment) {
        self.repeated = 0;
        let next = self.due + self.every;
        self.due = if next < now { now + self.every } else { next };
    }

    /// It was missed.
    pub(super) fn handle_miss(&mut self, now: Moment) {
        if self.repeated < REPEATS {
            self.repeated += 1;
            self.due = now;
        } else {
            self.repeated = 0;
            self.due = now + self.every;
        }
    }

    /// Read as soon as possible.
    pub(super) fn hurry(&mut self, now: Moment) {
        self.due = self.due.min(now);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EVERY: Duration = Duration::from_millis(20);

    #[test]
    fn polls_keep_their_phase_and_leave_out_what_was_slept_through() {
        let mut poll = Poll::new(EVERY);
        poll.handle_answer(Moment::from_micros(6_000));
        assert_eq!(poll.due(), Moment::from_micros(20_000));
        poll.handle_answer(Moment::from_micros(95_000));
        assert_eq!(poll.due(), Moment::from_micros(115_000));
    }

    #[test]
    fn a_missed_read_is_repeated_twice_and_then_waits_for_its_turn() {
        let mut poll = Poll::new(EVERY);
        let now = Moment::from_micros(50_000);
        poll.handle_miss(now);
        assert_eq!(poll.due(), now);
        poll.handle_miss(now);
        assert_eq!(poll.due(), now);
        poll.handle_miss(now);
        assert_eq!(poll.due(), now + EVERY);
    }
}
