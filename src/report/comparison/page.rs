//! The comparison of two runs as a page.

use evenpass_core::document::Difference;
use evenpass_core::quantity::{Mass, Pressure, SpindleSpeed, Temperature};
use maud::{Markup, html};

use super::super::chart::{Across, Chart, Line, sampled};
use super::super::reader::{NOTHING, table};
use super::super::{Look, Report, frame};
use super::Comparison;
use crate::people::Units;

/// The comparison as one HTML page that needs nothing else.
#[must_use]
pub fn page(one: &Report, other: &Report, look: &Look) -> String {
    let found = Comparison::of(one, other, look.units);
    let [first, second] = &found.runs;
    let heads = ["", &format!("run {first}"), &format!("run {second}")];
    let body = html! {
        header {
            p.kind { "Two runs compared" }
            h1 { (first) " and " (second) }
            @for report in [one, other] {
                p { "Run " (report.record.summary.id) ": " (report.record.summary.title) ", "
                    (report.record.summary.started_at.to_zoned_datetime(look.zone.clone()).strftime("%Y-%m-%d %H:%M").to_string()) }
            }
        }
        @for words in found.elsewhere() { p { strong { (words) } } }
        (fields("Recipe", found.recipe.as_deref(), &heads))
        (fields("Rig", found.rig.as_deref(), &heads))
        @for group in &found.groups {
            section {
                h2 { (group.title) }
                @if group.otherwise().next().is_none() {
                    p { "All " (group.figures.len()) " figures are alike." }
                } @else {
                    p.small { (group.otherwise().count()) " of " (group.figures.len())
                        " figures differ as they are shown; the others are left out." }
                    (table(&heads, group.otherwise().map(|figure| vec![
                        html! { (figure.what) }, html! { (figure.one) }, html! { (figure.other) },
                    ])))
                }
            }
        }
        (charts(one, other, look.units))
    };
    let title = format!("Runs {first} and {second} compared");
    frame::page(&title, &title, look.paper, &body)
}

fn fields(what: &str, found: Option<&[Difference]>, heads: &[&str]) -> Markup {
    let told = |value: &Option<String>| html! { (value.as_deref().unwrap_or(NOTHING)) };
    html! {
        section {
            h2 { (what) }
            @match found {
                None => p { "One of the two texts cannot be read by this version: compare them by eye." },
                Some([]) => p { "Both say the same." },
                Some(found) => (table(heads, found.iter().map(|field| {
                    vec![html! { (field.path) }, told(&field.old), told(&field.new)]
                }))),
            }
        }
    }
}

fn charts(one: &Report, other: &Report, units: Units) -> Markup {
    let both = |field: &str, name: &str, read: &dyn Fn(&Report) -> Vec<(f64, f64)>| {
        let lines = [(one, "second-line"), (other, "first-line")].map(|(report, class)| Line {
            name: format!("{name}, run {}", report.record.summary.id),
            class,
            points: read(report),
        });
        (field.to_owned(), Vec::from(lines))
    };
    let (degrees, bar) = (units.of_temperatures().symbol, units.of_pressures().symbol);
    let sheets = [
        (
            both("Part temperature", "part", &|report| {
                sampled::<Temperature>(&report.record.entries, "part", degrees)
            }),
            degrees,
        ),
        (
            both("Coat temperature", "coat", &|report| {
                sampled::<Temperature>(&report.record.entries, "coat", degrees)
            }),
            degrees,
        ),
        (
            both("Spindle", "spindle", &|report| {
                sampled::<SpindleSpeed>(&report.record.entries, "spindle", "rpm")
            }),
            "rpm",
        ),
        (
            both("Oxygen pressure", "oxygen", &|report| {
                sampled::<Pressure>(&report.record.entries, "oxygen", bar)
            }),
            bar,
        ),
        (
            both("Powder in the hopper", "hopper", &|report| {
                sampled::<Mass>(&report.record.entries, "hopper", "g")
            }),
            "g",
        ),
    ];
    html! {
        section {
            h2 { "Over time" }
            p.small { "Each run is counted from its own beginning." }
            @for ((head, lines), unit) in sheets {
                h3 { (head) }
                (Chart { lines, stretches: &[], holds: &[], across: Across::Time, unit, says: &head }.draw())
            }
        }
    }
}
