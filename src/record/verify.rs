//! Looking whether anything in the record was changed afterwards.

use std::fmt;

use rusqlite::types::FromSql as _;
use rusqlite::{OptionalExtension, Row, params};
use serde::{Serialize, Serializer};

use super::chain::{self, BEGUN, ENDED, ENTRY, LINKED, Link, Linked, ORIGIN};
use super::{RecordError, RunId, Store};

/// One thing in the record that is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Flaw {
    /// The database's own structure is broken, by SQLite's words.
    Structure(String),
    /// Rows of runs are missing after this one, or the row of this one is another than then.
    Header(RunId),
    /// When, by whom, or with which entry a run was started was changed.
    Beginning(RunId),
    /// How a run ended was changed.
    Ending(RunId),
    /// An entry was changed, or one before it removed, put in or moved.
    Entry(RunId, u64),
    /// The last entries of a run are missing.
    LastEntries(RunId),
    /// A run has no chain, or a chain no run; by its place in the file.
    Chain(i64),
    /// Runs are missing at the end of the file.
    LastRuns,
    /// Entries belong to no run; by the run's place in the file.
    Orphans(i64),
    /// A row of another table was changed, put in, or one before it removed.
    Row(&'static str, i64),
    /// The last rows of a table are missing.
    LastRows(&'static str),
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Structure(words) => write!(f, "the file's structure is broken: {words}"),
            Self::Header(run) => write!(
                f,
                "run {run}: its recipe, rig, plan or title was changed, or the run before it removed"
            ),
            Self::Beginning(run) => {
                write!(f, "run {run}: when or by whom it was started was changed")
            }
            Self::Ending(run) => write!(f, "run {run}: how it ended was changed"),
            Self::Entry(run, number) => write!(
                f,
                "run {run}: entry {number} was changed, or one before it removed, put in or moved"
            ),
            Self::LastEntries(run) => write!(f, "run {run}: its last entries were removed"),
            Self::Chain(place) => {
                write!(
                    f,
                    "run number {place} of the file, or what its entries hang on, was removed"
                )
            }
            Self::LastRuns => f.write_str("the last runs of the file were removed"),
            Self::Orphans(place) => {
                write!(f, "entries were put in, or their run number {place} of the file removed")
            }
            Self::Row(table, place) => write!(
                f,
                "{}: number {place} was changed or put in, or one before it removed",
                heading(table)
            ),
            Self::LastRows(table) => write!(f, "{}: the last were removed", heading(table)),
        }
    }
}

/// In words.
impl Serialize for Flaw {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// What a table holds, for a person.
fn heading(table: &str) -> &str {
    match table {
        "proof" => "proof tests",
        "measurement" => "measurements",
        "withdrawal" => "withdrawn measurements",
        "acceptance" => "accepted figures",
        "act" => "acts",
        "batch" => "batches",
        "batch_part" => "parts of batches",
        "mark" => "what people added",
        "pruned" => "what was pruned",
        other => other,
    }
}

/// What a look through the record came to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Verification {
    /// Runs looked at.
    pub runs: u64,
    /// Entries looked at.
    pub entries: u64,
    /// Other rows looked at.
    pub rows: u64,
    /// What is not as it was written.
    pub flaws: Vec<Flaw>,
}

/// What stands for a run in the chains.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Seal {
    /// When its chain was begun: with the run, or, where an older file was brought to the present
    /// form, then. What happened before that is not vouched for.
    pub since: String,
    /// The seal, hexadecimal; `None` while the run is open.
    pub seal: Option<String>,
}

impl Store {
    /// Looks through one run, or the whole file, for anything that was changed, removed, put in or
    /// moved since it was written. The whole file is read once.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn verify(&self, only: Option<&RunId>) -> Result<Verification, RecordError> {
        let sorted = |source| self.sorted(source);
        let view = self.connection.unchecked_transaction().map_err(sorted)?;
        let mut found = Verification { runs: 0, entries: 0, rows: 0, flaws: Vec::new() };
        match only {
            Some(id) => {
                let place = "SELECT place FROM run WHERE id = ?1";
                let place = view.query_row(place, [id.as_str()], |row| row.get(0));
                found.run(&view, place.map_err(sorted)?).map_err(sorted)?;
            }
            None => {
                found.structure(&view).map_err(sorted)?;
                found.all_runs(&view).map_err(sorted)?;
                for linked in LINKED {
                    found.table(&view, linked).map_err(sorted)?;
                }
            }
        }
        Ok(found)
    }

    /// What stands for a run in the chains; `None` when there is no such run, or its chain was
    /// removed.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn seal(&self, run: &RunId) -> Result<Option<Seal>, RecordError> {
        let chain =
            "SELECT since, seal FROM chain WHERE run = (SELECT place FROM run WHERE id = ?1)";
        let read = |row: &Row<'_>| {
            let seal = row.get::<_, Option<Link>>(1)?.map(|seal| seal.to_string());
            Ok(Seal { since: row.get(0)?, seal })
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
        let mut check = view.prepare("PRAGMA quick_check(10)")?;
        for words in check.query_map([], |row| row.get::<_, String>(0))? {
            let words = words?;
            if words != "ok" {
                self.flaws.push(Flaw::Structure(words));
            }
        }
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
        if seal != (!is_open).then_some(sealed) {
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

/// The link in a column; `None` for what is none, as somebody may have put it there.
fn readable(row: &Row<'_>, column: usize) -> Option<Link> {
    row.get_ref(column).ok().and_then(|value| Link::column_result(value).ok())
}
