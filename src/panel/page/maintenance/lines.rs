//! The lines and the scan, counted since the program began.

use axum::extract::State;
use evenpass_core::line::LineCounters;
use evenpass_core::quantity::fixed;
use evenpass_core::rig::LineSpec;
use evenpass_core::scan::Snapshot;
use maud::{Markup, html};

use super::section;
use crate::panel::app::App;
use crate::panel::live::Values;
use crate::panel::texts;
use crate::panel::visitor::Visitor;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let inside = html! {
        section.counters { h2 { (texts::LINES) } div data-live="lines" {} }
        section.counters { h2 { (texts::POWDER_EDGES) } dl.figures data-live="lines.powder" {} }
        section.counters { h2 { (texts::SCAN) } dl.figures data-live="lines.scan" {} }
    };
    section(&app, &visitor, "lines", inside)
}

/// What is live on it.
pub(super) fn live(app: &App, values: &mut Values) {
    let snapshot = app.station().snapshot();
    values.html("lines", lines(&app.station().rig().lines, &snapshot.lines));
    values.html("lines.powder", powder(&snapshot));
    values.html("lines.scan", scan(&snapshot));
}

/// What is counted of a line, in the order of interest, with what it means.
fn counted(counters: &LineCounters) -> [(&'static str, &'static str, String); 11] {
    let milliseconds = counters.longest_exchange.as_secs_f64() * 1e3;
    [
        (texts::REQUESTS, texts::REQUESTS_ARE, counters.requests.to_string()),
        (texts::REPLIES, texts::REPLIES_ARE, counters.replies.to_string()),
        (texts::TIME_OUTS, texts::TIME_OUTS_ARE, counters.time_outs.to_string()),
        (texts::LONGEST, texts::LONGEST_IS, format!("{} ms", fixed(milliseconds, 1))),
        (texts::REFUSALS, texts::REFUSALS_ARE, counters.exceptions.to_string()),
        (texts::CORRUPT, texts::CORRUPT_ARE, counters.corrupt.to_string()),
        (texts::TORN, texts::TORN_ARE, counters.torn.to_string()),
        (texts::LATE_REPLIES, texts::LATE_REPLIES_ARE, counters.late.to_string()),
        (texts::FOREIGN, texts::FOREIGN_ARE, counters.foreign.to_string()),
        (texts::QUARANTINES, texts::QUARANTINES_ARE, counters.quarantines.to_string()),
        (texts::RECONNECTIONS, texts::RECONNECTIONS_ARE, counters.reconnections.to_string()),
    ]
}

fn lines(specs: &[LineSpec], counters: &[LineCounters]) -> Markup {
    let columns: Vec<_> = counters.iter().map(counted).collect();
    let Some(first) = columns.first() else { return html! {} };
    html! {
        table.counts {
            thead {
                tr {
                    th {}
                    @for spec in specs { th scope="col" { (spec.name) small { " " (spec.baud) " baud" } } }
                    th { (texts::MEANS) }
                }
            }
            tbody {
                @for (place, (name, meaning, _)) in first.iter().enumerate() {
                    tr {
                        th scope="row" { (name) }
                        @for column in &columns { td { (column.get(place).map_or("", |row| &row.2)) } }
                        td { small { (meaning) } }
                    }
                }
            }
        }
    }
}

fn powder(snapshot: &Snapshot) -> Markup {
    let powder = &snapshot.powder;
    let error = powder.worst_error.as_secs_f64() * 1e3;
    figures(&[
        (texts::EDGES, powder.edges.to_string()),
        (texts::EDGES_DROPPED, powder.dropped.to_string()),
        (texts::EDGES_VOID, powder.void.to_string()),
        (texts::EDGE_ERROR, format!("{} ms", fixed(error, 2))),
    ])
}

fn scan(snapshot: &Snapshot) -> Markup {
    let beat = snapshot.beat;
    let late = std::time::Duration::from_micros(beat.worst_late_us).as_secs_f64() * 1e3;
    figures(&[
        (texts::SCANS, beat.scans.to_string()),
        (texts::SCANS_SKIPPED, beat.skipped.to_string()),
        (texts::WORST_LATE, format!("{} ms", fixed(late, 2))),
    ])
}

fn figures(rows: &[(&str, String)]) -> Markup {
    html! { @for (name, value) in rows { div.figure { dt { (name) } dd { (value) } } } }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_count_of_every_line_of_the_rig_is_shown_under_the_line_s_name() {
        let (rig, _) = crate::files::rig(None).expect("the bench");
        let shown = lines(&rig.lines, &[LineCounters::default(); 2]).into_string();
        for spec in &rig.lines {
            assert!(shown.contains(&spec.name), "{}", spec.name);
        }
        // A counter added to the line is a row missing here.
        let names = serde_json::to_value(LineCounters::default()).expect("an object");
        let count = names.as_object().map_or(0, serde_json::Map::len);
        assert_eq!(counted(&LineCounters::default()).len(), count);
        assert_eq!(shown.matches("<td>0</td>").count(), 2 * (count - 1));
    }
}
