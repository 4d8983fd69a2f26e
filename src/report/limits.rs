//! What was read of the finished part, beside the limits of its recipe.

use evenpass_core::recipe::Inspection;
use maud::{Markup, html};

use super::Report;
use super::reader::{NOTHING, Reader, table};
use crate::record::Inspected;

/// The limits of the recipe with what was found, and what is open; nothing where the recipe has none.
pub(super) fn section(report: &Report, reader: &Reader) -> Markup {
    let limits = Inspection::of_text(&report.record.recipe.text);
    let inspected = Inspected::of(&report.marks);
    let judged = inspected.judged(limits.as_ref());
    let held = inspected.held();
    let rows = judged.iter().map(|one| {
        vec![
            html! { (one.limit.title()) },
            html! { (reader.text(&one.limits)) },
            html! { (one.found.as_deref().map_or_else(|| NOTHING.into(), |words| reader.text(words))) },
            html! { (reader.text(&one.told())) },
        ]
    });
    html! {
        @if !judged.is_empty() || !held.is_empty() {
            section {
                h2 { "Inspection" }
                @if !judged.is_empty() { (table(&["What", "Limits", "Found", "How"], rows)) }
                @for (kept, point) in &held {
                    p { strong { "Hold point " (kept.number) " is not released" } ": " (point) }
                }
            }
        }
    }
}
