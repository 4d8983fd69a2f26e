//! One proof test at a time, led with a person who reads and answers at the panel.

use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::thread;
use std::time::Duration;

use evenpass_core::interlock::matrix::row;
use evenpass_core::proof::Failing;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::scan::Snapshot;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use tokio::sync::{oneshot, watch};

use super::{Station, locked};
use crate::clock::orders::{Asked, Order};
use crate::clock::paced::Gone;
use crate::proving::{Instruction, Led, Place, Said, keeping, lead, technician};
use crate::record::{Store, records_file};

/// How often controller and person are looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// What a person is shown of the proof in hand.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ProofShown {
    /// The interlock's key.
    pub key: String,
    /// Its name.
    pub title: String,
    /// What is to be done now; empty when nothing is.
    pub instruction: String,
    /// Whether an answer is waited for.
    pub asks: bool,
    /// What is still missing before it can begin.
    pub missing: String,
    /// How it ended, once it has.
    pub outcome: Option<String>,
    /// The same for a program.
    pub end: Option<ProofEnd>,
}

/// How a proof ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ProofEnd {
    /// The interlock did what it is for.
    Passed,
    /// It did not.
    Failed,
    /// Another interlock tripped first.
    OtherFirst,
    /// The person left it out.
    LeftOut,
    /// The person wants no more.
    Quit,
    /// It could not be made.
    NotMade,
}

impl ProofEnd {
    fn of(led: &Led) -> Self {
        match led {
            Led::Proved(proved) => match proved.failing {
                None => Self::Passed,
                Some(Failing::OtherFirst { .. }) => Self::OtherFirst,
                Some(_) => Self::Failed,
            },
            Led::Skipped => Self::LeftOut,
            Led::Quit => Self::Quit,
            Led::Refused(_) => Self::NotMade,
        }
    }
}

/// The proof in hand, and the last one.
pub struct Proofs {
    shown: watch::Sender<Option<ProofShown>>,
    answers: Mutex<Option<Sender<Said>>>,
    instruction: Mutex<Option<Instruction>>,
}

impl Default for Proofs {
    fn default() -> Self {
        Self {
            shown: watch::channel(None).0,
            answers: Mutex::new(None),
            instruction: Mutex::new(None),
        }
    }
}

impl Proofs {
    /// What a person is shown; `None` before the first.
    #[must_use]
    pub fn shown(&self) -> Option<ProofShown> {
        self.shown.borrow().clone()
    }

    /// Whether one is under way.
    #[must_use]
    pub fn is_under_way(&self) -> bool {
        locked(&self.answers).is_some()
    }

    /// The person answers.
    ///
    /// # Errors
    /// No proof is under way.
    pub fn answer(&self, said: Said) -> Result<(), &'static str> {
        let answers = locked(&self.answers);
        let answers = answers.as_ref().ok_or("no proof test is under way")?;
        answers.send(said).map_err(|_| "the proof test has just ended")
    }
}

impl Station {
    /// Begins a proof test, in the name of a person who is at the devices.
    ///
    /// # Errors
    /// One is under way, or there is no such interlock.
    pub fn prove(&self, key: &str, person: &str) -> Result<(), String> {
        let known = row(key).ok_or_else(|| format!("`{key}` is no interlock"))?;
        let proofs = &self.inside.proofs;
        let (to, said) = channel();
        {
            let mut answers = locked(&proofs.answers);
            if answers.is_some() {
                return Err("another proof test is under way".to_owned());
            }
            *answers = Some(to);
        }
        proofs.shown.send_replace(Some(ProofShown {
            key: key.to_owned(),
            title: known.title.to_owned(),
            ..ProofShown::default()
        }));
        let (station, key, person) = (self.clone(), key.to_owned(), person.to_owned());
        let began = thread::Builder::new().name("proof".to_owned()).spawn(move || {
            let records = station.inside.records.clone();
            let mut at = AtPanel { station: station.clone(), said, quits: false };
            let (end, outcome) = match lead(&mut at, &key) {
                Ok(led) => (ProofEnd::of(&led), told(&station, led, &person, records)),
                Err(trouble) => (ProofEnd::NotMade, format!("not made: {trouble}")),
            };
            let proofs = &station.inside.proofs;
            proofs.shown.send_modify(|shown| {
                if let Some(shown) = shown {
                    shown.outcome = Some(outcome);
                    shown.end = Some(end);
                    shown.instruction.clear();
                    shown.missing.clear();
                    shown.asks = false;
                }
            });
            *locked(&proofs.instruction) = None;
            *locked(&proofs.answers) = None;
        });
        if let Err(trouble) = began {
            *locked(&proofs.answers) = None;
            return Err(format!("the proof test cannot be led: {trouble}"));
        }
        Ok(())
    }

    /// On the twin: a simulated technician does what the instruction asks at the device.
    ///
    /// # Errors
    /// There is no twin.
    pub fn technician_acts(&self) -> Result<(), Gone> {
        let Some(instruction) = *locked(&self.inside.proofs.instruction) else { return Ok(()) };
        self.at_bench(Box::new(move |bench| match instruction {
            Instruction::Prepare(procedure, _) => technician::prepare(bench, procedure.key),
            Instruction::Act(_, row) => technician::act(bench, row),
            Instruction::Restore(_, row) => technician::restore(bench, row),
            Instruction::Reset => {}
        }))
    }
}

/// How a proof ended, in words; a result is kept first.
fn told(station: &Station, led: Led, person: &str, records: Option<PathBuf>) -> String {
    match led {
        Led::Proved(proved) => {
            let record = keeping::record(&proved, station.rig(), person, Timestamp::now());
            let kept = records_file(records.as_deref())
                .and_then(|file| Store::open(&file))
                .and_then(|mut store| store.keep_proof(&record))
                .map_err(|problem| problem.whole())
                .and_then(|()| station.look_at_proofs());
            let passed = if proved.failing.is_none() { "passed" } else { "FAILED" };
            let took = proved.response.map_or_else(String::new, |took| {
                format!(" after {} ms of {} ms", took.as_millis(), proved.limit.as_millis())
            });
            match kept {
                Ok(()) => format!("{passed}{took}: {}", proved.found),
                Err(trouble) => {
                    format!("{passed}{took}: {}; it could not be kept: {trouble}", proved.found)
                }
            }
        }
        Led::Skipped => "left out".to_owned(),
        Led::Quit => "ended before it was answered".to_owned(),
        Led::Refused(why) => format!("not made: {why}"),
    }
}

/// The machine, with a person at the panel.
struct AtPanel {
    station: Station,
    said: Receiver<Said>,
    quits: bool,
}

impl AtPanel {
    fn show(&self, change: impl FnOnce(&mut ProofShown)) {
        self.station.inside.proofs.shown.send_modify(|shown| {
            if let Some(shown) = shown {
                change(shown);
            }
        });
    }

    fn wait(answer: oneshot::Receiver<Answer>) -> Result<Answer, String> {
        answer.blocking_recv().map_err(|_| Gone.to_string())
    }
}

impl Place for AtPanel {
    fn look(&mut self) -> Result<Snapshot, String> {
        thread::sleep(LOOK_EVERY);
        if self.station.has_ended() {
            return Err(Gone.to_string());
        }
        Ok(self.station.snapshot().as_ref().clone())
    }

    fn ask(&mut self, request: Request) -> Result<Answer, String> {
        let (reply, answer) = oneshot::channel();
        let asked = Asked { request, origin: Origin::Seat, person: None };
        self.station.order(Order::Request(asked, reply)).map_err(|gone| gone.to_string())?;
        Self::wait(answer)
    }

    fn prove(&mut self, key: &str) -> Result<Answer, String> {
        let (reply, answer) = oneshot::channel();
        self.station.order(Order::Prove(key.to_owned(), reply)).map_err(|gone| gone.to_string())?;
        Self::wait(answer)
    }

    fn done(&mut self) -> Result<(), String> {
        self.station.order(Order::ProofDone).map_err(|gone| gone.to_string())
    }

    fn missing(&mut self, what: &str) {
        self.show(|shown| shown.missing = what.to_owned());
    }

    fn tell(&mut self, instruction: Instruction) {
        // What was said before the instruction does not answer it.
        while self.said.try_recv().is_ok() {}
        *locked(&self.station.inside.proofs.instruction) = Some(instruction);
        let (words, asks) = match instruction {
            Instruction::Prepare(procedure, _) if procedure.prepare.is_empty() => {
                ("Nothing to prepare; the device is to be at rest and healthy.", false)
            }
            Instruction::Prepare(procedure, _) => (procedure.prepare, false),
            Instruction::Act(procedure, _) => (procedure.act, true),
            Instruction::Restore(procedure, _) => (procedure.restore, true),
            Instruction::Reset => ("Acknowledge, then reset.", false),
        };
        self.show(|shown| {
            shown.instruction = words.to_owned();
            shown.asks = asks;
            shown.missing.clear();
        });
    }

    fn said(&mut self) -> Option<Said> {
        if self.quits {
            return Some(Said::Quit);
        }
        match self.said.try_recv() {
            Ok(said) => {
                self.quits = said == Said::Quit;
                self.show(|shown| shown.asks = false);
                Some(said)
            }
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Said::Quit),
        }
    }

    fn is_patient(&self) -> bool {
        true
    }
}

impl std::fmt::Debug for Proofs {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Proofs").field("shown", &self.shown()).finish_non_exhaustive()
    }
}
