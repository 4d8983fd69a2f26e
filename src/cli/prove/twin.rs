//! Proofs on the embedded twin, which a person at the keyboard can end.

use evenpass_core::request::{Answer, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::Snapshot;

use super::defect::Defect;
use crate::cli::interrupts::Interrupts;
use crate::proving::{Instruction, Place, Said, Twin};

/// The twin with its simulated technician; an interrupt is a person who wants no more.
pub(super) struct Interruptible {
    twin: Twin,
    interrupts: Interrupts,
    quits: bool,
}

impl Interruptible {
    /// Takes the signals over and switches the twin on, with what is wrong with it.
    ///
    /// # Errors
    /// The system does not give the signals away, or the rig can't be driven: why.
    pub(super) fn start(rig: &Rig, seed: u64, defects: &[Defect]) -> Result<Self, String> {
        let interrupts = Interrupts::take_over().map_err(|trouble| trouble.to_string())?;
        let mut twin = Twin::new(rig, seed)?;
        for defect in defects {
            twin.bench().inject(defect.fault());
        }
        Ok(Self { twin, interrupts, quits: false })
    }
}

impl Place for Interruptible {
    fn look(&mut self) -> Result<Snapshot, String> {
        if let Some(request) = self.interrupts.asked() {
            self.quits = true;
            self.ask(request)?;
        }
        self.twin.look()
    }

    fn ask(&mut self, request: Request) -> Result<Answer, String> {
        self.twin.ask(request)
    }

    fn prove(&mut self, key: &str) -> Result<Answer, String> {
        self.twin.prove(key)
    }

    fn done(&mut self) -> Result<(), String> {
        self.twin.done()
    }

    fn missing(&mut self, what: &str) {
        self.twin.missing(what);
    }

    fn tell(&mut self, instruction: Instruction) {
        self.twin.tell(instruction);
    }

    fn said(&mut self) -> Option<Said> {
        if self.quits { Some(Said::Quit) } else { self.twin.said() }
    }

    fn is_patient(&self) -> bool {
        self.twin.is_patient()
    }
}
