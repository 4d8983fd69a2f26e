//! One proof test at a time, led with a person who reads and answers at the panel.
//!
//! What gives something away is asked for only while whoever began it still has the seat; without
//! it the proof ends. Whatever the end, proving is left with it.

use std::sync::Mutex;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::thread;
use std::time::{Duration, Instant};

use evenpass_core::interlock::matrix::row;
use evenpass_core::proof::Failing;
use evenpass_core::request::{Answer, Denial, Origin, Request};
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::{Leaf, Phase};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use tokio::sync::{oneshot, watch};

use super::{Commander, NotSeated, Station, locked};
use crate::clock::orders::{Asked, Order};
use crate::clock::paced::Gone;
use crate::proving::{Instruction, Led, Place, Said, keeping, lead, technician};
use crate::record::{Store, records_file};

/// How often controller and person are looked at.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// How long a proof that gives way may take to end: two looks, and its result on the disk.
const GIVES_WAY_WITHIN: Duration = Duration::from_secs(3);

/// How a proof ends that its person has ended.
const QUIT: &str = "ended before it was answered";
/// How it ends when they do not command any more.
const SEAT_LOST: &str = "ended: whoever began it has the seat no longer";

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
    /// Begins a proof test, for somebody in the seat who is at the devices. One before it that
    /// only waits until its device is put back ends, its result kept. Waits for that: not for a
    /// thread that others wait for.
    ///
    /// # Errors
    /// One is under way, or there is no such interlock.
    pub fn prove(&self, key: &str, who: &Commander) -> Result<(), String> {
        let known = row(key).ok_or_else(|| format!("`{key}` is no interlock"))?;
        if self.proof_gives_way() {
            self.end_proof();
        }
        let proofs = &self.inside.proofs;
        let (to, said) = channel();
        {
            let mut answers = locked(&proofs.answers);
            if answers.is_some() {
                return Err("another proof test is under way: answer it, or end it".to_owned());
            }
            *answers = Some(to);
        }
        proofs.shown.send_replace(Some(ProofShown {
            key: key.to_owned(),
            title: known.title.to_owned(),
            ..ProofShown::default()
        }));
        let (station, key, who) = (self.clone(), key.to_owned(), who.clone());
        let began = thread::Builder::new().name("proof".to_owned()).spawn(move || {
            let mut at = AtPanel { station, who, said, quits: None, restores: None, skips: false };
            let (end, outcome) = match lead(&mut at, &key) {
                Ok(led) => (ProofEnd::of(&led), at.told(led)),
                Err(trouble) => (ProofEnd::NotMade, format!("not made: {trouble}")),
            };
            at.leave_proving();
            at.show(|shown| {
                shown.outcome = Some(outcome);
                shown.end = Some(end);
                shown.instruction.clear();
                shown.missing.clear();
                shown.asks = false;
            });
            let proofs = &at.station.inside.proofs;
            *locked(&proofs.instruction) = None;
            *locked(&proofs.answers) = None;
        });
        if let Err(trouble) = began {
            *locked(&proofs.answers) = None;
            return Err(format!("the proof test cannot be led: {trouble}"));
        }
        Ok(())
    }

    /// Whether the proof in hand stands in no other's way: proving was ended by a stop or left,
    /// nothing is tripped, and all it waits for is the word that its device is put back.
    #[must_use]
    pub fn proof_gives_way(&self) -> bool {
        let restores =
            matches!(*locked(&self.inside.proofs.instruction), Some(Instruction::Restore(..)));
        let snapshot = self.snapshot();
        restores && snapshot.status.phase == Phase::Idle && !snapshot.verdict.tripped()
    }

    /// Ends the proof in hand, and waits for it.
    fn end_proof(&self) {
        let proofs = &self.inside.proofs;
        // One that has just ended needs no word.
        let _ = proofs.answer(Said::Quit);
        let until = Instant::now() + GIVES_WAY_WITHIN;
        while proofs.is_under_way() && Instant::now() < until {
            thread::sleep(LOOK_EVERY);
        }
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

/// The machine, with a person at the panel.
struct AtPanel {
    station: Station,
    /// Who began it, and in which turn in the seat.
    who: Commander,
    said: Receiver<Said>,
    /// Why nothing more is asked, once nothing is.
    quits: Option<&'static str>,
    /// How the device is put back, once somebody may have touched it.
    restores: Option<&'static str>,
    /// Whether it was to be left out when the next instruction came.
    skips: bool,
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

    /// Whether whoever began it commands still. Once they do not, it goes no further, even when
    /// they sit again.
    fn seated(&mut self) -> Result<(), NotSeated> {
        let seated =
            self.station.seat(|seat, _| seat.may_command(&self.who.sitter.key, self.who.turn));
        if seated.is_err() {
            self.quits.get_or_insert(SEAT_LOST);
        }
        seated
    }

    fn request(&self, request: Request) -> Result<Answer, String> {
        let (reply, answer) = oneshot::channel();
        let person = Some(self.who.sitter.name.clone());
        let asked = Asked { request, origin: Origin::Seat, person };
        self.station.order(Order::Request(asked, reply)).map_err(|gone| gone.to_string())?;
        Self::wait(answer)
    }

    /// Nobody leads any more: whatever the proof stroked is let go of now, and not only when the
    /// time for proving is over.
    fn leave_proving(&self) {
        if self.station.snapshot().status.leaf == Leaf::Proving {
            // A controller that has gone strokes nothing.
            let _ = self.request(Request::LeaveManual);
        }
    }

    /// How one ended that was left out: its device was put back before that, where it was touched.
    const fn left_out(&self) -> &'static str {
        match self.restores {
            Some(_) => "left out; its device is told as put back",
            None => "left out",
        }
    }

    /// How one ended that goes no further. Nobody is waited for then, so that how the device is put
    /// back stands where the outcome does.
    fn quit(&self) -> String {
        let why = self.quits.unwrap_or(QUIT);
        self.restores
            .map_or_else(|| why.to_owned(), |words| format!("{why}. Put the device back: {words}"))
    }

    /// How the proof ended, in words; a result is kept first.
    fn told(&self, led: Led) -> String {
        let station = &self.station;
        let proved = match led {
            Led::Proved(proved) => proved,
            Led::Skipped => return self.left_out().to_owned(),
            Led::Quit => return self.quit(),
            Led::Refused(why) => return format!("not made: {why}"),
        };
        let person = &self.who.sitter.name;
        let record = keeping::record(&proved, station.rig(), person, Timestamp::now());
        let kept = records_file(station.records())
            .and_then(|file| Store::open(&file))
            .and_then(|mut store| store.keep_proof(&record))
            .map_err(|problem| problem.whole())
            .and_then(|()| station.look_at_proofs());
        let passed = if proved.failing.is_none() { "passed" } else { "FAILED" };
        let took = proved.response.map_or_else(String::new, |took| {
            format!(" after {} ms of {} ms", took.as_millis(), proved.limit.as_millis())
        });
        let trouble = kept
            .err()
            .map_or_else(String::new, |trouble| format!("; it could not be kept: {trouble}"));
        format!("{passed}{took}: {}{trouble}", proved.found)
    }
}

fn not_seated(why: &NotSeated) -> Answer {
    Answer::Denied(Denial { why: SEAT_LOST.to_owned(), help: format!("{why}; then begin it anew") })
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
        // Leaving takes away only, and is never refused.
        if request != Request::LeaveManual
            && let Err(why) = self.seated()
        {
            return Ok(not_seated(&why));
        }
        self.request(request)
    }

    fn prove(&mut self, key: &str) -> Result<Answer, String> {
        if let Err(why) = self.seated() {
            return Ok(not_seated(&why));
        }
        let (reply, answer) = oneshot::channel();
        self.station.order(Order::Prove(key.to_owned(), reply)).map_err(|gone| gone.to_string())?;
        Self::wait(answer)
    }

    fn done(&mut self) -> Result<(), String> {
        if self.seated().is_err() {
            // The next look at what was said ends it.
            return Ok(());
        }
        self.station.order(Order::ProofDone).map_err(|gone| gone.to_string())
    }

    fn missing(&mut self, what: &str) {
        self.show(|shown| shown.missing = what.to_owned());
    }

    fn tell(&mut self, instruction: Instruction) {
        // What was said before the instruction does not answer it. Who wants no more still does not; who
        // wants it left out, as long as there is something to leave out: that says nothing of a device
        // that is to be put back.
        let goes_on = matches!(instruction, Instruction::Prepare(..) | Instruction::Act(..));
        self.skips &= goes_on;
        while let Ok(said) = self.said.try_recv() {
            match said {
                Said::Quit => self.quits = Some(QUIT),
                Said::Skip => self.skips = goes_on,
                Said::Done => {}
            }
        }
        *locked(&self.station.inside.proofs.instruction) = Some(instruction);
        match instruction {
            Instruction::Act(procedure, _) => self.restores = Some(procedure.restore),
            Instruction::Prepare(procedure, _) if !procedure.prepare.is_empty() => {
                self.restores = Some(procedure.restore);
            }
            _ => {}
        }
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
        if self.seated().is_err() || self.quits.is_some() {
            return Some(Said::Quit);
        }
        if std::mem::take(&mut self.skips) {
            self.show(|shown| shown.asks = false);
            return Some(Said::Skip);
        }
        match self.said.try_recv() {
            Ok(said) => {
                if said == Said::Quit {
                    self.quits = Some(QUIT);
                }
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

#[cfg(test)]
mod tests;
