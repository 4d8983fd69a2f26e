//! What people measured, changed and asked for.

use evenpass_core::learn::{Finish, Measured, PartMeasured};
use evenpass_core::ledger::EntryKind;
use maud::{Markup, html};

use super::Report;
use super::reader::{NOTHING, Reader, figure, table};
use crate::people::Units;
use crate::record::{MarkRecord, MeasurementRecord, RunId, Said};

/// What was measured of the part.
pub(super) fn measured(report: &Report, reader: &Reader) -> Markup {
    html! {
        section {
            h2 { "Measured of the part" }
            @if report.measured.is_empty() { p { (nothing_measured(report)) } }
            @for kept in &report.measured {
                @if let Measured::Part(part) = &kept.measurement.measured { (one(report, reader, kept, part)) }
            }
        }
    }
}

/// What inspectors read stands with what people added, and with the limits.
fn nothing_measured(report: &Report) -> &'static str {
    let read = |kept: &MarkRecord| {
        kept.taken_back_by.is_none()
            && matches!(
                kept.mark.said,
                Said::Thickness { .. } | Said::Hardness { .. } | Said::CoatChecked { .. }
            )
    };
    if report.marks.iter().any(read) {
        "No diameters and weights that a plan learns from. What else was read of the part stands \
         under \u{201c}What people added\u{201d}."
    } else {
        "Nothing was measured yet."
    }
}

fn no_deviations(report: &Report) -> &'static str {
    let signed = |kept: &MarkRecord| matches!(kept.mark.said, Said::Deviated { .. });
    if report.marks.iter().any(signed) {
        "None were made in the run itself. Those that people signed stand under \u{201c}What people \
         added\u{201d}."
    } else {
        "None are in the record."
    }
}

fn one(report: &Report, reader: &Reader, kept: &MeasurementRecord, part: &PartMeasured) -> Markup {
    let (thin, place) = (reader.units.of_thicknesses(), reader.units.of_lengths());
    let told = &kept.measurement;
    let finish = match part.finish {
        Finish::AsSprayed => "as sprayed",
        Finish::Fused => "after fusing",
    };
    let at = part.temperature.map_or_else(|| "cold".to_owned(), |at| reader.units.temperature(at));
    let heads = [
        format!("Z, {}", place.symbol),
        format!("Diameter before, {}", thin.symbol),
        format!("Diameter found, {}", thin.symbol),
        format!("Cold, {}", thin.symbol),
        format!("More on radius, cold, {}", thin.symbol),
    ];
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let rows = part.diameters.iter().map(|reading| {
        let cold = report.cold(part, reading);
        let drawn = report.basis.as_ref().map(|basis| basis.part.diameter_at(reading.at));
        let grown = cold.zip(reading.before.or(drawn)).map(|(cold, before)| (cold - before) / 2.0);
        vec![
            html! { (place.figure(reading.at)) },
            html! { @match reading.before { Some(before) => (thin.figure(before)), None => "as drawn" } },
            html! { (thin.figure(reading.found)) },
            html! { (figure(thin, cold)) },
            html! { (figure(thin, grown)) },
        ]
    });
    html! {
        p { "Measurement " (kept.number) ", " (told.measured_on) ", " (told.person) ": " (finish) ", " (at)
            ", one standard deviation " (thin.shown(part.micrometer)) "." }
        @if let Some(by) = &kept.withdrawn {
            p { strong { "Withdrawn" } " by " (by.person) ": " (by.reason) }
        }
        @if !part.diameters.is_empty() { (table(&heads, rows)) }
        @if let Some(weights) = part.weights {
            p { "Weight before " (format!("{:.2}", weights.before)) ", after "
                (format!("{:.2}", weights.after)) "." }
        }
        @if let Some(fed) = part.fed { p { "Powder fed in the run " (format!("{:.1}", fed.mass)) "." } }
    }
}

/// What was done otherwise than planned, by whom and why.
pub(super) fn deviations(report: &Report, reader: &Reader) -> Markup {
    let heads = ["At", "What", "From", "To", "By", "Why"];
    let or_nothing = |words: &Option<String>| {
        html! { (words.as_deref().map_or_else(|| NOTHING.into(), |words| reader.text(words))) }
    };
    let rows = report.record.deviations.iter().map(|one| {
        vec![
            html! { @match one.at { Some(at) => (reader.at(at)), None => (NOTHING) } },
            html! { (reader.text(&one.what)) },
            or_nothing(&one.from),
            or_nothing(&one.to),
            or_nothing(&one.person),
            html! { @if one.reason.is_empty() { "no reason was given" } @else { (one.reason) } },
        ]
    });
    html! {
        section {
            h2 { "Deviations and overrides" }
            @if report.record.deviations.is_empty() { p { (no_deviations(report)) } }
            @else { (table(&heads, rows)) }
        }
    }
}

/// What people added to the part, in this run and in those before it.
pub(super) fn added(report: &Report, reader: &Reader) -> Markup {
    let of_other = |of: &&RunId| **of != report.record.summary.id;
    let added = report.marks.iter().map(|kept| {
        vec![
            html! { span.when { (reader.wall(kept.mark.at, "%Y-%m-%d %H:%M")) } },
            html! { (kept.mark.person) },
            html! { (kept.number) ": " (said(reader, &kept.mark.said))
            @if let Some(run) = kept.mark.run.as_ref().filter(of_other) { " (to run " (run) ")" } },
            html! { @match kept.taken_back_by {
                Some(by) => { strong { "taken back by " (by) } },
                None => "counts",
            } },
        ]
    });
    html! {
        @if !report.marks.is_empty() {
            section {
                h2 { "What people added" }
                (table(&["When", "Who", "What", "Does it count"], added))
            }
        }
    }
}

/// What was added, in words.
fn said(reader: &Reader, said: &Said) -> String {
    let with = |words: String, reason: &str| {
        if reason.is_empty() { words } else { format!("{words}: {reason}") }
    };
    match said {
        Said::Decided { verdict, reason } => with(format!("decided: {}", verdict.word()), reason),
        Said::Lot { of, lot, certificate, .. } => match certificate {
            Some(certificate) => format!("lot of {of}: {lot}, certificate {certificate}"),
            None => format!("lot of {of}: {lot}"),
        },
        Said::Refilled { holds } => format!("hopper filled, it holds {holds:.0}"),
        Said::TipCleaned { torch, .. } => format!("tip of {torch} cleaned"),
        Said::Blasted { ended, .. } => {
            format!("blasted until {}", reader.wall(*ended, "%Y-%m-%d %H:%M"))
        }
        Said::TakenBack { mark, reason } => with(format!("takes back {mark}"), reason),
        other => in_units(other, reader.units),
    }
}

/// What was said, with what was read in a person's units; what somebody wrote stays as they did.
pub(crate) fn in_units(said: &Said, units: Units) -> String {
    match said {
        Said::CoatChecked { .. }
        | Said::Hardness { .. }
        | Said::Thickness { .. }
        | Said::RunOut { .. }
        | Said::Lot { .. }
        | Said::Refilled { .. } => units.restate(&said.to_string()).into_owned(),
        _ => said.to_string(),
    }
}

/// Who asked for what.
pub(super) fn acts(report: &Report, reader: &Reader) -> Markup {
    let entries = report.record.entries.iter();
    let asked = entries.filter(|entry| entry.kind == EntryKind::Request).map(|entry| {
        let person = entry.data.get("person").and_then(|person| person.as_str());
        vec![
            html! { (reader.at(entry.at)) },
            html! { (person.unwrap_or(NOTHING)) },
            html! { (reader.text(&entry.text)) },
            html! { (reader.text(&entry.cause)) },
        ]
    });
    let acts = report.acts.iter().map(|act| {
        vec![
            html! { (reader.wall(act.at, "%Y-%m-%d %H:%M:%S")) },
            html! { (act.person) @if let Some(role) = act.role { ", " (role) } },
            html! { (act.what) },
            html! { (act.answer.to_string()) "; from " (act.whence.to_string()) },
        ]
    });
    html! {
        section {
            h2 { "What people asked" }
            (table(&["At", "Who", "What", "Why"], asked))
        }
        @if !report.acts.is_empty() {
            section {
                h2 { "Acts by the wall clock" }
                (table(&["When", "Who", "What", "Answer"], acts))
            }
        }
    }
}
