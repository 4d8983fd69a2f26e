//! What the samples of a run say of each of its passes.
//!
//! A sample is written twice a second; what stands here is of the samples alone, so that a figure
//! of a pass rests on as many readings as it says.

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::{
    Length, Mass, Pressure, Quantity, Range, Speed, SpindleSpeed, Temperature,
};
use serde::{Deserialize, Serialize};

use super::facts::PassRow;

/// Everything a sample may have measured.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
pub struct Sampled {
    /// Where the torch was, from the chuck face.
    pub z: Option<Length>,
    /// How fast the carriage went; below zero toward the chuck.
    pub feed: Option<Speed>,
    /// How fast the spindle turned.
    pub spindle: Option<SpindleSpeed>,
    /// Of the part.
    pub part: Option<Temperature>,
    /// Of the coat, by the pyrometer for fusing.
    pub coat: Option<Temperature>,
    /// Fuel gas.
    pub fuel: Option<Pressure>,
    /// Oxygen.
    pub oxygen: Option<Pressure>,
    /// Carrier air.
    pub carrier: Option<Pressure>,
    /// What the hopper weighed.
    pub hopper: Option<Mass>,
}

/// The samples of a run with their times, in their order; one that cannot be read is left out.
#[must_use]
pub fn samples(entries: &[Entry]) -> Vec<(Moment, Sampled)> {
    let all = entries.iter().filter(|entry| entry.kind == EntryKind::Sample);
    all.filter_map(|entry| Some((entry.at, Sampled::deserialize(&entry.data).ok()?))).collect()
}

/// Least, mean and greatest of what was sampled.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread<Q> {
    /// Least.
    pub low: Q,
    /// Mean over the samples, which stand equally far apart in time.
    pub mean: Q,
    /// Greatest.
    pub high: Q,
}

impl<Q: Quantity> Spread<Q> {
    /// Of some values; `None` of none.
    pub fn of(values: impl Iterator<Item = Q>) -> Option<Self> {
        let (mut low, mut high, mut sum, mut count) = (f64::INFINITY, f64::NEG_INFINITY, 0.0, 0.0);
        for value in values.map(Quantity::base) {
            low = low.min(value);
            high = high.max(value);
            sum += value;
            count += 1.0;
        }
        let of = Q::from_base;
        // Of values all alike the sum may be off by its last digit.
        (count > 0.0).then(|| {
            let mean = (sum / count).clamp(low, high);
            Self { low: of(low), mean: of(mean), high: of(high) }
        })
    }
}

/// One pass with what was measured meanwhile.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PassFigures {
    /// How it went.
    #[serde(flatten)]
    pub row: PassRow,
    /// Spindle speed, from the pass's beginning to its end.
    pub spindle: Option<Spread<SpindleSpeed>>,
    /// Feed while the torch was over the zone, whichever way.
    pub feed: Option<Spread<Speed>>,
    /// Fuel gas pressure.
    pub fuel: Option<Spread<Pressure>>,
    /// Oxygen pressure.
    pub oxygen: Option<Spread<Pressure>>,
    /// Carrier air pressure.
    pub carrier: Option<Spread<Pressure>>,
    /// What the hopper lost over it; `None` where its weight was not read on both sides, or rose.
    pub powder: Option<Mass>,
    /// Where the torch was last seen in it.
    pub reached: Option<Length>,
    /// Causes that were confirmed meanwhile, in words.
    pub alarms: Vec<String>,
}

/// The states in which the torch goes along a pass.
const SPRAYS: [&str; 2] = ["Crossing", "SprayTurning"];

/// The passes of a run with what was measured meanwhile; `edges` says where a zone lies, by its
/// name.
#[must_use]
pub fn pass_figures(
    passes: &[PassRow],
    entries: &[Entry],
    edges: impl Fn(&str) -> Option<Range<Length>>,
) -> Vec<PassFigures> {
    let samples = samples(entries);
    let nexts = passes.iter().skip(1).map(|next| Some(next.began)).chain([None]);
    let figures = passes.iter().zip(nexts).map(|(row, next)| {
        // A pass that was broken off lasts until the torch left it, or the next one began.
        let left = left_at(entries, row.began).into_iter().chain(next).min();
        let until = row.ended.or(left).unwrap_or(Moment::NEVER);
        let zone = row.zone.as_deref().and_then(&edges);
        one(row, until, zone, &samples, entries)
    });
    figures.collect()
}

/// When the torch next left the pass that it was in at a time, as a hold, a stop or a trip has it.
fn left_at(entries: &[Entry], since: Moment) -> Option<Moment> {
    let goes = |entry: &Entry, end: &str| {
        let state = entry.data.get(end).and_then(serde_json::Value::as_str);
        state.is_some_and(|state| SPRAYS.contains(&state))
    };
    let mut after = entries.iter().filter(|entry| entry.at >= since);
    let leaves = |entry: &&Entry| {
        entry.kind == EntryKind::State && goes(entry, "from") && !goes(entry, "to")
    };
    after.find(leaves).map(|entry| entry.at)
}

fn one(
    row: &PassRow,
    until: Moment,
    zone: Option<Range<Length>>,
    samples: &[(Moment, Sampled)],
    entries: &[Entry],
) -> PassFigures {
    let first = samples.partition_point(|(at, _)| *at < row.began);
    let last = samples.partition_point(|(at, _)| *at <= until);
    let within = samples.get(first..last).unwrap_or_default();
    let over_zone = |sample: &&(Moment, Sampled)| match (zone, sample.1.z) {
        (Some(zone), Some(z)) => zone.contains(z),
        _ => false,
    };
    let pressure = |of: fn(&Sampled) -> Option<Pressure>| {
        Spread::of(within.iter().filter_map(|(_, sample)| of(sample)))
    };
    let weighed =
        |mut of: std::slice::Iter<'_, (Moment, Sampled)>| of.find_map(|(_, sample)| sample.hopper);
    let before = samples.get(..first).unwrap_or_default();
    let before = before.iter().rev().find_map(|(_, sample)| sample.hopper);
    let is_over = until != Moment::NEVER;
    let after = weighed(samples.get(last..).unwrap_or_default().iter()).filter(|_| is_over);
    let lost = before.zip(after).map(|(before, after)| before - after);
    let alarmed = |entry: &&Entry| {
        entry.kind == EntryKind::Cause
            && (row.began..=until).contains(&entry.at)
            && entry.data.get("change").is_some_and(|change| change == "confirmed")
    };
    PassFigures {
        spindle: Spread::of(within.iter().filter_map(|(_, sample)| sample.spindle)),
        feed: Spread::of(
            within.iter().filter(over_zone).filter_map(|(_, sample)| Some(sample.feed?.abs())),
        ),
        fuel: pressure(|sample| sample.fuel),
        oxygen: pressure(|sample| sample.oxygen),
        carrier: pressure(|sample| sample.carrier),
        powder: lost.filter(|lost| *lost >= Mass::ZERO),
        reached: within.iter().rev().find_map(|(_, sample)| sample.z),
        alarms: entries.iter().filter(alarmed).map(|entry| entry.text.clone()).collect(),
        row: row.clone(),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::super::facts::passes;
    use super::*;

    fn entry(seconds: u64, kind: EntryKind, text: &str, data: Value) -> Entry {
        Entry {
            number: seconds,
            at: Moment::from_micros(seconds * 1_000_000),
            kind,
            text: text.to_owned(),
            cause: String::new(),
            data,
        }
    }

    fn sample(seconds: u64, z: f64, feed: f64, rpm: f64, hopper: f64) -> Entry {
        let data = json!({
            "z": format!("{z} mm"), "feed": format!("{feed} mm/s"), "spindle": format!("{rpm} rpm"),
            "fuel": "0.7 bar", "hopper": format!("{hopper} g"), "powder": true,
        });
        entry(seconds, EntryKind::Sample, "", data)
    }

    fn run() -> Vec<Entry> {
        let pass = |seconds, mark: &str| {
            let data = json!({"mark": mark, "pass": 1, "of": 2, "zone": "journal"});
            entry(seconds, EntryKind::Pass, "", data)
        };
        let confirmed = json!({"interlock": "hot", "change": "confirmed"});
        let later = json!({"interlock": "hot", "change": "confirmed"});
        vec![
            sample(1, 0.0, 0.0, 90.0, 500.0),
            pass(2, "begun"),
            sample(3, 5.0, 2.0, 100.0, 499.0),
            sample(4, 20.0, -10.0, 130.0, 497.0),
            entry(4, EntryKind::Cause, "the part is too hot", confirmed),
            sample(5, 40.0, 12.0, 127.0, 495.0),
            pass(6, "ended"),
            sample(7, 50.0, 0.0, 60.0, 494.0),
            entry(8, EntryKind::Cause, "after it", later),
        ]
    }

    #[test]
    fn a_pass_has_what_was_measured_from_its_beginning_to_its_end_and_the_feed_over_its_zone() {
        let all = run();
        let zone = Range { low: Length::from_mm(10.0), high: Length::from_mm(60.0) };
        let figures = pass_figures(&passes(&all), &all, |name| (name == "journal").then_some(zone));
        let [one] = figures.as_slice() else { panic!("one pass: {figures:?}") };
        let spindle = one.spindle.expect("measured");
        let rpm = [spindle.low, spindle.mean, spindle.high].map(SpindleSpeed::rpm);
        assert_eq!(rpm, [100.0, 119.0, 130.0]);
        let feed = one.feed.expect("measured");
        let feed = [feed.low, feed.mean, feed.high].map(Speed::mm_per_s);
        assert_eq!(feed, [10.0, 11.0, 12.0], "the run-up at 5 mm is none of the zone's");
        assert_eq!(one.powder, Some(Mass::from_g(6.0)), "from 500 g before to 494 g after");
        assert_eq!(one.fuel.map(|spread| spread.mean), Some(Pressure::from_bar(0.7)));
        assert_eq!((one.oxygen, one.carrier), (None, None), "not measured is no zero");
        assert_eq!(one.alarms, ["the part is too hot"]);
    }

    #[test]
    fn a_hopper_that_was_filled_meanwhile_tells_no_powder() {
        let mut all = run();
        all.remove(7);
        all.push(sample(9, 50.0, 0.0, 60.0, 1900.0));
        assert_eq!(pass_figures(&passes(&all), &all, |_| None)[0].powder, None);
    }

    #[test]
    fn a_pass_that_was_broken_off_says_where_the_torch_was_last() {
        let mut all = run();
        all.truncate(6);
        let figures = pass_figures(&passes(&all), &all, |_| None);
        assert_eq!((figures[0].row.ended, figures[0].powder), (None, None));
        assert_eq!(figures[0].reached, Some(Length::from_mm(40.0)));
    }
}
