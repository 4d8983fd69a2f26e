//! Plan against what was done, zone by zone and pass by pass.

use evenpass_core::quantity::{Length, fixed};
use maud::{Markup, html};

use super::Report;
use super::chart::{Across, Chart, Line};
use super::coat::{self, Along};
use super::reader::{NOTHING, Reader, figure, range, spread, table};
use crate::people::Scale;
use crate::record::facts::EdgeKind;
use crate::record::figures::PassFigures;
use crate::record::planned::PlannedZone;

/// All zones.
pub(super) fn section(report: &Report, reader: &Reader) -> Markup {
    html! {
        @for zone in &report.planned.zones { (one_zone(report, reader, zone)) }
        @if report.planned.zones.is_empty() && !report.passes.is_empty() {
            section {
                h2 { "Passes" }
                p { "This record does not hold its plan in a form that is known." }
                (motion(reader, None, &report.passes.iter().collect::<Vec<_>>()))
            }
        }
    }
}

fn one_zone(report: &Report, reader: &Reader, zone: &PlannedZone) -> Markup {
    let step = &zone.step;
    let of_zone = report.passes.iter().filter(|pass| pass.row.zone.as_ref() == Some(&step.zone));
    let passes: Vec<&PassFigures> = of_zone.collect();
    let thin = reader.units.of_thicknesses();
    let (wanted, came) = (coat::planned(zone), report.coat(&step.zone));
    let mean = |along: &Along| figure(thin, coat::mean(along));
    html! {
        section {
            h2 { "Zone " (step.zone) ", Z " (range(reader.units.of_lengths(), step.edges)) }
            p { "Planned: " (step.passes.len()) " passes, spindle " (format!("{:.1}", step.spindle))
                ", powder " (reader.units.powder(step.powder_rate)) ", "
                (format!("{:.1}", step.powder)) " in all; part between "
                (range(reader.units.of_temperatures(), step.window)) "." }
            @if !wanted.is_empty() {
                p { "Coat as sprayed, mean along the zone: planned " (mean(&wanted)) " " (thin.symbol)
                    ", estimated " strong { (mean(&came)) " " (thin.symbol) } "." }
            }
            (drawn(reader, &wanted, &came))
            @if passes.is_empty() { p { "No pass was begun." } }
            @else {
                h3 { "Motion and powder" }
                (motion(reader, Some(zone), &passes))
                h3 { "Temperatures, pressures, alarms" }
                (heat(reader, &passes))
            }
        }
    }
}

/// The coat along the zone.
fn drawn(reader: &Reader, wanted: &Along, came: &Along) -> Markup {
    let (thin, place) = (reader.units.of_thicknesses(), reader.units.of_lengths());
    let points = |along: &Along| {
        let at = |value: Length, scale: Scale| {
            evenpass_core::quantity::Quantity::in_unit(value, scale.symbol).unwrap_or(f64::NAN)
        };
        along.iter().map(|(z, coat)| (at(*z, place), at(*coat, thin))).collect()
    };
    let line =
        |name: &str, class, along| Line { name: name.to_owned(), class, points: points(along) };
    let chart = Chart {
        lines: vec![
            line("coat as planned", "wanted-line", wanted),
            line("coat as estimated", "second-line", came),
        ],
        stretches: &[],
        holds: &[0.0],
        across: Across::Place(place.symbol),
        unit: &format!("{} radial, as sprayed; Z across", thin.symbol),
        says: "The coat along the zone, as planned and as estimated",
    };
    chart.draw()
}

/// "3" or "3 again" for a pass that was taken up once more.
fn number(pass: &PassFigures, before: &[&PassFigures]) -> Markup {
    let again = before.iter().any(|other| other.row.pass == pass.row.pass);
    html! { (pass.row.pass) @if again { br; small { "again" } } }
}

fn motion(reader: &Reader, zone: Option<&PlannedZone>, passes: &[&PassFigures]) -> Markup {
    let (place, feed) = (reader.units.of_lengths(), reader.units.of_feeds());
    let heads = [
        "Pass".to_owned(),
        "Start, end".to_owned(),
        format!("Z, {}", place.symbol),
        "Spindle, rpm".to_owned(),
        format!("Feed, {}", feed.symbol),
        format!("Powder on at Z, {}", place.symbol),
        format!("Powder off at Z, {}", place.symbol),
        "Powder, g".to_owned(),
    ];
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let rows = passes.iter().enumerate().map(|(index, pass)| {
        let plan = zone.and_then(|zone| zone.pass(pass.row.pass));
        let edges = zone.map(|zone| zone.step.edges);
        let wanted_feed = plan.zip(edges).and_then(|(plan, edges)| plan.mean_feed(edges));
        vec![
            number(pass, passes.get(..index).unwrap_or_default()),
            html! { (reader.at(pass.row.began)) br; @match pass.row.ended {
                Some(ended) => (reader.at(ended)),
                None => strong { "not ended" },
            } },
            html! { (figure(place, pass.row.from)) " \u{2192} " br; (figure(place, pass.row.to)) },
            html! { small { "set " (zone.map_or_else(|| NOTHING.to_owned(), |zone| fixed(zone.step.spindle.rpm(), 1))) }
                br; (spread(Scale { symbol: "rpm", places: 1 }, pass.spindle)) },
            html! { small { "set " (figure(feed, wanted_feed)) } br; (spread(feed, pass.feed)) },
            edge(pass, EdgeKind::On, place),
            edge(pass, EdgeKind::Off, place),
            html! { (figure(Scale { symbol: "g", places: 1 }, pass.powder)) },
        ]
    });
    table(&heads, rows)
}

fn edge(pass: &PassFigures, kind: EdgeKind, place: Scale) -> Markup {
    let edges: Vec<_> = pass.row.edges.iter().filter(|edge| edge.edge == kind).collect();
    html! {
        @if edges.is_empty() { (NOTHING) }
        @for edge in edges {
            small { "set " (figure(place, edge.planned)) } br; (figure(place, edge.done)) br;
        }
    }
}

fn heat(reader: &Reader, passes: &[&PassFigures]) -> Markup {
    let (degrees, bar) = (reader.units.of_temperatures(), reader.units.of_pressures());
    let heads = [
        "Pass".to_owned(),
        format!("Part, {}", degrees.symbol),
        format!("Fuel, {}", bar.symbol),
        format!("Oxygen, {}", bar.symbol),
        format!("Carrier, {}", bar.symbol),
        "Alarms".to_owned(),
    ];
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let rows = passes.iter().enumerate().map(|(index, pass)| {
        vec![
            number(pass, passes.get(..index).unwrap_or_default()),
            html! { @match pass.row.part {
                Some(span) => { (degrees.figure(span.low)) " \u{2026} " (degrees.figure(span.high)) },
                None => (NOTHING),
            } },
            spread(bar, pass.fuel),
            spread(bar, pass.oxygen),
            spread(bar, pass.carrier),
            html! { @if pass.alarms.is_empty() { "none" }
                @for alarm in &pass.alarms { p { (reader.text(alarm)) } } },
        ]
    });
    table(&heads, rows)
}
