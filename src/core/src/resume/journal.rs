//! What of a run's entries tells where it stood: one fact for each, and nothing for what cannot be
//! read. Steps, passes and bands are counted from 0 here, from 1 in the entries.

use serde::Deserialize;

use crate::coat::Bins;
use crate::image::Level;
use crate::ledger::{Entry, EntryKind};
use crate::moment::Moment;
use crate::quantity::{Length, Speed};
use crate::request::{Request, Trim};
use crate::sequence::Leaf;

/// A fact with its time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Told {
    pub at: Moment,
    pub fact: Fact,
}

/// What an entry says.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Fact {
    Moved { from: Leaf, to: Leaf },
    PassBegan { step: usize, pass: usize },
    PassEnded { step: usize, pass: usize },
    Powder { level: Level, place: Option<Length> },
    Lost(Length),
    Sample { place: Option<Length>, powder: Option<Level> },
    Coat { step: usize, bins: Bins },
    Changed { zone: String, from: Option<usize>, trim: Option<Trim>, touch_ups: usize },
    Wet { step: usize, band: usize },
    NotWet,
    Restarted,
    Spoiled { how: String, place: Length },
}

#[derive(Deserialize)]
struct MovedData {
    from: String,
    to: String,
}

#[derive(Deserialize)]
struct PassData {
    mark: Option<String>,
    step: usize,
    pass: Option<usize>,
    band: Option<usize>,
}

#[derive(Deserialize)]
struct PowderData {
    edge: Option<String>,
    done: Option<Length>,
    lost: Option<Length>,
}

#[derive(Deserialize)]
struct SampleData {
    z: Option<Length>,
    feed: Option<Speed>,
    powder: Option<bool>,
}

#[derive(Deserialize)]
struct CoatData {
    step: usize,
    arrived: Bins,
}

#[derive(Deserialize)]
struct ChangedData {
    zone: String,
    from_pass: Option<usize>,
    trim: Option<Trim>,
    touch_ups: usize,
}

#[derive(Deserialize)]
struct SuspectData {
    suspect: String,
    place: Length,
}

/// The facts of the last job that these entries tell of, by rising time.
pub(super) fn facts(entries: &[Entry]) -> Vec<Told> {
    let all: Vec<Told> = entries
        .iter()
        .filter_map(|entry| Some(Told { at: entry.at, fact: fact(entry)? }))
        .collect();
    let begins = |told: &Told| told.fact == Fact::Moved { from: Leaf::Ready, to: Leaf::Checking };
    let first = all.iter().rposition(begins).unwrap_or(0);
    all.into_iter().skip(first).collect()
}

fn fact(entry: &Entry) -> Option<Fact> {
    fn read<'a, T: Deserialize<'a>>(entry: &'a Entry) -> Option<T> {
        T::deserialize(&entry.data).ok()
    }
    match entry.kind {
        EntryKind::State => {
            let MovedData { from, to } = read(entry)?;
            Some(Fact::Moved { from: leaf(&from)?, to: leaf(&to)? })
        }
        EntryKind::Pass => {
            let PassData { mark, step, pass, band } = read(entry)?;
            let step = step.checked_sub(1)?;
            if let Some(band) = band {
                return Some(Fact::Wet { step, band: band.checked_sub(1)? });
            }
            let pass = pass?.checked_sub(1)?;
            match mark?.as_str() {
                "begun" => Some(Fact::PassBegan { step, pass }),
                "ended" => Some(Fact::PassEnded { step, pass }),
                _ => None,
            }
        }
        EntryKind::Powder => {
            let PowderData { edge, done, lost } = read(entry)?;
            if let Some(place) = lost {
                return figure(place).map(Fact::Lost);
            }
            let level = Level::from_bit(edge? == "on");
            // An edge that was dropped never was.
            done.and_then(figure).map(|place| Fact::Powder { level, place: Some(place) })
        }
        EntryKind::Sample => {
            let SampleData { z, feed, powder } = read(entry)?;
            // The two are told together: a place without its feed is torn.
            let place = z.and_then(figure).filter(|_| feed.is_some());
            Some(Fact::Sample { place, powder: powder.map(Level::from_bit) })
        }
        EntryKind::Coat => {
            let CoatData { step, arrived } = read(entry)?;
            Some(Fact::Coat { step: step.checked_sub(1)?, bins: arrived })
        }
        EntryKind::Request => asked(entry),
        EntryKind::Cause => {
            let SuspectData { suspect, place } = read(entry)?;
            Some(Fact::Spoiled { how: suspect, place: figure(place)? })
        }
        _ => None,
    }
}

fn asked(entry: &Entry) -> Option<Fact> {
    if let Some(changed) = entry.data.get("changed") {
        let ChangedData { zone, from_pass, trim, touch_ups } =
            ChangedData::deserialize(changed).ok()?;
        let from = from_pass.and_then(|pass| pass.checked_sub(1));
        return Some(Fact::Changed { zone, from, trim, touch_ups });
    }
    if entry.data.get("answer").and_then(|answer| answer.as_str()) != Some("accepted") {
        return None;
    }
    match Request::deserialize(entry.data.get("request")?).ok()? {
        Request::NotWet => Some(Fact::NotWet),
        Request::Restart => Some(Fact::Restarted),
        _ => None,
    }
}

fn leaf(name: &str) -> Option<Leaf> {
    Leaf::ALL.iter().copied().find(|leaf| leaf.name() == name)
}

fn figure(place: Length) -> Option<Length> {
    place.mm().is_finite().then_some(place)
}
