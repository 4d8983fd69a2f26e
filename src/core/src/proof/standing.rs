//! Whether a proof is due: from days given by whoever has a calendar.

use serde::Serialize;

use crate::rig::ProofInterval;

/// A day, counted from 1970-01-01.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(transparent)]
pub struct Day(pub i64);

/// The last proof of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LastProof {
    /// There is none.
    Never,
    /// It passed on that day.
    Passed(Day),
    /// It failed on that day: it counts as not proved, whenever it passed before.
    Failed(Day),
}

/// Whether a proof is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Never proved: no start.
    Never,
    /// The last proof failed: no start.
    Failed,
    /// Proved, and due in so many days.
    DueIn(u32),
    /// Overdue by so many days, within the grace: a warning.
    Late(u32),
    /// Overdue by so many days, beyond the grace: no start.
    Overdue(u32),
}

impl Standing {
    /// Whether a start is refused for it.
    #[must_use]
    pub const fn forbids(self) -> bool {
        matches!(self, Self::Never | Self::Failed | Self::Overdue(_))
    }
}

/// Judges a row's last proof. A proof dated after today counts as made today: a clock that was
/// set back must not lengthen an interval.
#[must_use]
pub fn standing(last: LastProof, today: Day, interval: ProofInterval) -> Standing {
    let made = match last {
        LastProof::Never => return Standing::Never,
        LastProof::Failed(_) => return Standing::Failed,
        LastProof::Passed(day) => day.min(today),
    };
    let due = made.0.saturating_add(i64::from(interval.days));
    let days = |span: i64| u32::try_from(span).unwrap_or(u32::MAX);
    match today.0.saturating_sub(due) {
        late if late <= 0 => Standing::DueIn(days(-late)),
        late if late <= i64::from(interval.grace) => Standing::Late(days(late)),
        late => Standing::Overdue(days(late)),
    }
}
