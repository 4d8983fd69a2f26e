//! A run's rows as they are stored, column by column: what an export keeps, and what they take.

use rusqlite::types::ValueRef;
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde::Serialize;
use serde_json::{Map, Value};

use super::chain::{LINKED, Link};
use super::{RecordError, RunId, Store};

/// A row as it is stored.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StoredRow {
    /// Its table.
    pub table: String,
    /// All its columns by name.
    pub columns: Map<String, Value>,
    /// What chains it to the row before it in its table; `None` of a table whose rows have that among
    /// their columns, and where it was removed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<RowLink>,
}

/// What chains a row to the one before it; hexadecimal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RowLink {
    /// The link of the row before, which may be about another run; zeros before the first.
    pub before: String,
    /// Its own, which is of the row and of the link before.
    pub own: String,
}

/// A table with rows about runs.
struct About {
    table: String,
    /// Which of its rows are about the run whose place is `?1`.
    condition: String,
    /// The columns that put its rows in order.
    order: String,
}

/// Tables that name a run, and those that name a row of one that does. A column or a table that a
/// later form adds is found by itself.
const NAMES_A_RUN: &str = "
    SELECT m.name, printf('\"%w\" = ?1', f.\"from\")
    FROM sqlite_schema m, pragma_foreign_key_list(m.name) f
    WHERE m.type = 'table' AND f.\"table\" = 'run'
    UNION
    SELECT m.name, printf('\"%w\" IN (SELECT place FROM \"%w\" WHERE \"%w\" = ?1)',
        f.\"from\", f.\"table\", up.\"from\")
    FROM sqlite_schema m, pragma_foreign_key_list(m.name) f, pragma_foreign_key_list(f.\"table\") up
    WHERE m.type = 'table' AND f.\"table\" <> 'run' AND up.\"table\" = 'run'
    ORDER BY 1, 2";

impl Store {
    /// Hands every row about a run over as it is stored: first the run's own, then its entries by rising number, then what belongs to it. Text
    /// stays text, JSON too, to the letter.
    ///
    /// # Errors
    /// [`RecordError::UnknownRun`] when there is none with that id, else when the file can't be
    /// read; and what `take` answers.
    pub fn each_row_about<E: From<RecordError>>(
        &self,
        id: &RunId,
        mut take: impl FnMut(StoredRow) -> Result<(), E>,
    ) -> Result<(), E> {
        let sorted = |source| E::from(self.sorted(source));
        // One view of the file: a run that is being written must not grow between the questions.
        let view = self.connection.unchecked_transaction().map_err(sorted)?;
        let place: Option<i64> = view
            .query_row("SELECT place FROM run WHERE id = ?1", [id.as_str()], |row| row.get(0))
            .optional()
            .map_err(sorted)?;
        let Some(place) = place else {
            return Err(
                RecordError::UnknownRun { asked: id.to_string(), nearest: Vec::new() }.into()
            );
        };
        for about in tables(&view).map_err(sorted)? {
            let About { table, condition, order } = about;
            let question = format!("SELECT * FROM \"{table}\" WHERE {condition} ORDER BY {order}");
            let mut rows = view.prepare(&question).map_err(sorted)?;
            let names: Vec<String> = rows.column_names().map(str::to_owned).collect();
            let mut rows = rows.query([place]).map_err(sorted)?;
            while let Some(row) = rows.next().map_err(sorted)? {
                let columns = columns(row, &names).map_err(sorted)?;
                let link = link(&view, &table, &columns).map_err(sorted)?;
                take(StoredRow { table: table.clone(), columns, link })?;
            }
        }
        Ok(())
    }

    /// The form of the file: which columns and tables it has.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn form(&self) -> Result<u32, RecordError> {
        let read = self.connection.pragma_query_value(None, "user_version", |row| row.get(0));
        read.map_err(|source| self.sorted(source))
    }

    /// Bytes that the texts of a run and of its entries take, without the database's own.
    ///
    /// # Errors
    /// [`RecordError`] when the file can't be read.
    pub fn size_of(&self, id: &RunId) -> Result<u64, RecordError> {
        let read = self.connection.query_row(
            "SELECT octet_length(recipe) + octet_length(rig) + octet_length(program)
                + octet_length(forecast) + octet_length(totals) + octet_length(deviations)
                + coalesce(octet_length(basis), 0)
                + coalesce((SELECT sum(octet_length(kind) + octet_length(text)
                    + octet_length(cause) + octet_length(data)) FROM entry WHERE run = place), 0)
             FROM run WHERE id = ?1",
            [id.as_str()],
            |row| row.get(0),
        );
        read.map_err(|source| self.sorted(source))
    }
}

fn tables(view: &Connection) -> rusqlite::Result<Vec<About>> {
    let mut found = vec![("run".to_owned(), "place = ?1".to_owned())];
    let mut others = view.prepare(NAMES_A_RUN)?;
    for other in others.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))? {
        found.push(other?);
    }
    // The run first, then what happened in it.
    found.sort_by_key(|(table, _): &(String, String)| match table.as_str() {
        "run" => 0,
        "entry" => 1,
        _ => 2,
    });
    let mut order = view.prepare(
        "SELECT group_concat(printf('\"%w\"', name), ', ')
         FROM (SELECT name FROM pragma_table_info(?1) WHERE pk > 0 ORDER BY pk)",
    )?;
    let ordered = found.into_iter().map(|(table, condition)| {
        let order = order.query_row([&table], |row| row.get(0))?;
        Ok(About { table, condition, order })
    });
    ordered.collect()
}

/// What chains a row of a linked table.
fn link(
    view: &Connection,
    table: &str,
    columns: &Map<String, Value>,
) -> rusqlite::Result<Option<RowLink>> {
    let place = columns.get("place").and_then(Value::as_i64);
    let Some(place) = place.filter(|_| LINKED.iter().any(|linked| linked.table == table)) else {
        return Ok(None);
    };
    let mut newest = view.prepare_cached(
        "SELECT place, link FROM link WHERE thing = ?1 AND place <= ?2 ORDER BY place DESC LIMIT 2",
    )?;
    let mut newest = newest.query(params![table, place])?;
    let mut next = || -> rusqlite::Result<Option<(i64, Link)>> {
        newest.next()?.map(|row| Ok((row.get(0)?, row.get(1)?))).transpose()
    };
    let own = next()?.filter(|(at, _)| *at == place);
    let before = next()?.map_or(Link::NONE, |(_, link)| link);
    Ok(own.map(|(_, own)| RowLink { before: before.to_string(), own: own.to_string() }))
}

fn columns(row: &Row<'_>, names: &[String]) -> rusqlite::Result<Map<String, Value>> {
    let mut columns = Map::new();
    for (index, name) in names.iter().enumerate() {
        let value = match row.get_ref(index)? {
            ValueRef::Null => Value::Null,
            ValueRef::Integer(value) => value.into(),
            ValueRef::Real(value) => value.into(),
            ValueRef::Text(_) => Value::String(row.get(index)?),
            ValueRef::Blob(bytes) => {
                bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>().into()
            }
        };
        columns.insert(name.clone(), value);
    }
    Ok(columns)
}

#[cfg(test)]
mod tests {
    use evenpass_core::ledger::{Entry, EntryKind};
    use evenpass_core::moment::Moment;

    use super::super::fixture::{file, header};
    use super::super::{ActAnswer, ActRecord, Recorder};
    use super::*;
    use crate::people::Whence;

    fn entry(number: u64, text: &str) -> Entry {
        Entry {
            number,
            at: Moment::from_micros(number),
            kind: EntryKind::State,
            text: text.to_owned(),
            cause: String::new(),
            data: serde_json::json!({ "n": number }),
        }
    }

    #[test]
    fn every_row_about_a_run_is_handed_over_with_all_its_columns_and_none_about_another() {
        let (_folder, path) = file();
        let begin =
            || Recorder::begin(Store::open(&path).expect("open"), &header()).expect("begin");
        let mine = begin();
        for number in 1..=3 {
            mine.send(entry(number, "mine"));
        }
        let id = mine.id().clone();
        drop(mine);
        let other = begin();
        other.send(entry(1, "other"));
        drop(other);
        let mut store = Store::open(&path).expect("open");
        let act = ActRecord {
            at: header().started_at,
            person: "A. Fitter".to_owned(),
            role: None,
            whence: Whence::Machine,
            what: "start".to_owned(),
            answer: ActAnswer::Done,
            run: Some(id.clone()),
        };
        store.keep_act(&act).expect("kept");
        store.keep_act(&ActRecord { run: None, ..act }).expect("kept");

        let mut seen: Vec<(String, Map<String, Value>)> = Vec::new();
        let mut linked = Vec::new();
        let all = store.each_row_about(&id, |row| {
            linked.extend(row.link.map(|link| (row.table.clone(), link.before)));
            seen.push((row.table, row.columns));
            Ok::<(), RecordError>(())
        });
        all.expect("read");
        let tables: Vec<&str> = seen.iter().map(|(table, _)| table.as_str()).collect();
        assert_eq!(tables, ["run", "entry", "entry", "entry", "act", "chain"]);
        assert_eq!(linked, [("act".to_owned(), Link::NONE.to_string())]);
        let texts = seen.iter().filter_map(|(_, columns)| columns.get("text"));
        assert!(texts.clone().all(|text| text == "mine") && texts.count() == 3);
        let (_, run) = &seen[0];
        let stored: i64 = store
            .connection
            .query_row("SELECT count(*) FROM pragma_table_info('run')", [], |row| row.get(0))
            .expect("columns");
        assert_eq!(i64::try_from(run.len()), Ok(stored), "{run:?}");
        assert_eq!(seen[1].1["data"], Value::String("{\"n\":1}".to_owned()), "to the letter");
    }

    #[test]
    fn what_a_run_takes_grows_by_what_is_written() {
        let (_folder, path) = file();
        let recorder =
            Recorder::begin(Store::open(&path).expect("open"), &header()).expect("begin");
        let id = recorder.id().clone();
        let store = Store::open(&path).expect("open");
        let before = store.size_of(&id).expect("read");
        recorder.send(entry(1, "twelve bytes"));
        drop(recorder);
        let grown = store.size_of(&id).expect("read") - before;
        // The kind "state", the text, no cause, and the data {"n":1}.
        assert_eq!(grown, 5 + 12 + 7);
    }
}
