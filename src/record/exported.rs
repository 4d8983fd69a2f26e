//! Looking whether a run that was exported is as it was written: the same digests, computed from the
//! rows in the file.

use rusqlite::types::ValueRef;
use serde_json::{Map, Value};
use thiserror::Error;

use super::chain::{BEGUN, ENDED, ENTRY, LINKED, Link, Linking, ORIGIN};
use super::once::Once;
use super::{Flaw, RunId, Seal, Verification};

/// What an exported run has beside its rows, and these.
const HEAD: [&str; 4] = ["format", "software", "form", "rows"];
/// What the row of its chain has.
const CHAIN: &str = "run, since, before, origin, begun, tip, seal";

/// What a file of one run came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exported {
    /// The run.
    pub run: RunId,
    /// What was found.
    pub looked: Verification,
    /// What stands for the run in the chains.
    pub seal: Seal,
}

/// Why a file is not that of a run.
#[derive(Debug, Error)]
pub enum NotExported {
    /// It is no JSON.
    #[error("it is no JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// It has not what an exported run has.
    #[error("it has no {0}, as the JSON that `evenpass records export` writes has")]
    Lacks(&'static str),
}

/// Looks through an exported run. Its chain says what it was; whether that is the chain of the record
/// is said by the seal alone. Each row that was added to it is held against the link it carries; that
/// all are there is known by the record alone. What belongs to no digest is a flaw, but for the words on
/// which program wrote the file.
///
/// # Errors
/// The text is not that of an exported run.
pub fn verify_export(text: &str) -> Result<Exported, NotExported> {
    let Once(whole) = serde_json::from_str(text)?;
    let rows = whole.get("rows").and_then(Value::as_array).ok_or(NotExported::Lacks("rows"))?;
    let of = |table: &'static str| {
        rows.iter()
            .filter(move |row| row.get("table").and_then(Value::as_str) == Some(table))
            .filter_map(|row| row.get("columns").and_then(Value::as_object))
    };
    let run = of("run").next().ok_or(NotExported::Lacks("row of the table run"))?;
    let chain = of("chain").next().ok_or(NotExported::Lacks("row of the table chain"))?;
    let text_of = |row: &Map<String, Value>, column| {
        row.get(column).and_then(Value::as_str).map(str::to_owned)
    };
    let id = text_of(run, "id").map(RunId::stored).ok_or(NotExported::Lacks("id of the run"))?;
    let since = text_of(chain, "since").ok_or(NotExported::Lacks("beginning of its chain"))?;
    let mut looked = Verification { runs: 1, ..Verification::default() };
    let links = ("before", "origin", "begun", "tip");
    let link = |column| text_of(chain, column).and_then(|text| Link::read(&text));
    let (Some(before), Some(origin), Some(begun), Some(tip)) =
        (link(links.0), link(links.1), link(links.2), link(links.3))
    else {
        return Err(NotExported::Lacks("whole chain"));
    };
    let seal = Seal { since, origin: origin.to_string(), seal: text_of(chain, "seal") };
    if columns(Linking::after(before, "run"), run, ORIGIN).text(&seal.since).done() != origin {
        looked.flaws.push(Flaw::Header(id.clone()));
    }
    if columns(Linking::after(origin, "begun"), run, BEGUN).done() != begun {
        looked.flaws.push(Flaw::Beginning(id.clone()));
    }
    let mut last = origin;
    for entry in of("entry") {
        looked.entries += 1;
        let expected = columns(Linking::after(last, "entry"), entry, ENTRY).done();
        let stored = text_of(entry, "link").and_then(|text| Link::read(&text));
        if stored != Some(expected) {
            let number = entry.get("number").and_then(Value::as_u64).unwrap_or(0);
            looked.flaws.push(Flaw::Entry(id.clone(), number));
        }
        last = stored.unwrap_or(expected);
    }
    let is_pruned = looked.entries == 0 && of("pruned").next().is_some();
    looked.elsewhere = u64::from(is_pruned);
    if last != tip && !is_pruned {
        looked.flaws.push(Flaw::LastEntries(id.clone()));
    }
    let is_open = text_of(run, "outcome").as_deref() == Some("open");
    let ended = columns(Linking::after(tip, "seal").link(begun), run, ENDED).done();
    if seal.seal != (!is_open).then(|| ended.to_string()) {
        looked.flaws.push(Flaw::Ending(id.clone()));
    }
    rows.iter().for_each(|row| linked(row, &mut looked));
    looked.flaws.extend(foreign(&whole, rows).into_iter().map(Flaw::Foreign));
    Ok(Exported { run: id, looked, seal })
}

/// The names in an object other than these.
fn others<'a>(of: &'a Value, known: &'a [&str]) -> impl Iterator<Item = &'a str> {
    let names = of.as_object().into_iter().flat_map(Map::keys).map(String::as_str);
    names.filter(|name| !known.contains(name))
}

/// What stands in the file and in no digest, in words.
fn foreign(whole: &Value, rows: &[Value]) -> Vec<String> {
    let mut found: Vec<String> =
        others(whole, &HEAD).map(|name| format!("\"{name}\" beside the rows")).collect();
    for single in ["run", "chain"] {
        if rows.iter().filter(|row| row["table"] == single).count() > 1 {
            found.push(format!("more than one row of the table {single}"));
        }
    }
    for (number, row) in (1..).zip(rows) {
        let table = row.get("table").and_then(Value::as_str).unwrap_or_default();
        let known = match (table, LINKED.iter().find(|linked| linked.table == table)) {
            (_, Some(linked)) => vec![linked.columns],
            ("run", None) => vec![ORIGIN, BEGUN, ENDED],
            ("entry", None) => vec![ENTRY, "link"],
            ("chain", None) => vec![CHAIN],
            _ => {
                found.push(format!("row {number}, of a table \"{table}\" that no run has"));
                continue;
            }
        };
        let known: Vec<&str> =
            known.iter().flat_map(|names| names.split(',')).map(str::trim).collect();
        let columns = row.get("columns").map(|columns| others(columns, &known));
        found.extend(
            columns
                .into_iter()
                .flatten()
                .chain(others(row, &["table", "columns", "link"]))
                .map(|name| format!("\"{name}\" in row {number}, of the table {table}")),
        );
    }
    found
}

/// Holds a row of a linked table against the link it carries.
fn linked(row: &Value, looked: &mut Verification) {
    let table = row.get("table").and_then(Value::as_str);
    let own = LINKED.iter().find(|linked| Some(linked.table) == table);
    let Some(own) = own else { return };
    looked.rows += 1;
    let link = |name| row.get("link")?.get(name).and_then(Value::as_str).and_then(Link::read);
    let stored = row.get("columns").and_then(Value::as_object);
    let expected = link("before").zip(stored).map(|(before, stored)| {
        columns(Linking::after(before, own.table), stored, own.columns).done()
    });
    if expected.is_none() || link("own") != expected {
        let place = stored.and_then(|stored| stored.get("place")).and_then(Value::as_i64);
        looked.flaws.push(Flaw::Row(own.table, place.unwrap_or(0)));
    }
}

/// Takes the named columns of a row in.
fn columns(mut sum: Linking, row: &Map<String, Value>, names: &str) -> Linking {
    for name in names.split(',').map(str::trim) {
        sum = match row.get(name) {
            Some(Value::String(text)) => sum.text(text),
            Some(Value::Number(number)) => match number.as_i64() {
                Some(number) => sum.integer(number),
                // No column of these holds one: it is another than what was written.
                None => sum.text(&number.to_string()),
            },
            // What is missing reads as what was missing when it was written.
            Some(Value::Null) | None => sum.value(ValueRef::Null),
            Some(other) => sum.text(&other.to_string()),
        };
    }
    sum
}
