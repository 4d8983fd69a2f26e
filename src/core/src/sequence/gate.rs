//! The gate: every request ends as accepted, already so, or denied with one sentence that says
//! why and one that says what would help.
//!
//! Stop, hold and abort are never denied, whoever asks, key or no key.

use crate::image::{Contact, Inputs, Level};
use crate::interlock::{Acknowledged, Presence, Verdict};
use crate::request::{Answer, Denial, Origin, Request};

use super::buttons::stop_not_at_rest;
use super::leaf::Phase;
use super::machine::Figures;
use super::state::State;
use super::states::manual::LONGEST_NUDGE;

/// A cell of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cell {
    /// Accepted.
    Yes,
    /// Already so.
    So,
    /// Accepted when its own condition holds, see [`condition`].
    If,
    /// Denied.
    No(Why),
}

/// Why a request is denied by its super-state alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Why {
    /// A job is under way: manual work and changes wait for its end.
    Busy,
    /// The job is held: it is restarted, not started.
    UseRestart,
    /// No job has begun: it is started, not restarted.
    UseStart,
    /// The job has ended: reset first.
    Ended,
    /// The torch is on its way out.
    Withdrawing,
    /// A trip is being carried out.
    Tripping,
    /// A trip is latched.
    Tripped,
    /// Nothing is tripped.
    NotTripped,
    /// No pass is under way.
    NoPass,
    /// No coat is being fused.
    NoFusing,
    /// Manual work has not been entered.
    NotManual,
    /// Nothing is asked.
    NotAsked,
}

impl Why {
    const fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::Busy => ("a job is under way", "stop the job, or wait until it is done"),
            Self::UseRestart => ("the job is held, not ended", "ask for a restart"),
            Self::UseStart => ("no job has begun", "ask for a start"),
            Self::Ended => ("the job has ended", "reset first"),
            Self::Withdrawing => ("the torch is still withdrawing", "wait until it is clear"),
            Self::Tripping => ("a trip is being carried out", "wait until energy is off"),
            Self::Tripped => ("a trip is latched", "remove its cause, acknowledge, reset"),
            Self::NotTripped => ("nothing is tripped", "nothing is needed"),
            Self::NoPass => ("no pass is under way", "hold withdraws at once"),
            Self::NoFusing => ("no band is being fused", "wait until a band is heated"),
            Self::NotManual => ("manual work has not been entered", "enter manual work first"),
            Self::NotAsked => ("nothing is asked", "nothing is needed"),
        }
    }
}

fn deny(why: impl Into<String>, help: impl Into<String>) -> Answer {
    Answer::Denied(Denial { why: why.into(), help: help.into() })
}

const Y: Cell = Cell::Yes;
const S: Cell = Cell::So;
const C: Cell = Cell::If;
const B: Cell = Cell::No(Why::Busy);
const R: Cell = Cell::No(Why::UseRestart);
const U: Cell = Cell::No(Why::UseStart);
const E: Cell = Cell::No(Why::Ended);
const W: Cell = Cell::No(Why::Withdrawing);
const G: Cell = Cell::No(Why::Tripping);
const T: Cell = Cell::No(Why::Tripped);
const N: Cell = Cell::No(Why::NotTripped);
const P: Cell = Cell::No(Why::NoPass);
const F: Cell = Cell::No(Why::NoFusing);
const M: Cell = Cell::No(Why::NotManual);
const A: Cell = Cell::No(Why::NotAsked);

/// The table's row of a request. Columns in the order of [`Phase::ALL`]. Legend: Y accepted,
/// S already so, C accepted on its condition, other letters: the reasons above.
#[rustfmt::skip]
const fn row(request: Request) -> [Cell; Phase::ALL.len()] {
    match request {
        //                           Idl Man Sta Lig Pre Spr Acc Fus Coo Hng Hld Rst Stg Std Abg Abd Cpl
        Request::Start           => [C,  C,  S,  S,  S,  S,  S,  S,  S,  W,  R,  S,  E,  E,  G,  T,  E],
        Request::Hold            => [S,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  S,  S,  Y,  S,  S,  S,  S,  S],
        Request::HoldAfterPass   => [P,  P,  P,  P,  P,  Y,  P,  P,  P,  S,  S,  P,  S,  S,  S,  S,  S],
        Request::Restart         => [U,  U,  S,  S,  S,  S,  S,  S,  S,  W,  C,  S,  E,  E,  G,  T,  E],
        Request::Stop            => [S,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  S,  S,  S,  S,  S],
        Request::Abort           => [Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  S,  S,  Y],
        Request::Acknowledge     => [C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C],
        Request::Reset           => [S,  N,  N,  N,  N,  N,  N,  N,  N,  N,  N,  N,  W,  Y,  G,  C,  Y],
        Request::Accept          => [A,  A,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  A,  A,  A,  Y],
        Request::Wet             => [F,  F,  F,  F,  F,  F,  F,  C,  F,  F,  F,  F,  F,  F,  F,  F,  F],
        Request::NotWet          => [F,  F,  F,  F,  F,  F,  F,  C,  F,  F,  F,  F,  F,  F,  F,  F,  F],
        Request::BadFlame        => [Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y],
        Request::CoatLifting     => [Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y],
        Request::Inspected       => [Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y],
        Request::Home            => [C,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::Jog(_)          => [M,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::JogRelease      => [S,  C,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S],
        Request::Nudge(_)        => [M,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::TakePoint       => [M,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::EnterManual     => [C,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::EnterProving    => [C,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::LeaveManual     => [S,  Y,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S],
        Request::BlastedNow      => [Y,  Y,  B,  B,  B,  B,  B,  B,  B,  B,  Y,  Y,  B,  Y,  G,  T,  Y],
    }
}

/// Requests taken from a watcher: those that only take energy away, and "I have seen it".
const fn watcher_may(request: Request) -> bool {
    matches!(
        request,
        Request::Stop
            | Request::Hold
            | Request::HoldAfterPass
            | Request::Abort
            | Request::Acknowledge
            | Request::JogRelease
    )
}

/// Acts that start motion or gas, or let something go on: they need the key when they come from
/// the seat. Asking for the homing moves nothing: it only lights the lamp, and the start button
/// with the key on begins it.
const fn is_act(request: Request) -> bool {
    matches!(
        request,
        Request::Start
            | Request::Restart
            | Request::Reset
            | Request::Accept
            | Request::Wet
            | Request::NotWet
            | Request::Jog(_)
            | Request::Nudge(_)
            | Request::EnterManual
            | Request::EnterProving
    )
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
    fn is_on(&self, contact: Contact) -> bool {
        self.inputs.is_on(contact, self.figures.field_age)
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

/// Judges a request. Nothing is changed here.
pub(super) fn judge(request: Request, origin: Origin, view: &View<'_>) -> Answer {
    if origin == Origin::Watcher && !watcher_may(request) {
        return deny(
            "who watches may only stop, hold and abort",
            "take the seat at the machine, or ask who has it",
        );
    }
    if origin == Origin::Seat && is_act(request) && !view.is_on(Contact::EnablingKey) {
        return deny(
            "the enabling key at the machine is off or its state is unknown",
            "turn the enabling key on",
        );
    }
    let phase = view.state.phase();
    let cell = Phase::ALL
        .iter()
        .zip(row(request))
        .find_map(|(column, cell)| (*column == phase).then_some(cell));
    match cell {
        Some(Cell::Yes) => Answer::Accepted,
        Some(Cell::So) => Answer::AlreadySo,
        Some(Cell::If) => condition(request, view),
        Some(Cell::No(why)) => {
            let (why, help) = why.words();
            deny(why, help)
        }
        None => deny("the state is not in the gate's table", "tell the maker"),
    }
}

/// The conditions of the cells marked so.
fn condition(request: Request, view: &View<'_>) -> Answer {
    match request {
        Request::Start => start(view),
        Request::Restart => restart(view),
        Request::Acknowledge => match (view.verdict.tripped(), view.verdict.acknowledged) {
            (true, Acknowledged::No) => Answer::Accepted,
            _ => Answer::AlreadySo,
        },
        Request::Reset => reset(view),
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
        Request::Nudge(by) => {
            if by.abs() > LONGEST_NUDGE {
                return deny(
                    format!("a nudge of {by} is longer than {LONGEST_NUDGE}"),
                    "nudge by less, or jog with the hold-to-run button",
                );
            }
            jog(view)
        }
        Request::JogRelease => match view.state {
            State::Jogging(_) => Answer::Accepted,
            _ => Answer::AlreadySo,
        },
        Request::TakePoint => take_point(view),
        _ => Answer::Accepted,
    }
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
    if !view.verdict.reset_needs.is_empty() {
        return deny("the trip may not be reset yet", view.verdict.reset_needs.join("; "));
    }
    no_stop_pressed(view)
}

fn accept(view: &View<'_>) -> Answer {
    if view.attendance.is_on() {
        return Answer::Accepted;
    }
    if !view.asks.is_on() {
        let (why, help) = Why::NotAsked.words();
        return deny(why, help);
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

fn take_point(view: &View<'_>) -> Answer {
    use crate::image::Referenced;
    let axis = view.inputs.axis.trusted(view.inputs.now, view.figures.axis_age);
    match (view.state, axis) {
        (State::Homing(_) | State::Proving { .. }, _) => {
            deny("no point can be taken now", "jog to the point first")
        }
        (_, Some(axis)) if axis.referenced == Referenced::Yes => Answer::Accepted,
        _ => deny("the position is not known", "home the carriage first"),
    }
}
