//! Proofs on the machine behind the serial lines, or on a twin served by another process: wall
//! time, and a person who reads and answers at the terminal.

use std::io::BufRead as _;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::thread;
use std::time::Duration;

use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::{Controller, Snapshot};
use tokio::sync::oneshot;

use super::tell;
use crate::cli::interrupts::Interrupts;
use crate::clock::orders::{Asked, Order};
use crate::clock::wall_time::WallTime;
use crate::port::Port;
use crate::proving::{Instruction, Place, Said};

/// How often the controller and the person are looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// The machine.
pub(super) struct Machine {
    clock: WallTime,
    interrupts: Interrupts,
    typed: Receiver<Said>,
    quits: bool,
}

impl Machine {
    /// Starts the scan, without a job.
    pub(super) fn start(rig: &Rig, mut ports: Vec<Port>, quiet: bool) -> Result<Self, String> {
        for port in &mut ports {
            port.is_there()?;
        }
        let interrupts = Interrupts::take_over().map_err(|trouble| trouble.to_string())?;
        let controller = Controller::new(rig).map_err(|problem| problem.to_string())?;
        if !quiet {
            tell::show(tell::CAUTIONS);
        }
        // Results are kept one by one; what else is told is for a job's record.
        let clock = WallTime::start(controller, ports, drop)
            .map_err(|trouble| format!("the scan cannot be started: {trouble}"))?;
        Ok(Self { clock, interrupts, typed: listen(), quits: false })
    }

    /// Ends the scan: the watchdog stops beating, and the machine lets go of what was stroked.
    pub(super) fn quit(self) -> Result<(), String> {
        self.clock.quit().map_err(|trouble| format!("the scan broke down: {trouble}"))
    }

    fn order(&self, order: Order) -> Result<(), String> {
        self.clock.orders.send(order).map_err(|_| gone())
    }
}

fn gone() -> String {
    "the scan ended by itself".to_owned()
}

/// Listens on a thread of its own; the end of the input is a person who has gone.
fn listen() -> Receiver<Said> {
    let (to, typed) = channel();
    thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            let said = match line.trim().to_lowercase().as_str() {
                "" => Said::Done,
                "s" | "skip" => Said::Skip,
                "q" | "quit" => Said::Quit,
                _ => {
                    tell::show("    Enter = done, s = leave this one out, q = quit");
                    continue;
                }
            };
            if to.send(said).is_err() {
                break;
            }
        }
    });
    typed
}

impl Place for Machine {
    fn look(&mut self) -> Result<Snapshot, String> {
        thread::sleep(LOOK_EVERY);
        if let Some(request) = self.interrupts.asked() {
            self.quits = true;
            self.ask(request)?;
        }
        if self.clock.has_ended() {
            return Err(gone());
        }
        Ok(self.clock.windows.snapshots.borrow().as_ref().clone())
    }

    fn ask(&mut self, request: Request) -> Result<Answer, String> {
        let (reply, answer) = oneshot::channel();
        self.order(Order::Request(Asked { request, origin: Origin::Seat, person: None }, reply))?;
        answer.blocking_recv().map_err(|_| gone())
    }

    fn prove(&mut self, key: &str) -> Result<Answer, String> {
        let (reply, answer) = oneshot::channel();
        self.order(Order::Prove(key.to_owned(), reply))?;
        answer.blocking_recv().map_err(|_| gone())
    }

    fn done(&mut self) -> Result<(), String> {
        self.order(Order::ProofDone)
    }

    fn missing(&mut self, what: &str) {
        tell::missing(what);
    }

    fn tell(&mut self, instruction: Instruction) {
        // What was typed before the instruction does not answer it.
        while self.typed.try_recv().is_ok() {}
        tell::instruction(instruction);
    }

    fn said(&mut self) -> Option<Said> {
        if self.quits {
            return Some(Said::Quit);
        }
        match self.typed.try_recv() {
            Ok(said) => Some(said),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Said::Quit),
        }
    }

    fn is_patient(&self) -> bool {
        true
    }
}
