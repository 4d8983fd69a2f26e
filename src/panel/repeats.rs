//! What is asked over and over is written down once and then counted, so that somebody who hammers
//! fills no disk, and hides nobody else's act among their own.
//!
//! The first of its kind is written at once. What comes again before the window is over is counted,
//! and told in one line at its end. While it goes on the windows grow; a quiet one makes them short
//! again.

use std::time::Duration;

use evenpass_core::moment::Moment;
use jiff::Timestamp;

use super::texts;
use crate::people::{NOT_SIGNED_IN, Whence};
use crate::record::{ActAnswer, ActRecord};

/// The first window, and the longest; arbitrary.
const FIRST: Duration = Duration::from_secs(1);
const LONGEST: Duration = Duration::from_secs(60);
/// Kinds of one source that are written in a window, and of all together; arbitrary. What is
/// beyond is counted in one line. With the longest window a flood of whatever kind adds some two
/// thousand lines an hour for its source.
const MOST_OF_ONE: usize = 16;
const MOST: usize = 128;

/// Acts that may repeat.
#[derive(Debug)]
pub(super) struct Repeats {
    kinds: Vec<(ActRecord, u64)>,
    /// The last of those for which there was no room, and how many they are: all that were refused
    /// together, and what was done each for itself.
    others: Vec<(ActRecord, u64)>,
    window: Duration,
    ends: Option<Moment>,
}

impl Default for Repeats {
    fn default() -> Self {
        Self { kinds: Vec::new(), others: Vec::new(), window: FIRST, ends: None }
    }
}

impl Repeats {
    /// Takes an act: comes back when it is to be written now.
    pub(super) fn take(&mut self, act: ActRecord, now: Moment) -> Option<ActRecord> {
        self.ends.get_or_insert(now + self.window);
        if let Some((_, again)) = self.kinds.iter_mut().find(|(one, _)| same(one, &act)) {
            *again += 1;
            return None;
        }
        let of_one = self.kinds.iter().filter(|(one, _)| source(one) == source(&act)).count();
        // However many come from elsewhere, who is at the machine has a line.
        let room = self.kinds.len() < MOST || !matches!(act.whence, Whence::Away(_));
        if of_one < MOST_OF_ONE && room {
            self.kinds.push((act.clone(), 0));
            return Some(act);
        }
        let together = |one: &ActRecord| match (&one.answer, &act.answer) {
            (ActAnswer::Refused(_), ActAnswer::Refused(_)) => true,
            (ActAnswer::Done, ActAnswer::Done) => one.what == act.what,
            _ => false,
        };
        match self.others.iter_mut().find(|(one, _)| together(one)) {
            Some((one, count)) => {
                *one = act;
                *count += 1;
            }
            None => self.others.push((act, 1)),
        }
        None
    }

    /// What is to be written because a window is over.
    pub(super) fn over(&mut self, now: Moment, at: Timestamp) -> Vec<ActRecord> {
        match self.ends {
            Some(ends) if now >= ends => self.end(at),
            _ => Vec::new(),
        }
    }

    /// What is to be written because nothing more comes.
    pub(super) fn end(&mut self, at: Timestamp) -> Vec<ActRecord> {
        self.ends = None;
        let mut told: Vec<ActRecord> = self
            .kinds
            .drain(..)
            .filter(|(_, again)| *again > 0)
            .map(|(act, again)| {
                let what = format!("{} ({again} {})", act.what, texts::TIMES_MORE);
                ActRecord { at, what, ..act }
            })
            .collect();
        told.extend(self.others.drain(..).map(|(act, count)| {
            let (what, answer) = match act.answer {
                ActAnswer::Done => {
                    (format!("{} ({count} {})", act.what, texts::FROM_OTHERS), ActAnswer::Done)
                }
                ActAnswer::Refused(_) => (
                    format!("{count} {}", texts::OTHER_REQUESTS),
                    ActAnswer::Refused(texts::TOO_MANY_KINDS.to_owned()),
                ),
            };
            let person = NOT_SIGNED_IN.to_owned();
            ActRecord { at, person, role: None, what, answer, run: None, ..act }
        }));
        self.window = if told.is_empty() { FIRST } else { (self.window * 2).min(LONGEST) };
        told
    }
}

/// Whether two acts are of one kind.
fn same(one: &ActRecord, other: &ActRecord) -> bool {
    source(one) == source(other)
        && one.person == other.person
        && one.what == other.what
        && one.answer == other.answer
}

/// Whose acts count together: a signed-in person's from one sender; of all others, those of a sender.
fn source(act: &ActRecord) -> (Whence, Option<&str>) {
    let from = match act.whence {
        Whence::Away(_) => act.whence.sender(),
        here => here,
    };
    (from, act.role.map(|_| act.person.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::people::Role;

    fn act(person: &str, what: &str) -> ActRecord {
        ActRecord {
            at: Timestamp::UNIX_EPOCH,
            person: person.to_owned(),
            role: (person != NOT_SIGNED_IN).then_some(Role::Operator),
            whence: Whence::Machine,
            what: what.to_owned(),
            answer: ActAnswer::Refused("no".to_owned()),
            run: None,
        }
    }

    fn at(millis: u64) -> Moment {
        Moment::START + Duration::from_millis(millis)
    }

    fn told(acts: &[ActRecord]) -> Vec<&str> {
        acts.iter().map(|act| act.what.as_str()).collect()
    }

    #[test]
    fn the_first_is_written_at_once_and_those_that_come_again_are_counted() {
        let mut repeats = Repeats::default();
        assert!(repeats.take(act("Ann", "prove"), at(0)).is_some());
        for again in 1..=5 {
            assert!(repeats.take(act("Ann", "prove"), at(again)).is_none());
        }
        assert!(repeats.take(act("Ben", "prove"), at(6)).is_some(), "another person");
        assert!(repeats.over(at(999), Timestamp::UNIX_EPOCH).is_empty());
        let over = repeats.over(at(1000), Timestamp::UNIX_EPOCH);
        assert_eq!(told(&over), ["prove (5 times more)"]);
        assert!(repeats.take(act("Ann", "prove"), at(1001)).is_some(), "a new window");
        assert!(repeats.over(at(2500), Timestamp::UNIX_EPOCH).is_empty(), "twice as long");
    }

    #[test]
    fn somebody_who_makes_up_kinds_fills_nothing_and_hides_nobody() {
        let mut repeats = Repeats::default();
        let mut written = 0;
        for number in 0..10_000 {
            let made_up = act(NOT_SIGNED_IN, &format!("GET /{number}"));
            written += usize::from(repeats.take(made_up, at(0)).is_some());
        }
        assert_eq!(written, MOST_OF_ONE);
        assert!(repeats.take(act("Ann", "prove"), at(1)).is_some());
        let over = repeats.over(at(1000), Timestamp::UNIX_EPOCH);
        assert_eq!(told(&over), ["9984 other requests"]);
    }

    #[test]
    fn many_addresses_of_one_sender_are_one_source_and_hide_nobody_elses_stops() {
        let stop = |whence| {
            let act = act(NOT_SIGNED_IN, "stop");
            ActRecord { whence, answer: ActAnswer::Done, ..act }
        };
        let away = |network: u128, host: u128| {
            let address = 0x2001_0db8_u128 << 96 | network << 64 | host;
            Whence::Away(std::net::Ipv6Addr::from(address).into())
        };
        let mut repeats = Repeats::default();
        for host in 0..1000 {
            let written = repeats.take(stop(away(0, host)), at(0)).is_some();
            assert_eq!(written, host == 0, "{host}");
        }
        for network in 1..1000 {
            repeats.take(stop(away(network, 1)), at(0));
        }
        assert!(repeats.take(stop(Whence::Machine), at(1)).is_some());
        assert!(repeats.take(stop(Whence::Terminal), at(1)).is_some());
        let over = repeats.over(at(1000), Timestamp::UNIX_EPOCH);
        assert_eq!(
            told(&over),
            ["stop (999 times more)", "stop (872 times more, from other places)"]
        );
        assert!(over.iter().all(|act| act.answer == ActAnswer::Done));
    }

    #[test]
    fn what_was_done_is_never_told_as_refused() {
        let mut repeats = Repeats::default();
        for number in 0..20 {
            repeats.take(act(NOT_SIGNED_IN, &format!("GET /{number}")), at(0));
        }
        let stop = ActRecord { answer: ActAnswer::Done, ..act(NOT_SIGNED_IN, "stop") };
        assert!(repeats.take(stop, at(1)).is_none(), "there is no room");
        let over = repeats.over(at(1000), Timestamp::UNIX_EPOCH);
        assert_eq!(told(&over), ["4 other requests", "stop (1 times more, from other places)"]);
        assert_eq!(over.last().map(|act| &act.answer), Some(&ActAnswer::Done));
    }

    #[test]
    fn an_hour_of_a_flood_is_some_hundred_lines() {
        let mut repeats = Repeats::default();
        let mut lines = 0;
        for number in 0..3600 * 100_u64 {
            let now = at(number * 10);
            lines += repeats.over(now, Timestamp::UNIX_EPOCH).len();
            let made_up = act(NOT_SIGNED_IN, &format!("GET /{}", number % 64));
            lines += usize::from(repeats.take(made_up, now).is_some());
        }
        println!("an hour of 100 refused requests a second: {lines} lines");
        assert!(lines < 2400, "{lines}");
    }
}
