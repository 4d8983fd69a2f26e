//! The runs that made one part: a run that goes on with an earlier one makes the same.

use super::{Outcome, RESUMES, RecordError, RunId, Store};

/// The ids of a run, `?1`, and of those before it whose part it went on with: `part (id)`. A chain
/// that bites its own tail ends all the same.
pub(super) fn of_part() -> String {
    format!(
        "WITH RECURSIVE part (id) AS (
            SELECT ?1 UNION
            SELECT earlier.particulars ->> '$.{RESUMES}' FROM run earlier JOIN part USING (id)
        ) SELECT id FROM part"
    )
}

impl Store {
    /// A run, last, and the runs before it whose part it went on with, in the order they were begun.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn runs_of_part(&self, id: &RunId) -> Result<Vec<RunId>, RecordError> {
        let read = || {
            let all = format!("SELECT id FROM run WHERE id IN ({}) ORDER BY place", of_part());
            let mut all = self.connection.prepare(&all)?;
            all.query_map([id.as_str()], |row| row.get(0).map(RunId::stored))?
                .collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|source| self.sorted(source))
    }

    /// The run that went on with the part of another: the last that is being written or had begun.
    /// What becomes of the part is decided there.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn taken_up_by(&self, id: &RunId) -> Result<Option<RunId>, RecordError> {
        for next in self.goes_on_with(id)?.into_iter().rev() {
            if self.outcome(&next)? == Outcome::Open || self.job_began(&next)? {
                return Ok(Some(next));
            }
        }
        Ok(None)
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{file, header, said};
    use super::super::{Inspected, Mark, Of, RunHeader, Said};
    use super::*;

    /// A run that goes on with another, by its own word.
    fn run(store: &mut Store, earlier: Option<&str>) -> RunId {
        let particulars = earlier.map(|run| (RESUMES.to_owned(), run.to_owned()));
        let header = RunHeader { particulars: particulars.into_iter().collect(), ..header() };
        store.begin(&header, None).unwrap().id
    }

    #[test]
    fn a_rest_has_the_marks_of_all_the_runs_before_it_and_no_other() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).unwrap();
        let first = run(&mut store, None);
        let other = run(&mut store, None);
        let second = run(&mut store, Some(first.as_str()));
        let third = run(&mut store, Some(second.as_str()));
        let all = [first.clone(), second.clone(), third.clone()];
        assert_eq!(store.runs_of_part(&third).unwrap(), all);
        assert_eq!(store.runs_of_part(&second).unwrap(), all[..2]);

        for run in [&first, &other] {
            let point = Said::HoldPoint { point: format!("bore of {run}") };
            let mark = Mark { run: Some(run.clone()), ..said(0, point).mark };
            store.keep_mark(&mark).unwrap();
        }
        let marks = store.marks(Of::Part(&third)).unwrap();
        let held = Inspected::of(&marks).held();
        let [(kept, _)] = held.as_slice() else { panic!("{held:?}") };
        assert_eq!(kept.mark.run.as_ref(), Some(&first));
        assert!(store.marks(Of::Run(&third)).unwrap().is_empty());
    }

    #[test]
    fn runs_that_say_they_go_on_with_each_other_or_with_none_that_is_kept_are_read() {
        let (_folder, path) = file();
        let mut store = Store::open(&path).unwrap();
        let first = run(&mut store, Some("2026-11-25-002"));
        let second = run(&mut store, Some(first.as_str()));
        assert_eq!(store.runs_of_part(&first).unwrap(), [first.clone(), second]);
        let lost = run(&mut store, Some("2020-01-01-001"));
        assert_eq!(store.runs_of_part(&lost).unwrap(), [lost]);
    }
}
