//! The records file: opening it, and the three writes of a run (begin, append, end).

use std::io;
use std::path::{Path, PathBuf};

use evenpass_core::ledger::Entry;
use jiff::Timestamp;
use rusqlite::{
    Connection, OpenFlags, OptionalExtension, Transaction, TransactionBehavior, named_params,
    params,
};

use super::alive::{self, AliveMark, Process, Slate};
use super::batch::insert_part;
use super::chain::{self, Linking};
use super::{
    Beginning, Outcome, PartToMake, RESUMES, RecordError, RunEnd, RunHeader, RunId, schema,
};
use crate::durable;

/// The records file, open.
#[derive(Debug)]
pub struct Store {
    pub(super) connection: Connection,
    file: PathBuf,
}

/// A run that is being written.
#[derive(Debug)]
pub(super) struct OpenRun {
    pub(super) id: RunId,
    place: i64,
    alive: AliveMark,
}

/// What became of the entries handed in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tally {
    /// The highest number handed in, kept or lost; `None` when there was none.
    pub(super) last: Option<u64>,
    /// How many were lost.
    pub(super) lost: u64,
}

impl Store {
    /// Opens the records file to write, and makes it, and its folder, if there is none.
    ///
    /// # Errors
    /// [`RecordError`] says whether the folder or file can't be written, the file holds something
    /// else, or was written by a later version.
    pub fn open(file: &Path) -> Result<Self, RecordError> {
        if let Some(folder) = file.parent() {
            durable::folders(folder)
                .map_err(|source| RecordError::Folder { folder: folder.to_owned(), source })?;
        }
        Self::open_as(file, OpenFlags::SQLITE_OPEN_CREATE)
    }

    /// Opens a records file that is there.
    ///
    /// # Errors
    /// As [`Store::open`]; [`RecordError::Missing`] when there is no such file.
    pub fn open_existing(file: &Path) -> Result<Self, RecordError> {
        if !file.exists() {
            return Err(RecordError::Missing { file: file.to_owned() });
        }
        Self::open_as(file, OpenFlags::empty())
    }

    /// Opens a records file that is there for somebody who only reads. Where it is write-protected it
    /// is read as it lies there, and nothing is made beside it.
    ///
    /// # Errors
    /// As [`Store::open_existing`]; where nothing can be written, that the file was not closed, or
    /// has an earlier form.
    pub fn open_to_read(file: &Path) -> Result<Self, RecordError> {
        match Self::open_existing(file) {
            Err(
                RecordError::Folder { .. }
                | RecordError::ReadOnly { .. }
                | RecordError::NoWriteAheadLog { .. },
            ) => Self::open_protected(file),
            opened => opened,
        }
    }

    /// SQLite's own way where nothing changes: neither log nor lock.
    fn open_protected(file: &Path) -> Result<Self, RecordError> {
        let mut log = file.as_os_str().to_owned();
        log.push("-wal");
        if Path::new(&log).exists() {
            return Err(RecordError::LogProtected { file: file.to_owned() });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
            | OpenFlags::SQLITE_OPEN_NO_MUTEX
            | OpenFlags::SQLITE_OPEN_URI;
        let connection = Connection::open_with_flags(immutable(file), flags)
            .map_err(|source| RecordError::from_sqlite(file, source))?;
        schema::recognise_present(&connection, file)?;
        Ok(Self { connection, file: file.to_owned() })
    }

    fn open_as(file: &Path, creation: OpenFlags) -> Result<Self, RecordError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | creation;
        let mut connection = Connection::open_with_flags(file, flags)
            .map_err(|source| RecordError::from_sqlite(file, source))?;
        schema::prepare(&mut connection, file)?;
        Ok(Self { connection, file: file.to_owned() })
    }

    /// The file.
    #[must_use]
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Gives a run its id and writes down what is known of it. Open runs of dead processes are
    /// settled as interrupted on the way. Only one run goes on with another: whether it still may is
    /// looked at where nobody can begin a second one meanwhile.
    pub(super) fn begin(
        &mut self,
        header: &RunHeader,
        part: Option<&PartToMake>,
    ) -> Result<OpenRun, RecordError> {
        let file = self.file.clone();
        let sorted = |source| RecordError::from_sqlite(&file, source);
        let change = Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)
            .map_err(sorted)?;
        if let Some(earlier) = header.particulars.get(RESUMES) {
            self.must_wait(&RunId::stored(earlier.clone()))?;
        } else if let Some(part) = part {
            self.must_be_free(header.kind, part)?;
        }
        let settled = settle(&change, &file).map_err(sorted)?;
        sweep(&change, &file).map_err(sorted)?;
        let id = next_id(&change, header.started_at).map_err(sorted)?;
        // Locked before the run can be seen: nobody may find it open without its lock.
        let alive = AliveMark::set(&file, &id).map_err(|source| folder_trouble(&file, source))?;
        insert(&change, &id, header).map_err(sorted)?;
        let place = change.last_insert_rowid();
        chain::begin(&change, place, &header.started_at.to_string()).map_err(sorted)?;
        if let Some(part) = part {
            insert_part(&change, place, part).map_err(sorted)?;
        }
        change.commit().map_err(sorted)?;
        for id in &settled {
            alive::sweep(&file, id);
        }
        Ok(OpenRun { id, place, alive })
    }

    /// Calls open runs of dead processes interrupted, as the next run to begin does.
    ///
    /// # Errors
    /// [`RecordError`] when the disk refuses.
    pub fn settle_dead(&mut self) -> Result<(), RecordError> {
        let file = self.file.clone();
        let mut settled = Vec::new();
        self.change(|change| {
            settled = settle(change, &file)?;
            Ok(())
        })?;
        settled.iter().for_each(|id| alive::sweep(&file, id));
        Ok(())
    }

    /// Whether the part of a run waits for another one to go on with it.
    fn must_wait(&self, earlier: &RunId) -> Result<(), RecordError> {
        let run = || earlier.to_string();
        match self.taken_up_by(earlier)? {
            Some(by) => Err(RecordError::TakenUpAlready { run: run(), by: by.to_string() }),
            None if self.is_settled(earlier)? => Err(RecordError::SettledAlready { run: run() }),
            None => Ok(()),
        }
    }

    /// Writes down when a run that was opened has begun, and by whom.
    pub(super) fn started(&mut self, run: &OpenRun, by: &Beginning) -> Result<(), RecordError> {
        self.change(|change| {
            change.execute(
                "UPDATE run SET started_at = ?1, particulars = ?2, first_entry = ?3
                 WHERE place = ?4",
                params![
                    by.started_at.to_string(),
                    json(&by.particulars)?,
                    signed(by.first_entry),
                    run.place,
                ],
            )?;
            chain::started(change, run.place)
        })
    }

    /// Writes entries down, all or none.
    pub(super) fn append(&mut self, run: &OpenRun, entries: &[Entry]) -> Result<(), RecordError> {
        self.change(|change| append_within(change, run, entries))
    }

    /// Writes the last entries and the run's end, all or none.
    pub(super) fn end(
        &mut self,
        run: &OpenRun,
        entries: &[Entry],
        end: &RunEnd,
        tally: Tally,
    ) -> Result<(), RecordError> {
        self.change(|change| {
            append_within(change, run, entries)?;
            change.execute(
                "UPDATE run SET outcome = :outcome, ended_at = :ended_at, first_cause = :cause,
                    totals = :totals, deviations = :deviations, last_entry = :last, lost = :lost
                 WHERE place = :place",
                named_params! {
                    ":outcome": Outcome::from(end.ending),
                    ":ended_at": end.ended_at.to_string(),
                    ":cause": end.first_cause,
                    ":totals": end.totals.to_string(),
                    ":deviations": json(&end.deviations)?,
                    ":last": tally.last.map(signed),
                    ":lost": signed(tally.lost),
                    ":place": run.place,
                },
            )?;
            chain::seal(change, run.place)
        })
    }

    pub(super) fn change(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()>,
    ) -> Result<(), RecordError> {
        let done = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .and_then(|change| work(&change).and_then(|()| change.commit()));
        done.map_err(|source| RecordError::from_sqlite(&self.file, source))
    }
}

impl OpenRun {
    /// Where how far it is can be written while the records refuse.
    pub(super) fn slate(&self) -> io::Result<Slate> {
        self.alive.slate()
    }

    /// Lets go of a run whose end is written.
    pub(super) fn close(self) {
        self.alive.clear();
    }
}

/// A file as a URI by SQLite's rules (RFC 3986), which says that nobody changes it meanwhile.
fn immutable(file: &Path) -> String {
    let mut uri = "file:".to_owned();
    for byte in file.as_os_str().as_encoded_bytes() {
        match byte {
            b'/' | b'.' | b'-' | b'_' | b'~' | b'0'..=b'9' | b'a'..=b'z' | b'A'..=b'Z' => {
                uri.push(char::from(*byte));
            }
            _ => uri.push_str(&format!("%{byte:02X}")),
        }
    }
    uri + "?immutable=1"
}

pub(super) fn folder_trouble(file: &Path, source: io::Error) -> RecordError {
    if matches!(source.kind(), io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded) {
        return RecordError::DiskFull { file: file.to_owned() };
    }
    let folder = file.parent().unwrap_or(Path::new(".")).to_owned();
    RecordError::Folder { folder, source }
}

/// Calls open runs without a living process what they are. What is known of one beyond its journal
/// is kept: its mark goes.
fn settle(change: &Transaction<'_>, file: &Path) -> rusqlite::Result<Vec<RunId>> {
    let mut open = change.prepare("SELECT place, id FROM run WHERE outcome = ?1")?;
    let runs: Vec<(i64, RunId)> = open
        .query_map([Outcome::Open], |row| Ok((row.get(0)?, RunId::stored(row.get(1)?))))?
        .collect::<rusqlite::Result<_>>()?;
    let is_dead = |(_, id): &(i64, RunId)| alive::look(file, id) == Process::Dead;
    let dead: Vec<(i64, RunId)> = runs.into_iter().filter(is_dead).collect();
    // Nobody has said how they ended: what somebody put there meanwhile is not made a part of it. What
    // is known of one beyond its journal is: its mark goes.
    let nothing: Vec<String> =
        chain::NOT_ENDED.iter().map(|(column, value)| format!("{column} = {value}")).collect();
    let nothing = format!("UPDATE run SET {} WHERE place = ?1", nothing.join(", "));
    let known_is = "UPDATE run SET outcome = ?1, totals = coalesce(?2, totals),
        last_entry = coalesce(?3, last_entry) WHERE place = ?4";
    for (place, id) in &dead {
        change.execute(&nothing, [place])?;
        let journal = "SELECT max(number) FROM entry WHERE run = ?1";
        let journal: Option<u64> = change.query_row(journal, [place], |row| row.get(0))?;
        let known = alive::read(file, id).filter(|known| known.is_beyond(journal));
        let totals = known.map(|known| known.totals().to_string());
        let last = known.and_then(|known| known.last).map(signed);
        change.execute(known_is, params![Outcome::Interrupted, totals, last, place])?;
        chain::seal(change, *place)?;
    }
    Ok(dead.into_iter().map(|(_, id)| id).collect())
}

/// Removes the marks of runs whose process died between their end and its mark's. No other process
/// makes one meanwhile: it would hold the transaction.
fn sweep(change: &Transaction<'_>, file: &Path) -> rusqlite::Result<()> {
    for id in alive::marked(file) {
        let ended = "SELECT EXISTS (SELECT 1 FROM run WHERE id = ?1 AND outcome <> ?2)";
        let ended =
            change.query_row(ended, params![id.as_str(), Outcome::Open], |row| row.get(0))?;
        if ended && alive::look(file, &id) == Process::Dead {
            alive::sweep(file, &id);
        }
    }
    Ok(())
}

fn next_id(change: &Transaction<'_>, begun: Timestamp) -> rusqlite::Result<RunId> {
    let date = RunId::date_part(begun);
    let highest: Option<u32> = change
        .query_row(
            "SELECT max(CAST(substr(id, 1 + length(?1)) AS INTEGER)) FROM run
             WHERE substr(id, 1, length(?1)) = ?1",
            [&date],
            |row| row.get(0),
        )
        .optional()?
        .flatten();
    Ok(RunId::new(begun, highest.unwrap_or(0).saturating_add(1)))
}

fn insert(change: &Transaction<'_>, id: &RunId, header: &RunHeader) -> rusqlite::Result<()> {
    change.execute(
        "INSERT INTO run (id, started_at, kind, outcome, title, recipe_name, recipe, rig_name, rig,
            program, forecast, software, seed, particulars, first_entry, basis)
         VALUES (:id, :started_at, :kind, :outcome, :title, :recipe_name, :recipe, :rig_name, :rig,
            :program, :forecast, :software, :seed, :particulars, :first_entry, :basis)",
        named_params! {
            ":id": id.as_str(),
            ":started_at": header.started_at.to_string(),
            ":kind": header.kind,
            ":outcome": Outcome::Open,
            ":title": header.title,
            ":recipe_name": header.recipe.name,
            ":recipe": header.recipe.text,
            ":rig_name": header.rig.name,
            ":rig": header.rig.text,
            ":program": header.program.to_string(),
            ":forecast": header.forecast.to_string(),
            ":software": header.software,
            ":seed": header.seed.map(|seed| seed.to_string()),
            ":particulars": json(&header.particulars)?,
            ":first_entry": signed(header.first_entry),
            ":basis": header.basis.as_ref().map(json).transpose()?,
        },
    )?;
    Ok(())
}

/// A number already there is the same entry: a batch whose commit was reported as failed may
/// still have reached the disk, and is then offered again.
fn append_within(
    change: &Transaction<'_>,
    run: &OpenRun,
    entries: &[Entry],
) -> rusqlite::Result<()> {
    let mut insert = change.prepare_cached(
        "INSERT INTO entry (run, number, at_us, kind, text, cause, data, link)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT DO NOTHING",
    )?;
    let mut tip = chain::tip(change, run.place)?;
    for entry in entries {
        let kind = serde_json::to_value(entry.kind).map_err(unwritable)?;
        let kind = kind.as_str().unwrap_or_default();
        let (number, at, data) =
            (signed(entry.number), signed(entry.at.as_micros()), entry.data.to_string());
        let link = Linking::after(tip, "entry")
            .integer(run.place)
            .integer(number)
            .integer(at)
            .text(kind)
            .text(&entry.text)
            .text(&entry.cause)
            .text(&data)
            .done();
        let row = params![run.place, number, at, kind, entry.text, entry.cause, data, link];
        if insert.execute(row)? > 0 {
            tip = link;
        }
    }
    chain::advance(change, run.place, tip)
}

pub(super) fn json(value: &impl serde::Serialize) -> rusqlite::Result<String> {
    serde_json::to_string(value).map_err(unwritable)
}

fn unwritable(error: serde_json::Error) -> rusqlite::Error {
    rusqlite::Error::ToSqlConversionFailure(Box::new(error))
}

/// SQLite's integers are signed; 2^63 us is 292,000 years.
fn signed(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}
