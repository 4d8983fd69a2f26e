//! Run: the loaded job, what is missing before its start, and the job as it goes.

use axum::extract::State;
use evenpass_core::plan::Weight;
use evenpass_core::plan::forecast::clock;
use maud::{Markup, html};

use super::recipes::changes;
use super::{batches, layout};
use crate::batch::telling::lots_of;
use crate::panel::app::App;
use crate::panel::live::{self, part::Sheet};
use crate::panel::visitor::Visitor;
use crate::panel::{set_up, texts};
use crate::particulars::ASKED;
use crate::people::Units;
use crate::station::Loaded;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let loaded = app.station().loaded();
    let inside = html! {
        @match &loaded {
            None => {
                @match app.undone() {
                    Some(undone) => (super::undone::section(&undone, visitor.units)),
                    None => div data-live="undone" {},
                }
                section.empty {
                    h1 { (texts::NO_JOB) }
                    p { a.button href="/recipes" { (texts::CHOOSE) } }
                    (layout::cautions())
                }
            },
            Some(loaded) => {
                div data-live="undone" {}
                (job(&app, loaded, visitor.units))
            },
        }
    };
    layout::page(&app, &visitor, "run", inside)
}

/// What is otherwise than in the last part's recipe.
fn since_last(loaded: &Loaded) -> Markup {
    let Some(since) = &loaded.since_last else { return html! {} };
    html! {
        section {
            h2 { (texts::SINCE_LAST) " " (since.run) ", " (since.title) }
            @if since.differences.is_empty() { p { (texts::SAME_RECIPE) } }
            (changes(&since.differences))
        }
    }
}

/// The job. What is missing before a start comes first while none is under way; then the part and
/// the figures do.
fn job(app: &App, loaded: &Loaded, units: Units) -> Markup {
    let recipe = &loaded.job.recipe;
    let stage = live::stage(&app.station().snapshot());
    html! {
        div.job data-live="stage" data-mark=(stage) {
            section.title {
                h1 { (recipe.title) small { " r" (recipe.revision) } }
                @if let Some(goes_on) = &loaded.goes_on { p { (texts::REST_OF) " " (goes_on.run) } }
                p.newer data-live="recipe.newer" role="status" {}
            }
            section.batch data-live="batch" {}
            (batches::forms::telling(&lots_of(&loaded.job, &loaded.plan), &html! { span data-live="batch.of" {} }, None))
            section.before {
                h2 { (texts::PERMISSIVES) }
                ul.permissives data-live="permissives" {}
            }
            div.acts data-live="acts" {}
            (set_up())
            section.part-picture { (Sheet::of(loaded).still(units)) }
            div.columns {
                section.scales data-live="scales" {}
                dl.figures data-live="figures" {}
            }
            (forecast(loaded, units))
            (since_last(loaded))
            section { (layout::cautions()) }
        }
    }
}

/// The lines that are ticked before a start, until they are.
fn set_up() -> Markup {
    html! {
        section.set-up data-live="set-up" data-mark="open" {
            h2 { (texts::SET_UP) }
            p.checked data-live="set-up.checked" data-ticks="set-up" role="status" {}
            p.unchecked { span.sign aria-hidden="true" { "\u{25b2}" } (texts::SET_UP_UNCHECKED) }
            form #set-up data-post="/checked" {
                ul { @for (number, line) in texts::SET_UP_LIST.iter().enumerate() {
                    li { label { input type="checkbox" name=(format!("line{number}")) value="yes" required; (line) } }
                } }
                details {
                    summary { (texts::OF_PART) }
                    div.fields { @for asked in ASKED {
                        label { (asked.name) small { (asked.wanted) }
                            input type="text" name=(set_up::field(asked)) maxlength="300"; }
                    } }
                }
                button type="submit" data-kind="plain" { (texts::SET_UP_DONE) }
            }
        }
    }
}

fn forecast(loaded: &Loaded, units: Units) -> Markup {
    let forecast = &loaded.plan.forecast;
    html! {
        section.forecast {
            h2 { (texts::FORECAST) }
            @for note in loaded.plan.notes.iter().filter(|note| note.weight == Weight::Fails) {
                p.trouble { (units.restate(&note.text)) }
            }
            table {
                tbody {
                    @for zone in &forecast.zones {
                        tr {
                            th { (zone.zone) }
                            td { (zone.passes.planned) " " (texts::PASSES_COUNTED) }
                            td { (zone.powder) }
                        }
                    }
                    tr { th { (texts::TAKES) } td { (clock(forecast.total)) } td {} }
                }
            }
        }
    }
}
