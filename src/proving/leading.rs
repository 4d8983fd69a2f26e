//! One proof, step by step, wherever it takes place.

use std::time::Duration;

use evenpass_core::interlock::matrix::{ResetRule, Row, row};
use evenpass_core::moment::Moment;
use evenpass_core::proof::{Failing, Procedure, Proved, Stage, procedure};
use evenpass_core::request::{Answer, Request};
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::{Leaf, Phase};

/// How long a device that was put back, and the trip's reset, are waited for where nobody can be
/// asked to look again; arbitrary, twice the longest purge and reconnection.
const BACK_WITHIN: Duration = Duration::from_secs(60);
/// How long a place that has just been switched on may take to be able to prove; arbitrary.
const READY_WITHIN: Duration = Duration::from_secs(30);
/// How often it is asked for meanwhile; arbitrary.
const ASK_EVERY: Duration = Duration::from_secs(1);

/// What a person is told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Instruction {
    /// What comes, and what is to be prepared at the device.
    Prepare(&'static Procedure, &'static Row),
    /// What is to be done at the device now.
    Act(&'static Procedure, &'static Row),
    /// How the device is put back.
    Restore(&'static Procedure, &'static Row),
    /// The latched trip is to be acknowledged and reset at the machine.
    Reset,
}

/// What a person says to an instruction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Said {
    /// It is done.
    Done,
    /// Not this one.
    Skip,
    /// No more.
    Quit,
}

/// Where proofs are made: a controller that goes on by itself, and somebody at the devices.
pub trait Place {
    /// Waits a short while and looks.
    ///
    /// # Errors
    /// The controller is gone, in words.
    fn look(&mut self) -> Result<Snapshot, String>;
    /// Asks something from the seat at the machine.
    ///
    /// # Errors
    /// The controller is gone, in words.
    fn ask(&mut self, request: Request) -> Result<Answer, String>;
    /// Begins a proof.
    ///
    /// # Errors
    /// The controller is gone, in words.
    fn prove(&mut self, key: &str) -> Result<Answer, String>;
    /// The act is done.
    ///
    /// # Errors
    /// The controller is gone, in words.
    fn done(&mut self) -> Result<(), String>;
    /// Tells the person what is still missing before a proof can begin.
    fn missing(&mut self, what: &str);
    /// Tells the person.
    fn tell(&mut self, instruction: Instruction);
    /// What the person has said since.
    fn said(&mut self) -> Option<Said>;
    /// Whether somebody is there who goes on until it is done: then nothing is given up.
    fn is_patient(&self) -> bool;
}

/// What became of one proof.
#[derive(Debug, Clone, PartialEq)]
pub enum Led {
    /// It has a result.
    Proved(Proved),
    /// The person left it out.
    Skipped,
    /// The person wants no more.
    Quit,
    /// It could not be begun, or the device not be put back: why.
    Refused(String),
}

/// Leads one proof from preparation to a machine at rest again.
///
/// # Errors
/// The controller is gone, in words.
pub fn lead(place: &mut impl Place, key: &str) -> Result<Led, String> {
    let Some((procedure, row)) = procedure(key).zip(row(key)) else {
        return Ok(Led::Refused(format!("`{key}` has no procedure")));
    };
    if let Some(ended) = enter(place)? {
        return Ok(ended);
    }
    let before = place.look()?.proof.map(|proof| proof.began);
    if let Answer::Denied(denial) = place.prove(key)? {
        return Ok(Led::Refused(format!("{}; {}", denial.why, denial.help)));
    }
    place.tell(Instruction::Prepare(procedure, row));
    let outcome = follow(place, procedure, row, before)?;
    // Whatever the outcome, the device has been touched.
    let back = put_back(place, procedure, row)?;
    Ok(match (outcome, back) {
        // A result stands whatever comes after it; what is still wrong meets the next proof.
        (outcome @ (Led::Proved(_) | Led::Quit), _) | (outcome, None) => outcome,
        (_, Some(why)) => Led::Refused(why),
    })
}

/// Enters proving, once devices answer and gas is known as vented; says why when it can't.
fn enter(place: &mut impl Place) -> Result<Option<Led>, String> {
    let begun = place.look()?.at;
    let mut asked: Option<Moment> = None;
    let mut against = String::new();
    let mut told = String::new();
    loop {
        let snapshot = place.look()?;
        if snapshot.status.leaf == Leaf::Proving {
            return Ok(None);
        }
        if is_over(begun, snapshot.at, READY_WITHIN) {
            let why = if against.is_empty() { snapshot.status.text } else { against };
            return Ok(Some(Led::Refused(why)));
        }
        if asked.is_none_or(|asked| is_over(asked, snapshot.at, ASK_EVERY)) {
            asked = Some(snapshot.at);
            against = match place.ask(Request::EnterProving)? {
                Answer::Denied(denial) => format!("{}; {}", denial.why, denial.help),
                Answer::Accepted | Answer::AlreadySo => String::new(),
            };
            if !against.is_empty() && against != told {
                place.missing(&against);
                told.clone_from(&against);
            }
        }
        match place.said() {
            Some(Said::Quit) => return Ok(Some(Led::Quit)),
            Some(Said::Skip) => return Ok(Some(Led::Skipped)),
            Some(Said::Done) | None => {}
        }
    }
}

fn is_over(since: Moment, now: Moment, span: Duration) -> bool {
    now.since(since) >= span
}

/// From the preparation to the result.
fn follow(
    place: &mut impl Place,
    procedure: &'static Procedure,
    row: &'static Row,
    before: Option<Moment>,
) -> Result<Led, String> {
    let mut told = Stage::Preparing;
    let begun = place.look()?.at;
    loop {
        let snapshot = place.look()?;
        // A picture may be older than the request it is looked at for.
        let Some(proof) = snapshot.proof.filter(|proof| Some(proof.began) != before) else {
            if is_over(begun, snapshot.at, ASK_EVERY) {
                return Ok(Led::Refused("the controller has not begun the proof".to_owned()));
            }
            continue;
        };
        if let Some(proved) = proof.proved {
            // Who wants no more ends the proving with it: that says nothing of the device.
            let ended = proved.failing == Some(Failing::ProvingEnded);
            let quits = ended && matches!(place.said(), Some(Said::Quit));
            return Ok(if quits { Led::Quit } else { Led::Proved(proved) });
        }
        if proof.stage == Stage::Acting && told == Stage::Preparing {
            told = Stage::Acting;
            place.tell(Instruction::Act(procedure, row));
        }
        match place.said() {
            Some(Said::Done) if told == Stage::Acting => place.done()?,
            Some(Said::Done) | None => {}
            Some(said) => {
                // Nobody waits for the row any more: what was stroked for it is let go of now, and not
                // only when the device is put back.
                place.ask(Request::LeaveManual)?;
                return Ok(if said == Said::Quit { Led::Quit } else { Led::Skipped });
            }
        }
    }
}

/// The device put back, the trip reset and proving left; says what is still wrong.
fn put_back(
    place: &mut impl Place,
    procedure: &'static Procedure,
    row: &'static Row,
) -> Result<Option<String>, String> {
    place.tell(Instruction::Restore(procedure, row));
    let begun = place.look()?.at;
    let mut restored = false;
    let mut inspected = false;
    let mut told = false;
    loop {
        let snapshot = place.look()?;
        restored |= match place.said() {
            Some(Said::Quit) if !told => {
                return Ok(Some("ended before it was answered".to_owned()));
            }
            said => said.is_some(),
        };
        if !snapshot.verdict.tripped() {
            // A hold that stays latched would stand in the way of the next proof.
            let gone = !snapshot.verdict.holds.iter().any(|hold| hold.key == row.key);
            let restored = restored && gone;
            match snapshot.status.phase {
                Phase::Idle if restored => return Ok(None),
                Phase::Manual if restored => {
                    place.ask(Request::LeaveManual)?;
                }
                _ => {}
            }
        } else if restored {
            // The technician has just looked at arrestor and torch: that is the inspection.
            if row.reset == ResetRule::Inspected && !inspected {
                inspected = true;
                place.ask(Request::Inspected)?;
            }
            if snapshot.status.phase == Phase::Aborted && !told {
                told = place.is_patient();
                place.tell(Instruction::Reset);
            }
        }
        if !place.is_patient() && is_over(begun, snapshot.at, BACK_WITHIN) {
            let needs = snapshot.verdict.reset_needs.join(" ");
            return Ok(Some(format!("the device was put back and the trip stays: {needs}")));
        }
    }
}
