//! The form of the records file, and how an earlier form becomes the present one.

mod steps;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, Transaction, TransactionBehavior};

use self::steps::{MIGRATIONS, Step};
use super::alive::{self, Process};
use super::{RecordError, RunId, chain};

/// Marks a database as ours, in SQLite's header field for it: "EVPS".
const APPLICATION_ID: i32 = 0x4556_5053;

/// How long a writer waits for another one. Arbitrary; one batch takes milliseconds.
const PATIENCE: Duration = Duration::from_secs(5);

/// Makes sure the database is ours, sets how it is used, and brings it to the present form.
/// Nothing is written to a database that is not ours.
pub(super) fn prepare(connection: &mut Connection, file: &Path) -> Result<(), RecordError> {
    let sorted = |source| RecordError::from_sqlite(file, source);
    connection.busy_timeout(PATIENCE).map_err(sorted)?;
    recognise(connection, file)?;
    let mode: String = connection
        .pragma_update_and_check(None, "journal_mode", "wal", |row| row.get(0))
        .map_err(sorted)?;
    if mode != "wal" {
        return Err(RecordError::NoWriteAheadLog { file: file.to_owned(), mode });
    }
    connection.pragma_update(None, "synchronous", "FULL").map_err(sorted)?;
    connection.pragma_update(None, "foreign_keys", true).map_err(sorted)?;
    if written_by_an_earlier_version(connection, file).map_err(sorted)? {
        return Err(RecordError::Busy { file: file.to_owned() });
    }
    migrate(connection).map_err(sorted)
}

/// Whether the file has an earlier form, and a program that knows no later one writes a run into it.
fn written_by_an_earlier_version(connection: &Connection, file: &Path) -> rusqlite::Result<bool> {
    let form: usize = pragma(connection, "user_version")?;
    if form == 0 || form == MIGRATIONS.len() {
        return Ok(false);
    }
    let open = "SELECT id FROM run WHERE outcome = 'open' ORDER BY place DESC";
    let mut open = connection.prepare(open)?;
    let mut ids = open.query_map([], |row| row.get(0).map(RunId::stored))?;
    ids.try_fold(false, |alive, id| Ok(alive || alive::look(file, &id?) == Process::Alive))
}

/// Makes sure that a database which cannot be written is ours, and of the present form.
pub(super) fn recognise_present(connection: &Connection, file: &Path) -> Result<(), RecordError> {
    recognise(connection, file)?;
    let form: usize = pragma(connection, "user_version")
        .map_err(|source| RecordError::from_sqlite(file, source))?;
    if form == MIGRATIONS.len() {
        Ok(())
    } else {
        Err(RecordError::OlderProtected { file: file.to_owned() })
    }
}

fn recognise(connection: &Connection, file: &Path) -> Result<(), RecordError> {
    let sorted = |source| RecordError::from_sqlite(file, source);
    let mark: i32 = pragma(connection, "application_id").map_err(sorted)?;
    let form: u32 = pragma(connection, "user_version").map_err(sorted)?;
    let things: u32 = connection
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(sorted)?;
    let empty = mark == 0 && form == 0 && things == 0;
    if !empty && mark != APPLICATION_ID {
        let found = "it is a database of another program";
        return Err(RecordError::NotRecords { file: file.to_owned(), found });
    }
    match u32::try_from(MIGRATIONS.len()) {
        Ok(known) if form > known => {
            Err(RecordError::Newer { file: file.to_owned(), found: form, known })
        }
        _ => Ok(()),
    }
}

/// All steps in one transaction: a file is in one form or another, never between. The form is
/// read inside it, since another process may be doing the same.
fn migrate(connection: &mut Connection) -> rusqlite::Result<()> {
    if pragma::<usize>(connection, "user_version")? == MIGRATIONS.len() {
        return Ok(());
    }
    let change = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let form: usize = pragma(&change, "user_version")?;
    for step in MIGRATIONS.iter().skip(form) {
        take(step, &change)?;
    }
    change.pragma_update(None, "application_id", APPLICATION_ID)?;
    change.pragma_update(None, "user_version", MIGRATIONS.len())?;
    change.commit()
}

/// The names of triggers and indexes that are missing, other than in a new file of this form, or not
/// ours.
pub(super) fn other_guards(connection: &Connection) -> rusqlite::Result<Vec<String>> {
    let guards = |connection: &Connection| -> rusqlite::Result<BTreeMap<String, Option<String>>> {
        let all = "SELECT name, sql FROM sqlite_schema WHERE type IN ('trigger', 'index')";
        let mut all = connection.prepare(all)?;
        all.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
    };
    let mut new = Connection::open_in_memory()?;
    migrate(&mut new)?;
    let (ours, found) = (guards(&new)?, guards(connection)?);
    let names: BTreeSet<&String> = ours.keys().chain(found.keys()).collect();
    let other = names.into_iter().filter(|name| ours.get(*name) != found.get(*name));
    Ok(other.cloned().collect())
}

fn take(step: &Step, change: &Transaction<'_>) -> rusqlite::Result<()> {
    match step {
        Step::Sql(sql) => change.execute_batch(sql),
        Step::Chains => chain::begin_all(change),
    }
}

fn pragma<T: rusqlite::types::FromSql>(connection: &Connection, name: &str) -> rusqlite::Result<T> {
    connection.pragma_query_value(None, name, |row| row.get(0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Store;
    use crate::record::fixture::file;

    #[test]
    fn an_empty_file_becomes_the_present_form_with_durable_settings() {
        let (_folder, path) = file();
        let mut connection = Connection::open(&path).expect("open");
        prepare(&mut connection, &path).expect("prepare");
        assert_eq!(pragma::<usize>(&connection, "user_version"), Ok(MIGRATIONS.len()));
        assert_eq!(pragma::<i32>(&connection, "application_id"), Ok(APPLICATION_ID));
        assert_eq!(pragma::<String>(&connection, "journal_mode").as_deref(), Ok("wal"));
        // 2 is FULL, by SQLite's manual of pragmas.
        assert_eq!(pragma::<u32>(&connection, "synchronous"), Ok(2));
        assert_eq!(pragma::<u32>(&connection, "foreign_keys"), Ok(1));
    }

    #[test]
    fn preparing_again_changes_nothing() {
        let (_folder, path) = file();
        prepare(&mut Connection::open(&path).expect("open"), &path).expect("first");
        let mut connection = Connection::open(&path).expect("open again");
        let before: u32 = pragma(&connection, "schema_version").expect("counter of changes");
        prepare(&mut connection, &path).expect("second");
        assert_eq!(pragma::<u32>(&connection, "schema_version"), Ok(before));
    }

    fn brought_to(form: usize, connection: &mut Connection) {
        let change = connection.transaction().expect("transaction");
        for step in MIGRATIONS.iter().take(form) {
            take(step, &change).expect("step");
        }
        change.commit().expect("commit");
    }

    #[test]
    fn every_earlier_form_arrives_at_the_present_one() {
        for form in 0..MIGRATIONS.len() {
            let (_folder, path) = file();
            let mut connection = Connection::open(&path).expect("open");
            brought_to(form, &mut connection);
            if form > 0 {
                connection
                    .pragma_update(None, "application_id", APPLICATION_ID)
                    .and_then(|()| connection.pragma_update(None, "user_version", form))
                    .expect("marks");
            }
            prepare(&mut connection, &path).expect("prepare");
            assert_eq!(pragma::<usize>(&connection, "user_version"), Ok(MIGRATIONS.len()));
            // The layout is that of a new file, whatever it came from.
            let layout = |connection: &Connection| -> Vec<(String, String)> {
                connection
                    .prepare("SELECT name, sql FROM sqlite_schema WHERE sql NOT NULL ORDER BY name")
                    .and_then(|mut all| {
                        all.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?.collect()
                    })
                    .expect("layout")
            };
            let mut new = Connection::open_in_memory().expect("memory");
            migrate(&mut new).expect("the present form");
            assert_eq!(layout(&connection), layout(&new), "from form {form}");
        }
    }

    #[test]
    fn a_file_with_runs_of_the_first_form_keeps_them_and_takes_what_came_later() {
        let (_folder, path) = file();
        let mut connection = Connection::open(&path).expect("open");
        brought_to(1, &mut connection);
        connection
            .execute(
                "INSERT INTO run (id, started_at, kind, outcome, title, recipe_name, recipe,
                    rig_name, rig, program, forecast, software, particulars, first_entry)
                 VALUES ('2026-11-25-001', '2026-11-25T09:00:00Z', 'twin', 'complete', 'Any',
                    '', '', '', '', '{}', '{}', '0', '{}', 1)",
                [],
            )
            .expect("a run of then");
        connection
            .execute_batch(
                "INSERT INTO run (id, started_at, kind, outcome, title, recipe_name, recipe,
                    rig_name, rig, program, forecast, software, particulars, first_entry)
                 VALUES ('2026-11-25-002', '2026-11-25T09:00:00Z', 'twin', 'open', 'Any',
                    '', '', '', '', '{}', '{}', '0', '{}', 1);
                 INSERT INTO entry VALUES (2, 1, 0, 'sample', '', '', '{}'),
                    (2, 2, 500000, 'sample', '', '', '{}');",
            )
            .expect("one that its program left open");
        connection
            .pragma_update(None, "application_id", APPLICATION_ID)
            .and_then(|()| connection.pragma_update(None, "user_version", 1))
            .expect("marks");
        prepare(&mut connection, &path).expect("prepare");
        let count = |table: &str| -> u32 {
            let count = format!("SELECT count(*) FROM {table}");
            connection.query_row(&count, [], |row| row.get(0)).expect("count")
        };
        assert_eq!((count("run"), count("entry"), count("proof")), (2, 2, 0));
        assert_eq!(count("act"), 0);
        let basis: Option<String> = connection
            .query_row("SELECT basis FROM run", [], |row| row.get(0))
            .expect("the column is there");
        assert_eq!(basis, None, "a run of then cannot teach");
        drop(connection);
        let store = Store::open_existing(&path).expect("open");
        let found = store.verify(None).expect("verify");
        assert!(found.holds(), "{found:?}");
        assert_eq!((found.runs, found.entries), (2, 2));
    }

    #[test]
    fn a_file_into_which_an_earlier_version_writes_a_run_is_left_to_it() {
        let (_folder, path) = file();
        let mut connection = Connection::open(&path).expect("open");
        brought_to(MIGRATIONS.len() - 3, &mut connection);
        let form = MIGRATIONS.len() - 3;
        connection
            .pragma_update(None, "application_id", APPLICATION_ID)
            .and_then(|()| connection.pragma_update(None, "user_version", form))
            .expect("marks");
        connection
            .execute(
                "INSERT INTO run (id, started_at, kind, outcome, title, recipe_name, recipe,
                    rig_name, rig, program, forecast, software, particulars, first_entry)
                 VALUES ('2026-11-25-001', '2026-11-25T09:00:00Z', 'twin', 'open', 'Any',
                    '', '', '', '', '{}', '{}', '0', '{}', 1)",
                [],
            )
            .expect("an open run");
        let id = RunId::stored("2026-11-25-001".to_owned());
        let alive = alive::AliveMark::set(&path, &id).expect("its program lives");
        let error = prepare(&mut connection, &path).expect_err("held");
        assert!(matches!(error, RecordError::Busy { .. }), "{error}");
        assert_eq!(pragma::<usize>(&connection, "user_version"), Ok(form));
        alive.clear();
        prepare(&mut connection, &path).expect("nobody holds it");
    }

    #[test]
    fn a_later_form_is_refused_and_left_alone() {
        let (_folder, path) = file();
        let mut connection = Connection::open(&path).expect("open");
        prepare(&mut connection, &path).expect("prepare");
        connection.pragma_update(None, "user_version", 99).expect("later form");
        let error = prepare(&mut connection, &path).expect_err("later form");
        assert!(matches!(error, RecordError::Newer { found: 99, .. }), "{error}");
        assert_eq!(pragma::<u32>(&connection, "user_version"), Ok(99));
    }

    #[test]
    fn a_database_of_another_program_is_refused_and_left_alone() {
        let (_folder, path) = file();
        let mut connection = Connection::open(&path).expect("open");
        connection.execute_batch("CREATE TABLE theirs (a)").expect("table");
        let error = prepare(&mut connection, &path).expect_err("not ours");
        assert!(error.to_string().contains("a database of another program"), "{error}");
        assert_eq!(pragma::<String>(&connection, "journal_mode").as_deref(), Ok("delete"));
    }
}
