//! The controller's part in proof tests: which proof is under way, what it asks of a scan, what
//! the scan shows it, and which proofs stand against a start.

use serde_json::json;

use super::Controller;
use crate::image::{Coil, Inputs, Level};
use crate::interlock::{Interlocks, Permissive, PermissiveState, Presence, matrix};
use crate::ledger::EntryKind;
use crate::moment::Moment;
use crate::proof::{
    Procedure, Proved, Prover, ProverView, Stage, Standing, Step, Strokes, covered, procedure,
};
use crate::request::{Answer, Denial};
use crate::sequence::Leaf;

/// Missing proofs named one by one before a start; the rest are counted by the list.
const NAMED: usize = 3;
/// Said when there are more.
const MORE: &str = "More proof tests are due: `evenpass prove --list` says which.";

/// Where a proof stands, for whoever leads a person through it.
#[derive(Debug, Clone, PartialEq)]
pub struct ProofState {
    /// The row's key.
    pub key: &'static str,
    /// When it began.
    pub began: Moment,
    /// Where it stands.
    pub stage: Stage,
    /// Its result, once there is one.
    pub proved: Option<Proved>,
}

/// What the controller keeps of proofs.
#[derive(Debug, Clone, Default)]
pub(super) struct Proofs {
    prover: Option<Prover>,
    standings: Vec<(&'static str, Standing)>,
    /// Of the standings, what is said before a start.
    pub(super) missing: Vec<&'static str>,
}

fn denied(why: impl Into<String>, help: &str) -> Answer {
    Answer::Denied(Denial { why: why.into(), help: help.to_owned() })
}

impl Proofs {
    fn take_standings(&mut self, standings: Vec<(&'static str, Standing)>) {
        let forbidden = standings.iter().filter(|(_, standing)| standing.forbids());
        let all: Vec<&'static str> =
            forbidden.filter_map(|(key, _)| procedure(key)).map(|known| known.missing).collect();
        self.missing = all.iter().take(NAMED).copied().collect();
        if all.len() > NAMED {
            self.missing.push(MORE);
        }
        self.standings = standings;
    }

    /// What the scan that begins is to stroke and to watch.
    pub(super) fn step(&self, leaf: Leaf) -> Option<Step> {
        self.prover.as_ref().filter(|_| leaf == Leaf::Proving).and_then(Prover::step)
    }

    /// The standings as permissives, for a screen.
    pub(super) fn permissives(&self) -> impl Iterator<Item = Permissive> + '_ {
        self.standings.iter().filter(|(_, standing)| standing.forbids()).filter_map(
            |(key, standing)| {
                let found = match standing {
                    Standing::Failed => "its last proof test failed".to_owned(),
                    Standing::Overdue(days) => format!("its proof test is {days} days overdue"),
                    Standing::Changed(days) => {
                        format!("it was changed since its proof test {days} days ago")
                    }
                    Standing::Unfounded(days) => format!(
                        "of its proof test {days} days ago nobody knows what the row was then"
                    ),
                    Standing::Ahead(days) => {
                        format!("its proof test is dated {days} days from now")
                    }
                    Standing::Never | Standing::DueIn(_) | Standing::Late(_) => {
                        "it was never proved".to_owned()
                    }
                };
                Some(Permissive {
                    key,
                    title: matrix::row(key)?.title,
                    state: PermissiveState::Missing,
                    found,
                    look: procedure(key)?.missing,
                })
            },
        )
    }
}

impl Controller {
    /// Begins the proof of a row; only while the sequence is proving, nothing is tripped, no
    /// other proof is under way, and the row itself is neither latched nor its cause there.
    pub fn prove(&mut self, now: Moment, key: &str) -> Answer {
        self.now = self.now.max(now);
        let Some(procedure) = procedure(key) else {
            return match covered(key) {
                Some(covered) => {
                    denied(format!("`{key}` can't be proved at a field device"), covered.why)
                }
                None => denied(
                    format!("no interlock called `{key}` holds or trips"),
                    "`evenpass prove --list` shows what can be proved",
                ),
            };
        };
        let begun = matrix::row(procedure.key).zip(self.interlocks.delay(procedure.key));
        let Some((row, delay)) = begun else {
            return denied(format!("`{key}` is in no row of the matrix"), "tell the maker");
        };
        if self.sequence.leaf() != Leaf::Proving {
            return denied("proving has not been entered", "isolate and vent gas, enter proving");
        }
        if self.interlocks.verdict().tripped() {
            return denied("a trip is latched", "remove its cause, acknowledge, reset");
        }
        let busy = self.proofs.prover.as_ref().is_some_and(|prover| prover.proved().is_none());
        if busy {
            return denied("another proof is under way", "finish it, or leave proving");
        }
        if let Some(refused) = self.not_at_rest(procedure) {
            return refused;
        }
        self.proofs.prover = Some(Prover::new(procedure, row, delay, self.now));
        Answer::Accepted
    }

    /// A row that is latched, or whose cause is there, would seem to answer to an act that nobody
    /// has done. What is prepared first, or read only while the extraction runs, is not at rest
    /// yet: the proof itself waits for that.
    fn not_at_rest(&mut self, procedure: &Procedure) -> Option<Answer> {
        let key = procedure.key;
        drop_hold(key, self.now, &mut self.interlocks);
        let verdict = self.interlocks.verdict();
        if let Some(latched) = verdict.holds.iter().find(|hold| hold.key == key) {
            return Some(denied(
                format!("`{key}` is latched already: {}", latched.message),
                latched.advice,
            ));
        }
        let is_at_rest = procedure.prepare.is_empty() && !procedure.strokes.extraction.is_on();
        let cause = self.interlocks.cause_of(key, &self.inputs).filter(|_| is_at_rest)?;
        let advice = matrix::row(key).map_or("", |row| row.advice);
        Some(denied(format!("the cause of `{key}` is there already: {cause}"), advice))
    }

    /// The person has done what the proof under way asks at the field device.
    pub fn proof_done(&mut self, now: Moment) {
        self.now = self.now.max(now);
        if let Some(prover) = self.proofs.prover.as_mut() {
            prover.done(self.now);
        }
    }

    /// Where the proof under way, or the last one, stands.
    #[must_use]
    pub fn proof(&self) -> Option<ProofState> {
        self.proofs.prover.as_ref().map(|prover| ProofState {
            key: prover.procedure().key,
            began: prover.began(),
            stage: prover.stage(),
            proved: prover.proved().cloned(),
        })
    }

    /// Which proofs are due, by whoever has a calendar and the record. Those that forbid a start
    /// are permissives from now on; without this call none is demanded.
    pub fn set_proofs(&mut self, standings: Vec<(&'static str, Standing)>) {
        self.proofs.take_standings(standings);
    }

    /// Before the interlocks judge: what the proof strokes and watches in this scan. Nothing is
    /// kept from the scan before.
    pub(super) fn begin_proof_scan(&mut self) {
        let step = self.proofs.step(self.sequence.leaf());
        self.sequence.stroke(step.map_or_else(Strokes::default, |step| step.strokes));
        if let Some(step) = step {
            self.interlocks.prove(step.watch);
        }
    }

    /// After the scan: what it showed.
    pub(super) fn end_proof_scan(&mut self, inputs: &Inputs) {
        let Some(prover) = self.proofs.prover.as_mut() else { return };
        if prover.proved().is_some() {
            // A hold that was proved is dropped once its device is put back, as a start would.
            drop_hold(prover.row().key, self.now, &mut self.interlocks);
            return;
        }
        let acknowledged = |coil| self.rack.coil(coil).acknowledged;
        let (field_age, axis_age) = self.ages;
        prover.look(&ProverView {
            inputs,
            finding: self.interlocks.proof_finding(),
            verdict: self.interlocks.verdict(),
            fuel: acknowledged(Coil::Fuel),
            oxygen: acknowledged(Coil::Oxygen),
            proving: Level::from_bit(self.sequence.leaf() == Leaf::Proving),
            field_age,
            axis_age,
        });
        if let Some(proved) = prover.proved() {
            let result = if proved.failing.is_none() { "passed" } else { "failed" };
            self.ledger.write(
                self.now,
                EntryKind::Cause,
                format!("proof test of `{}` {result}: {}", proved.key, proved.found),
                String::new(),
                json!({ "proof": proved }),
            );
        }
    }
}

fn drop_hold(key: &str, now: Moment, interlocks: &mut Interlocks) {
    let returned =
        |hold: &crate::interlock::Occurrence| hold.key == key && hold.present == Presence::Returned;
    if interlocks.verdict().holds.iter().any(returned) {
        // Others whose cause is still there stay.
        let _ = interlocks.clear_holds(now);
    }
}
