//! What the record understands of an entry's data.
//!
//! An entry is told in words; its data repeat for programs what the words say. Quantities are
//! text with their unit, as they serialise. The record reads these, each by the entry's kind:
//!
//! | kind | data |
//! |---|---|
//! | `pass` | `{"mark": "begun", "pass": 4, "of": 9, "zone": "journal", "from": "-30 mm", "to": "150 mm"}` |
//! | `pass` | `{"mark": "ended", "pass": 4, "of": 9, "zone": "journal"}` |
//! | `powder` | `{"pass": 4, "edge": "on", "planned": "10 mm", "done": "10.2 mm"}`, `"edge": "off"` alike |
//! | `sample` | `{"part": "251.5 degC", "coat": "1041 degC", ...}`, what is no measurement left out |
//!
//! Fields it doesn't know, and data of other kinds, are kept and shown to programs as they are.
//! Data it can't read are left out of the table of passes; the words are shown all the same.

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::{Length, Temperature};
use serde::{Deserialize, Serialize};

/// Which border of a pass an entry tells of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// The carriage left for it.
    Begun,
    /// The carriage came to rest after it.
    Ended,
}

/// Data of a pass that began or ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PassFact {
    /// Which border.
    pub mark: Mark,
    /// Its number in the zone, from 1.
    pub pass: u32,
    /// Passes planned in the zone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub of: Option<u32>,
    /// The zone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// Where the carriage started from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<Length>,
    /// Where it is to come to rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<Length>,
}

/// Which way powder changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EdgeKind {
    /// It began to arrive.
    On,
    /// It ceased to arrive.
    Off,
}

/// Data of a powder edge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PowderFact {
    /// The pass it belongs to.
    pub pass: u32,
    /// Which way.
    pub edge: EdgeKind,
    /// Carriage position it was planned at; `None` for one no plan asked for, as in a trip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub planned: Option<Length>,
    /// Carriage position it came at; `None` for one that never came.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub done: Option<Length>,
}

/// Temperatures of a sample.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SampleFact {
    /// Of the part, by the sensor for preheat and interpass.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub part: Option<Temperature>,
    /// Of the coat, by the pyrometer for fusing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coat: Option<Temperature>,
}

/// Lowest and highest of what was sampled.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Span {
    /// Lowest.
    pub low: Temperature,
    /// Highest.
    pub high: Temperature,
}

impl Span {
    fn widen(span: &mut Option<Self>, value: Temperature) {
        *span = Some(span.map_or(Self { low: value, high: value }, |known| Self {
            low: known.low.min(value),
            high: known.high.max(value),
        }));
    }
}

/// One pass as it went. A pass that was restarted after a hold has a row for each time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PassRow {
    /// Its number in the zone, from 1.
    pub pass: u32,
    /// Passes planned in the zone.
    pub of: Option<u32>,
    /// The zone.
    pub zone: Option<String>,
    /// When the carriage left for it.
    pub began: Moment,
    /// When it came to rest; `None` for a pass that was not finished.
    pub ended: Option<Moment>,
    /// Where the carriage started from.
    pub from: Option<Length>,
    /// Where it was to come to rest.
    pub to: Option<Length>,
    /// The powder edges, in their order.
    pub edges: Vec<PowderFact>,
    /// Part temperature during the pass.
    pub part: Option<Span>,
}

impl PassRow {
    fn begun(at: Moment, fact: PassFact) -> Self {
        let PassFact { pass, of, zone, from, to, .. } = fact;
        let (edges, part) = (Vec::new(), None);
        Self { pass, of, zone, began: at, ended: None, from, to, edges, part }
    }
}

/// The passes a run's entries tell of, in their order.
#[must_use]
pub fn passes(entries: &[Entry]) -> Vec<PassRow> {
    let mut rows: Vec<PassRow> = Vec::new();
    for entry in entries {
        match entry.kind {
            EntryKind::Pass => match read::<PassFact>(entry) {
                Some(fact) if fact.mark == Mark::Begun => {
                    rows.push(PassRow::begun(entry.at, fact));
                }
                Some(fact) => {
                    if let Some(row) = rows.last_mut().filter(|row| row.pass == fact.pass) {
                        row.ended = Some(entry.at);
                    }
                }
                None => {}
            },
            // An edge may come after its pass: the hose empties over the overrun.
            EntryKind::Powder => {
                if let Some(fact) = read::<PowderFact>(entry)
                    && let Some(row) = rows.iter_mut().rev().find(|row| row.pass == fact.pass)
                {
                    row.edges.push(fact);
                }
            }
            EntryKind::Sample => {
                if let Some(row) = rows.last_mut().filter(|row| row.ended.is_none())
                    && let Some(value) = read::<SampleFact>(entry).and_then(|fact| fact.part)
                {
                    Span::widen(&mut row.part, value);
                }
            }
            _ => {}
        }
    }
    rows
}

/// Lowest and highest temperature of the coat over the run.
#[must_use]
pub fn coat_span(entries: &[Entry]) -> Option<Span> {
    let mut span = None;
    coats(entries).for_each(|(_, value)| Span::widen(&mut span, value));
    span
}

/// The same of one step of fusing, counted from 1: from the last word "wet" of the step before it,
/// or from the start, until its own last one, or the end.
#[must_use]
pub fn coat_span_in(entries: &[Entry], step: usize) -> Option<Span> {
    let called_in = |entry: &Entry| {
        entry.data.get("band")?;
        entry.data.get("step").and_then(serde_json::Value::as_u64)
    };
    let wanted = step as u64;
    let earlier = |entry: &&Entry| called_in(entry).is_some_and(|of| of < wanted);
    let own = |entry: &&Entry| called_in(entry) == Some(wanted);
    let from = entries.iter().rfind(earlier).map_or(Moment::START, |entry| entry.at);
    let until = entries.iter().rfind(own).map(|entry| entry.at);
    let mut span = None;
    coats(entries)
        .filter(|(at, _)| *at > from && until.is_none_or(|until| *at <= until))
        .for_each(|(_, value)| Span::widen(&mut span, value));
    span
}

/// When which temperature of the coat was sampled.
fn coats(entries: &[Entry]) -> impl Iterator<Item = (Moment, Temperature)> + '_ {
    let samples = entries.iter().filter(|entry| entry.kind == EntryKind::Sample);
    samples.filter_map(|entry| Some((entry.at, read::<SampleFact>(entry)?.coat?)))
}

fn read<'a, T: Deserialize<'a>>(entry: &'a Entry) -> Option<T> {
    T::deserialize(&entry.data).ok()
}

/// The states in their order, without the reversals of a carriage that goes to and fro: a state
/// that is left for its own turn and taken up again counts as one.
#[must_use]
pub fn course(entries: &[Entry]) -> Vec<&Entry> {
    let mut kept: Vec<&Entry> = Vec::new();
    for entry in entries.iter().filter(|entry| entry.kind == EntryKind::State) {
        let text = |name: &str| entry.data.get(name).and_then(serde_json::Value::as_str);
        let reverses = |leaf: Option<&str>| leaf.is_some_and(|leaf| leaf.ends_with("Turning"));
        let before = kept.last().and_then(|last| last.data.get("to")).and_then(|to| to.as_str());
        let taken_up = reverses(text("from")) && before == text("to");
        if !reverses(text("to")) && !taken_up {
            kept.push(entry);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    fn entry(number: u64, kind: EntryKind, data: Value) -> Entry {
        let (text, cause) = (String::new(), String::new());
        Entry { number, at: Moment::from_micros(number * 1_000_000), kind, text, cause, data }
    }

    #[test]
    fn a_pass_gathers_its_edges_and_the_temperatures_while_it_lasted() {
        let rows = passes(&[
            entry(1, EntryKind::Sample, json!({"part": "20 degC"})),
            entry(2, EntryKind::Pass, json!({"mark": "begun", "pass": 1, "of": 2})),
            entry(3, EntryKind::Sample, json!({"part": "251.5 degC", "other": 7})),
            entry(4, EntryKind::Powder, json!({"pass": 1, "edge": "on", "done": "10.25 mm"})),
            entry(5, EntryKind::Sample, json!({"part": "248 degC"})),
            entry(6, EntryKind::Pass, json!({"mark": "ended", "pass": 1})),
            entry(7, EntryKind::Sample, json!({"part": "400 degC"})),
            entry(8, EntryKind::Powder, json!({"pass": 1, "edge": "off", "planned": "110 mm"})),
        ]);
        let [row] = rows.as_slice() else { panic!("one row: {rows:?}") };
        assert_eq!(
            (row.began, row.ended),
            (Moment::from_micros(2_000_000), Some(Moment::from_micros(6_000_000)))
        );
        let span = row.part.expect("sampled");
        assert_eq!((span.low.celsius(), span.high.celsius()), (248.0, 251.5));
        let [on, off] = row.edges.as_slice() else { panic!("two edges: {:?}", row.edges) };
        assert_eq!((on.edge, on.done.map(Length::mm)), (EdgeKind::On, Some(10.25)));
        assert_eq!((off.edge, off.planned.map(Length::mm)), (EdgeKind::Off, Some(110.0)));
    }

    #[test]
    fn a_pass_begun_again_after_a_hold_is_a_row_of_its_own() {
        let rows = passes(&[
            entry(1, EntryKind::Pass, json!({"mark": "begun", "pass": 4})),
            entry(2, EntryKind::Pass, json!({"mark": "begun", "pass": 4})),
            entry(3, EntryKind::Pass, json!({"mark": "ended", "pass": 4})),
        ]);
        let ends: Vec<_> = rows.iter().map(|row| row.ended.is_some()).collect();
        assert_eq!(ends, [false, true]);
    }

    #[test]
    fn the_coat_of_each_zone_is_told_from_its_own_time_of_fusing() {
        let wet = |number, step| entry(number, EntryKind::Pass, json!({"step": step, "band": 1}));
        let coat = |number, celsius: &str| {
            entry(number, EntryKind::Sample, json!({ "coat": format!("{celsius} degC") }))
        };
        let entries = [
            coat(1, "900"),
            coat(2, "1050"),
            wet(3, 4),
            coat(4, "1020"),
            coat(5, "1090"),
            wet(6, 5),
            coat(7, "1100"),
        ];
        let told = |step| {
            coat_span_in(&entries, step).map(|span| (span.low.celsius(), span.high.celsius()))
        };
        assert_eq!(told(4), Some((900.0, 1050.0)));
        assert_eq!(told(5), Some((1020.0, 1090.0)));
        assert_eq!(coat_span(&entries).map(|span| span.high.celsius()), Some(1100.0));
    }

    #[test]
    fn data_that_cannot_be_read_are_left_out() {
        assert_eq!(passes(&[entry(1, EntryKind::Pass, json!({"pass": "four"}))]), []);
    }
}
