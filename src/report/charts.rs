//! The run over its time, with its passes marked.

use evenpass_core::quantity::{Mass, Pressure, Quantity, Speed, SpindleSpeed, Temperature};
use maud::{Markup, html};

use super::Report;
use super::chart::{Across, Chart, Line, Stretch, sampled};
use super::reader::Reader;

/// All charts over time.
pub(super) fn section(report: &Report, reader: &Reader) -> Markup {
    let units = reader.units;
    let (degrees, bar, feed) =
        (units.of_temperatures().symbol, units.of_pressures().symbol, units.of_feeds().symbol);
    let marked = stretches(report, reader);
    let entries = &report.record.entries;
    let line = |name: &str, class, points| Line { name: name.to_owned(), class, points };
    let draw = |says: &str, lines, unit: &str| {
        let chart =
            Chart { lines, stretches: &marked, holds: &[], across: Across::Time, unit, says };
        chart.draw()
    };
    let planned: Vec<(f64, f64)> = report
        .planned
        .temperatures
        .iter()
        .filter_map(|point| Some((point.at.s(), point.seen.in_unit(degrees)?)))
        .collect();
    let temperatures = vec![
        line("part", "second-line", sampled::<Temperature>(entries, "part", degrees)),
        line(
            "coat, by the fusing pyrometer",
            "first-line",
            sampled::<Temperature>(entries, "coat", degrees),
        ),
        line("part, as planned", "third-line", planned),
    ];
    let pressures = vec![
        line("fuel", "first-line", sampled::<Pressure>(entries, "fuel", bar)),
        line("oxygen", "second-line", sampled::<Pressure>(entries, "oxygen", bar)),
        line("carrier", "third-line", sampled::<Pressure>(entries, "carrier", bar)),
    ];
    let spindle = sampled::<SpindleSpeed>(entries, "spindle", "rpm");
    let feeds = sampled::<Speed>(entries, "feed", feed);
    let hopper = sampled::<Mass>(entries, "hopper", "g");
    html! {
        section {
            h2 { "Over time" }
            p.small { "Time is counted from the beginning of the run. Grey stretches are passes, with their
                numbers; the plan's temperature is counted from its own beginning." }
            h3 { "Temperatures" } (draw("Temperatures over time", temperatures, degrees))
            h3 { "Spindle" }
            (draw("Spindle speed over time", vec![line("spindle", "second-line", spindle)], "rpm"))
            h3 { "Feed" }
            (draw("Feed over time", vec![line("feed, toward the tail above zero", "second-line", feeds)], feed))
            h3 { "Gas and air pressures" } (draw("Pressures over time", pressures, bar))
            h3 { "Powder" }
            (draw("Powder in the hopper over time", vec![line("left in the hopper", "second-line", hopper)], "g"))
        }
    }
}

/// The passes as stretches of time.
fn stretches(report: &Report, reader: &Reader) -> Vec<Stretch> {
    let last = report.record.entries.last().map(|entry| entry.at);
    let passes = report.passes.iter().filter_map(|pass| {
        let to = pass.row.ended.or(last)?;
        let span = (reader.seconds(pass.row.began), reader.seconds(to));
        Some(Stretch { span, label: pass.row.pass.to_string() })
    });
    passes.collect()
}
