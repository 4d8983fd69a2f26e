//! A record that is open, and what the entries of a job tell of its course.

use std::sync::Arc;

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::request::Request;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::{Leaf, Phase};
use serde_json::json;

use super::ZonesOf;
use crate::attendant::{End, ended, first_cause};
use crate::keeping::{Ended, Keeping, powder_used};
use crate::record::Leaving;
use crate::station::Loaded;

/// A record that is open.
pub(super) struct Open {
    pub(super) keeping: Keeping,
    loaded: Arc<Loaded>,
    /// The number of its first entry, once it has begun.
    pub(super) first: Option<u64>,
    /// States, causes, and the first and the last sample: what its end is told from.
    told: Vec<Entry>,
    last_sample: Option<Entry>,
}

impl Open {
    /// Of a job that is about to begin.
    pub(super) const fn of(keeping: Keeping, loaded: Arc<Loaded>) -> Self {
        Self { keeping, loaded, first: None, told: Vec::new(), last_sample: None }
    }

    /// Takes what was told.
    pub(super) fn take(&mut self, entry: Entry) {
        match entry.kind {
            EntryKind::State | EntryKind::Cause => self.told.push(entry.clone()),
            EntryKind::Sample if self.last_sample.is_none() => {
                self.told.push(entry.clone());
                self.last_sample = Some(entry.clone());
            }
            EntryKind::Sample => self.last_sample = Some(entry.clone()),
            _ => {}
        }
        self.keeping.send(entry);
    }

    /// Ends it, waiting for nothing: its job ended so, unless it never began.
    pub(super) fn leave(self, end: End, zones: &ZonesOf, snapshot: &Snapshot) -> Leaving {
        let end = if self.first.is_some() { end } else { End::NotStarted };
        let zones = zones(&self.loaded.plan);
        let mut told = self.told;
        told.extend(self.last_sample);
        let end = ended(end, &told);
        let first_cause = first_cause(end, snapshot, &told);
        let powder_fed_g = powder_used(&told);
        self.keeping.leave(&Ended { end, first_cause, zones: &zones, powder_fed_g })
    }
}

/// The states that an entry tells the leaving and the entering of.
pub(super) fn moved(entry: &Entry) -> Option<(Option<Leaf>, Leaf)> {
    if entry.kind != EntryKind::State {
        return None;
    }
    let leaf = |side| {
        let name = entry.data.get(side)?.as_str()?;
        Leaf::ALL.iter().copied().find(|leaf| leaf.name() == name)
    };
    Some((leaf("from"), leaf("to")?))
}

/// Whether an entry tells that a start was asked for and accepted.
pub(super) fn is_start(entry: &Entry) -> bool {
    let says = |field, what| entry.data.get(field) == Some(&what);
    entry.kind == EntryKind::Request
        && says("request", json!(Request::Start))
        && says("answer", json!("accepted"))
}

/// Whether somebody has left a job that had ended.
pub(super) const fn is_left(from: Phase, to: Phase) -> bool {
    matches!(from, Phase::Complete | Phase::Stopped) && matches!(to, Phase::Idle | Phase::Manual)
}

/// Whether a job is under way, be it held or tripped.
pub(super) const fn runs(phase: Phase) -> bool {
    !matches!(phase, Phase::Idle | Phase::Manual | Phase::Complete | Phase::Stopped)
        && !matches!(phase, Phase::Aborting | Phase::Aborted)
}
