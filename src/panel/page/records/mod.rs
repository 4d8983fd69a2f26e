//! Records: the list of runs, and one run with what people said of its part and with its charts.

mod add;
mod added;
pub(in crate::panel) mod files;
mod forms;
mod run;
mod typed;

pub(in crate::panel) use self::add::add;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use evenpass_core::plan::forecast::clock;
use evenpass_core::recipe::Substrate;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::layout;
use crate::panel::app::App;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Units;
use crate::record::{
    MarkRecord, Of, Outcome, RecordError, RunRecord, RunSummary, Store, records_file,
};

/// Runs in the list: what a person pages through; the command line has them all.
const LISTED: usize = 200;

/// The list.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Response {
    let inside = match read(&app, &visitor, |store| store.runs()).await {
        Ok(runs) => list(&runs, visitor.units),
        Err(trouble) => html! { h1 { (texts::RECORDS) } p.trouble { (trouble) } },
    };
    layout::page(&app, &visitor, "records", inside).into_response()
}

/// One run.
pub(in crate::panel) async fn one(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Response {
    match read(&app, &visitor, move |store| Shown::of(store, &id)).await {
        Ok(shown) => {
            let inside = run::page(&shown, &visitor);
            layout::page(&app, &visitor, "records", inside).into_response()
        }
        Err(trouble) => {
            let inside = html! { h1 { (texts::RECORDS) } p.trouble { (trouble) } };
            let page = layout::page(&app, &visitor, "records", inside);
            (StatusCode::NOT_FOUND, page).into_response()
        }
    }
}

/// A run with what people added to it.
struct Shown {
    record: RunRecord,
    marks: Vec<MarkRecord>,
    /// What its part is made of, where it says where its powder was released.
    substrate: Option<Substrate>,
}

impl Shown {
    fn of(store: &Store, id: &str) -> Result<Self, RecordError> {
        let id = store.find(id)?;
        Ok(Self {
            record: store.run(&id)?,
            marks: store.marks(Of::Part(&id))?,
            substrate: store.basis(&id)?.map(|basis| basis.part.substrate),
        })
    }
}

/// Reads the records.
async fn read<T: Send + 'static>(
    app: &App,
    visitor: &Visitor,
    read: impl FnOnce(&Store) -> Result<T, RecordError> + Send + 'static,
) -> Result<T, String> {
    let read = move |store: Store| read(&store).map_err(|problem| problem.whole());
    in_records(app, visitor, read).await.flatten()
}

/// Does something with the records, opened for this alone, where nobody waits for the disk: the scan
/// least of all, whose own records have a thread that writes them.
async fn in_records<T: Send + 'static>(
    app: &App,
    visitor: &Visitor,
    work: impl FnOnce(Store) -> T + Send + 'static,
) -> Result<T, String> {
    let records = app.station().records().map(std::path::Path::to_owned);
    let working = app.read_records(visitor, move || {
        let store = records_file(records.as_deref()).and_then(|file| Store::open_existing(&file));
        store.map(work).map_err(|problem| problem.whole())
    });
    working.await.flatten()
}

fn list(runs: &[RunSummary], units: Units) -> Markup {
    html! {
        h1 { (texts::RECORDS) }
        @if runs.is_empty() { p { (texts::NO_RECORDS) } }
        @else {
            section {
                table.runs {
                    thead { tr {
                        @for head in [texts::RUN_ID, texts::BEGAN, texts::TITLE, texts::OUTCOME,
                            texts::PASSES, texts::TOOK] { th { (head) } }
                    } }
                    tbody {
                        @for run in runs.iter().rev().take(LISTED) {
                            tr {
                                td { a href=(format!("/records/{}", run.id)) { (run.id) } }
                                td { (wall(run.started_at, "%Y-%m-%d %H:%M")) }
                                td { (run.title) " " small { (run.kind.word()) } }
                                td { (outcome(run, units)) }
                                td { (run.passes_done) @if let Some(of) = run.passes_planned { "/" (of) } }
                                td { (clock(run.lasted)) }
                            }
                        }
                    }
                }
                @if runs.len() > LISTED { p { (texts::MORE_RUNS) } }
            }
        }
    }
}

/// What became of a run, by sign and word; a cause beside it.
fn outcome(run: &RunSummary, units: Units) -> Markup {
    let (mark, sign) = match run.outcome {
        Outcome::Complete => ("normal", "\u{2713}"),
        Outcome::Open => ("normal", "\u{2026}"),
        Outcome::Stopped => ("held", "\u{25b2}"),
        Outcome::Tripped | Outcome::Failed | Outcome::Interrupted => ("tripped", "\u{25a0}"),
    };
    html! {
        span.outcome data-mark=(mark) { span.sign aria-hidden="true" { (sign) } (run.outcome.word()) }
        @if let Some(cause) = &run.first_cause { ": " (units.restate(cause)) }
    }
}

/// A time by the clock on the wall.
fn wall(at: Timestamp, form: &str) -> String {
    at.to_zoned_datetime(TimeZone::system()).strftime(form).to_string()
}
