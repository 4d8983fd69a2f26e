//! Which causes of a verdict are new.

use super::Role;
use crate::interlock::verdict::{Occurrence, Verdict};
use crate::moment::Moment;

/// Causes already told, by key and the moment they were confirmed.
pub(super) struct Seen(Vec<(&'static str, Moment)>);

impl Seen {
    pub(super) fn of(verdict: &Verdict) -> Self {
        Self(listed(verdict).map(|(one, _)| (one.key, one.confirmed)).collect())
    }

    /// Each row is told once, however often it comes back.
    pub(super) fn is_new(&mut self, occurrence: &Occurrence) -> bool {
        let known = self.0.iter().any(|(key, _)| *key == occurrence.key);
        if !known {
            self.0.push((occurrence.key, occurrence.confirmed));
        }
        !known
    }
}

/// Every cause of a verdict with its place, trips first.
pub(super) fn listed(verdict: &Verdict) -> impl Iterator<Item = (&Occurrence, Role)> {
    let with = |role: Role| move |occurrence| (occurrence, role);
    verdict
        .first
        .iter()
        .map(with(Role::FirstOut))
        .chain(verdict.consequent.iter().map(with(Role::Consequent)))
        .chain(verdict.holds.iter().map(with(Role::Hold)))
        .chain(verdict.warnings.iter().map(with(Role::Warning)))
}
