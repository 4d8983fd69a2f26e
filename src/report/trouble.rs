//! Holds, stops and trips, with what the machine did and when.

use maud::{Markup, html};

use super::Report;
use super::reader::{NOTHING, Reader, table};
use crate::record::response::{Response, responses};

/// All of them.
pub(super) fn section(report: &Report, reader: &Reader) -> Markup {
    let all = responses(&report.record.entries);
    html! {
        section {
            h2 { "Holds, stops and trips" }
            @if all.is_empty() { p { "There were none." } }
            @for response in &all { (one(reader, response)) }
        }
    }
}

fn one(reader: &Reader, response: &Response) -> Markup {
    let heads = ["Effect", "asked", "on the wire", "read back", "seen"];
    let rows = response.effects.iter().map(|effect| {
        let stages = [effect.asked_us, effect.on_the_wire_us, effect.read_back_us, effect.seen_us];
        let after = stages.iter().map(|after| {
            html! { @match after { Some(after) => { (after / 1000) " ms" }, None => (NOTHING) } }
        });
        core::iter::once(html! { (reader.text(&effect.what)) }).chain(after).collect()
    });
    html! {
        h3 { (reader.at(response.began)) ", " (response.class) ": " (reader.text(&response.title)) }
        @if let Some(cause) = &response.cause {
            p { (reader.text(&cause.what)) }
            @if !cause.to_do.is_empty() { p { "To do: " (reader.text(&cause.to_do)) } }
        }
        @if !response.effects.is_empty() { (table(&heads, rows)) }
    }
}
