//! A run that was cut off: what lies on its part, what must be done before it goes on, and what a
//! person may choose. No choice is ever made by itself.

use axum::extract::State;
use evenpass_core::resume::{Choice, Stood, Task};
use jiff::Timestamp;
use maud::{Markup, html};

use super::layout;
use crate::panel::app::App;
use crate::panel::texts;
use crate::panel::undone::Undone;
use crate::panel::visitor::Visitor;
use crate::people::Units;
use crate::resuming::CutOff;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let inside = match app.undone() {
        Some(undone) => section(&undone, visitor.units),
        None => html! { section.empty {
            @match app.undone_unknown() {
                Some(why) => { h1 { (texts::UNDONE_UNKNOWN) } p.trouble { (why) } }
                None => { h1 { (texts::UNDONE_NONE) } }
            }
        } },
    };
    layout::page(&app, &visitor, "run", inside)
}

/// The run with its choices.
pub(super) fn section(undone: &Undone, units: Units) -> Markup {
    let now = Timestamp::now();
    html! {
        section.undone {
            h1 { (texts::UNDONE) ": " (texts::RUN) " " (undone.run) }
            @match &undone.cut {
                Ok(cut) => (told(cut, now, units)),
                Err(why) => p.trouble { (units.restate(why)) },
            }
            form data-post="/undone" data-then="/" {
                input type="hidden" name="run" value=(undone.run);
                @if let Ok(cut) = &undone.cut { (fields(cut, now, units)) }
                label { (texts::REASON) input type="text" name="reason" maxlength="300"; }
                p { (texts::NOTHING_MOVES) }
                @for choice in choices(undone, now) {
                    button type="submit" name="choice" value=(choice.word()) data-kind="plain"
                        data-sure=[sure(choice)] {
                        (choice.words())
                    }
                }
            }
        }
    }
}

/// What is asked once more: the panel has no way back from it.
const fn sure(choice: Choice) -> Option<&'static str> {
    match choice {
        Choice::GoOn => None,
        Choice::EndHere => Some(texts::SURE_END_HERE),
        Choice::StripAndReblast => Some(texts::SURE_STRIP),
    }
}

/// What may be chosen. What cannot be planned any more can be ended.
fn choices(undone: &Undone, now: Timestamp) -> Vec<Choice> {
    match &undone.cut {
        Ok(cut) => cut.offer(now).choices,
        Err(_) => vec![Choice::EndHere, Choice::StripAndReblast],
    }
}

fn told(cut: &CutOff, now: Timestamp, units: Units) -> Markup {
    let offer = cut.offer(now);
    html! {
        p { strong { (cut.job.recipe.title) } ": " (units.restate(&cut.found.to_string())) }
        @for line in cut.told(now) { p { (units.restate(&line)) } }
        h2 { (texts::COAT_SO_FAR) }
        table {
            thead { tr {
                th { (texts::ZONE) } th { (texts::FROM) } th { (texts::TO) } th { (texts::COAT) }
            } }
            tbody { @for stretch in &cut.found.stretches { tr {
                td { (stretch.zone) }
                td { (units.restate(&format!("{:.1}", stretch.place.low))) }
                td { (units.restate(&format!("{:.1}", stretch.place.high))) }
                td { (units.restate(&format!("{:.3}", stretch.build))) }
            } } }
        }
        @if let Err(refusal) = &cut.rest { p.trouble { (units.restate(&refusal.to_string())) } }
        h2 { (texts::WHAT_MAY_BE_DONE) }
        p { (texts::IN_DOUBT) " " strong { (offer.default.words()) } ": " (units.restate(&offer.because)) }
        @if cut.rest.is_ok() {
            h2 { (texts::BEFORE_GOING_ON) }
            ul { @for before in cut.before(now) { li { (units.restate(&before.words)) } } }
        }
    }
}

/// What a person has found.
fn fields(cut: &CutOff, now: Timestamp, units: Units) -> Markup {
    let before = cut.before(now);
    let field = |words: &str, name: &str| {
        html! { label { (words) input type="text" name=(name) maxlength="300"; } }
    };
    html! {
        @if cut.rest.is_ok() && cut.found.hand.is_some() {
            (field(texts::STOOD_AT, "stood"))
            p { (Stood::form(&units.restate(Stood::EXAMPLE))) }
        }
        @for task in before.iter().map(|before| &before.task) {
            @match task {
                Task::DatumCheck { .. } => (field(texts::DATUM_READ, "datum")),
                Task::Surface { .. } => (field(texts::SURFACE_SEEN, "surface")),
                Task::Inspect(_) => (field(texts::INSPECTION_FOUND, "inspection")),
                _ => {}
            }
        }
        @if cut.is_overdue(now) { (field(texts::UNBLASTED_WHY, "unblasted")) }
    }
}
