//! Runs that did not come to their end, and about which nobody has decided: which of them may be
//! taken up.

use evenpass_core::resume::Choice;
use evenpass_core::rig::Rig;
use evenpass_core::sequence::{Leaf, Phase};

use super::{
    Inspected, MarkRecord, Of, Outcome, RecordError, RunId, RunKind, Said, Store, Verdict,
};

/// The particular of a run that names the one it goes on with.
pub const RESUMES: &str = "resumes";

impl Store {
    /// The run of a rig that may be taken up: the latest whose job had begun and did not come to its
    /// end, unless it is settled. What was left before it is not dug up again.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn left_undone(&self, rig: &str, kind: RunKind) -> Result<Option<RunId>, RecordError> {
        let sorted = |source| self.sorted(source);
        let mut runs = self
            .connection
            .prepare(
                "SELECT id, rig FROM run WHERE kind = ?1 AND outcome <> 'complete'
                 ORDER BY place DESC",
            )
            .map_err(sorted)?;
        let mut runs = runs.query([kind]).map_err(sorted)?;
        while let Some(row) = runs.next().map_err(sorted)? {
            let id = RunId::stored(row.get(0).map_err(sorted)?);
            let text: String = row.get(1).map_err(sorted)?;
            // A rig that this version cannot read is none that it can drive.
            let same = Rig::read(&text).is_ok_and(|read| read.title == rig);
            if same && self.was_left(&id)? {
                return Ok((!self.is_settled(&id)?).then_some(id));
            }
        }
        Ok(None)
    }

    /// Whether the job of a run had begun and did not come to its end.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn was_left(&self, id: &RunId) -> Result<bool, RecordError> {
        let outcome = self.outcome(id)?;
        Ok(!matches!(outcome, Outcome::Complete | Outcome::Open) && self.job_began(id)?)
    }

    /// Whether it is decided what becomes of a run: a person ended it there, has its part stripped or
    /// let it pass or be scrapped, or a run that goes on with it is being written or had begun.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn is_settled(&self, id: &RunId) -> Result<bool, RecordError> {
        let marks = self.marks(Of::Run(id))?;
        let decided =
            Inspected::of(&marks).decision().is_some_and(|kept| is_final(&kept.mark.said));
        if decided || marks.iter().any(ends) {
            return Ok(true);
        }
        Ok(self.taken_up_by(id)?.is_some())
    }

    /// The runs that say of themselves that they go on with one, in their order.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn goes_on_with(&self, id: &RunId) -> Result<Vec<RunId>, RecordError> {
        let read = || {
            let mut all = self.connection.prepare(&format!(
                "SELECT id FROM run WHERE particulars ->> '$.{RESUMES}' = ?1 ORDER BY place"
            ))?;
            all.query_map([id.as_str()], |row| row.get(0).map(RunId::stored))?
                .collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }

    /// What became of a run.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read, or has no such run.
    pub fn outcome(&self, id: &RunId) -> Result<Outcome, RecordError> {
        let stored = "SELECT outcome FROM run WHERE id = ?1";
        let stored = self.connection.query_row(stored, [id.as_str()], |row| row.get(0));
        self.outcome_seen(id, stored.map_err(|source| self.sorted(source))?)
    }

    /// Whether its entries, or what is known beyond them, tell that a job was under way.
    pub(super) fn job_began(&self, id: &RunId) -> Result<bool, RecordError> {
        Ok(self.entries_tell_of_a_job(id)? || self.unseen(id)?.is_some_and(|known| known.began))
    }

    fn entries_tell_of_a_job(&self, id: &RunId) -> Result<bool, RecordError> {
        let read = || {
            let mut states = self.connection.prepare(
                "SELECT data ->> '$.to' FROM entry
                 WHERE run = (SELECT place FROM run WHERE id = ?1) AND kind = 'state'
                 ORDER BY number",
            )?;
            let mut states = states.query([id.as_str()])?;
            while let Some(row) = states.next()? {
                let name: Option<String> = row.get(0)?;
                let leaf = Leaf::ALL.iter().find(|leaf| Some(leaf.name()) == name.as_deref());
                if leaf.is_some_and(|leaf| is_under_way(leaf.phase())) {
                    return Ok(true);
                }
            }
            Ok(false)
        };
        read().map_err(|source| self.sorted(source))
    }
}

/// Whether a job is under way in it. One can be aborted before it began.
pub(super) const fn is_under_way(phase: Phase) -> bool {
    phase.is_running() || matches!(phase, Phase::Holding | Phase::Held | Phase::Stopping)
}

/// Whether nobody is asked any more what becomes of a part. One on hold waits.
const fn is_final(said: &Said) -> bool {
    matches!(said, Said::Decided { verdict: Verdict::Pass | Verdict::Scrap, .. })
}

/// Whether a mark that counts ends a run.
fn ends(kept: &MarkRecord) -> bool {
    let ended = |choice: &Choice| matches!(choice, Choice::EndHere | Choice::StripAndReblast);
    let says = matches!(&kept.mark.said, Said::Settled { choice, .. } if ended(choice));
    kept.taken_back_by.is_none() && says
}
