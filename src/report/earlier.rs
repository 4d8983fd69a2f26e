//! The runs that made the part before the one of a report, which went on with it: how the part was
//! sprayed stands there.

use maud::{Markup, html};

use super::reader::Reader;
use super::{Look, Report, head, heat, passes, people, trouble};

/// Each of them in its order, under its own name and with its own seal.
pub(super) fn section(report: &Report, look: &Look) -> Markup {
    html! { @for earlier in &report.before { (one(earlier, look)) } }
}

fn one(earlier: &Report, look: &Look) -> Markup {
    let reader = Reader::of(earlier, look);
    let id = &earlier.record.summary.id;
    html! {
        header {
            p.kind { "Made before, of the same part" }
            h1 { "Run " (id) }
        }
        section.outcome { (head::facts(earlier, &reader)) }
        (head::set_up(earlier, &reader))
        (head::powder_and_gases(earlier, &reader))
        // Of a run whose entries are elsewhere nothing may be told as if it had not been.
        @if earlier.record.pruned.is_none() {
            (passes::section(earlier, &reader))
            (heat::fusing(earlier, &reader))
        }
        @if !earlier.measured.is_empty() { (people::measured(earlier, &reader)) }
        @if earlier.record.pruned.is_none() { (trouble::section(earlier, &reader)) }
        (people::deviations(earlier, &reader))
        (head::whole(earlier, &reader))
    }
}
