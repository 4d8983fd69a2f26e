//! Proof tests: a person does something at a field device, and the interlock that watches it has
//! to answer, in its time, with gas isolated, vented and read as zero.
//!
//! - [`procedures`] has one for each row that a person can prove, [`covered`] says of every other
//!   holding or tripping row why not and what stands in for it.
//! - [`Prover`] follows one proof from its preparation to a result, scan by scan.
//! - [`grounds`] says what a proof stands on; it counts only while that is the same.
//! - [`Standing`] says whether a proof is due, from the days of the last one and of today.
//!
//! What is proved is the whole way: contact or transmitter, wire, module, line, row, veto, command,
//! valve, and the valve's own contact. What is not: the gas. The feeder and the supply are never
//! energised by a proof: powder would flow, and the supply is what keeps the gas away. Rows that
//! take only powder away are therefore proved from the device to the veto; the feeder's coil goes
//! off by the same frame as the valves that a trip's proof sees shut.

use crate::interlock::matrix::{Watch, row};
use crate::rig::Rig;

mod grounds;
mod measure;
mod procedure;
mod prover;
mod result;
mod standing;
mod table;
mod words;

#[cfg(test)]
mod tests;

pub use grounds::grounds;
pub use procedure::{Covered, Procedure, Strokes};
pub use prover::{Prover, ProverView, Step};
pub use result::{Effect, Failing, Proved, Stage};
pub use standing::{Day, LastProof, Standing, standing};
pub use table::{COVERED, PROCEDURES};

/// Every procedure, in the order of the matrix.
pub fn procedures() -> impl ExactSizeIterator<Item = &'static Procedure> {
    PROCEDURES.iter()
}

/// The procedure of that row.
#[must_use]
pub fn procedure(key: &str) -> Option<&'static Procedure> {
    PROCEDURES.iter().find(|procedure| procedure.key == key)
}

/// The procedures of a rig: those whose contact or transmitter it has.
pub fn procedures_of(rig: &Rig) -> impl Iterator<Item = &'static Procedure> + '_ {
    procedures().filter(|procedure| row(procedure.key).is_some_and(|row| is_fitted(row.watch, rig)))
}

/// Whether a rig has what the row watches. A contact that is not fitted reads what the rig file
/// says for ever, and nobody can prove it.
fn is_fitted(watch: Watch, rig: &Rig) -> bool {
    let contact =
        |tag| rig.field.contacts.iter().any(|spec| spec.tag == tag && spec.input.is_some());
    let analogue =
        |tag| rig.field.analogues.iter().any(|spec| spec.tag == tag && spec.register.is_some());
    match watch {
        Watch::Open(tag) | Watch::Pressed(tag) | Watch::PressedOr(tag, _) => contact(tag),
        Watch::Failed(tag) | Watch::Below(tag, _) | Watch::Above(tag, _) => analogue(tag),
        _ => true,
    }
}

/// Why a row has no procedure, if it is one of those.
#[must_use]
pub fn covered(key: &str) -> Option<&'static Covered> {
    COVERED.iter().find(|covered| covered.key == key)
}
