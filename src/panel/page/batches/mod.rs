//! Batches: the list of orders, one order with its parts and what the next one needs, its shift
//! report; and how the order in hand stands, for the page Run.

pub(in crate::panel) mod forms;
mod one;

use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use jiff::tz::TimeZone;
use maud::{Markup, html};
use serde::Deserialize;

use super::layout;
use crate::batch::before::{Before, Weight};
use crate::batch::job::{file_name, find};
use crate::batch::parts::{tally_of, tried};
use crate::batch::served::Shown;
use crate::batch::shift::{Asked, Shift};
use crate::files;
use crate::panel::app::App;
use crate::panel::batches::{Shop, in_one_line};
use crate::panel::texts::batches as texts;
use crate::panel::visitor::Visitor;
use crate::record::{Batch, BatchId, RecordError, Store};
use crate::report::shift;

/// Orders in the list: what a person pages through; the command line has them all.
const LISTED: usize = 100;

/// Which order, and from which of its parts on.
#[derive(Debug, Deserialize)]
pub(in crate::panel) struct Which {
    name: String,
    #[serde(default)]
    from: usize,
}

/// The list.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Response {
    let shop = Shop::of(&app);
    let look = move || shop.store().and_then(|store| lines(&store)).map_err(|p| p.whole());
    let inside = match app.read_records(&visitor, look).await.flatten() {
        Ok(lines) => list(&lines),
        Err(trouble) => html! { h1 { (texts::BATCHES) } p.trouble { (in_one_line(&trouble)) } },
    };
    layout::page(&app, &visitor, "batches", inside).into_response()
}

/// One order.
pub(in crate::panel) async fn one(
    State(app): State<App>,
    visitor: Visitor,
    Query(which): Query<Which>,
) -> Response {
    let shop = Shop::of(&app);
    let chosen = app.station().chosen();
    let look = move || one::Order::read(&shop, &which.name, which.from, &chosen);
    // Its recipe may have to be planned.
    let (status, inside) = match app.plan(&visitor, look).await.flatten() {
        Ok(order) => (StatusCode::OK, order.page(visitor.units)),
        Err(trouble) => {
            let trouble = in_one_line(&trouble);
            (StatusCode::NOT_FOUND, html! { h1 { (texts::BATCHES) } p.trouble { (trouble) } })
        }
    };
    (status, layout::page(&app, &visitor, "batches", inside)).into_response()
}

/// Its shift report, to be kept and printed: as [`super::records::files`], never one of the panel's
/// own pages.
pub(in crate::panel) async fn report(
    State(app): State<App>,
    visitor: Visitor,
    Query(which): Query<Which>,
) -> Response {
    let (shop, folder) = (Shop::of(&app), app.inside.options.catalogue.clone());
    let look = move || {
        let store = shop.store().map_err(|problem| problem.whole())?;
        let batch = find(&store, &which.name).map_err(|problem| problem.whole())?;
        let recipe = std::path::PathBuf::from(&batch.recipe.name);
        let catalogue = files::catalogue(folder.as_deref(), Some(&recipe))?;
        let batches = std::slice::from_ref(&batch);
        let asked = Asked { batches, kind: batch.kind, since: None, until: None };
        let shift = Shift::of(&store, asked, &catalogue).map_err(|problem| problem.whole())?;
        Ok((shift::page(&shift, &TimeZone::system(), None), batch.id))
    };
    match app.read_records(&visitor, look).await.and_then(|made: Result<_, String>| made) {
        Ok((text, id)) => {
            let file = format!("attachment; filename=\"{}-shift.html\"", plain(&id));
            let kind = "text/html; charset=utf-8".to_owned();
            ([(CONTENT_TYPE, kind), (CONTENT_DISPOSITION, file)], text).into_response()
        }
        Err(trouble) => (StatusCode::NOT_FOUND, trouble).into_response(),
    }
}

/// A name of which a file's can be made.
fn plain(id: &BatchId) -> String {
    let plain = |letter: char| if letter.is_ascii_alphanumeric() { letter } else { '-' };
    id.as_str().chars().map(plain).collect()
}

/// The address of an order's page, or of what belongs to it: a name may have any letter.
pub(super) fn address(of: &str, id: &BatchId) -> String {
    let letter = |byte: u8| match byte {
        b'0'..=b'9' | b'A'..=b'Z' | b'a'..=b'z' | b'-' | b'_' | b'.' => {
            char::from(byte).to_string()
        }
        byte => format!("%{byte:02X}"),
    };
    format!("{of}?name={}", id.as_str().bytes().map(letter).collect::<String>())
}

/// An order with how many of its parts stand how.
struct Line {
    batch: Batch,
    counts: [usize; 6],
}

fn lines(store: &Store) -> Result<Vec<Line>, RecordError> {
    let line = |batch: Batch| {
        let tally = tally_of(&batch, &tried(store, &batch)?);
        let counts = [
            batch.ordered.serials.len(),
            tally.passed.len(),
            tally.undecided.len(),
            tally.on_hold.len(),
            tally.scrapped,
            tally.queue.len(),
        ];
        Ok(Line { batch, counts })
    };
    store.batches()?.into_iter().rev().take(LISTED + 1).map(line).collect()
}

fn list(lines: &[Line]) -> Markup {
    let words = ["parts", "pass", "undecided", "hold", "scrap", "to make"];
    html! {
        h1 { (texts::BATCHES) }
        @if lines.is_empty() { p { (texts::NO_BATCHES) } }
        @else {
            section {
                table.runs {
                    thead { tr {
                        th { "batch" } th { "made" } th { "recipe" } th { "where" }
                        @for word in words { th.count { (word) } }
                    } }
                    tbody {
                        @for Line { batch, counts } in lines.iter().take(LISTED) {
                            tr {
                                td { a href=(address("/batch", &batch.id)) { (batch.id) } }
                                td { (wall(batch)) }
                                td.words { (file_name(&batch.recipe.name)) }
                                td { (batch.kind.word()) }
                                @for count in counts { td.count { (count) } }
                            }
                        }
                    }
                }
                @if lines.len() > LISTED { p { (texts::MORE_BATCHES) } }
            }
        }
    }
}

fn wall(batch: &Batch) -> String {
    batch.made_at.to_zoned_datetime(TimeZone::system()).strftime("%Y-%m-%d").to_string()
}

/// What the next part needs, what must be done first leading, and how far the stocks reach.
pub(super) fn needs(next: &Before) -> Markup {
    let first = |weight| weight != Weight::Told;
    html! {
        ul.permissives {
            @for need in &next.needs {
                @if first(need.weight()) {
                    li data-mark="missing" {
                        span.sign aria-hidden="true" { "\u{25b2}" } (texts::FIRST) ": " (need)
                    }
                } @else { li { (need) } }
            }
            @if next.needs.is_empty() {
                li { span.sign aria-hidden="true" { "\u{2713}" } (texts::NOTHING_NEEDED) }
            }
        }
        (pairs(&next.stocks()))
    }
}

/// Names and words.
pub(super) fn pairs(rows: &[(String, String)]) -> Markup {
    html! { dl.pairs { @for (name, words) in rows { dt { (name) } dd { (words) } } } }
}

/// The order of the loaded job, for the page Run: what is to be done for it, and beside that the ways
/// to its own page and to the other orders.
pub(in crate::panel) fn block(shown: &Shown) -> Markup {
    if shown.in_hand.is_none() && shown.order.is_none() && !shown.without {
        return html! {};
    }
    html! {
        div {
            @if let Some(hand) = &shown.in_hand {
                h2 {
                    (texts::BATCH) " " (hand.batch) ": part " (hand.part.number) " of " (hand.of)
                    ", serial " (hand.part.serial) ", " (texts::BEING_MADE)
                }
            }
            @match (&shown.order, &shown.next) {
                (Some(id), Some(next)) => {
                    @if shown.in_hand.is_some() {
                        p { strong { (texts::NEXT) ": " (id) ", " (next.title()) } }
                    } @else { h2 { (texts::BATCH) " " (id) ": " (next.title()) } }
                    (needs(next))
                },
                (Some(id), None) => { p { (texts::BATCH) " " (id) ": " (texts::NO_PART_TO_MAKE) } },
                (None, _) => @if shown.without { p { (texts::PARTS_BY_THEMSELVES) } },
            }
        }
        div.buttons {
            @if let Some(id) = shown.told_of() {
                a.button href=(address("/batch", id)) { (texts::ORDER_PAGE) }
            }
            a.button href="/batches" { (texts::ANOTHER_ORDER) }
        }
    }
}
