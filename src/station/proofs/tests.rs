//! What is said between two instructions.

use evenpass_core::proof::procedure;

use super::*;
use crate::station::{Place as Where, Setup, Sitter};

/// Somebody at the panel, in the seat, with a proof in hand.
fn at_panel(folder: &tempfile::TempDir) -> (AtPanel, Sender<Said>) {
    let (rig, rig_source) = crate::files::rig(None).unwrap();
    let records = Some(folder.path().join("runs.sqlite"));
    let station = Station::on_twin(Setup { rig, rig_source, records }, 1, 1.0).unwrap();
    let sitter = Sitter { key: "ann".into(), name: "Ann".into() };
    let turn = station.seat(|seat, now| {
        seat.take(&sitter, now);
        seat.turn()
    });
    let who = Commander { sitter, place: Where::AtMachine, turn };
    let (to, said) = channel();
    (AtPanel { station, who, said, quits: None, restores: None, skips: false }, to)
}

#[test]
fn a_proof_that_was_to_be_left_out_before_an_instruction_came_is_left_out_with_it() {
    let folder = tempfile::tempdir().unwrap();
    let (mut at, to) = at_panel(&folder);
    let procedure = procedure("guard_open").unwrap();
    let row = row("guard_open").unwrap();
    at.tell(Instruction::Prepare(procedure, row));
    to.send(Said::Done).unwrap();
    to.send(Said::Skip).unwrap();
    at.tell(Instruction::Act(procedure, row));
    assert_eq!(at.said(), Some(Said::Skip));
    assert_eq!(at.said(), None);
    // It does not say that a device is put back which nobody was asked to put back yet.
    to.send(Said::Skip).unwrap();
    at.tell(Instruction::Restore(procedure, row));
    assert_eq!(at.said(), None);
    at.station.quit().unwrap();
}
