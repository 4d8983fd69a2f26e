//! What must be so before anything starts, one by one.

use serde::Serialize;

use super::Limits;
use super::judge::{Finding, View, find};
use super::matrix::{ResetRule, Row, Watch};
use super::message::message;
use super::plant::Plant;
use super::scene::Scene;
use super::slot::Slot;
use super::verdict::Class;
use crate::image::{Contact, Inputs};

/// One thing that must be so before a start.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Permissive {
    /// The matrix's row.
    pub key: &'static str,
    /// The row's name.
    pub title: &'static str,
    /// Whether it is so.
    pub state: PermissiveState,
    /// What was found, in words; empty when it is so.
    pub found: String,
    /// Where to look and what to do.
    pub look: &'static str,
}

/// Whether a permissive is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PermissiveState {
    /// It is.
    Given,
    /// It is not, or not known.
    Missing,
}

/// Whether a row that is not armed says something before a start: those that trip or hold by
/// something that is healthy or not whatever runs. Extraction counts once it has been asked to
/// run, the watchdog relay once it beats.
fn counts(row: &Row, extraction: bool) -> bool {
    let lasting = row.class >= Class::Hold && row.reset != ResetRule::AtRest;
    let of_extraction = row.key.starts_with("extraction");
    // The stages of one cause would tell the same thing twice.
    let staged = row.key.ends_with("_trip");
    let guarded = matches!(
        row.watch,
        Watch::Open(Contact::TorqueAllowed | Contact::Standoff) | Watch::DriveFault
    );
    (lasting || guarded) && !staged && (extraction || !of_extraction)
}

/// The permissives in the order of the matrix.
pub(super) fn permissives(
    slots: &[&Slot],
    scene: &Scene,
    extraction: bool,
    inputs: &Inputs,
    limits: &Limits,
    plant: &Plant,
) -> Vec<Permissive> {
    let view = View { scene, inputs, limits, plant };
    slots
        .iter()
        .map(|slot| (slot.row, &slot.figure))
        .filter(|(row, _)| counts(row, extraction))
        .map(|(row, figure)| {
            let missing = find(row, figure.set_point, &view) != Finding::Clear;
            let (state, found) = if missing {
                (PermissiveState::Missing, message(row, figure, None, &view))
            } else {
                (PermissiveState::Given, String::new())
            };
            Permissive { key: row.key, title: row.title, state, found, look: row.advice }
        })
        .collect()
}
