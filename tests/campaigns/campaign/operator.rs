//! The one who looks after the job: asks for the datum, resets a trip once its cause is gone,
//! restarts what is held, and ends the job in order when it will not go on. They read the screen
//! and press the buttons; what the blue lamp calls for at the torch is done by the bench's hands.

use std::time::Duration;

use evenpass_core::moment::Moment;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::scan::NO_DATUM;
use evenpass_core::sequence::{Ask, Leaf, Phase, Status};
use evenpass_hil::{Bench, Button, Presence};

use super::handicap::Handicapped;
use super::schedule::Person;
use super::world::stands;

/// How often they look at the screen.
pub(crate) const LOOK_EVERY: Duration = Duration::from_millis(100);
/// How long a finger stays on a button.
const PRESS: Duration = Duration::from_millis(300);
/// Before they try the same again: something may take its time.
const AGAIN: Duration = Duration::from_secs(3);
/// What the lamp calls for and nobody can do in so long, the torch being where it should not be,
/// is given up.
const GIVES_UP_AFTER: Duration = Duration::from_secs(180);
/// Restarts before they give the job up: a part is not heated for ever.
const PATIENCE: u32 = 6;
/// Starts before they give up.
const STARTS: u32 = 4;

/// The operator.
pub(crate) struct Operator {
    reaction: Duration,
    seen: Option<(Leaf, Moment)>,
    busy_until: Moment,
    holds_down: Vec<(Moment, Button)>,
    homing_after: Moment,
    restarts: u32,
    starts: u32,
    /// Whether the lamp is theirs to answer: at a start the hands do nothing by themselves.
    at_the_screen: bool,
    person: Person,
}

impl Operator {
    pub(crate) fn new(person: &Person) -> Self {
        Self {
            reaction: Duration::from_secs_f64(person.reaction_s),
            seen: None,
            busy_until: Moment::START,
            holds_down: Vec::new(),
            homing_after: Moment::START,
            restarts: 0,
            starts: 0,
            at_the_screen: false,
            person: *person,
        }
    }

    /// Whether the job is over for them.
    pub(crate) fn is_content(&self, phase: Phase) -> bool {
        matches!(phase, Phase::Complete | Phase::Stopped)
            || (phase == Phase::Idle && self.starts >= STARTS)
    }

    /// Lets go of what has been pressed long enough.
    pub(crate) fn let_go(&mut self, now: Moment, bench: &mut Bench) {
        self.holds_down.retain(|(until, button)| {
            let held = now < *until;
            if !held {
                bench.release(*button);
            }
            held
        });
    }

    fn press(&mut self, now: Moment, button: Button, bench: &mut Bench) {
        bench.press(button);
        self.holds_down.push((now + PRESS, button));
        self.busy_until = now + AGAIN;
    }

    /// One look at the screen, and what follows from it.
    pub(crate) fn look(&mut self, now: Moment, program: &mut Handicapped, bench: &mut Bench) {
        let status = program.controller.status();
        let asked = status.prompt.map(|prompt| prompt.ask);
        let starting = matches!(asked, Some(Ask::Start | Ask::BeginHoming));
        if starting != self.at_the_screen {
            self.at_the_screen = starting;
            let presence = if starting { Presence::Absent } else { self.person.stands() };
            bench.follow_script(&stands(presence));
        }
        if now < self.busy_until {
            return;
        }
        let since = match self.seen {
            Some((leaf, since)) if leaf == status.leaf => since,
            _ => now,
        };
        self.seen = Some((status.leaf, since));
        if now - since < self.reaction {
            return;
        }
        if status.phase.is_running() && status.prompt.is_some() && now - since > GIVES_UP_AFTER {
            self.press(now, Button::Stop, bench);
            return;
        }
        match status.phase {
            Phase::Aborted => self.reset(now, program, bench),
            Phase::Held => self.restart(now, bench),
            Phase::Manual if status.leaf != Leaf::Homing => {
                self.ask(now, Request::LeaveManual, program);
            }
            Phase::Idle | Phase::Manual => self.start(now, &status, program, bench),
            _ => {}
        }
    }

    fn ask(&mut self, now: Moment, what: Request, program: &mut Handicapped) -> Option<Answer> {
        self.busy_until = now + AGAIN;
        program.request(now, what, Origin::Seat)
    }

    fn reset(&mut self, now: Moment, program: &mut Handicapped, bench: &mut Bench) {
        bench.turn_key_on();
        bench.shut_guard();
        // What a flashback needs is looked at and written down, whether it was one or not.
        self.ask(now, Request::Inspected, program);
        self.press(now, Button::Reset, bench);
    }

    fn restart(&mut self, now: Moment, bench: &mut Bench) {
        bench.turn_key_on();
        bench.shut_guard();
        self.restarts += 1;
        let button = if self.restarts > PATIENCE { Button::Stop } else { Button::Start };
        self.press(now, button, bench);
    }

    fn start(
        &mut self,
        now: Moment,
        status: &Status,
        program: &mut Handicapped,
        bench: &mut Bench,
    ) {
        match status.prompt.map(|prompt| prompt.ask) {
            Some(Ask::Start) if self.starts >= STARTS => {}
            Some(asked @ (Ask::Start | Ask::BeginHoming)) => {
                bench.turn_key_on();
                bench.shut_guard();
                self.starts += u32::from(asked == Ask::Start);
                self.press(now, Button::Start, bench);
            }
            _ if status.phase == Phase::Idle
                && status.missing == [NO_DATUM]
                && now >= self.homing_after =>
            {
                self.homing_after = now + Duration::from_secs(5);
                self.ask(now, Request::Home, program);
            }
            _ => {}
        }
    }
}
