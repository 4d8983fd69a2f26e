//! What people ask of the controller, and what it answers.

mod trim;

pub use self::trim::Trim;

use serde::{Deserialize, Serialize};

use crate::quantity::Length;

/// Direction along the spindle axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Toward the chuck (falling positions).
    TowardChuck,
    /// Toward the tail (rising positions).
    TowardTail,
}

/// Where a request comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// A button wired to the machine: an act there while the enabling key is on.
    Machine,
    /// The seat at the machine: it counts as an act at the machine while the enabling key is on.
    Seat,
    /// Somebody who watches from elsewhere: may only stop, hold and abort.
    Watcher,
}

/// The longest nudge: what one key of a terminal may move by, 5 mm or 0.2 in; arbitrary.
pub const LONGEST_NUDGE: Length = Length::from_mm(5.08);

/// Steps that nudges are offered in to who reads millimetres, mm, shortest first: what is shown, what
/// is set, a surface, and the longest; arbitrary.
pub const NUDGES_MM: [f64; 4] = [0.01, 0.1, 1.0, 5.0];

/// The same for who reads inches, in.
pub const NUDGES_IN: [f64; 4] = [0.0005, 0.005, 0.05, 0.2];

/// A request. Stop, hold and abort are taken from anyone, at any time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Request {
    /// Start the loaded job.
    Start,
    /// Withdraw now, powder off, and wait.
    Hold,
    /// Finish this pass, then hold.
    HoldAfterPass,
    /// Go on after a hold or a reset trip, where powder was lost.
    Restart,
    /// End the job in order.
    Stop,
    /// Trip now.
    Abort,
    /// "I have seen it": silences the horn, keeps the first cause.
    Acknowledge,
    /// Clear a trip whose cause is gone, or leave a finished job.
    Reset,
    /// "Done", "yes", "I am here": the answer to whatever is asked.
    Accept,
    /// The band is wet.
    Wet,
    /// It is not wet after all.
    NotWet,
    /// The flame pops or squeals.
    BadFlame,
    /// The coat lifts.
    CoatLifting,
    /// A flashback has been inspected, in words kept in the record.
    Inspected,
    /// Find the datum.
    Home,
    /// Jog while held: a lease that must be renewed about every 100 ms.
    Jog(Direction),
    /// The jog key is let go.
    JogRelease,
    /// Move by a short step.
    Nudge(Length),
    /// Take the present position as a taught point.
    TakePoint,
    /// Go to manual work.
    EnterManual,
    /// Prove interlocks, gas isolated.
    EnterProving,
    /// Leave manual work.
    LeaveManual,
    /// The part was blasted just now.
    BlastedNow,
    /// Change the feed of the passes of the zone in hand that have not begun, by so much more.
    Trim(Trim),
    /// Add one more pass over the zone that is being sprayed.
    TouchUp,
    /// Take the pass that was added last back, while it has not begun.
    TakePassBack,
}

/// The requests named, as a list that a new one can't be left out of.
macro_rules! listing {
    ($($name:ident $(($value:expr))?),+ $(,)?) => {{
        // Does not compile while one of them is not listed.
        const _: fn(&Request) = |request| match request {
            $(Request::$name { .. } => {})+
        };
        [$(Request::$name $(($value))?),+]
    }};
}

impl Request {
    /// Every request once, in the order of their declaration; a jog goes `way`, a nudge
    /// goes `by`, a trim is `trim`.
    #[must_use]
    pub const fn each(way: Direction, by: Length, trim: Trim) -> [Self; 26] {
        listing![
            Start,
            Hold,
            HoldAfterPass,
            Restart,
            Stop,
            Abort,
            Acknowledge,
            Reset,
            Accept,
            Wet,
            NotWet,
            BadFlame,
            CoatLifting,
            Inspected,
            Home,
            Jog(way),
            JogRelease,
            Nudge(by),
            TakePoint,
            EnterManual,
            EnterProving,
            LeaveManual,
            BlastedNow,
            Trim(trim),
            TouchUp,
            TakePassBack,
        ]
    }

    /// Whether it is taken from whoever watches, without seat or key: it only takes energy away,
    /// or says "I have seen it".
    #[must_use]
    pub const fn only_takes_away(&self) -> bool {
        matches!(
            self,
            Self::Stop
                | Self::Hold
                | Self::HoldAfterPass
                | Self::Abort
                | Self::Acknowledge
                | Self::JogRelease
        )
    }

    /// What it is called in a sentence.
    #[must_use]
    pub const fn title(&self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Hold => "hold",
            Self::HoldAfterPass => "hold after this pass",
            Self::Restart => "restart",
            Self::Stop => "stop",
            Self::Abort => "abort",
            Self::Acknowledge => "acknowledge",
            Self::Reset => "reset",
            Self::Accept => "accept",
            Self::Wet => "wet",
            Self::NotWet => "not wet",
            Self::BadFlame => "bad flame",
            Self::CoatLifting => "coat lifting",
            Self::Inspected => "inspected",
            Self::Home => "home",
            Self::Jog(Direction::TowardChuck) => "jog toward the chuck",
            Self::Jog(Direction::TowardTail) => "jog toward the tail",
            Self::JogRelease => "jog key let go",
            Self::Nudge(_) => "nudge",
            Self::TakePoint => "take a point",
            Self::EnterManual => "manual work",
            Self::EnterProving => "proving",
            Self::LeaveManual => "leave manual work",
            Self::BlastedNow => "blasted now",
            Self::Trim(_) => "trim the feed",
            Self::TouchUp => "touch up",
            Self::TakePassBack => "one pass less",
        }
    }
}

/// Why a request was not taken: one sentence of why, one of what would help.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Denial {
    /// Why.
    pub why: String,
    /// What would help.
    pub help: String,
}

/// What became of a request.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// It is taken and acted upon.
    Accepted,
    /// It was so already.
    AlreadySo,
    /// It is not taken.
    Denied(Denial),
}
