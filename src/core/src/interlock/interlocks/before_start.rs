//! What must be so before anything starts: told one by one, or only what is missing.

use std::sync::Arc;

use super::Interlocks;
use crate::image::Inputs;
use crate::interlock::judge::{Finding, View, find};
use crate::interlock::permissive::{Permissive, counts, is_of_extraction, permissive};
use crate::interlock::scene::{Contacts, Scene};
use crate::interlock::slot::{Fixed, Slot};
use crate::interlock::{Limits, matrix::Row};

/// The slots that count before a start, in the matrix's order.
pub(super) fn places(slots: &[Slot]) -> Arc<[usize]> {
    let mut places: Vec<(u16, usize)> = slots
        .iter()
        .enumerate()
        .filter(|(_, slot)| counts(slot.row))
        .map(|(place, slot)| (slot.row.number, place))
        .collect();
    places.sort_unstable();
    places.into_iter().map(|(_, place)| place).collect()
}

impl Interlocks {
    /// What must be so before anything starts, one by one, in the order of the matrix. Uses what
    /// the last step saw asked, and the inputs given.
    #[must_use]
    pub fn permissives(&self, inputs: &Inputs, limits: &Limits) -> Vec<Permissive> {
        let scene = self.scene_before_start(inputs);
        let view = View { scene: &scene, inputs, limits, plant: &self.plant };
        self.rows_before_start().map(|(row, fixed)| permissive(row, &fixed.figure, &view)).collect()
    }

    /// The advice of those that are missing, added to `missing` in the same order: what a scan
    /// needs of [`permissives`](Self::permissives), without a word of its own.
    pub fn missing(&self, inputs: &Inputs, limits: &Limits, missing: &mut Vec<&'static str>) {
        let scene = self.scene_before_start(inputs);
        let view = View { scene: &scene, inputs, limits, plant: &self.plant };
        missing.extend(
            self.rows_before_start()
                .filter(|(row, fixed)| {
                    find(row.watch, fixed.figure.set_point, &view) != Finding::Clear
                })
                .map(|(row, _)| row.advice),
        );
    }

    fn scene_before_start(&self, inputs: &Inputs) -> Scene {
        Scene { contacts: Contacts::read(inputs, &self.plant), ..self.scene }
    }

    /// Extraction counts once it has been asked to run.
    fn rows_before_start(&self) -> impl Iterator<Item = (&'static Row, &Fixed)> + '_ {
        self.before_start
            .iter()
            .filter_map(|place| self.slots.get(*place).zip(self.fixed.get(*place)))
            .map(|(slot, fixed)| (slot.row, fixed))
            .filter(|(row, _)| self.extraction_asked || !is_of_extraction(row))
    }
}
