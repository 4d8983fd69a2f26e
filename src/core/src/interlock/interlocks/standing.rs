//! How every row stands in one scan, armed or not: for who asks what would happen.

use super::Interlocks;
use crate::image::{Inputs, Level};
use crate::interlock::Limits;
use crate::interlock::judge::{Finding, View, armed, find};
use crate::interlock::matrix::Row;
use crate::interlock::message::message;
use crate::interlock::proof::find_under_proof;
use crate::interlock::scene::{Contacts, Scene};

/// How one row stands in one scan.
#[derive(Debug, Clone, Copy)]
pub(in crate::interlock) struct Standing {
    /// The row.
    pub(in crate::interlock) row: &'static Row,
    /// Whether it counts now.
    pub(in crate::interlock) armed: Level,
    /// What it finds.
    pub(in crate::interlock) finding: Finding,
}

impl Interlocks {
    /// What that row finds wrong in these inputs, in words, whether anything arms it or not;
    /// `None` while all it watches is as it should be or can't be judged.
    pub(crate) fn cause_of(&self, key: &str, inputs: &Inputs) -> Option<String> {
        let mut slots = self.slots.iter().zip(self.fixed.iter());
        let (slot, fixed) = slots.find(|(slot, _)| slot.row.key == key)?;
        let figure = &fixed.figure;
        let scene = Scene { contacts: Contacts::read(inputs, &self.plant), ..self.scene };
        let view = View { scene: &scene, inputs, limits: &self.limits, plant: &self.plant };
        let found = find_under_proof(slot.watch, figure.set_point, &view);
        (found == Finding::Present).then(|| message(slot.row, figure, None, &view))
    }

    /// How every row stands with the inputs given, in the order of the matrix: armed or not, and
    /// what it finds, whatever is armed.
    pub(in crate::interlock) fn standings(
        &self,
        inputs: &Inputs,
        limits: &Limits,
    ) -> Vec<Standing> {
        let scene = Scene { contacts: Contacts::read(inputs, &self.plant), ..self.scene };
        let view = View { scene: &scene, inputs, limits, plant: &self.plant };
        let mut standings: Vec<Standing> = self
            .slots
            .iter()
            .zip(self.fixed.iter())
            .map(|(slot, fixed)| Standing {
                row: slot.row,
                armed: Level::from_bit(armed(slot.row.arming, &view)),
                finding: find(slot.watch, fixed.figure.set_point, &view),
            })
            .collect();
        standings.sort_by_key(|standing| standing.row.number);
        standings
    }
}
