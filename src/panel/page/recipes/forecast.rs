//! A plan as a page shows it: what it will give, and its pictures.

use evenpass_core::plan::Weight;
use evenpass_core::plan::forecast::clock;
use evenpass_core::quantity::fixed;
use maud::{Markup, PreEscaped, html};

use crate::panel::texts;
use crate::people::Units;
use crate::station::Loaded;

/// Forecast, notes and pictures of a planned job.
pub(super) fn forecast(loaded: &Loaded, units: Units) -> Markup {
    let plan = &loaded.plan;
    let pictures = &loaded.pictures;
    html! {
        @for note in &plan.notes {
            @if note.weight == Weight::Fails { p.trouble { span.sign aria-hidden="true" { "\u{25a0}" } (units.restate(&note.text)) } }
        }
        table {
            thead { tr { @for head in [texts::ZONE, texts::PASSES, texts::AS_SPRAYED, texts::EVEN_WITHIN,
                texts::POWDER] { th { (head) } } } }
            tbody { @for zone in &plan.forecast.zones {
                tr {
                    td { (zone.zone) }
                    td { (zone.passes.planned) }
                    td { (units.thickness(zone.sprayed)) }
                    td { "\u{b1}" (fixed(zone.uneven.percent(), 2)) " %" }
                    td { (zone.powder) }
                }
            } }
        }
        p { (texts::WHOLE_JOB) " " (clock(plan.forecast.total)) }
        figure { figcaption { (texts::OUTLINE) " (\u{d7}" (fixed(pictures.exaggeration, 0)) ")" }
            (PreEscaped(&pictures.outline)) }
        figure { figcaption { (texts::THICKNESS) } (PreEscaped(&pictures.thickness)) }
        figure { figcaption { (texts::FEED_PICTURE) } (PreEscaped(&pictures.feed)) }
        figure { figcaption { (texts::TEMPERATURE) } (PreEscaped(&pictures.temperature)) }
        @if plan.notes.iter().any(|note| note.weight != Weight::Fails) {
            ul.notes { @for note in plan.notes.iter().filter(|note| note.weight != Weight::Fails) { li { (units.restate(&note.text)) } } }
        }
    }
}
