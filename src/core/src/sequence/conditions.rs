//! The request gate's conditions: what a cell of its table marked so still asks of the machine.

use crate::cia402::PowerState;
use crate::image::{AxisReading, Contact, Inputs, Level, Referenced};
use crate::interlock::matrix::{ResetRule, row};
use crate::interlock::{Acknowledged, Occurrence, Presence, Verdict};
use crate::quantity::Length;
use crate::request::{Answer, Denial, LONGEST_NUDGE, Request, Trim};

use super::buttons::stop_not_at_rest;
use super::context::AT_REST;
use super::machine::Figures;
use super::state::State;

/// How many of the longest nudges may be waiting to be done; arbitrary: a second or two of motion.
const NUDGES_AHEAD: f64 = 2.0;

/// A denial: why, and what would help.
pub(super) fn deny(why: impl Into<String>, help: impl Into<String>) -> Answer {
    Answer::Denied(Denial { why: why.into(), help: help.into() })
}

/// What the gate looks at.
pub(super) struct View<'a> {
    pub(super) state: &'a State,
    pub(super) figures: &'a Figures,
    pub(super) inputs: &'a Inputs,
    pub(super) verdict: &'a Verdict,
    /// Permissives that are missing, in words.
    pub(super) missing: &'a [&'static str],
    /// Whether a program is loaded.
    pub(super) program: Level,
    /// Whether an attendance request waits for an answer.
    pub(super) attendance: Level,
    /// Whether the state asks a person something that accept answers.
    pub(super) asks: Level,
    /// How much longer a flame must be watched before it may be confirmed, s.
    pub(super) watch_left: f64,
}

impl View<'_> {
    pub(super) fn is_on(&self, contact: Contact) -> bool {
        self.inputs.is_on(contact, self.figures.field_age)
    }

    fn axis(&self) -> Option<AxisReading> {
        self.inputs.axis.trusted(self.inputs.now, self.figures.axis_age)
    }

    fn drive_is_in_fault(&self) -> bool {
        self.axis().is_some_and(|axis| axis.power == PowerState::Fault)
    }

    /// Whether nobody knows where the torch is.
    fn has_no_datum(&self) -> bool {
        let axis = self.inputs.axis.trusted(self.inputs.now, self.figures.axis_age);
        axis.is_some_and(|axis| axis.referenced == Referenced::No)
    }

    fn is_vented(&self) -> bool {
        use crate::image::Analogue;
        let below = self.figures.vented_below.bar();
        [Analogue::FuelPressure, Analogue::OxygenPressure].into_iter().all(|tag| {
            let value = self.inputs.analogue(tag).trusted(self.inputs.now, self.figures.field_age);
            value.is_some_and(|bar| bar < below)
        })
    }
}

/// The conditions of the cells marked so.
pub(super) fn condition(request: Request, view: &View<'_>) -> Answer {
    match request {
        Request::Start => start(view),
        Request::Restart => restart(view),
        Request::Acknowledge => match (view.verdict.tripped(), view.verdict.acknowledged) {
            (true, Acknowledged::No) => Answer::Accepted,
            _ => Answer::AlreadySo,
        },
        Request::Reset => reset(view),
        Request::Inspected => inspected(view),
        Request::Accept => accept(view),
        Request::Wet => match view.state {
            State::Wetting { .. } => Answer::AlreadySo,
            _ => Answer::Accepted,
        },
        Request::NotWet => match view.state {
            State::Wetting { .. } => Answer::Accepted,
            _ => Answer::AlreadySo,
        },
        Request::Home => home(view),
        Request::EnterManual => match view.state {
            State::Jogging(_) => Answer::AlreadySo,
            _ => no_stop_pressed(view),
        },
        Request::EnterProving => match view.state {
            State::Proving { .. } => Answer::AlreadySo,
            _ if !view.is_vented() => gas_not_vented(),
            _ => Answer::Accepted,
        },
        Request::Jog(_) => jog(view),
        Request::Nudge(by) if by == Length::ZERO => {
            deny("a nudge of nothing moves nothing", "nudge by a step such as 0.1 mm")
        }
        Request::Nudge(by) => {
            if by.abs() > LONGEST_NUDGE {
                return deny(
                    format!("a nudge of {by} is longer than {LONGEST_NUDGE}"),
                    "nudge by less, or jog with the hold-to-run button",
                );
            }
            nudge(view, by)
        }
        Request::JogRelease => match view.state {
            State::Jogging(_) => Answer::Accepted,
            _ => Answer::AlreadySo,
        },
        Request::TakePoint => take_point(view),
        Request::Trim(Trim::NONE) => Answer::AlreadySo,
        _ => Answer::Accepted,
    }
}

/// Only a flashback, or a flame that may have burnt inside, waits for an inspection, and a purge
/// after a fire.
fn inspected(view: &View<'_>) -> Answer {
    let verdict = view.verdict;
    if verdict.needs_inspection() {
        return Answer::Accepted;
    }
    let wants =
        |cause: &Occurrence| row(cause.key).is_some_and(|row| row.reset == ResetRule::Inspected);
    if verdict.first.iter().chain(&verdict.consequent).any(wants) {
        return Answer::AlreadySo;
    }
    deny(
        "there is nothing to inspect: neither a flashback nor a fire is latched",
        "nothing is needed",
    )
}

fn no_stop_pressed(view: &View<'_>) -> Answer {
    match stop_not_at_rest(view.inputs, view.figures.field_age) {
        Some(button) => deny(
            format!("the {button} is pressed, its wire is broken, or its state is unknown"),
            format!("let the {button} go, or look at its wire"),
        ),
        None => Answer::Accepted,
    }
}

fn flame_not_believable(view: &View<'_>) -> Option<Answer> {
    view.is_on(Contact::Flame).then(|| {
        deny(
            "flame signal not believable: on with the gas shut",
            "look for a flame or a glowing part, then at the flame sensor",
        )
    })
}

fn start(view: &View<'_>) -> Answer {
    match view.state {
        State::Homing(homing) if homing.is_waiting() => no_stop_pressed(view),
        State::Homing(_) => Answer::AlreadySo,
        State::Ready => flame_not_believable(view).unwrap_or_else(|| no_stop_pressed(view)),
        State::NotReady if view.program == Level::Off => deny("no job is loaded", "load a job"),
        State::NotReady => {
            deny(format!("not ready: {}", missing_words(view.missing)), "give what is missing")
        }
        _ => deny("manual work is not finished", "leave manual work first"),
    }
}

fn missing_words(missing: &[&'static str]) -> String {
    if missing.is_empty() { "permissives are being judged".to_owned() } else { missing.join("; ") }
}

fn restart(view: &View<'_>) -> Answer {
    if let Some(hold) = view.verdict.holds.iter().find(|hold| hold.present == Presence::Active) {
        return deny(hold.message.clone(), hold.advice);
    }
    // A job cannot be taken up where nobody knows the torch to be.
    if view.has_no_datum() {
        return deny(
            "the carriage has no datum: nobody knows where the torch is",
            "stop the job, home the carriage, look at the coat, then begin anew",
        );
    }
    match view.state {
        State::HeldUnlit { shutting: Some(_), .. } => {
            deny("the torch is being purged", "wait until the purge is over")
        }
        State::HeldUnlit { .. } => {
            flame_not_believable(view).unwrap_or_else(|| no_stop_pressed(view))
        }
        _ => no_stop_pressed(view),
    }
}

fn reset(view: &View<'_>) -> Answer {
    if matches!(view.state, State::NotReady | State::Ready) {
        // Idle arms no row for the drive, so that its fault is a missing permissive and no trip.
        return if view.drive_is_in_fault() { no_stop_pressed(view) } else { Answer::AlreadySo };
    }
    // A drive in fault can only leave it by a person's reset, and its fault is what the reset of
    // the trip waits for: the first press clears the drive, the next one the trip.
    let seen = view.verdict.acknowledged == Acknowledged::Yes;
    let clears_drive = seen && view.drive_is_in_fault();
    if !view.verdict.reset_needs.is_empty() && !clears_drive {
        return deny("the trip may not be reset yet", view.verdict.reset_needs.join("; "));
    }
    no_stop_pressed(view)
}

fn accept(view: &View<'_>) -> Answer {
    if view.attendance.is_on() {
        return Answer::Accepted;
    }
    if !view.asks.is_on() {
        return deny("nothing is asked", "nothing is needed");
    }
    let guard_shut = view.is_on(Contact::Guard);
    let guard_open = view.inputs.is_off(Contact::Guard, view.figures.field_age);
    match view.state {
        State::Opening(opening) if opening.is_asking() && !guard_open => deny(
            "the guard is not open: gas would flow with nobody at the torch",
            "open the guard with the lighter ready, then accept",
        ),
        State::ConfirmingFlame(_) if !guard_shut => {
            deny("the guard is not shut", "shut the guard, then accept")
        }
        State::ConfirmingFlame(_) if view.watch_left > 0.0 => deny(
            format!("the flame must be watched {:.1} s longer", view.watch_left),
            "wait, then accept",
        ),
        State::Inside { .. } if !guard_shut => {
            deny("the guard is not shut", "everybody out, shut the guard, then accept")
        }
        _ => Answer::Accepted,
    }
}

fn home(view: &View<'_>) -> Answer {
    match view.state {
        State::Homing(_) => Answer::AlreadySo,
        State::Proving { .. } => deny("interlocks are being proved", "leave proving first"),
        _ => no_stop_pressed(view),
    }
}

fn gas_not_vented() -> Answer {
    deny(
        "fuel or oxygen does not read as vented",
        "shut the supply, wait until the pressures have fallen, or look at their transmitters",
    )
}

fn jog(view: &View<'_>) -> Answer {
    match view.state {
        State::Homing(_) => deny("the carriage is homing", "wait until it is done"),
        State::Proving { .. } => deny("interlocks are being proved", "leave proving first"),
        _ if !view.is_on(Contact::EnablingKey) => deny(
            "the enabling key at the machine is off or its state is unknown",
            "turn the enabling key on",
        ),
        _ if !view.is_vented() => gas_not_vented(),
        _ => no_stop_pressed(view),
    }
}

/// A nudge, as jogging; a few may be asked for in a row, but not so many that the carriage goes on
/// for long after the last tap.
fn nudge(view: &View<'_>, by: Length) -> Answer {
    let ahead = match (view.state, view.axis()) {
        (State::Jogging(jogging), Some(axis)) => {
            jogging.nudging_to().map_or(Length::ZERO, |to| (to + by - axis.position).abs())
        }
        _ => Length::ZERO,
    };
    if ahead > LONGEST_NUDGE * NUDGES_AHEAD {
        return deny(
            "the steps asked for before are not done yet",
            "wait until the carriage rests",
        );
    }
    jog(view)
}

fn take_point(view: &View<'_>) -> Answer {
    use crate::image::Referenced;
    match (view.state, view.axis()) {
        (State::Homing(_) | State::Proving { .. }, _) => {
            deny("no point can be taken now", "jog to the point first")
        }
        (State::Jogging(jogging), Some(axis))
            if jogging.nudging_to().is_some() || axis.velocity.mm_per_s().abs() >= AT_REST =>
        {
            deny("the carriage still moves", "wait until it rests, then take the point")
        }
        (_, Some(axis)) if axis.referenced == Referenced::Yes => Answer::Accepted,
        _ => deny("the position is not known", "home the carriage first"),
    }
}
