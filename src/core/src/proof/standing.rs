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
    /// It passed on that day, and what it stands on has changed since.
    Changed(Day),
    /// It passed on that day, and was written down before what a proof stands on was kept.
    Unfounded(Day),
}

/// Whether a proof is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Never proved: no start.
    Never,
    /// The last proof failed: no start.
    Failed,
    /// The row was changed since it was proved, so many days ago: no start.
    Changed(u32),
    /// Proved so many days ago, and nobody knows whether the row was changed since: no start.
    Unfounded(u32),
    /// Proved, by its date, so many days from now: one of the two dates is wrong, and nobody knows
    /// how old the proof is: no start.
    Ahead(u32),
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
        !matches!(self, Self::DueIn(_) | Self::Late(_))
    }
}

/// A proof may be dated so many days after today and count as made today: the two may have been
/// told in different time zones.
const ZONES_DIFFER: i64 = 1;

/// Judges a row's last proof. A date that lies ahead contradicts today's, and must not lengthen an
/// interval.
#[must_use]
pub fn standing(last: LastProof, today: Day, interval: ProofInterval) -> Standing {
    let days = |span: i64| u32::try_from(span).unwrap_or(u32::MAX);
    let ago = |day: Day| days(today.0.saturating_sub(day.0).max(0));
    let made = match last {
        LastProof::Never => return Standing::Never,
        LastProof::Failed(_) => return Standing::Failed,
        LastProof::Changed(day) => return Standing::Changed(ago(day)),
        LastProof::Unfounded(day) => return Standing::Unfounded(ago(day)),
        LastProof::Passed(day) if day.0.saturating_sub(today.0) > ZONES_DIFFER => {
            return Standing::Ahead(days(day.0.saturating_sub(today.0)));
        }
        LastProof::Passed(day) => day.min(today),
    };
    let due = made.0.saturating_add(i64::from(interval.days));
    match today.0.saturating_sub(due) {
        late if late <= 0 => Standing::DueIn(days(-late)),
        late if late <= i64::from(interval.grace) => Standing::Late(days(late)),
        late => Standing::Overdue(days(late)),
    }
}
