//! Holding to run across a connection that may stall, break or deliver late.
//!
//! The station sends numbered pulses; the page sends back the newest with each sign that its key
//! is still held. A sign counts only while its pulse is fresh, so that what a connection kept back
//! and delivers in one go moves nothing, and a hold that lapsed is over: its key must be let go and
//! pressed anew. Between signs the controller's own lease runs out.

use std::collections::VecDeque;
use std::time::Duration;

use evenpass_core::interlock::durations::JOG_LEASE;
use evenpass_core::moment::Moment;
use evenpass_core::request::{Direction, Request};

/// How often a pulse goes out: two in the life of one, so that one may be lost.
pub const PULSE_EVERY: Duration = Duration::from_millis(50);
/// How old the pulse of a sign may be: one pulse lost, and there and back. With [`JOG_LEASE`] and
/// a scan it stays inside the quarter of a second after which the stop is on the wire.
const FRESH: Duration = Duration::from_millis(120);
/// Pulses remembered; more than are ever fresh.
const REMEMBERED: usize = 8;

/// What the page says of its key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// It was pressed.
    Pressed(Direction),
    /// It is still held.
    Held,
    /// It was let go.
    Released,
}

/// What follows from a sign.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Follows {
    /// This is asked of the controller.
    Ask(Request),
    /// Nothing: the key counts as let go.
    LetGo(&'static str),
}

/// One page's jog keys.
#[derive(Debug, Clone, Default)]
pub struct JogHold {
    pulses: VecDeque<(u64, Moment)>,
    last: u64,
    held: Option<(Direction, Moment)>,
}

impl JogHold {
    /// A pulse goes out now.
    pub fn pulse(&mut self, now: Moment) -> u64 {
        self.last += 1;
        if self.pulses.len() == REMEMBERED {
            self.pulses.pop_front();
        }
        self.pulses.push_back((self.last, now));
        self.last
    }

    /// The page says something, with the newest pulse it has seen.
    pub fn sign(&mut self, sign: Sign, pulse: u64, now: Moment) -> Follows {
        if sign == Sign::Released {
            self.held = None;
            return Follows::Ask(Request::JogRelease);
        }
        let sent = self.pulses.iter().find(|(number, _)| *number == pulse);
        if sent.is_none_or(|(_, at)| now.since(*at) > FRESH) {
            self.held = None;
            return Follows::LetGo("the connection is too slow to jog: let go, then press again");
        }
        let direction = match (sign, self.held) {
            (Sign::Pressed(direction), _) => direction,
            (_, Some((direction, seen))) if now.since(seen) <= JOG_LEASE => direction,
            (_, held) => {
                self.held = None;
                let lapsed = held.is_some();
                return Follows::LetGo(if lapsed {
                    "the key was not seen in time: let go, then press again"
                } else {
                    "no jog key is held"
                });
            }
        };
        self.held = Some((direction, now));
        Follows::Ask(Request::Jog(direction))
    }

    /// What followed from a sign was denied: the key counts as let go, and must be pressed anew.
    pub fn refused(&mut self) {
        self.held = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TAIL: Direction = Direction::TowardTail;

    fn at(millis: u64) -> Moment {
        Moment::START + Duration::from_millis(millis)
    }

    #[test]
    fn a_key_that_is_held_and_seen_in_time_goes_on_moving() {
        let mut hold = JogHold::default();
        let first = hold.pulse(at(0));
        let jog = Follows::Ask(Request::Jog(TAIL));
        assert_eq!(hold.sign(Sign::Pressed(TAIL), first, at(10)), jog);
        assert_eq!(hold.sign(Sign::Held, first, at(50)), jog);
        let second = hold.pulse(at(50));
        assert_eq!(hold.sign(Sign::Held, second, at(140)), jog);
        let released = Follows::Ask(Request::JogRelease);
        assert_eq!(hold.sign(Sign::Released, 0, at(150)), released);
        let third = hold.pulse(at(150));
        assert!(matches!(hold.sign(Sign::Held, third, at(160)), Follows::LetGo(_)));
    }

    #[test]
    fn signs_that_a_connection_kept_back_move_nothing_when_they_come_at_once() {
        let mut hold = JogHold::default();
        let pulse = hold.pulse(at(0));
        hold.sign(Sign::Pressed(TAIL), pulse, at(0));
        for late in [Sign::Held, Sign::Held, Sign::Pressed(TAIL)] {
            let follows = hold.sign(late, pulse, at(400));
            assert!(matches!(follows, Follows::LetGo(_)), "{late:?}: {follows:?}");
        }
    }

    #[test]
    fn a_hold_that_lapsed_is_over_even_when_the_next_sign_is_fresh() {
        let mut hold = JogHold::default();
        let pulse = hold.pulse(at(0));
        hold.sign(Sign::Pressed(TAIL), pulse, at(0));
        let fresh = hold.pulse(at(300));
        assert!(matches!(hold.sign(Sign::Held, fresh, at(301)), Follows::LetGo(_)));
        let again = hold.sign(Sign::Pressed(TAIL), fresh, at(302));
        assert_eq!(again, Follows::Ask(Request::Jog(TAIL)));
    }

    #[test]
    fn a_hold_that_was_denied_is_over_until_its_key_is_pressed_anew() {
        let mut hold = JogHold::default();
        let pulse = hold.pulse(at(0));
        hold.sign(Sign::Pressed(TAIL), pulse, at(1));
        hold.refused();
        assert!(matches!(hold.sign(Sign::Held, pulse, at(40)), Follows::LetGo(_)));
        let again = hold.sign(Sign::Pressed(TAIL), pulse, at(41));
        assert_eq!(again, Follows::Ask(Request::Jog(TAIL)));
    }

    #[test]
    fn a_pulse_that_was_never_sent_is_not_believed() {
        let mut hold = JogHold::default();
        hold.pulse(at(0));
        assert!(matches!(hold.sign(Sign::Pressed(TAIL), 7, at(1)), Follows::LetGo(_)));
    }
}
