//! The gate: every request ends as accepted, already so, or denied with one sentence that says
//! why and one that says what would help.
//!
//! Stop, hold and abort are never denied, whoever asks, key or no key. A change of passes that is
//! let through here is still held against the limits of the plan, by `calls::changing`.

use crate::image::Contact;
use crate::request::{Answer, Origin, Request};

use super::conditions::{View, condition, deny};
use super::leaf::Phase;

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
    /// No zone is being sprayed.
    NoZone,
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
            Self::Ended => ("the job has ended", "press \"Done with this job\" or reset first"),
            Self::Withdrawing => ("the torch is still withdrawing", "wait until it is clear"),
            Self::Tripping => ("a trip is being carried out", "wait until energy is off"),
            Self::Tripped => ("a trip is latched", "remove its cause, acknowledge, reset"),
            Self::NotTripped => ("nothing is tripped", "nothing is needed"),
            Self::NoPass => ("no pass is under way", "hold withdraws at once"),
            Self::NoZone => ("no zone is being sprayed", "wait until a job sprays one"),
            Self::NoFusing => ("no band is being fused", "wait until a band is heated"),
            Self::NotManual => ("manual work has not been entered", "enter manual work first"),
            Self::NotAsked => ("nothing is asked", "nothing is needed"),
        }
    }
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
const Z: Cell = Cell::No(Why::NoZone);
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
        Request::Reset           => [C,  N,  N,  N,  N,  N,  N,  N,  N,  N,  N,  N,  W,  Y,  G,  C,  Y],
        Request::Accept          => [A,  A,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  A,  A,  A,  Y],
        Request::Wet             => [F,  F,  F,  F,  F,  F,  F,  C,  F,  F,  F,  F,  F,  F,  F,  F,  F],
        Request::NotWet          => [F,  F,  F,  F,  F,  F,  F,  C,  F,  F,  F,  F,  F,  F,  F,  F,  F],
        Request::BadFlame        => [Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y],
        Request::CoatLifting     => [Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  Y],
        Request::Inspected       => [C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C,  C],
        Request::Home            => [C,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::Jog(_)          => [M,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::JogRelease      => [S,  C,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S],
        Request::Nudge(_)        => [M,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::TakePoint       => [M,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::EnterManual     => [C,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::EnterProving    => [C,  C,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  B,  E,  G,  T,  E],
        Request::LeaveManual     => [S,  Y,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S,  S],
        Request::BlastedNow      => [Y,  Y,  B,  B,  B,  B,  B,  B,  B,  B,  Y,  Y,  B,  Y,  G,  T,  Y],
        Request::Trim(_)         => [Z,  Z,  C,  C,  C,  C,  C,  C,  C,  W,  C,  C,  E,  E,  G,  T,  E],
        Request::TouchUp         => [Z,  Z,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  W,  Y,  Y,  E,  E,  G,  T,  E],
        Request::TakePassBack    => [Z,  Z,  Y,  Y,  Y,  Y,  Y,  Y,  Y,  W,  Y,  Y,  E,  E,  G,  T,  E],
    }
}

/// Acts that start motion or gas, or let something go on: they need the key, from the seat and by the
/// buttons at the machine alike. Asking for the homing moves nothing: it only lights the lamp, and the start button
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
            | Request::Trim(_)
            | Request::TouchUp
            | Request::TakePassBack
    )
}

/// Judges a request. Nothing is changed here.
pub(super) fn judge(request: Request, origin: Origin, view: &View<'_>) -> Answer {
    if origin == Origin::Watcher && !request.only_takes_away() {
        return deny(
            "who watches may only stop, hold and abort",
            "take the seat at the machine, or ask who has it",
        );
    }
    if is_act(request) && !view.is_on(Contact::EnablingKey) {
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
