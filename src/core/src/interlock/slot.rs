//! One row at work: its figures on this rig and how long its condition has held.

use super::figures::Figure;
use super::judge::{Finding, View, armed, find};
use super::matrix::{ResetRule, Row, Watch};
use super::proof::{Proved, find_under_proof};
use crate::moment::Moment;

/// One row at work.
#[derive(Debug, Clone)]
pub(super) struct Slot {
    /// The row.
    pub(super) row: &'static Row,
    /// Its figures on this rig.
    pub(super) figure: Figure,
    /// Since when it has been armed and its condition has held.
    pub(super) since: Option<Moment>,
    /// The delay has passed, and it still holds.
    pub(super) confirmed: bool,
    /// It is latched: a trip until reset, a hold until cleared.
    pub(super) latched: bool,
    /// While latched: its condition is not gone.
    pub(super) present: bool,
    /// Until when a new confirmation counts as a repeat of the last one.
    pub(super) quiet_until: Moment,
    /// Repeats since it was announced.
    pub(super) repeats: u32,
    /// The row of a later stage of the same cause, by its place among the slots.
    pub(super) escalates_to: Option<usize>,
}

/// What changed in one look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    /// Nothing.
    Same,
    /// Its delay has just passed, or a latched condition is back.
    Confirmed,
    /// Its condition is just gone.
    Returned,
}

impl Slot {
    /// A row at rest.
    pub(super) fn new(row: &'static Row, figure: Figure) -> Self {
        Self {
            row,
            figure,
            since: None,
            confirmed: false,
            latched: false,
            present: false,
            quiet_until: Moment::START,
            repeats: 0,
            escalates_to: None,
        }
    }

    /// Looks once; a row under proof counts as armed on top of what arms it.
    pub(super) fn look(&mut self, view: &View<'_>, proved: Proved) -> Look {
        if matches!(self.row.watch, Watch::Person(_)) {
            // Raised in a moment, and in that moment gone.
            let was = core::mem::replace(&mut self.present, false);
            return if was { Look::Returned } else { Look::Same };
        }
        let under_proof = proved.arms(self.row);
        let is_armed = under_proof || armed(self.row.arming, view);
        if !is_armed && !self.latched && !self.confirmed {
            self.since = None;
            return Look::Same;
        }
        let finding = if under_proof {
            find_under_proof(self.row, self.figure.set_point, view)
        } else {
            find(self.row, self.figure.set_point, view)
        };
        let live = is_armed && finding == Finding::Present;
        let now = view.scene.now;
        self.since = live.then(|| self.since.unwrap_or(now));
        self.confirmed = self.since.is_some_and(|since| now.since(since) >= self.figure.delay);
        let was_present = self.present;
        self.present = self.confirmed
            || (self.latched && self.row.reset != ResetRule::AtRest && finding != Finding::Clear);
        if self.present && !was_present {
            Look::Confirmed
        } else if was_present && !self.present {
            Look::Returned
        } else {
            Look::Same
        }
    }
}
