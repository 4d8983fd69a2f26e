//! What the record understands of holds, stops and trips: the cause told whole, its effects with
//! their times, and the images around it.
//!
//! | kind | data |
//! |---|---|
//! | `effect` | `{"cause": "flame_lost", "class": "trip", "title": "Flame lost", "began_us": 93000000, "remaining": [...]}` opens one |
//! | `effect` | `{"cause": "flame_lost", "part": "fuel", "what": "fuel shut", "stage": "on_the_wire", "after_us": 6300}` |
//! | `images` | `{"cause": "flame_lost", "times_us": [-20000, 0], "signals": [{"name": "flame sensor", "unit": "", "shown": ["on", "off"], "age_ms": [12, 8]}]}` |
//! | `cause` | `{"interlock": "flame_lost", "change": "confirmed", "since_us": ..., "first_out": true, "done": "...", "to_do": "...", "meanwhile": "..."}` |

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// How far an effect has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// A scan asked for it; a purge began.
    Asked,
    /// Its module acknowledged it.
    OnTheWire,
    /// The module's own coils said so.
    ReadBack,
    /// A sensor said so; a purge ended.
    Seen,
}

/// One line of an effect: how long after the cause each stage came, microseconds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EffectRow {
    /// What it is about, for programs.
    pub part: String,
    /// What, in words.
    pub what: String,
    /// When it was asked.
    pub asked_us: Option<u64>,
    /// When its module acknowledged it.
    pub on_the_wire_us: Option<u64>,
    /// When the module's own coils said so.
    pub read_back_us: Option<u64>,
    /// When a sensor said so.
    pub seen_us: Option<u64>,
}

/// One signal over the images around a cause.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SignalRow {
    /// Its name.
    pub name: String,
    /// Its unit; empty for a level.
    pub unit: String,
    /// Its values as shown, image by image.
    pub shown: Vec<String>,
    /// How old each was, ms; none for what was asked.
    pub age_ms: Vec<Option<u64>>,
}

/// The images around a cause.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Images {
    /// Their times after the cause, microseconds; negative before it.
    pub times_us: Vec<i64>,
    /// The signals, the cause's own first.
    pub signals: Vec<SignalRow>,
}

/// The cause of a hold, a stop or a trip, told whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cause {
    /// When it counted.
    pub at: Moment,
    /// What and where, found and expected.
    pub what: String,
    /// Since when its condition had held.
    pub since: Option<Moment>,
    /// What was done.
    pub done: String,
    /// What to do.
    pub to_do: String,
    /// What a person may do meanwhile.
    pub meanwhile: String,
}

/// One hold, stop or trip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Response {
    /// The key of its cause.
    pub key: String,
    /// The name of its cause.
    pub title: String,
    /// `hold`, `stop` or `trip`.
    pub class: String,
    /// When its cause counted: the zero of its times.
    pub began: Moment,
    /// Its cause; none for a withdrawal of the sequence's own.
    pub cause: Option<Cause>,
    /// What an abort could still do, in words.
    pub remaining: String,
    /// Its effects, in the order in which they were asked or seen.
    pub effects: Vec<EffectRow>,
    /// The images around its cause.
    pub images: Option<Images>,
}

#[derive(Deserialize)]
struct Opening {
    cause: String,
    class: String,
    title: String,
    began_us: u64,
}

#[derive(Deserialize)]
struct Mark {
    part: String,
    what: String,
    stage: Stage,
    after_us: u64,
}

#[derive(Deserialize)]
struct Told {
    interlock: String,
    change: String,
    since_us: Option<u64>,
    #[serde(default)]
    done: String,
    #[serde(default)]
    to_do: String,
    #[serde(default)]
    meanwhile: String,
}

/// The holds, stops and trips that entries tell of, in their order.
#[must_use]
pub fn responses(entries: &[Entry]) -> Vec<Response> {
    let mut all: Vec<Response> = Vec::new();
    let mut causes: Vec<(String, Cause)> = Vec::new();
    for entry in entries {
        match entry.kind {
            EntryKind::Cause => {
                if let Ok(told) = Told::deserialize(&entry.data)
                    && told.change == "confirmed"
                {
                    causes.push((told.interlock.clone(), cause(entry, told)));
                }
            }
            EntryKind::Effect => {
                if let Ok(opening) = Opening::deserialize(&entry.data) {
                    all.push(open(opening, entry, &causes));
                } else if let Ok(mark) = Mark::deserialize(&entry.data)
                    && let Some(last) = all.last_mut()
                {
                    place(&mut last.effects, mark);
                }
            }
            EntryKind::Images => {
                let key = entry.data.get("cause").and_then(Value::as_str);
                let of = all.iter_mut().rev().find(|response| Some(response.key.as_str()) == key);
                if let Some(response) = of {
                    response.images = Images::deserialize(&entry.data).ok();
                }
            }
            _ => {}
        }
    }
    all
}

fn cause(entry: &Entry, told: Told) -> Cause {
    Cause {
        at: entry.at,
        what: entry.text.clone(),
        since: told.since_us.map(Moment::from_micros),
        done: told.done,
        to_do: told.to_do,
        meanwhile: told.meanwhile,
    }
}

fn open(opening: Opening, entry: &Entry, causes: &[(String, Cause)]) -> Response {
    let Opening { cause: key, class, title, began_us } = opening;
    let began = Moment::from_micros(began_us);
    let cause = causes.iter().rev().find(|(known, cause)| *known == key && cause.at == began);
    Response {
        cause: cause.map(|(_, cause)| cause.clone()),
        key,
        title,
        class,
        began,
        remaining: entry.text.clone(),
        effects: Vec::new(),
        images: None,
    }
}

fn place(effects: &mut Vec<EffectRow>, mark: Mark) {
    let Mark { part, what, stage, after_us } = mark;
    let at = effects.iter().position(|row| row.part == part).unwrap_or_else(|| {
        effects.push(EffectRow {
            part,
            what: what.clone(),
            asked_us: None,
            on_the_wire_us: None,
            read_back_us: None,
            seen_us: None,
        });
        effects.len() - 1
    });
    let Some(row) = effects.get_mut(at) else { return };
    // The last words say most: "carriage at rest" after "torch withdrawn".
    if what.starts_with(&row.what) {
        row.what = what;
    } else if row.what != what && stage == Stage::Seen {
        row.what = format!("{}, then {what}", row.what);
    }
    match stage {
        Stage::Asked => row.asked_us = Some(after_us),
        Stage::OnTheWire => row.on_the_wire_us = Some(after_us),
        Stage::ReadBack => row.read_back_us = Some(after_us),
        Stage::Seen => row.seen_us = Some(after_us),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn entry(number: u64, kind: EntryKind, text: &str, data: Value) -> Entry {
        let at = Moment::from_micros(number * 1_000);
        Entry { number, at, kind, text: text.to_owned(), cause: String::new(), data }
    }

    fn told() -> Vec<Entry> {
        let mark = |part: &str, what: &str, stage: &str, after: u64| json!({"cause": "flame_lost", "part": part, "what": what, "stage": stage, "after_us": after});
        vec![
            entry(
                1,
                EntryKind::Cause,
                "Flame lost at 160.0 mm",
                json!({"interlock": "flame_lost", "change": "confirmed", "since_us": 700, "done": "powder off", "to_do": "Wait.", "meanwhile": "acknowledge"}),
            ),
            entry(
                2,
                EntryKind::Effect,
                "everything can be done by command",
                json!({"cause": "flame_lost", "class": "trip", "title": "Flame lost", "began_us": 1000, "remaining": []}),
            ),
            entry(3, EntryKind::Effect, "", mark("fuel", "fuel shut", "asked", 0)),
            entry(4, EntryKind::Effect, "", mark("carriage", "torch withdrawn", "asked", 0)),
            entry(5, EntryKind::Effect, "", mark("fuel", "fuel shut", "on_the_wire", 6_300)),
            entry(
                6,
                EntryKind::Effect,
                "",
                mark("carriage", "carriage at rest", "seen", 9_000_000),
            ),
            entry(
                7,
                EntryKind::Images,
                "",
                json!({"cause": "flame_lost", "times_us": [-20, 0], "signals": [{"name": "flame sensor", "unit": "", "shown": ["on", "off"], "age_ms": [12, null]}]}),
            ),
        ]
    }

    #[test]
    fn a_trip_gathers_its_cause_its_effects_stage_by_stage_and_its_images() {
        let all = responses(&told());
        let [trip] = all.as_slice() else { panic!("one: {all:?}") };
        assert_eq!((trip.key.as_str(), trip.class.as_str()), ("flame_lost", "trip"));
        let cause = trip.cause.as_ref().expect("told");
        assert_eq!(cause.since, Some(Moment::from_micros(700)));
        let [fuel, carriage] = trip.effects.as_slice() else { panic!("{:?}", trip.effects) };
        assert_eq!(
            (fuel.asked_us, fuel.on_the_wire_us, fuel.seen_us),
            (Some(0), Some(6_300), None)
        );
        assert_eq!(carriage.what, "torch withdrawn, then carriage at rest");
        assert_eq!(trip.images.as_ref().map(|images| images.times_us.len()), Some(2));
    }

    #[test]
    fn data_that_cannot_be_read_are_left_out() {
        let odd = [entry(1, EntryKind::Effect, "", json!({"part": 7}))];
        assert_eq!(responses(&odd), []);
    }
}
