//! The shift's report as one page without anything from outside, to be printed on A4 or Letter.

pub(crate) mod rows;

use jiff::tz::TimeZone;
use maud::{Markup, html};

use self::rows::{
    COURSE, DRIFT, KEEP_LINKS, MEASURED, OTHERWISE, PARTS, TOLD, TROUBLE, WENT, course_cells,
    deviation_rows, drift_rows, head, measured_cells, part_cells, trouble_rows, wall,
};
use super::{Paper, frame};
use crate::batch::job::parts_made;
use crate::batch::shift::Shift;
use crate::shown::Layout;

/// The whole page.
pub(crate) fn page(shift: &Shift, zone: &TimeZone, paper: Option<Paper>) -> String {
    let names: Vec<&str> = shift.batches.iter().map(|batch| batch.id.as_str()).collect();
    let title = format!("Shift report {}", names.join(", "));
    let told: Vec<(String, String)> = shift
        .told
        .iter()
        .map(|line| {
            let at = wall(line.at, zone, "%m-%d %H:%M:%S");
            (at, format!("{}: {}", line.person, line.words))
        })
        .collect();
    let body = html! {
        header {
            p.kind { (parts_made(shift.kind)) }
            h1 { (title) }
        }
        (pairs("", &head(shift, zone)))
        (table("Parts", &PARTS, shift.parts.iter().map(|line| part_cells(line, zone))))
        (table(WENT, &COURSE, shift.parts.iter().map(course_cells)))
        (pairs(DRIFT, &drift_rows(shift)))
        (pairs(TROUBLE, &trouble_rows(shift)))
        (table("Measured", &MEASURED, measured_cells(shift).into_iter()))
        (pairs(TOLD, &told))
        (pairs(OTHERWISE, &deviation_rows(shift)))
        @if let Some(last) = &shift.last_links {
            p.small.links { "The last links of the records: " code { (last) } ". " (KEEP_LINKS) }
        }
        p.small {
            "evenpass " (env!("CARGO_PKG_VERSION"))
            ". Gas is worked out of the planned flow and the time the fuel's valve was open."
        }
    };
    frame::page(&title, &title, paper, &body)
}

fn pairs(title: &str, rows: &[(String, String)]) -> Markup {
    html! {
        @if !rows.is_empty() {
            section {
                @if !title.is_empty() { h2 { (title) } }
                dl.pairs { @for (name, words) in rows { div { dt { (name) } dd { (words) } } } }
            }
        }
    }
}

fn table<const N: usize>(
    title: &str,
    columns: &[(&str, Layout); N],
    rows: impl Iterator<Item = [String; N]>,
) -> Markup {
    let class = |layout: Layout| (layout == Layout::Figure).then_some("figure");
    let mut rows = rows.peekable();
    html! {
        @if rows.peek().is_some() {
            section {
                h2 { (title) }
                table {
                    thead {
                        tr {
                            @for (heading, layout) in columns {
                                th scope="col" class=[class(*layout)] { (heading) }
                            }
                        }
                    }
                    tbody {
                        @for row in rows {
                            tr {
                                @for (cell, (_, layout)) in row.iter().zip(columns) {
                                    td class=[class(*layout)] { (cell) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
