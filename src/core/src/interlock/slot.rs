//! One row at work: how long its condition has held by the figures of this rig.

use super::figures::Figure;
use super::judge::{Finding, View, armed, find};
use super::matrix::{Arming, ResetRule, Row, Watch};
use super::proof::{Proved, find_under_proof};
use super::scene::{Onset, Scene};
use crate::moment::Moment;

/// What of a row at work never changes; shared by every copy of the interlocks.
#[derive(Debug)]
pub(super) struct Fixed {
    /// Its figures on this rig.
    pub(super) figure: Figure,
    /// The row of a later stage of the same cause, by its place among the slots.
    pub(super) escalates_to: Option<usize>,
}

/// One row at work. Plain values only: interlocks are copied for every try, and all rows are looked
/// at in every scan.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slot {
    /// The row.
    pub(super) row: &'static Row,
    /// What the row watches. This and its arming stand here too because every scan looks at those
    /// of all rows, and rows, told at length as they are, lie far apart in memory.
    pub(super) watch: Watch,
    arming: Arming,
    /// Since when it has been armed and its condition has held.
    pub(super) since: Option<Moment>,
    /// Where the torch was then, and which way it went.
    pub(super) onset: Option<Onset>,
    /// The delay has passed, and it still holds.
    pub(super) confirmed: bool,
    /// It is latched: a trip until reset, a hold until cleared.
    pub(super) latched: bool,
    /// Its condition is not gone: it holds, or was not in order for long enough since.
    pub(super) present: bool,
    /// While present: since when all has been in order.
    pub(super) healthy_since: Option<Moment>,
    /// Until when a new confirmation counts as a repeat of the last one.
    pub(super) quiet_until: Moment,
    /// Repeats since it was announced.
    pub(super) repeats: u32,
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
    pub(super) const fn new(row: &'static Row) -> Self {
        Self {
            row,
            watch: row.watch,
            arming: row.arming,
            since: None,
            onset: None,
            confirmed: false,
            latched: false,
            present: false,
            healthy_since: None,
            quiet_until: Moment::START,
            repeats: 0,
        }
    }

    /// Takes note of where the torch was when the condition began; before and after that, nothing.
    pub(super) fn follow_onset(&mut self, scene: &Scene) {
        if self.since.is_none() {
            self.onset = None;
        } else if self.onset.is_none() {
            self.onset = Onset::of(scene);
        }
    }

    /// Looks once; a row under proof counts as armed on top of what arms it.
    pub(super) fn look(&mut self, figure: &Figure, view: &View<'_>, proved: Proved) -> Look {
        if matches!(self.watch, Watch::Person(_)) {
            // Raised in a moment, and in that moment gone.
            let was = core::mem::replace(&mut self.present, false);
            return if was { Look::Returned } else { Look::Same };
        }
        let under_proof = proved.arms(self.row);
        let is_armed = under_proof || armed(self.arming, view);
        if !is_armed && !self.latched && !self.confirmed && !self.present {
            self.since = None;
            return Look::Same;
        }
        let finding = if under_proof {
            find_under_proof(self.watch, figure.set_point, view)
        } else {
            find(self.watch, figure.set_point, view)
        };
        let live = is_armed && finding == Finding::Present;
        let now = view.scene.now;
        self.since = live.then(|| self.since.unwrap_or(now));
        self.confirmed = self.since.is_some_and(|since| now.since(since) >= figure.delay);
        let was_present = self.present;
        let lasts = self.latched && self.row.reset != ResetRule::AtRest;
        let is_bad = live || self.confirmed || (lasts && finding != Finding::Clear);
        self.healthy_since = (!is_bad).then(|| self.healthy_since.unwrap_or(now));
        self.present = self.confirmed
            || (lasts && finding != Finding::Clear)
            || (was_present && !self.is_gone(figure, is_armed, now));
        if self.present && !was_present {
            Look::Confirmed
        } else if was_present && !self.present {
            Look::Returned
        } else {
            Look::Same
        }
    }

    /// Whether all has been in order for long enough. What is judged only while armed means
    /// nothing once it is not, and is gone with it.
    fn is_gone(&self, figure: &Figure, is_armed: bool, now: Moment) -> bool {
        let means_nothing = self.row.reset == ResetRule::AtRest && !is_armed;
        means_nothing
            || self.healthy_since.is_some_and(|since| now.since(since) >= figure.delay_off)
    }
}
