//! What stands around every page: where one can go, who commands, and hold, restart and stop,
//! always in the same place.

use maud::{DOCTYPE, Markup, html};

use crate::panel::app::App;
use crate::panel::texts;
use crate::panel::visitor::{Visitor, seat_key};
use crate::people::{LengthUnit, PressureUnit, TemperatureUnit};
use crate::record::RunKind;
use crate::station::{Seat, is_same_person, shown_name};

/// Where one can go: address, name of the live page, words, a sign.
const PLACES: [(&str, &str, &str, &str); 5] = [
    ("/", "run", texts::RUN, "\u{25d4}"),
    ("/maintenance", "maintenance", texts::MAINTENANCE, "\u{25a4}"),
    ("/recipes", "recipes", texts::RECIPES, "\u{25ad}"),
    ("/batches", "batches", texts::batches::BATCHES, "\u{25a6}"),
    ("/records", "records", texts::RECORDS, "\u{25a5}"),
];

/// A button that asks something of the controller.
pub(in crate::panel) fn button(ask: &str, words: &str, kind: &str) -> Markup {
    html! { button type="button" data-ask=(ask) data-kind=(kind) { (words) } }
}

/// The same with a value.
pub(in crate::panel) fn button_with(ask: &str, value: &str, words: &str) -> Markup {
    html! { button type="button" data-ask=(ask) data-value=(value) data-kind="plain" { (words) } }
}

/// The cautions that stand wherever somebody begins.
pub(in crate::panel) fn cautions() -> Markup {
    html! {
        details.cautions open {
            summary { (texts::CAUTION) }
            p { (texts::CAUTIONS) }
        }
    }
}

/// What a browser is told before the page itself; `also` is what only some pages have.
fn head(title: &str, also: &Markup) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width";
            meta name="color-scheme" content="light dark";
            title { (title) ", " (texts::PRODUCT) }
            link rel="icon" href="data:,";
            (also)
            link rel="stylesheet" href="/assets/panel.css";
        }
    }
}

/// A page by itself.
pub(in crate::panel) fn bare(title: &str, inside: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(title, &html! {}))
            body.bare { (inside) }
        }
    }
}

/// Where a page is: its place among all, and the name of its live values.
#[derive(Debug, Clone, Copy)]
pub(in crate::panel) struct Here<'a> {
    /// The place, as [`PLACES`] names it.
    pub(in crate::panel) place: &'a str,
    /// The live page, where a place has several.
    pub(in crate::panel) live: &'a str,
    /// What the page is called.
    pub(in crate::panel) title: &'a str,
}

/// The page of a place for somebody who is signed in.
pub(in crate::panel) fn page(app: &App, visitor: &Visitor, here: &str, inside: Markup) -> Markup {
    let title = PLACES.iter().find(|place| place.1 == here).map_or(texts::BENCH, |place| place.2);
    page_at(app, visitor, Here { place: here, live: here, title }, inside)
}

/// The same for one of the several pages of a place, or for one that is no place.
pub(in crate::panel) fn page_at(
    app: &App,
    visitor: &Visitor,
    Here { place: here, live, title }: Here<'_>,
    inside: Markup,
) -> Markup {
    let station = app.station();
    let twin = station.kind() == RunKind::Twin;
    let moving = html! {
        link rel="stylesheet" href="/assets/picture.css";
        script src="/assets/panel.js" defer {}
    };
    html! {
        (DOCTYPE)
        html lang="en" {
            (head(title, &moving))
            body data-page=(live) data-form=(visitor.form) {
                nav.places {
                    @for (to, name, words, sign) in PLACES {
                        a href=(to) aria-current=[(name == here).then_some("page")] {
                            span.sign aria-hidden="true" { (sign) } (words)
                        }
                    }
                    @if twin {
                        a href="/bench" aria-current=[(here == "bench").then_some("page")] {
                            span.sign aria-hidden="true" { "\u{25c7}" } (texts::BENCH)
                        }
                    }
                }
                header {
                    div.state data-live="state.mark" data-mark="normal" {
                        span data-live="state" { (visitor.units.restate(&station.snapshot().status.text)) }
                    }
                    div.who {
                        span { (visitor.name) ", " (visitor.role) }
                        @if twin { span.kind { (texts::ON_TWIN) } }
                        (account(visitor))
                    }
                    div.seat data-live="seat" {}
                    span data-live="turn" hidden {}
                }
                div.lost hidden role="alert" { (texts::NOT_LIVE) }
                div.said hidden role="status" aria-live="polite" {}
                main {
                    div data-live="record" {}
                    div data-live="prompt" {}
                    div data-live="alert" {}
                    (inside)
                }
                aside.command {
                    (button("hold", texts::HOLD, "hold"))
                    div.restart {
                        button type="button" data-ask="restart" data-kind="restart"
                            data-live="restart" { (texts::RESTART) }
                        p.what data-live="restart.what" {}
                    }
                    form.stop method="post" action="/stop" data-stop="" {
                        button.stop type="submit" { (texts::STOP) }
                    }
                }
            }
        }
    }
}

/// A person's units, and signing out.
fn account(visitor: &Visitor) -> Markup {
    let units = visitor.units;
    html! {
        details.account {
            summary { (texts::UNITS) }
            form data-post="/units" {
                select name="length" aria-label="length" {
                    @for unit in LengthUnit::ALL {
                        option value=(word(unit)) selected[unit == units.length] { (unit.symbol()) }
                    }
                }
                select name="temperature" aria-label="temperature" {
                    @for unit in TemperatureUnit::ALL {
                        option value=(word(unit)) selected[unit == units.temperature] { (unit.sign()) }
                    }
                }
                select name="pressure" aria-label="pressure" {
                    @for unit in PressureUnit::ALL {
                        option value=(word(unit)) selected[unit == units.pressure] { (unit.symbol()) }
                    }
                }
                button type="submit" { (texts::USE_THESE) }
            }
            form data-post="/sign-out" { button type="submit" { (texts::SIGN_OUT) } }
        }
    }
}

/// A unit as forms name it.
fn word(unit: impl serde::Serialize) -> String {
    match serde_json::to_value(unit) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

/// Who commands, and what the reader can do about it.
pub(in crate::panel) fn seat(seat: &Seat, visitor: &Visitor) -> Markup {
    let mine = seat_key(visitor.number);
    let act = |act: &str, words: &str| {
        html! { button type="button" data-seat=(act) { (words) } }
    };
    html! {
        @match seat.holder() {
            None => { span data-mark="free" { (texts::SEAT_FREE) } (act("take", texts::TAKE_SEAT)) }
            Some(holder) if *holder.key == *mine => {
                span data-mark="mine" { (texts::SEAT_YOURS) }
                @if let Some(asking) = seat.asking() {
                    strong { (shown_name(&asking.name)) " " (texts::ASKS_FOR_SEAT) }
                    (act("give", texts::GIVE_SEAT)) (act("keep", texts::KEEP_SEAT))
                } @else { (act("leave", texts::LEAVE_SEAT)) }
            }
            Some(holder) if is_same_person(holder, &visitor.name) => {
                span data-mark="others" { (texts::SEAT_YOURS_ELSEWHERE) }
                (act("take", texts::SEAT_TAKE_BACK))
            }
            Some(holder) => {
                span data-mark="others" { (shown_name(&holder.name)) " " (texts::COMMANDS) }
                @if let Some(asking) = seat.asking() {
                    span { (shown_name(&asking.name)) " " (texts::ASKS_FOR_SEAT) }
                } @else { (act("take", texts::ASK_FOR_SEAT)) }
            }
        }
    }
}
