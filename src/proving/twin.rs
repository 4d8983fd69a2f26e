//! Proofs on the bench: controller and twin in virtual time, with a technician at the devices.

use std::time::Duration;

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::{Controller, Snapshot};
use evenpass_hil::{Bench, BenchSpec, Button, HandScript, PartInChuck, Presence};

use super::leading::{Instruction, Place, Said};
use super::technician;
use crate::clock::virtual_time::{Unwitnessed, VirtualTime};

/// How often the proof is looked at: once a scan of the bench's rig.
const LOOK_EVERY: Duration = Duration::from_millis(20);
/// How long a finger stays on the reset button, and off it.
const PRESS: Duration = Duration::from_millis(300);
/// From an instruction to its act: long enough for the device to be seen at rest before.
const THINK: Duration = Duration::from_millis(200);

/// The bench, without a job, its gas shut and vented.
pub struct Twin {
    time: VirtualTime<Unwitnessed>,
    /// What is to be done next, and when.
    pending: Option<(Moment, Instruction)>,
    said: Option<Said>,
    entries: Vec<Entry>,
}

impl Twin {
    /// Power just on, key on, nobody but the technician there.
    ///
    /// # Errors
    /// The rig cannot be driven, or the bench not be built: why.
    pub fn new(rig: &Rig, seed: u64) -> Result<Self, String> {
        let controller = Controller::new(rig).map_err(|problem| problem.to_string())?;
        let spec = BenchSpec::default_bench().map_err(|problem| format!("twin: {problem}"))?;
        let mut bench = Bench::new(&spec, &PartInChuck::plain_shaft(), seed)
            .map_err(|problem| format!("twin: {problem}"))?;
        bench.follow_script(&HandScript { presence: Presence::Absent, presses: Vec::new() });
        bench.turn_key_on();
        let time = VirtualTime::new(rig, controller, bench, Unwitnessed);
        Ok(Self { time, pending: None, said: None, entries: Vec::new() })
    }

    /// The bench, for what is to go wrong with it.
    pub fn bench(&mut self) -> &mut Bench {
        self.time.bench()
    }

    /// The controller.
    pub fn controller(&mut self) -> &mut Controller {
        self.time.controller()
    }

    /// What was told so far.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// Lets time pass.
    pub fn wait(&mut self, span: Duration) {
        let until = self.time.now() + span;
        self.time.run_until(until);
        while let Some(entry) = self.time.controller().take_entry() {
            self.entries.push(entry);
        }
    }

    fn carry_out(&mut self, instruction: Instruction) {
        match instruction {
            Instruction::Prepare(procedure, _) => {
                technician::prepare(self.time.bench(), procedure.key);
            }
            Instruction::Act(_, row) => {
                technician::act(self.time.bench(), row);
                self.said = Some(Said::Done);
            }
            Instruction::Restore(_, row) => {
                technician::restore(self.time.bench(), row);
                self.said = Some(Said::Done);
            }
            Instruction::Reset => {
                self.time.bench().press(Button::Reset);
                self.wait(PRESS);
                self.time.bench().release(Button::Reset);
                self.wait(PRESS);
            }
        }
    }
}

impl Place for Twin {
    fn look(&mut self) -> Result<Snapshot, String> {
        self.wait(LOOK_EVERY);
        if let Some((_, instruction)) = self.pending.take_if(|(due, _)| *due <= self.time.now()) {
            self.carry_out(instruction);
        }
        Ok(self.time.controller().snapshot())
    }

    fn ask(&mut self, request: Request) -> Result<Answer, String> {
        let now = self.time.now();
        Ok(self.time.controller().request(now, request, Origin::Seat))
    }

    fn prove(&mut self, key: &str) -> Result<Answer, String> {
        let now = self.time.now();
        Ok(self.time.controller().prove(now, key))
    }

    fn done(&mut self) -> Result<(), String> {
        let now = self.time.now();
        self.time.controller().proof_done(now);
        Ok(())
    }

    /// Nobody at the twin has to be told: what is missing comes by itself.
    fn missing(&mut self, _: &str) {}

    fn tell(&mut self, instruction: Instruction) {
        // Told again what is about to be done changes nothing.
        if self.pending.is_none_or(|(_, pending)| pending != instruction) {
            self.pending = Some((self.time.now() + THINK, instruction));
        }
    }

    fn said(&mut self) -> Option<Said> {
        self.said.take()
    }

    fn is_patient(&self) -> bool {
        false
    }
}
