//! Maintenance: the carriage by hand, the signals, the proof tests, the lines and the calibrations,
//! each on a page of its own, so that none has more on it than its work needs.

mod by_hand;
pub(in crate::panel) mod calibrations;
mod carriage;
mod lines;
mod proofs;
mod signals;
mod travel;

use maud::{Markup, html};

pub(in crate::panel::page) use self::by_hand::Hand;
pub(in crate::panel) use self::carriage::page as carriage;
pub(in crate::panel) use self::lines::page as lines;
pub(in crate::panel) use self::proofs::{Standings, page as proofs};
pub(in crate::panel) use self::signals::page as signals;
use super::layout::{self, Here};
use crate::panel::app::App;
use crate::panel::live::{Page, Values};
use crate::panel::texts;
use crate::panel::visitor::Visitor;

/// The name that the place has among all places.
const PLACE: &str = "maintenance";

/// The pages: address, name of the live page, words, a sign.
const SECTIONS: [(&str, &str, &str, &str); 5] = [
    ("/maintenance", PLACE, texts::CARRIAGE, "\u{2194}"),
    ("/maintenance/signals", "signals", texts::SIGNALS, "\u{223f}"),
    ("/maintenance/proofs", "proofs", texts::PROOFS, "\u{2713}"),
    ("/maintenance/lines", "lines", texts::LINES, "\u{21c4}"),
    ("/maintenance/calibrations", "calibrations", texts::CALIBRATIONS, "\u{00b1}"),
];

/// A page of maintenance, with the way to its others.
fn section(app: &App, visitor: &Visitor, live: &str, inside: Markup) -> Markup {
    let here = Here { place: PLACE, live, title: texts::MAINTENANCE };
    layout::page_at(
        app,
        visitor,
        here,
        html! {
            nav.sections aria-label=(texts::MAINTENANCE) {
                @for (to, name, words, sign) in SECTIONS {
                    a href=(to) aria-current=[(name == live).then_some("page")] {
                        span.sign aria-hidden="true" { (sign) } (words)
                    }
                }
            }
            (inside)
        },
    )
}

/// The carriage by hand, for any page on which it is to be moved.
pub(in crate::panel) fn carriage_by_hand(app: &App, visitor: &Visitor) -> Markup {
    html! {
        (carriage::strip(app, visitor))
        section.acts data-live="carriage.acts" {}
    }
}

/// What is live of that.
pub(in crate::panel) fn live_by_hand(app: &App, visitor: &Visitor, values: &mut Values) {
    carriage::live(app, visitor, values);
}

/// What is live on each of them.
pub(in crate::panel) async fn live(app: &App, visitor: &Visitor, page: Page, values: &mut Values) {
    match page {
        Page::Signals => signals::live(app, visitor, values),
        Page::Proofs => proofs::live(app, visitor, values).await,
        Page::Lines => lines::live(app, values),
        _ => carriage::live(app, visitor, values),
    }
}
