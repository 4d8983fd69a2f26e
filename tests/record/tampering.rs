//! Whatever is changed in a record afterwards is found.
#![expect(clippy::indexing_slicing, clippy::panic, reason = "a test that cannot go on fails")]

use std::path::Path;

use evenpass::record::{
    ActAnswer, ActRecord, Ending, Mark, Recorder, RunKind, Said, Store, Verdict,
};
use fastrand::Rng;
use rusqlite::Connection;
use rusqlite::types::Value;

use super::story::{end, file, header, plain};

/// Tables that somebody may change, and what names a row of each.
const TABLES: [(&str, &str); 6] = [
    ("run", "place"),
    ("entry", "run, number"),
    ("chain", "run"),
    ("link", "thing, place"),
    ("act", "place"),
    ("mark", "place"),
];
/// Changes tried; each has its number as seed.
const TRIES: u64 = 300;

/// Five runs with acts and marks, one of them without an end, the last one still open.
pub(crate) fn written(path: &Path) {
    for count in 0_u64..5 {
        let store = Store::open(path).expect("open");
        let recorder = Recorder::begin(store, &header("2026-11-25T09:00:00Z")).expect("begin");
        let id = recorder.id().clone();
        (1..=12 + count).for_each(|number| recorder.deliver(plain(number)));
        recorder.flush();
        let mut store = Store::open(path).expect("open");
        let said = Said::Decided { verdict: Verdict::Pass, reason: format!("as planned, {count}") };
        let at = "2026-11-25T10:00:00Z".parse().expect("RFC 3339");
        let (person, rig) = ("A. Fitter".to_owned(), "Bench".to_owned());
        let mark = Mark {
            at,
            person: person.clone(),
            rig,
            kind: RunKind::Twin,
            run: Some(id.clone()),
            batch: None,
            said,
        };
        store.keep_mark(&mark).expect("mark");
        let act = ActRecord {
            at,
            person,
            role: None,
            whence: "machine".parse().expect("whence"),
            what: format!("start {count}"),
            answer: ActAnswer::Done,
            run: Some(id),
        };
        store.keep_act(&act).expect("act");
        if count != 2 && count != 4 {
            recorder.finish(end(Ending::Complete)).expect("finish");
        }
    }
}

/// A copy without what keeps a row from being changed: whoever tampers has removed that.
pub(crate) fn laid_open(from: &Path, to: &Path) -> Connection {
    std::fs::copy(from, to).expect("copy");
    let connection = Connection::open(to).expect("open");
    connection.pragma_update(None, "foreign_keys", false).expect("unguarded");
    let triggers: Vec<String> = connection
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
        .and_then(|mut all| all.query_map([], |row| row.get(0))?.collect())
        .expect("triggers");
    for name in triggers {
        connection.execute_batch(&format!("DROP TRIGGER {name}")).expect("drop");
    }
    connection
}

/// Puts back what was dropped, so that the file has its own form.
pub(crate) fn with_guards_again(connection: Connection, from: &Path) {
    let file = from.to_str().expect("text");
    connection.execute("ATTACH ?1 AS whole", [file]).expect("attach");
    let triggers: Vec<String> = connection
        .prepare("SELECT sql FROM whole.sqlite_schema WHERE type = 'trigger'")
        .and_then(|mut all| all.query_map([], |row| row.get(0))?.collect())
        .expect("triggers");
    triggers.iter().for_each(|sql| connection.execute_batch(sql).expect("trigger"));
}

/// The columns of a table.
fn columns(connection: &Connection, table: &str) -> Vec<String> {
    connection
        .prepare(&format!("SELECT name FROM pragma_table_info('{table}')"))
        .and_then(|mut all| all.query_map([], |row| row.get(0))?.collect())
        .expect("columns")
}

/// The names of a table's rows as a condition.
fn rows(connection: &Connection, (table, key): (&str, &str)) -> Vec<String> {
    let key: Vec<&str> = key.split(", ").collect();
    let select = format!("SELECT {} FROM {table}", key.join(", "));
    let condition = |row: &rusqlite::Row<'_>| -> rusqlite::Result<String> {
        let parts: rusqlite::Result<Vec<String>> = key
            .iter()
            .enumerate()
            .map(|(index, name)| {
                Ok(match row.get(index)? {
                    Value::Integer(number) => format!("{name} = {number}"),
                    Value::Text(text) => format!("{name} = '{text}'"),
                    other => panic!("no key: {other:?}"),
                })
            })
            .collect();
        Ok(parts?.join(" AND "))
    };
    connection
        .prepare(&select)
        .and_then(|mut all| all.query_map([], condition)?.collect())
        .expect("rows")
}

fn value(connection: &Connection, table: &str, column: &str, row: &str) -> Value {
    let one = format!("SELECT \"{column}\" FROM {table} WHERE {row}");
    connection.query_row(&one, [], |row| row.get(0)).expect("value")
}

fn put(connection: &Connection, table: &str, column: &str, row: &str, value: &Value) -> bool {
    let set = format!("UPDATE {table} SET \"{column}\" = ?1 WHERE {row}");
    connection.execute(&set, [value]).is_ok()
}

/// The same with the least difference.
fn altered(value: Value, draw: &mut Rng) -> Value {
    match value {
        Value::Null => Value::Integer(draw.i64(0..9)),
        Value::Integer(number) => Value::Integer(number + [-1, 1][draw.usize(0..2)]),
        Value::Real(number) => Value::Real(number + 0.001),
        Value::Text(mut text) => {
            text.push(' ');
            Value::Text(text)
        }
        Value::Blob(mut bytes) => {
            let place = draw.usize(0..bytes.len());
            bytes[place] ^= 1;
            Value::Blob(bytes)
        }
    }
}

/// Makes one change, and tells what; `None` where the file's own form forbids it.
fn tampered(connection: &Connection, draw: &mut Rng) -> Option<String> {
    let table @ (name, key) = TABLES[draw.usize(..TABLES.len())];
    let rows = rows(connection, table);
    let row = &rows[draw.usize(..rows.len())];
    match draw.u8(0..3) {
        0 => {
            let columns = columns(connection, name);
            let column = &columns[draw.usize(..columns.len())];
            let new = altered(value(connection, name, column, row), draw);
            let is_put = put(connection, name, column, row, &new);
            is_put.then(|| format!("{name}, {row}: {column} becomes {new:?}"))
        }
        1 => {
            connection.execute(&format!("DELETE FROM {name} WHERE {row}"), []).expect("delete");
            Some(format!("{name}, {row} is removed"))
        }
        _ => {
            // Two rows trade all but their names.
            let other = &rows[draw.usize(..rows.len())];
            let mut is_changed = false;
            for column in columns(connection, name) {
                if key.split(", ").any(|one| one == column) || (name, &*column) == ("run", "id") {
                    continue;
                }
                let one = value(connection, name, &column, row);
                let two = value(connection, name, &column, other);
                is_changed |= one != two;
                put(connection, name, &column, row, &two);
                put(connection, name, &column, other, &one);
            }
            is_changed.then(|| format!("{name}: {row} and {other} are exchanged"))
        }
    }
}

#[test]
fn every_change_removal_and_exchange_of_a_row_is_found() {
    let (folder, path) = file();
    written(&path);
    // Everything is in the file itself.
    Connection::open(&path)
        .and_then(|whole| whole.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())))
        .expect("checkpoint");
    let untouched = Store::open_existing(&path).expect("open").verify(None).expect("verify");
    assert!(untouched.holds(), "{untouched:?}");
    let (mut made, mut entries) = (0, 0);
    for seed in 0..TRIES {
        let mut draw = Rng::with_seed(seed);
        let copy = folder.path().join("copy.sqlite");
        let connection = laid_open(&path, &copy);
        let what = tampered(&connection, &mut draw);
        with_guards_again(connection, &path);
        if let Some(what) = what {
            made += 1;
            entries += u32::from(what.starts_with("entry"));
            let found = Store::open_existing(&copy).expect("open").verify(None).expect("verify");
            assert!(!found.holds(), "seed {seed}: {what}: not found");
        }
        for end in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(folder.path().join(format!("copy.sqlite{end}")));
        }
    }
    println!("{made} changes, {entries} of them of entries: all found");
    assert!(made >= 100 && entries >= 20, "{made}, {entries}");
}

/// Who makes an index anew by another rule and puts the rule back hides rows from whoever asks by it.
#[test]
fn an_index_that_hides_rows_is_found_though_it_reads_as_it_was() {
    let (folder, path) = file();
    written(&path);
    for index in ["act_of_run", "mark_of_run"] {
        let copy = folder.path().join(format!("{index}.sqlite"));
        std::fs::copy(&path, &copy).expect("copy");
        let change = |sql: &str| {
            let connection = Connection::open(&copy).expect("open");
            let pragma = "PRAGMA writable_schema = ON; ";
            connection.execute_batch(&format!("{pragma}{sql}")).expect("changed");
        };
        let named = format!("WHERE name = '{index}'");
        let rule: String = Connection::open(&copy)
            .and_then(|it| {
                let rule = format!("SELECT sql FROM sqlite_schema {named}");
                it.query_row(&rule, [], |row| row.get(0))
            })
            .expect("its rule");
        change(&format!("UPDATE sqlite_schema SET sql = '{rule} WHERE run < 2' {named}"));
        change(&format!("REINDEX {index}"));
        let told = |copy: &Path| {
            let found = Store::open(copy).expect("open").verify(None).expect("read");
            found.flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
        };
        assert!(told(&copy).contains(&format!("was changed itself: {index}")), "{}", told(&copy));
        change(&format!("UPDATE sqlite_schema SET sql = '{rule}' {named}"));
        assert!(told(&copy).contains("the file's structure is broken"), "{}", told(&copy));
    }
}

#[test]
fn a_removed_entry_is_told_by_the_one_after_it_and_by_nothing_else() {
    let (folder, path) = file();
    written(&path);
    let copy = folder.path().join("copy.sqlite");
    let connection = laid_open(&path, &copy);
    connection.execute("DELETE FROM entry WHERE run = 1 AND number = 4", []).expect("delete");
    with_guards_again(connection, &path);
    let found = Store::open_existing(&copy).expect("open").verify(None).expect("verify");
    let told: Vec<String> = found.flaws.iter().map(ToString::to_string).collect();
    let expected =
        "run 2026-11-25-001: entry 5 was changed, or one before it removed, put in or moved";
    assert_eq!(told, [expected]);
}
