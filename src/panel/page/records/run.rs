//! One run as a person reads it on the panel.

use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::plan::forecast::clock;
use evenpass_core::quantity::{Length, Pressure, Quantity, Temperature, Time, fixed};
use maud::{Markup, html};
use serde_json::Value;

use super::{Shown, added, files, forms, outcome, wall};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Units;
use crate::record::facts::{EdgeKind, PassRow, course};
use crate::record::response::responses;
use crate::record::{Deviation, Pruned, RunRecord, total_in_words};
use crate::report::chart::{Across, Chart, Line, sampled};

/// The inside of its page.
pub(super) fn page(shown: &Shown, visitor: &Visitor) -> Markup {
    let (record, units) = (&shown.record, visitor.units);
    let run = &record.summary;
    let began = record.entries.first().map_or(0.0, |entry| entry.at.as_seconds());
    let at = |entry_at: f64| clock(Time::from_s(entry_at - began));
    html! {
        p { a href="/records" { "\u{2190} " (texts::RECORDS) } }
        section {
            h1 { (run.id) ": " (run.title) }
            dl.figures {
                div.figure { dt { (texts::OUTCOME) } dd { (outcome(run, units)) } }
                div.figure { dt { (texts::BEGAN) } dd {
                    (wall(run.started_at, "%Y-%m-%d %H:%M:%S"))
                } }
                div.figure { dt { (texts::TOOK) } dd { (clock(run.lasted)) } }
                @for (name, words) in &record.particulars {
                    div.figure { dt { (name) } dd { (words) } }
                }
            }
        }
        (added::section(shown, visitor))
        (forms::section(shown, visitor))
        (files::links(&run.id, record.pruned.as_ref()))
        // Of a run whose entries are elsewhere nothing may be told as if it had not been.
        @match &record.pruned {
            Some(pruned) => {
                (elsewhere(pruned))
                (changed(&record.deviations, &at))
            }
            None => (of_entries(record, units, &at)),
        }
        (totals(record, units))
    }
}

/// That the entries of a run are elsewhere.
fn elsewhere(pruned: &Pruned) -> Markup {
    html! {
        section {
            h2 { (texts::COURSE) }
            p { strong { (texts::ENTRIES_ELSEWHERE) } }
            p { (pruned.entries) " " (texts::ENTRIES_WENT) " " (pruned.file) ", "
                (wall(pruned.at, "%Y-%m-%d")) ", " (pruned.person) }
        }
    }
}

/// What is told of what was written while the run was made.
fn of_entries(record: &RunRecord, units: Units, at: &dyn Fn(f64) -> String) -> Markup {
    html! {
        (temperatures(&record.entries, units))
        (pressures(&record.entries, units))
        (passes(&record.passes, units, at))
        (changed(&record.deviations, at))
        section {
            h2 { (texts::COURSE) }
            table { tbody {
                @for state in course(&record.entries) {
                    tr { td { (at(state.at.as_seconds())) } td { (units.restate(&state.text)) } td { (units.restate(&state.cause)) } }
                }
            } }
        }
        (held(record, units, at))
        section {
            h2 { (texts::ASKED) }
            table { tbody {
                @for entry in record.entries.iter().filter(|entry| entry.kind == EntryKind::Request) {
                    tr { td { (at(entry.at.as_seconds())) } td { (units.restate(&entry.text)) } td { (units.restate(&entry.cause)) } }
                }
            } }
        }
    }
}

fn temperatures(entries: &[Entry], units: Units) -> Markup {
    let lines = [
        ("part", texts::PART_TEMPERATURE, "first-line"),
        ("coat", texts::COAT_TEMPERATURE, "second-line"),
    ];
    let unit = units.temperature.sign();
    over_time::<Temperature>(texts::TEMPERATURE, entries, &lines, unit)
}

fn pressures(entries: &[Entry], units: Units) -> Markup {
    let lines = [
        ("fuel", texts::FUEL, "first-line"),
        ("oxygen", texts::OXYGEN, "second-line"),
        ("carrier", texts::CARRIER, "third-line"),
    ];
    over_time::<Pressure>(texts::PRESSURE, entries, &lines, units.pressure.symbol())
}

/// Lines over the run's time: what was sampled, what it is called, and the class that draws it.
fn over_time<Q: Quantity>(
    head: &str,
    entries: &[Entry],
    lines: &[(&str, &str, &'static str)],
    unit: &'static str,
) -> Markup {
    let lines = lines.iter().map(|(field, name, class)| Line {
        name: (*name).to_owned(),
        class,
        points: sampled::<Q>(entries, field, unit),
    });
    let chart = Chart {
        lines: lines.collect(),
        stretches: &[],
        holds: &[],
        across: Across::Time,
        unit,
        says: head,
    };
    html! { section { h2 { (head) } (chart.draw()) } }
}

fn passes(passes: &[PassRow], units: Units, at: &dyn Fn(f64) -> String) -> Markup {
    let place =
        |place: Option<Length>| place.map_or_else(|| "\u{2013}".to_owned(), |at| units.length(at));
    html! {
        @if !passes.is_empty() {
            section {
                h2 { (texts::PASSES) }
                table {
                    thead { tr { @for head in [texts::PASS, texts::ZONE, texts::BEGAN, texts::TOOK,
                        texts::POWDER_ON, texts::POWDER_OFF, texts::PART_TEMPERATURE] { th { (head) } } } }
                    tbody { @for pass in passes {
                        tr {
                            td { (pass.pass) @if let Some(of) = pass.of { "/" (of) } }
                            td { (pass.zone.as_deref().unwrap_or("")) }
                            td { (at(pass.began.as_seconds())) }
                            td { @match pass.ended {
                                Some(ended) => { (fixed(ended.since(pass.began).as_secs_f64(), 1)) " s" },
                                None => { (texts::UNFINISHED) },
                            } }
                            @for kind in [EdgeKind::On, EdgeKind::Off] {
                                td { @for edge in pass.edges.iter().filter(|edge| edge.edge == kind) {
                                    (place(edge.done)) " " small { (texts::PLANNED) " " (place(edge.planned)) } " "
                                } }
                            }
                            td { @if let Some(span) = pass.part {
                                (units.temperature(span.low)) " " (texts::TO) " " (units.temperature(span.high))
                            } }
                        }
                    } }
                }
            }
        }
    }
}

/// What was done otherwise than planned.
fn changed(deviations: &[Deviation], at: &dyn Fn(f64) -> String) -> Markup {
    html! {
        @if !deviations.is_empty() {
            section {
                h2 { (texts::OTHERWISE) }
                table {
                    thead { tr { @for head in [texts::CHANGED_AT, texts::CHANGED_WHAT, texts::CHANGED_FROM,
                        texts::TO, texts::CHANGED_BY, texts::CHANGED_WHY] { th { (head) } } } }
                    tbody { @for one in deviations {
                        tr {
                            td { @if let Some(when) = one.at { (at(when.as_seconds())) } }
                            td { (one.what) }
                            @for words in [&one.from, &one.to, &one.person] {
                                td { (words.as_deref().unwrap_or("\u{2013}")) }
                            }
                            td { (one.reason) }
                        }
                    } }
                }
            }
        }
    }
}

/// What held, stopped or tripped it, and what the machine did.
fn held(record: &RunRecord, units: Units, at: &dyn Fn(f64) -> String) -> Markup {
    let all = responses(&record.entries);
    html! {
        @if !all.is_empty() {
            section {
                h2 { (texts::HOLDS_AND_TRIPS) }
                @for response in &all {
                    p {
                        strong { (at(response.began.as_seconds())) ", " (response.class) ": "
                            (units.restate(response.cause.as_ref().map_or(&response.title, |cause| &cause.what))) }
                    }
                    table {
                        thead { tr { @for head in [texts::EFFECT, texts::EFFECT_ASKED, texts::EFFECT_SENT,
                            texts::EFFECT_READ, texts::EFFECT_SEEN] { th { (head) } } } }
                        tbody { @for effect in &response.effects {
                            tr {
                                td { (units.restate(&effect.what)) }
                                @for after in [effect.asked_us, effect.on_the_wire_us, effect.read_back_us, effect.seen_us] {
                                    td { @if let Some(after) = after { (after / 1000) " ms" } }
                                }
                            }
                        } }
                    }
                }
            }
        }
    }
}

fn totals(record: &RunRecord, units: Units) -> Markup {
    let Value::Object(totals) = &record.totals else { return html! {} };
    html! {
        section {
            h2 { (texts::TOTALS) }
            table { tbody { @for (name, value) in totals {
                tr { th { (name.replace('_', " ")) } td { (units.restate(&total_in_words(value))) } }
            } } }
        }
    }
}
