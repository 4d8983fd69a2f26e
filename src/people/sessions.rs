//! Who is signed in.
//!
//! A session is held by a token of 256 random bits that only the browser keeps; here stands its
//! SHA-256, so that nothing in this memory opens a session. A second token goes into the pages, and
//! comes back with every form: a page of another origin cannot know it.

use std::collections::VecDeque;
use std::fmt::Write as _;
use std::time::Duration;

use evenpass_core::moment::Moment;
use sha2::{Digest as _, Sha256};

use super::roll::key;
use super::{People, Person, PinHash, Role};

/// A session ends after so long without an act of its person (ASVS of OWASP asks for a limit and
/// leaves the figure to the risk, from memory).
const IDLE: Duration = Duration::from_secs(30 * 60);
/// A session ends after so long whatever happens: a long shift.
const LONGEST: Duration = Duration::from_secs(12 * 3600);
/// So many at once; one more drops the one idle for longest (arbitrary).
const MOST: usize = 64;
/// So many answered requests are remembered in each (arbitrary).
const ANSWERED: usize = 256;
/// Longest id of a request, bytes (arbitrary).
const LONGEST_ID: usize = 64;

/// What a new session is held by. Not shown by `{:?}`.
#[derive(Clone)]
pub struct Tokens {
    /// For the cookie: 64 hexadecimal digits.
    pub cookie: String,
    /// For the forms of its pages: 64 hexadecimal digits.
    pub form: String,
}

impl std::fmt::Debug for Tokens {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Tokens(not shown)")
    }
}

/// Somebody who is signed in.
#[derive(Clone)]
pub struct Session {
    number: u64,
    name: String,
    role: Role,
    form: String,
    /// As it was at sign-in: another PIN since ends the session.
    pin: PinHash,
    begun: Moment,
    used: Moment,
    answered: VecDeque<String>,
}

impl Session {
    /// Its number since the program's start, by which it may be spoken of; never given twice.
    #[must_use]
    pub const fn number(&self) -> u64 {
        self.number
    }

    /// Whose it is.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The person's role at sign-in; another one since ends the session.
    #[must_use]
    pub const fn role(&self) -> Role {
        self.role
    }

    /// The token for the forms of its pages.
    #[must_use]
    pub fn form(&self) -> &str {
        &self.form
    }

    /// Whether a form came from one of its pages. The time it takes tells nothing of the token.
    #[must_use]
    pub fn is_form(&self, token: &str) -> bool {
        digest(token) == digest(&self.form)
    }

    fn is_over(&self, now: Moment) -> bool {
        now.since(self.used) >= IDLE || now.since(self.begun) >= LONGEST
    }
}

impl std::fmt::Debug for Session {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Session({}, {:?}, {})", self.number, self.name, self.role)
    }
}

/// Why a session is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Activity {
    /// Its person has done something: it is not idle.
    Act,
    /// A page that is open asks by itself.
    Look,
}

/// Whether a request may be answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[must_use]
pub enum Once {
    /// It came for the first time.
    First,
    /// It was answered before: nothing is to be done again.
    Again,
    /// Its id is empty or too long to be one of ours.
    NoId,
    /// There is no such session, or it is over.
    NoSession,
}

/// Everybody who is signed in.
#[derive(Debug, Clone, Default)]
pub struct Sessions {
    last_number: u64,
    open: Vec<([u8; 32], Session)>,
}

impl Sessions {
    /// Signs a person in, by 64 random bytes: half for each token. Gives the sessions that ended by
    /// it too: those over by their time, and the one that made room.
    pub fn begin(
        &mut self,
        person: &Person,
        random: [u8; 64],
        now: Moment,
    ) -> (Tokens, Vec<Session>) {
        let mut over = self.sweep(now);
        if self.open.len() >= MOST
            && let Some(idle) = (0..self.open.len())
                .min_by_key(|place| self.open.get(*place).map(|(_, session)| session.used))
        {
            over.push(self.open.remove(idle).1);
        }
        let (cookie, form) = random.split_at(32);
        let tokens = Tokens { cookie: hexadecimal(cookie), form: hexadecimal(form) };
        self.last_number += 1;
        let session = Session {
            number: self.last_number,
            name: person.name.clone(),
            role: person.role,
            form: tokens.form.clone(),
            pin: person.pin.clone(),
            begun: now,
            used: now,
            answered: VecDeque::new(),
        };
        self.open.push((digest(&tokens.cookie), session));
        (tokens, over)
    }

    /// The session of a cookie; `None` when there is none or it is over.
    pub fn find(&mut self, cookie: &str, activity: Activity, now: Moment) -> Option<&Session> {
        self.open(cookie, activity, now).map(|session| &*session)
    }

    /// Takes a request of a session, which counts as an act of its person: each id is answered
    /// once. Of each session the last 256 ids are remembered. An older one could come through
    /// again, but only with cookie and form token, and whoever has those can as well make up a
    /// new one.
    pub fn accept_once(&mut self, cookie: &str, id: &str, now: Moment) -> Once {
        let Some(session) = self.open(cookie, Activity::Act, now) else { return Once::NoSession };
        if id.is_empty() || id.len() > LONGEST_ID {
            return Once::NoId;
        }
        if session.answered.iter().any(|answered| answered == id) {
            return Once::Again;
        }
        if session.answered.len() >= ANSWERED {
            session.answered.pop_front();
        }
        session.answered.push_back(id.to_owned());
        Once::First
    }

    /// Signs out, and gives the session that is over.
    pub fn end(&mut self, cookie: &str) -> Option<Session> {
        let digest = digest(cookie);
        let place = self.open.iter().position(|(one, _)| *one == digest)?;
        Some(self.open.remove(place).1)
    }

    /// Ends the sessions of everybody who is gone from the roll, or has another role or PIN than
    /// at sign-in, and gives them.
    pub fn keep_only(&mut self, people: &People) -> Vec<Session> {
        let stays = |session: &Session| {
            people.iter().any(|person| {
                key(&person.name) == key(&session.name)
                    && person.role == session.role
                    && person.pin == session.pin
            })
        };
        let ended = self.open.extract_if(.., |(_, session)| !stays(session));
        ended.map(|(_, session)| session).collect()
    }

    /// Ends what is over by its time, and gives it.
    pub fn sweep(&mut self, now: Moment) -> Vec<Session> {
        let ended = self.open.extract_if(.., |(_, session)| session.is_over(now));
        ended.map(|(_, session)| session).collect()
    }

    /// Everybody who is signed in, in the order of signing in.
    pub fn iter(&self) -> impl Iterator<Item = &Session> {
        self.open.iter().map(|(_, session)| session)
    }

    fn open(&mut self, cookie: &str, activity: Activity, now: Moment) -> Option<&mut Session> {
        let digest = digest(cookie);
        let (_, session) = self.open.iter_mut().find(|(one, _)| *one == digest)?;
        if session.is_over(now) {
            return None;
        }
        if activity == Activity::Act {
            session.used = now;
        }
        Some(session)
    }
}

fn digest(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::super::PinHash;
    use super::super::roll::tests::{person, three};
    use super::*;

    const MINUTE: Duration = Duration::from_secs(60);

    fn at(minutes: u32) -> Moment {
        Moment::START + MINUTE * minutes
    }

    fn random(seed: u8) -> [u8; 64] {
        std::array::from_fn(|place| seed ^ u8::try_from(place).expect("below 64"))
    }

    fn fitter() -> (Sessions, Tokens) {
        let mut sessions = Sessions::default();
        let (tokens, _) = sessions.begin(&person("A. Fitter", Role::Maintenance), random(0), at(0));
        (sessions, tokens)
    }

    #[test]
    fn only_whoever_has_the_token_has_the_session_and_the_token_is_kept_nowhere() {
        let (mut sessions, tokens) = fitter();
        assert_eq!((tokens.cookie.len(), tokens.form.len()), (64, 64));
        assert_ne!(tokens.cookie, tokens.form);
        let found = sessions.find(&tokens.cookie, Activity::Act, at(1)).expect("signed in");
        assert_eq!((found.name(), found.role()), ("A. Fitter", Role::Maintenance));
        assert!(found.is_form(&tokens.form) && !found.is_form(&tokens.cookie));
        let digests: Vec<String> = sessions.open.iter().map(|(one, _)| hexadecimal(one)).collect();
        for no in ["", &tokens.form, digests.first().expect("one"), &tokens.cookie.to_uppercase()] {
            assert!(sessions.find(no, Activity::Act, at(1)).is_none(), "{no}");
        }
        let told = format!("{sessions:?} {tokens:?}");
        assert!(!told.contains(&tokens.cookie) && !told.contains(&tokens.form), "{told}");
    }

    #[test]
    fn half_an_hour_without_an_act_ends_it_however_long_a_page_stays_open() {
        let (mut sessions, tokens) = fitter();
        assert!(sessions.find(&tokens.cookie, Activity::Act, at(20)).is_some());
        assert!(sessions.find(&tokens.cookie, Activity::Look, at(49)).is_some());
        assert!(sessions.find(&tokens.cookie, Activity::Act, at(50)).is_none());
        let mut other = sessions.clone();
        let ended = sessions.sweep(at(50));
        assert_eq!(ended.iter().map(Session::name).collect::<Vec<_>>(), ["A. Fitter"]);
        // Whoever signs in next may be the first to notice it.
        let (_, ended) = other.begin(&person("B", Role::Operator), random(1), at(50));
        assert_eq!(ended.iter().map(Session::name).collect::<Vec<_>>(), ["A. Fitter"]);
    }

    #[test]
    fn twelve_hours_end_it_however_busy_its_person_is() {
        let (mut sessions, tokens) = fitter();
        for minutes in (10..720).step_by(10) {
            assert!(sessions.find(&tokens.cookie, Activity::Act, at(minutes)).is_some());
        }
        assert!(sessions.find(&tokens.cookie, Activity::Act, at(720)).is_none());
    }

    #[test]
    fn the_one_idle_for_longest_makes_room_for_the_sixty_fifth() {
        let mut sessions = Sessions::default();
        let someone = person("A. Fitter", Role::Maintenance);
        let all: Vec<Tokens> = (0..64)
            .map(|seed| sessions.begin(&someone, random(seed), Moment::from_micros(seed.into())).0)
            .collect();
        assert!(sessions.find(&all[0].cookie, Activity::Act, at(1)).is_some());
        let (_, over) = sessions.begin(&someone, random(64), at(1));
        assert_eq!(over.iter().map(Session::number).collect::<Vec<_>>(), [2], "it is given");
        assert_eq!(sessions.iter().count(), 64);
        assert!(sessions.find(&all[0].cookie, Activity::Look, at(1)).is_some());
        assert!(sessions.find(&all[1].cookie, Activity::Look, at(1)).is_none());
    }

    #[test]
    fn signing_out_ends_one_session_and_leaves_the_others() {
        let (mut sessions, tokens) = fitter();
        let (other, _) = sessions.begin(&person("A. Fitter", Role::Maintenance), random(1), at(0));
        assert_eq!(sessions.end(&tokens.cookie).map(|over| over.number()), Some(1));
        assert!(sessions.end(&tokens.cookie).is_none());
        assert!(sessions.find(&tokens.cookie, Activity::Act, at(0)).is_none());
        let left = sessions.find(&other.cookie, Activity::Act, at(0)).map(Session::number);
        assert_eq!(left, Some(2));
    }

    #[test]
    fn whoever_is_gone_or_has_another_role_or_pin_is_signed_out() {
        let people = three();
        let mut sessions = Sessions::default();
        for (seed, someone) in (0..).zip(people.iter()) {
            sessions.begin(someone, random(seed), at(0));
        }
        assert!(sessions.keep_only(&people).is_empty());
        let pin = PinHash::of(&super::super::Pin::new("1470").expect("a PIN")).expect("hashed");
        let others = People::of([
            person("A. Fitter", Role::Operator),
            Person { pin, ..person("B. Engineer", Role::Engineer) },
            person("D. Engineer", Role::Engineer),
        ])
        .expect("names");
        let ended = sessions.keep_only(&others);
        let names: Vec<&str> = ended.iter().map(Session::name).collect();
        assert_eq!(names, ["A. Fitter", "B. Engineer", "C. Operator"]);
        assert_eq!(sessions.iter().count(), 0);
    }

    #[test]
    fn a_request_is_answered_once_in_each_session() {
        let (mut sessions, tokens) = fitter();
        let cookie = &tokens.cookie;
        assert_eq!(sessions.accept_once(cookie, "one", at(1)), Once::First);
        assert_eq!(sessions.accept_once(cookie, "one", at(1)), Once::Again);
        assert_eq!(sessions.accept_once(cookie, "", at(1)), Once::NoId);
        assert_eq!(sessions.accept_once(cookie, &"x".repeat(65), at(1)), Once::NoId);
        assert_eq!(sessions.accept_once("other", "two", at(1)), Once::NoSession);
        let (other, _) = sessions.begin(&person("B", Role::Engineer), random(1), at(1));
        assert_eq!(sessions.accept_once(&other.cookie, "one", at(1)), Once::First);
        for number in 0..ANSWERED - 1 {
            assert_eq!(sessions.accept_once(cookie, &number.to_string(), at(1)), Once::First);
        }
        assert_eq!(sessions.accept_once(cookie, "one", at(1)), Once::Again);
        // One more, and the oldest is remembered no longer; every other is.
        assert_eq!(sessions.accept_once(cookie, "more", at(1)), Once::First);
        for id in ["0", "254", "more"] {
            assert_eq!(sessions.accept_once(cookie, id, at(1)), Once::Again, "{id}");
        }
        assert!(sessions.iter().all(|session| session.answered.len() <= ANSWERED));
        assert_eq!(sessions.accept_once(cookie, "one", at(31)), Once::NoSession);
    }
}
