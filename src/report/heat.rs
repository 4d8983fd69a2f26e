//! Fusing and cooling.

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::forecast::clock;
use evenpass_core::quantity::{Length, Range, Speed, Temperature};
use maud::{Markup, html};

use super::Report;
use super::reader::{NOTHING, Reader, figure, pairs, range, spread, table};
use crate::record::figures::{Spread, samples};
use crate::record::planned::PlannedFusing;

/// Every zone that was to be fused.
pub(super) fn fusing(report: &Report, reader: &Reader) -> Markup {
    html! { @for step in &report.planned.fusing { (one(report, reader, step)) } }
}

fn one(report: &Report, reader: &Reader, step: &PlannedFusing) -> Markup {
    let (degrees, place) = (reader.units.of_temperatures(), reader.units.of_lengths());
    let feeds = reader.units.of_feeds();
    let entries = &report.record.entries;
    let called = |band: u64| {
        let is = |entry: &Entry, name: &str, wanted: u64| {
            entry.data.get(name).and_then(serde_json::Value::as_u64) == Some(wanted)
        };
        // A word that was taken back is said again later: the last one stands.
        let mut wet = entries.iter().rev();
        wet.find(|entry| is(entry, "step", step.number) && is(entry, "band", band))
            .map(|entry| entry.at)
    };
    let began = first_in(entries, "Heating");
    let samples = samples(entries);
    // From the word before until its own.
    let hottest = |from: Option<Moment>, to: Moment| {
        let within =
            samples.iter().filter(|(at, _)| *at <= to && from.is_none_or(|from| *at >= from));
        Spread::of(within.filter_map(|(_, sample)| sample.coat)).map(|spread| spread.high)
    };
    let went = |coat: Range<Length>, from: Option<Moment>, to: Moment| {
        let within =
            samples.iter().filter(|(at, _)| *at <= to && from.is_none_or(|from| *at >= from));
        let over = within.filter(|(_, sample)| sample.z.is_some_and(|z| coat.contains(z)));
        Spread::of(over.filter_map(|(_, sample)| sample.feed.map(Speed::abs)))
    };
    let at = |to: Moment| {
        let until = samples.iter().rev().find(|(at, _)| *at <= to);
        until.and_then(|(_, sample)| sample.coat)
    };
    let heads = [
        "Band".to_owned(),
        format!("Z, {}", place.symbol),
        format!("Feed, {}", feeds.symbol),
        "Called wet".to_owned(),
        format!("Coat then, {}", degrees.symbol),
        format!("Hottest before, {}", degrees.symbol),
    ];
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let rows = (1_u64..).zip(&step.bands).map(|(band, planned)| {
        let wet = called(band);
        let before = band.checked_sub(1).and_then(called).or(began);
        let told = |value: Option<Temperature>| html! { (figure(degrees, value)) };
        vec![
            html! { (band) },
            html! { (range(place, planned.coat)) },
            html! { small { "set " (feeds.figure(step.oscillation)) }
                br; (spread(feeds, wet.and_then(|wet| went(planned.coat, before, wet)))) },
            html! { @match wet { Some(wet) => (reader.at(wet)), None => strong { "not called wet" } } },
            told(wet.and_then(at)),
            told(wet.and_then(|wet| hottest(before, wet))),
        ]
    });
    html! {
        section {
            h2 { "Fusing of " (step.zone) }
            p { "Window " (range(degrees, step.window)) ", ceiling " (degrees.shown(step.ceiling))
                ", spindle " (format!("{:.1}", step.spindle)) ". A person calls each band wet when its coat is
                wet all along; the pyrometer is a guide." }
            (table(&heads, rows))
        }
    }
}

fn first_in(entries: &[Entry], state: &str) -> Option<Moment> {
    let mut entered = entries.iter();
    entered.find(|entry| entry.data.get("to").is_some_and(|to| to == state)).map(|entry| entry.at)
}

/// How it cooled.
pub(super) fn cooling(report: &Report, reader: &Reader) -> Markup {
    let degrees = reader.units.of_temperatures();
    let mut lines = Vec::new();
    if let Some(step) = &report.planned.cooling {
        let slow = match step.slow.as_str() {
            "not_needed" => String::new(),
            other => format!("; slow cooling: {}", other.replace('_', " ")),
        };
        lines.push((
            "Wanted",
            format!(
                "turning until {}, at least {}{slow}",
                degrees.shown(step.turn_until),
                clock(step.at_least)
            ),
        ));
    }
    match report.stay(&["CoolingDown"]) {
        Some((from, to)) => {
            let told = |at| {
                report.part_at(at).map_or_else(|| NOTHING.to_owned(), |part| degrees.shown(part))
            };
            lines.push((
                "Cooled",
                format!(
                    "{} to {} ({}), part from {} to {}",
                    reader.at(from),
                    reader.at(to),
                    reader.lasted(from, to),
                    told(from),
                    told(to)
                ),
            ));
        }
        None => lines.push(("Cooled", "not reached in this run".to_owned())),
    }
    html! { section { h2 { "Cooling" } (pairs(&lines)) } }
}
