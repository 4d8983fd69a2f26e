//! What must be so before anything starts, one by one.

use serde::Serialize;

use super::figures::Figure;
use super::judge::{Finding, View, find};
use super::matrix::{ResetRule, Row, Watch};
use super::message::message;
use super::verdict::Class;
use crate::image::Contact;

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
/// something that is healthy or not whatever runs. The watchdog relay counts once it beats.
pub(super) fn counts(row: &Row) -> bool {
    let lasting = row.class >= Class::Hold && row.reset != ResetRule::AtRest;
    // The stages of one cause would tell the same thing twice.
    let staged = row.key.ends_with("_trip");
    let guarded = matches!(
        row.watch,
        Watch::Open(Contact::TorqueAllowed | Contact::Standoff) | Watch::DriveFault
    );
    (lasting || guarded) && !staged
}

/// Whether a row speaks of the extraction.
pub(super) fn is_of_extraction(row: &Row) -> bool {
    row.key.starts_with("extraction")
}

/// One row as a permissive.
pub(super) fn permissive(row: &Row, figure: &Figure, view: &View<'_>) -> Permissive {
    let missing = find(row.watch, figure.set_point, view) != Finding::Clear;
    let (state, found) = if missing {
        (PermissiveState::Missing, message(row, figure, None, view))
    } else {
        (PermissiveState::Given, String::new())
    };
    Permissive { key: row.key, title: row.title, state, found, look: row.advice }
}
