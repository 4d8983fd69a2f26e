//! Looking whether anything in the record was changed afterwards.

use rusqlite::types::FromSql as _;
use rusqlite::{OptionalExtension, Row, params};
use serde::Serialize;

use super::chain::{self, ABOUT_RUNS, BEGUN, ENDED, ENTRY, LINKED, Link, Linked, ORIGIN};
use super::{Flaw, RecordError, RunId, Store, schema};

/// What a look through the record came to.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Verification {
    /// Runs looked at.
    pub runs: u64,
    /// Entries looked at.
    pub entries: u64,
    /// Other rows looked at.
    pub rows: u64,
    /// Runs among them whose entries were put into files of their own, and were not looked at.
    pub elsewhere: u64,
    /// What is not as it was written.
    pub flaws: Vec<Flaw>,
}

/// What stands for a run in the chains.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Seal {
    /// When its chain was begun: with the run, or, where an older file was brought to the present
    /// form, then. What happened before that is not vouched for.
    pub since: String,
    /// What it begins with, hexadecimal: of what the run was begun with, and of every run before it.
    pub origin: String,
    /// The seal, hexadecimal; `None` while the run is open.
    pub seal: Option<String>,
}

impl Store {
    /// Looks through one run, or the whole file, for anything that was changed, removed, put in or
    /// moved since it was written. The whole file is read once. Of one run, its own chain is looked
    /// through, and all that people added to or measured of any run: those rows hang on each other.
    ///
    /// What was cut off at the end of the file is not found by this: see [`Store::still_holds`].
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn verify(&self, only: Option<&RunId>) -> Result<Verification, RecordError> {
        self.looked(|found, view| match only {
            Some(id) => {
                found.structure(view)?;
                found.run(view, place(view, id)?)?;
                ABOUT_RUNS.iter().try_for_each(|linked| found.table(view, linked))
            }
            None => {
                found.structure(view)?;
                found.all_runs(view)?;
                LINKED.iter().try_for_each(|linked| found.table(view, linked))
            }
        })
    }

    /// Looks through the chain of a run, and at nothing that was added to it.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub(crate) fn verify_chain(&self, id: &RunId) -> Result<Verification, RecordError> {
        self.looked(|found, view| found.run(view, place(view, id)?))
    }

    fn looked(
        &self,
        look: impl FnOnce(&mut Verification, &rusqlite::Connection) -> rusqlite::Result<()>,
    ) -> Result<Verification, RecordError> {
        let sorted = |source| self.sorted(source);
        let view = self.connection.unchecked_transaction().map_err(sorted)?;
        let mut found = Verification::default();
        look(&mut found, &view).map_err(sorted)?;
        Ok(found)
    }

    /// What stands for a run in the chains; `None` when there is no such run, or its chain was
    /// removed.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn seal(&self, run: &RunId) -> Result<Option<Seal>, RecordError> {
        let chain = "SELECT since, origin, seal FROM chain
             WHERE run = (SELECT place FROM run WHERE id = ?1)";
        let read = |row: &Row<'_>| {
            let seal = row.get::<_, Option<Link>>(2)?.map(|seal| seal.to_string());
            let origin = row.get::<_, Link>(1)?.to_string();
            Ok(Seal { since: row.get(0)?, origin, seal })
        };
        let found = self.connection.query_row(chain, [run.as_str()], read).optional();
        found.map_err(|source| self.sorted(source))
    }
}

impl Verification {
    /// Whether everything is as it was written.
    #[must_use]
    pub const fn holds(&self) -> bool {
        self.flaws.is_empty()
    }

    fn structure(&mut self, view: &rusqlite::Connection) -> rusqlite::Result<()> {
        // Unlike the quick check it holds every index against its table.
        let mut check = view.prepare("PRAGMA integrity_check(10)")?;
        for words in check.query_map([], |row| row.get::<_, String>(0))? {
            let words = words?;
            if words != "ok" {
                self.flaws.push(Flaw::Structure(words));
            }
        }
        self.flaws.extend(schema::other_guards(view)?.into_iter().map(Flaw::Guard));
        Ok(())
    }

    fn all_runs(&mut self, view: &rusqlite::Connection) -> rusqlite::Result<()> {
        let places = "SELECT place FROM run UNION SELECT run FROM chain ORDER BY 1";
        let places: Vec<i64> =
            view.prepare(places)?.query_map([], |row| row.get(0))?.collect::<Result<_, _>>()?;
        for place in &places {
            self.run(view, *place)?;
        }
        let given: Option<i64> = view
            .query_row("SELECT seq FROM sqlite_sequence WHERE name = 'run'", [], |row| row.get(0))
            .optional()?;
        if given.unwrap_or(0) > places.last().copied().unwrap_or(0) {
            self.flaws.push(Flaw::LastRuns);
        }
        let orphans = "SELECT DISTINCT run FROM entry WHERE run NOT IN (SELECT place FROM run)";
        for place in view.prepare(orphans)?.query_map([], |row| row.get(0))? {
            self.flaws.push(Flaw::Orphans(place?));
        }
        Ok(())
    }

    fn run(&mut self, view: &rusqlite::Connection, place: i64) -> rusqlite::Result<()> {
        self.runs += 1;
        let id = view
            .query_row("SELECT id FROM run WHERE place = ?1", [place], |row| row.get(0))
            .optional()?
            .map(RunId::stored);
        let stored = "SELECT origin, begun, tip, before, seal, since FROM chain WHERE run = ?1";
        let stored = view
            .query_row(stored, [place], |row| {
                let links = (readable(row, 0), readable(row, 1), readable(row, 2));
                Ok((links, (readable(row, 3), readable(row, 4)), row.get::<_, String>(5)?))
            })
            .optional()?;
        let (Some(id), Some(((Some(origin), Some(begun), Some(tip)), (told, seal), since))) =
            (id, stored)
        else {
            self.flaws.push(Flaw::Chain(place));
            return Ok(());
        };
        let before = "SELECT origin FROM chain WHERE run < ?1 ORDER BY run DESC LIMIT 1";
        let before = view.query_row(before, [place], |row| Ok(readable(row, 0))).optional()?;
        let before = before.flatten().unwrap_or(Link::NONE);
        let columns = format!("SELECT {ORIGIN} FROM run WHERE place = ?1");
        let header = |row: &Row<'_>| chain::origin_of(before, &since, row);
        if view.query_row(&columns, [place], header)? != origin || told != Some(before) {
            self.flaws.push(Flaw::Header(id.clone()));
        }
        let columns = format!("SELECT {BEGUN} FROM run WHERE place = ?1");
        let beginning = |row: &Row<'_>| chain::of_row(origin, "begun", row);
        if view.query_row(&columns, [place], beginning)? != begun {
            self.flaws.push(Flaw::Beginning(id.clone()));
        }
        let columns = format!("SELECT outcome = 'open', {ENDED} FROM run WHERE place = ?1");
        let (is_open, sealed): (bool, Link) = view.query_row(&columns, [place], |row| {
            Ok((row.get(0)?, chain::seal_of(tip, begun, row, 1)?))
        })?;
        if seal != (!is_open).then_some(sealed) || is_open && !has_no_end(view, place)? {
            self.flaws.push(Flaw::Ending(id.clone()));
        }
        self.entries(view, place, &id, (origin, tip))
    }

    fn entries(
        &mut self,
        view: &rusqlite::Connection,
        place: i64,
        id: &RunId,
        (origin, tip): (Link, Link),
    ) -> rusqlite::Result<()> {
        let columns = format!("SELECT {ENTRY}, link FROM entry WHERE run = ?1 ORDER BY number");
        let mut entries = view.prepare_cached(&columns)?;
        let mut rows = entries.query([place])?;
        let (mut before, mut count) = (origin, 0_u64);
        let own = ENTRY.split(',').count();
        while let Some(row) = rows.next()? {
            count += 1;
            let link = readable(row, own);
            let expected = chain::Linking::after(before, "entry").columns(row, 0..own)?.done();
            if link != Some(expected) {
                self.flaws.push(Flaw::Entry(id.clone(), row.get(1)?));
            }
            // What follows is held against what stands there: one change is one flaw.
            before = link.unwrap_or(expected);
        }
        self.entries += count;
        let gone = "SELECT EXISTS (SELECT 1 FROM pruned WHERE run = ?1)";
        let is_pruned = count == 0 && view.query_row(gone, [place], |row| row.get(0))?;
        self.elsewhere += u64::from(is_pruned);
        if before != tip && !is_pruned {
            self.flaws.push(Flaw::LastEntries(id.clone()));
        }
        Ok(())
    }

    fn table(&mut self, view: &rusqlite::Connection, of: &Linked) -> rusqlite::Result<()> {
        let Linked { table, columns } = *of;
        let mut rows = view.prepare(&format!("SELECT {columns} FROM {table} ORDER BY place"))?;
        let mut links =
            view.prepare("SELECT place, link FROM link WHERE thing = ?1 ORDER BY place")?;
        let mut rows = rows.query([])?;
        let mut links = links.query([table])?;
        let (mut before, mut last) = (Link::NONE, 0_i64);
        let mut next_link = || match links.next()? {
            Some(row) => Ok::<_, rusqlite::Error>(Some((row.get(0)?, readable(row, 1)))),
            None => Ok(None),
        };
        let mut link: Option<(i64, Option<Link>)> = next_link()?;
        while let Some(row) = rows.next()? {
            self.rows += 1;
            let place: i64 = row.get(0)?;
            last = place;
            // A link without a row is that of a row that was removed; the row after it shows it as well.
            while let Some((_, skipped)) = link.filter(|(at, _)| *at < place) {
                self.flaws.push(Flaw::Row(table, place));
                before = skipped.unwrap_or(before);
                link = next_link()?;
            }
            let expected = chain::of_row(before, table, row)?;
            let own = link.filter(|(at, _)| *at == place);
            let found = own.and_then(|(_, link)| link);
            if found != Some(expected) {
                self.flaws.push(Flaw::Row(table, place));
            }
            before = found.unwrap_or(expected);
            if own.is_some() {
                link = next_link()?;
            }
        }
        let given: Option<i64> = view
            .query_row("SELECT seq FROM sqlite_sequence WHERE name = ?1", params![table], |row| {
                row.get(0)
            })
            .optional()?;
        if link.is_some() || given.unwrap_or(0) > last {
            self.flaws.push(Flaw::LastRows(table));
        }
        Ok(())
    }
}

/// Where a run stands in the file.
fn place(view: &rusqlite::Connection, id: &RunId) -> rusqlite::Result<i64> {
    view.query_row("SELECT place FROM run WHERE id = ?1", [id.as_str()], |row| row.get(0))
}

/// Whether a run that is open says nothing of its end: no digest is of those columns yet.
fn has_no_end(view: &rusqlite::Connection, place: i64) -> rusqlite::Result<bool> {
    let nothing: Vec<String> =
        chain::NOT_ENDED.iter().map(|(column, value)| format!("{column} IS {value}")).collect();
    let nothing = format!("SELECT {} FROM run WHERE place = ?1", nothing.join(" AND "));
    view.query_row(&nothing, [place], |row| row.get(0))
}

/// The link in a column; `None` for what is none, as somebody may have put it there.
fn readable(row: &Row<'_>, column: usize) -> Option<Link> {
    row.get_ref(column).ok().and_then(|value| Link::column_result(value).ok())
}
