//! The form of the records file, and the steps from each earlier form to the present one.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, TransactionBehavior};

use super::RecordError;

/// Marks a database as ours, in SQLite's header field for it: "EVPS".
const APPLICATION_ID: i32 = 0x4556_5053;

/// How long a writer waits for another one. Arbitrary; one batch takes milliseconds.
const PATIENCE: Duration = Duration::from_secs(5);

/// Step `n` brings form `n` to form `n + 1`; form 0 is an empty file. Steps are added, never
/// changed: files of every earlier form are out there.
const MIGRATIONS: &[&str] = &[
    // Entries are never changed, an ended run neither: the record is evidence.
    "
    CREATE TABLE run (
        place       INTEGER PRIMARY KEY AUTOINCREMENT, -- order of beginning
        id          TEXT NOT NULL UNIQUE,
        started_at  TEXT NOT NULL,                     -- RFC 3339, UTC
        ended_at    TEXT,
        kind        TEXT NOT NULL,
        outcome     TEXT NOT NULL,
        title       TEXT NOT NULL,
        recipe_name TEXT NOT NULL,
        recipe      TEXT NOT NULL,
        rig_name    TEXT NOT NULL,
        rig         TEXT NOT NULL,
        program     TEXT NOT NULL,                     -- JSON
        forecast    TEXT NOT NULL,                     -- JSON
        software    TEXT NOT NULL,
        seed        TEXT,                              -- decimal: SQLite's integers are signed
        particulars TEXT NOT NULL,                     -- JSON object
        first_entry INTEGER NOT NULL,
        last_entry  INTEGER,                           -- last one handed in, kept or lost
        lost        INTEGER,
        first_cause TEXT,
        totals      TEXT NOT NULL DEFAULT 'null',      -- JSON
        deviations  TEXT NOT NULL DEFAULT '[]'         -- JSON
    ) STRICT;

    CREATE TABLE entry (
        run    INTEGER NOT NULL REFERENCES run (place),
        number INTEGER NOT NULL,
        at_us  INTEGER NOT NULL,                       -- the controller's time line
        kind   TEXT NOT NULL,
        text   TEXT NOT NULL,
        cause  TEXT NOT NULL,
        data   TEXT NOT NULL,                          -- JSON
        PRIMARY KEY (run, number)
    ) STRICT, WITHOUT ROWID;

    -- Samples are most of a run; the list of runs reads only these.
    CREATE INDEX entry_pass ON entry (run) WHERE kind = 'pass';

    CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
    CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never removed'); END;
    CREATE TRIGGER entry_in_time BEFORE INSERT ON entry
    WHEN (SELECT outcome FROM run WHERE place = NEW.run) <> 'open'
    BEGIN SELECT RAISE(ABORT, 'the run has ended'); END;
    CREATE TRIGGER run_stays BEFORE UPDATE ON run WHEN OLD.outcome <> 'open'
    BEGIN SELECT RAISE(ABORT, 'an ended run is never changed'); END;
    CREATE TRIGGER run_is_kept BEFORE DELETE ON run
    BEGIN SELECT RAISE(ABORT, 'a run is never removed'); END;
    ",
    // Proof tests belong to a rig, not to a run.
    "
    CREATE TABLE proof (
        place        INTEGER PRIMARY KEY AUTOINCREMENT, -- order of making
        made_at      TEXT NOT NULL,                     -- RFC 3339, UTC
        interlock    TEXT NOT NULL,                     -- key of its row
        rig          TEXT NOT NULL,                     -- the rig's title
        kind         TEXT NOT NULL,
        person       TEXT NOT NULL,
        expected     TEXT NOT NULL,
        found        TEXT NOT NULL,
        response_us  INTEGER,                           -- none where something did not come
        limit_us     INTEGER NOT NULL,
        limit_reason TEXT NOT NULL,
        outcome      TEXT NOT NULL,
        next_due     TEXT NOT NULL                      -- ISO 8601 date
    ) STRICT;

    CREATE INDEX proof_of ON proof (rig, kind, interlock, place);

    CREATE TRIGGER proof_stays BEFORE UPDATE ON proof
    BEGIN SELECT RAISE(ABORT, 'a proof is never changed'); END;
    CREATE TRIGGER proof_is_kept BEFORE DELETE ON proof
    BEGIN SELECT RAISE(ABORT, 'a proof is never removed'); END;
    ",
    // What a proof stands on; none of those made before it was kept.
    "
    ALTER TABLE proof ADD COLUMN grounds TEXT;          -- SHA-256, hexadecimal
    ",
    // What measured parts teach. A figure measured wrong is withdrawn by another row.
    "
    ALTER TABLE run ADD COLUMN basis TEXT;              -- JSON; none of runs before it was kept

    CREATE TABLE measurement (
        place       INTEGER PRIMARY KEY AUTOINCREMENT, -- order of being told
        kept_at     TEXT NOT NULL,                     -- RFC 3339, UTC
        measured_on TEXT NOT NULL,                     -- ISO 8601 date
        run         INTEGER REFERENCES run (place),    -- of a part
        rig         TEXT NOT NULL,                     -- the rig's title
        kind        TEXT NOT NULL,
        torch       TEXT NOT NULL,
        powder      TEXT NOT NULL,
        person      TEXT NOT NULL,
        data        TEXT NOT NULL                      -- JSON
    ) STRICT;

    CREATE INDEX measurement_of ON measurement (rig, kind, torch, powder, place);

    CREATE TABLE withdrawal (
        place       INTEGER PRIMARY KEY AUTOINCREMENT,
        made_at     TEXT NOT NULL,                     -- RFC 3339, UTC
        measurement INTEGER NOT NULL UNIQUE REFERENCES measurement (place),
        person      TEXT NOT NULL,
        reason      TEXT NOT NULL
    ) STRICT;

    CREATE TABLE acceptance (
        place       INTEGER PRIMARY KEY AUTOINCREMENT,
        made_at     TEXT NOT NULL,                     -- RFC 3339, UTC
        rig         TEXT NOT NULL,
        kind        TEXT NOT NULL,
        torch       TEXT NOT NULL,
        powder      TEXT NOT NULL,
        person      TEXT NOT NULL,
        catalogue   TEXT NOT NULL,                     -- JSON
        figures     TEXT NOT NULL                      -- JSON
    ) STRICT;

    CREATE TRIGGER measurement_stays BEFORE UPDATE ON measurement
    BEGIN SELECT RAISE(ABORT, 'a measurement is never changed'); END;
    CREATE TRIGGER measurement_is_kept BEFORE DELETE ON measurement
    BEGIN SELECT RAISE(ABORT, 'a measurement is never removed'); END;
    CREATE TRIGGER withdrawal_stays BEFORE UPDATE ON withdrawal
    BEGIN SELECT RAISE(ABORT, 'a withdrawal is never changed'); END;
    CREATE TRIGGER withdrawal_is_kept BEFORE DELETE ON withdrawal
    BEGIN SELECT RAISE(ABORT, 'a withdrawal is never removed'); END;
    CREATE TRIGGER acceptance_stays BEFORE UPDATE ON acceptance
    BEGIN SELECT RAISE(ABORT, 'an acceptance is never changed'); END;
    CREATE TRIGGER acceptance_is_kept BEFORE DELETE ON acceptance
    BEGIN SELECT RAISE(ABORT, 'an acceptance is never removed'); END;
    ",
    // What an engineer accepted falls with what it was made of.
    "
    ALTER TABLE acceptance ADD COLUMN grounds TEXT;     -- JSON, numbers of measurements
    ",
    // Who asked for what, and what was answered; refusals as well.
    "
    CREATE TABLE act (
        place  INTEGER PRIMARY KEY AUTOINCREMENT,      -- order of answering
        at     TEXT NOT NULL,                          -- RFC 3339, UTC
        person TEXT NOT NULL,
        role   TEXT,                                   -- none of those not signed in
        whence TEXT NOT NULL,                          -- machine, terminal, or an address
        what   TEXT NOT NULL,
        answer TEXT NOT NULL,                          -- done, or refused: and why
        run    INTEGER REFERENCES run (place)          -- the run it was about
    ) STRICT;

    CREATE TRIGGER act_stays BEFORE UPDATE ON act
    BEGIN SELECT RAISE(ABORT, 'an act is never changed'); END;
    CREATE TRIGGER act_is_kept BEFORE DELETE ON act
    BEGIN SELECT RAISE(ABORT, 'an act is never removed'); END;
    ",
];

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
    migrate(connection).map_err(sorted)
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
        change.execute_batch(step)?;
    }
    change.pragma_update(None, "application_id", APPLICATION_ID)?;
    change.pragma_update(None, "user_version", MIGRATIONS.len())?;
    change.commit()
}

fn pragma<T: rusqlite::types::FromSql>(connection: &Connection, name: &str) -> rusqlite::Result<T> {
    connection.pragma_query_value(None, name, |row| row.get(0))
}

#[cfg(test)]
mod tests {
    use super::*;
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

    #[test]
    fn every_earlier_form_arrives_at_the_present_one() {
        for form in 0..MIGRATIONS.len() {
            let (_folder, path) = file();
            let mut connection = Connection::open(&path).expect("open");
            for step in MIGRATIONS.iter().take(form) {
                connection.execute_batch(step).expect("step");
            }
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
        let first = MIGRATIONS.first().expect("the first form");
        connection.execute_batch(first).expect("the first form");
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
            .pragma_update(None, "application_id", APPLICATION_ID)
            .and_then(|()| connection.pragma_update(None, "user_version", 1))
            .expect("marks");
        prepare(&mut connection, &path).expect("prepare");
        let count = |table: &str| -> u32 {
            let count = format!("SELECT count(*) FROM {table}");
            connection.query_row(&count, [], |row| row.get(0)).expect("count")
        };
        assert_eq!((count("run"), count("proof"), count("measurement")), (1, 0, 0));
        assert_eq!(count("act"), 0);
        let basis: Option<String> = connection
            .query_row("SELECT basis FROM run", [], |row| row.get(0))
            .expect("the column is there");
        assert_eq!(basis, None, "a run of then cannot teach");
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
