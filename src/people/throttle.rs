//! How often PINs may be tried.
//!
//! Every try counts as a wrong one from its beginning until it is said to have been right, so that
//! a hundred tries at once are a hundred tries. After the third wrong one the next waits 1 s, and
//! then twice as long each time, up to 5 min; after 15 min without a try all is forgotten. What
//! comes during a wait is refused without a hash, be the PIN right or wrong, and does not make the
//! wait longer.
//!
//! Three things are counted, and the longest wait counts:
//!
//! | counted | from elsewhere | at the machine |
//! |---|---|---|
//! | a name from one sender | 3 free, up to 5 min | 3 free, up to 5 min |
//! | one sender, whatever names it tries | 3 free, up to 5 min | not: all people share the panel |
//! | all senders together | 20 free, up to 5 min | 20 free, up to 8 s |
//!
//! What is tried elsewhere is never counted at the machine: nobody can lock the operator out from
//! somewhere else. Many senders together can keep everybody elsewhere from signing in; that is the
//! safe side, for elsewhere one can only watch, and stop without signing in. A name that nobody
//! has counts like any other.

use std::time::Duration;

use evenpass_core::moment::Moment;

use super::Whence;
use super::roll::{LONGEST_NAME, key};

/// Without a try for so long, what was counted is forgotten.
const FORGOTTEN: Duration = Duration::from_secs(15 * 60);
/// The first wait.
const FIRST_WAIT: Duration = Duration::from_secs(1);
/// How many names and senders are remembered; the oldest go first, the totals never. By the totals
/// fewer can come together in [`FORGOTTEN`]: some 130 at the machine, some 60 elsewhere.
const REMEMBERED: usize = 256;

/// How many tries are free, and how long a wait can become. Arbitrary; a person who mistypes has
/// it right at the third time.
#[derive(Debug, Clone, Copy)]
struct Allowance {
    free: u32,
    longest: Duration,
}

const ONE: Allowance = Allowance { free: 3, longest: Duration::from_secs(5 * 60) };
const ALL_AWAY: Allowance = Allowance { free: 20, longest: Duration::from_secs(5 * 60) };
const ALL_HERE: Allowance = Allowance { free: 20, longest: Duration::from_secs(8) };

/// A try that has to wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wait {
    /// For how long.
    pub left: Duration,
}

/// In words for whoever tried, whole seconds rounded up.
impl std::fmt::Display for Wait {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let seconds = self.left.as_micros().div_ceil(1_000_000);
        write!(f, "too many wrong PINs: wait {seconds} s, then try again")
    }
}

/// What is counted of one thing.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    wrong: u32,
    last: Moment,
    until: Moment,
}

/// What is counted.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Counted {
    Name(String, Whence),
    Sender(Whence),
    AllAway,
    AllHere,
}

impl Counted {
    fn allowance(&self) -> Allowance {
        match self {
            Self::Name(..) | Self::Sender(_) => ONE,
            Self::AllAway => ALL_AWAY,
            Self::AllHere => ALL_HERE,
        }
    }
}

/// How often PINs were tried, and who has to wait.
#[derive(Debug, Clone, Default)]
pub struct Throttle {
    /// In the order of their last try, the oldest first.
    tallies: Vec<(Counted, Tally)>,
}

impl Throttle {
    /// Begins a try: `Ok` lets the PIN be hashed, and counts it as wrong until
    /// [`Throttle::right`] says otherwise.
    ///
    /// # Errors
    /// How long this name and sender have to wait; the PIN is not to be hashed.
    pub fn begin(&mut self, name: &str, whence: Whence, now: Moment) -> Result<(), Wait> {
        self.tallies.retain(|(_, tally)| now.since(tally.last) < FORGOTTEN);
        let counted = counted(name, whence);
        let left = |one: &Counted| self.tally(one).map(|tally| tally.until.since(now));
        let longest = counted.iter().filter_map(left).max().unwrap_or_default();
        if !longest.is_zero() {
            return Err(Wait { left: longest });
        }
        for one in counted {
            self.count(one, now);
        }
        Ok(())
    }

    /// Says that a try was right: it counts no more, and neither do the earlier ones with that
    /// name from there. What else the sender has tried stays counted.
    pub fn right(&mut self, name: &str, whence: Whence) {
        let counted = counted(name, whence);
        for (one, tally) in self.tallies.iter_mut().filter(|(one, _)| counted.contains(one)) {
            let taken_back = if matches!(one, Counted::Name(..)) { tally.wrong } else { 1 };
            tally.wrong = tally.wrong.saturating_sub(taken_back);
            tally.until = Moment::START;
        }
        self.tallies.retain(|(_, tally)| tally.wrong > 0);
    }

    fn tally(&self, counted: &Counted) -> Option<Tally> {
        self.tallies.iter().find(|(one, _)| one == counted).map(|(_, tally)| *tally)
    }

    fn count(&mut self, counted: Counted, now: Moment) {
        let before = self.tally(&counted).unwrap_or_default();
        self.tallies.retain(|(one, _)| *one != counted);
        let is_total =
            |(one, _): &(Counted, Tally)| matches!(one, Counted::AllAway | Counted::AllHere);
        if self.tallies.len() >= REMEMBERED
            && let Some(oldest) = self.tallies.iter().position(|one| !is_total(one))
        {
            self.tallies.remove(oldest);
        }
        let wrong = before.wrong.saturating_add(1);
        let until = now + wait(counted.allowance(), wrong);
        self.tallies.push((counted, Tally { wrong, last: now, until }));
    }
}

/// What a try counts for.
fn counted(name: &str, whence: Whence) -> Vec<Counted> {
    let sender = whence.sender();
    // A name that cannot be one is nobody's: all such are one.
    let name = if name.chars().count() > LONGEST_NAME { String::new() } else { key(name) };
    let name = Counted::Name(name, sender);
    match sender {
        Whence::Machine | Whence::Terminal => vec![name, Counted::AllHere],
        Whence::Away(_) => vec![name, Counted::Sender(sender), Counted::AllAway],
    }
}

/// How long after so many wrong tries.
fn wait(allowance: Allowance, wrong: u32) -> Duration {
    match wrong.checked_sub(allowance.free) {
        None => Duration::ZERO,
        Some(times) => {
            let twice = 2u32.checked_pow(times).and_then(|factor| FIRST_WAIT.checked_mul(factor));
            twice.unwrap_or(allowance.longest).min(allowance.longest)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: f64) -> Moment {
        Moment::START + Duration::from_secs_f64(seconds)
    }

    fn away(last: u8) -> Whence {
        format!("192.0.2.{last}").parse().expect("an address")
    }

    /// How many of so many wrong tries, evenly over so many seconds, reach the hash.
    fn hashed(
        throttle: &mut Throttle,
        tries: u32,
        seconds: f64,
        who: impl Fn(u32) -> (String, Whence),
    ) -> usize {
        let reaches = |number: &u32| {
            let (name, whence) = who(*number);
            let now = at(f64::from(*number) * seconds / f64::from(tries));
            throttle.begin(&name, whence, now).is_ok()
        };
        (0..tries).filter(reaches).count()
    }

    #[test]
    fn of_a_hundred_wrong_pins_in_a_minute_eight_are_hashed() {
        let one = |whence| move |_| ("A. Fitter".to_owned(), whence);
        let name = |number: u32| (format!("Nobody {number}"), away(1));
        let sender =
            |number: u32| ("A. Fitter".to_owned(), away(u8::try_from(number).expect("below 100")));
        let here = |number: u32| (format!("Nobody {number}"), Whence::Machine);
        let figure = |what: &str, who: &dyn Fn(u32) -> (String, Whence)| {
            let figure = hashed(&mut Throttle::default(), 100, 60.0, who);
            println!("of 100 wrong PINs in 60 s, {what}: {figure} reach the hash");
            figure
        };
        // Three are free; the waits of 1, 2, 4, 8, 16 s end within the minute.
        assert_eq!(figure("one name from one sender", &one(away(1))), 8);
        assert_eq!(figure("one name at the machine", &one(Whence::Machine)), 8);
        assert_eq!(figure("any name from one sender", &name), 8);
        // Twenty are free, then the total waits.
        assert_eq!(figure("one name from any sender", &sender), 25);
        assert_eq!(figure("any name at the machine", &here), 27);
    }

    #[test]
    fn each_wait_is_twice_as_long_as_the_one_before_up_to_five_minutes() {
        let mut throttle = Throttle::default();
        let (name, whence) = ("A. Fitter", away(1));
        let mut now = at(0.0);
        let mut waits = Vec::new();
        for _ in 0..13 {
            throttle.begin(name, whence, now).expect("not before the wait is over");
            match throttle.begin(name, whence, now) {
                Err(Wait { left }) => {
                    waits.push(left.as_secs());
                    let before = (now + left).before(Duration::from_micros(1));
                    let refused = throttle.begin(name, whence, before).expect_err("too early");
                    assert_eq!(
                        refused.to_string(),
                        "too many wrong PINs: wait 1 s, then try again"
                    );
                    now = now + left;
                }
                Ok(()) => waits.push(0),
            }
        }
        // The two `Ok` above were tries as well: the third waits.
        assert_eq!(waits, [0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300]);
    }

    #[test]
    fn after_a_quarter_of_an_hour_without_a_try_all_is_forgotten() {
        let mut throttle = Throttle::default();
        for _ in 0..3 {
            throttle.begin("A", away(1), at(0.0)).expect("free");
        }
        assert!(throttle.begin("A", away(1), at(0.5)).is_err());
        throttle.begin("A", away(1), at(899.9)).expect("after the wait");
        assert!(throttle.begin("A", away(1), at(900.5)).is_err(), "counted from the last try");
        throttle.begin("A", away(1), at(1800.0)).expect("forgotten");
        throttle.begin("A", away(1), at(1800.0)).expect("the second is free again");
    }

    #[test]
    fn nothing_tried_elsewhere_makes_anybody_wait_at_the_machine() {
        let mut throttle = Throttle::default();
        for number in 0..10_000_u32 {
            let whence = away(u8::try_from(number % 250).expect("below 250"));
            let _ = throttle.begin("C. Operator", whence, at(f64::from(number) * 0.01));
        }
        assert!(throttle.begin("C. Operator", away(251), at(100.0)).is_err());
        throttle.begin("C. Operator", Whence::Machine, at(100.0)).expect("at the machine");
    }

    #[test]
    fn at_the_machine_one_who_mistypes_keeps_no_other_from_signing_in() {
        let mut throttle = Throttle::default();
        for _ in 0..3 {
            throttle.begin("A. Fitter", Whence::Machine, at(0.0)).expect("free");
        }
        assert!(throttle.begin("a.  fitter", Whence::Terminal, at(0.0)).is_err(), "the same name");
        throttle.begin("C. Operator", Whence::Machine, at(0.0)).expect("another name");
    }

    #[test]
    fn a_right_pin_forgives_its_name_but_not_what_else_the_sender_tried() {
        let mut throttle = Throttle::default();
        throttle.begin("A", away(1), at(0.0)).expect("free");
        throttle.begin("A", away(1), at(0.0)).expect("free");
        throttle.begin("B", away(1), at(0.0)).expect("free");
        throttle.right("B", away(1));
        throttle.begin("A", away(1), at(1.0)).expect("the third wrong one of the sender");
        assert!(throttle.begin("B", away(1), at(1.5)).is_err(), "the sender waits");
        let mut throttle = Throttle::default();
        for _ in 0..50 {
            throttle.begin("A", Whence::Machine, at(0.0)).expect("never wrong");
            throttle.right("A", Whence::Machine);
        }
        assert!(throttle.tallies.is_empty());
    }

    #[test]
    fn a_hundred_tries_at_once_are_a_hundred_tries() {
        let mut throttle = Throttle::default();
        let begun = (0..100).filter(|_| throttle.begin("A", away(1), at(0.0)).is_ok()).count();
        assert_eq!(begun, 3);
    }

    #[test]
    fn memory_is_bounded_whatever_is_tried_and_the_oldest_goes_first() {
        let mut throttle = Throttle::default();
        for number in 0..100_000_u32 {
            let address = std::net::Ipv6Addr::from(u128::from(number) << 64);
            let name = format!("{number}{}", "x".repeat(1000));
            let whence = Whence::Away(address.into());
            let _ = throttle.begin(&name, whence, at(f64::from(number)));
            assert!(throttle.tallies.len() <= REMEMBERED);
        }
        let long = |(one, _): &(Counted, Tally)| matches!(one, Counted::Name(name, _) if name.len() > LONGEST_NAME * 4);
        assert!(!throttle.tallies.iter().any(long));
        // By no way in can so many come together; the bound holds all the same.
        let mut throttle = Throttle::default();
        throttle.count(Counted::AllHere, at(0.0));
        let name = |number: usize| Counted::Name(number.to_string(), Whence::Machine);
        for number in 0..REMEMBERED {
            throttle.count(name(number), at(1.0));
        }
        assert_eq!(throttle.tallies.len(), REMEMBERED);
        let known = |counted: &Counted| throttle.tally(counted).is_some();
        assert!(known(&Counted::AllHere) && !known(&name(0)) && known(&name(1)));
    }
}
