//! A run as files that a person takes along: its report, all its rows, its tables.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::read;
use crate::export::{ExportError, Table, write_json};
use crate::panel::app::App;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Units;
use crate::record::{Pruned, RecordError, RunId, Store};
use crate::report::{Look, Report};

/// The name of the report and of the file with all rows.
const REPORT: &str = "report.html";
const ROWS: &str = "rows.json";

/// Links to all of them; of a pruned run to what is not made of its entries.
pub(super) fn links(run: &RunId, pruned: Option<&Pruned>) -> Markup {
    let is_here = |table: &Table| !table.is_of_entries() || pruned.is_none();
    let tables = Table::ALL.into_iter().filter(is_here).map(Table::file);
    html! {
        p.files {
            (texts::TAKE_ALONG) " "
            a href=(format!("/records/{run}/{REPORT}")) { (texts::REPORT) }
            ", "
            a href=(format!("/records/{run}/{ROWS}")) { (texts::ALL_ROWS) }
            @for table in tables { ", " a href=(format!("/records/{run}/{table}")) { (table) } }
        }
    }
}

/// One of them. A page of the panel has no style of its own; a file that is kept elsewhere has,
/// and is never shown as one of the panel's.
pub(in crate::panel) async fn file(
    State(app): State<App>,
    visitor: Visitor,
    Path((id, name)): Path<(String, String)>,
) -> Response {
    let Some(wanted) = Wanted::called(&name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let units = visitor.units;
    let made = read(&app, &visitor, move |store| {
        let run = store.find(&id)?;
        let made = match store.pruned(&run)? {
            Some(_) if wanted.is_of_entries() => None,
            _ => Some(wanted.made(store, &run, units)?),
        };
        Ok((made, run))
    });
    match made.await {
        Ok((Some(text), run)) => {
            let headers = [
                (CONTENT_TYPE, wanted.kind().to_owned()),
                (CONTENT_DISPOSITION, format!("attachment; filename=\"{run}-{name}\"")),
            ];
            (headers, text).into_response()
        }
        Ok((None, _)) => (StatusCode::NOT_FOUND, texts::ENTRIES_ELSEWHERE).into_response(),
        Err(trouble) => (StatusCode::NOT_FOUND, trouble).into_response(),
    }
}

/// Which of them.
#[derive(Clone, Copy)]
enum Wanted {
    Report,
    Rows,
    Table(Table),
}

impl Wanted {
    fn called(name: &str) -> Option<Self> {
        let table = || Table::ALL.into_iter().find(|table| table.file() == name);
        match name {
            REPORT => Some(Self::Report),
            ROWS => Some(Self::Rows),
            _ => table().map(Self::Table),
        }
    }

    /// Whether there is nothing to make it of once a run is pruned.
    const fn is_of_entries(self) -> bool {
        matches!(self, Self::Table(table) if table.is_of_entries())
    }

    const fn kind(self) -> &'static str {
        match self {
            Self::Report => "text/html; charset=utf-8",
            Self::Rows => "application/json",
            Self::Table(_) => "text/csv; charset=utf-8",
        }
    }

    fn made(self, store: &Store, run: &RunId, units: Units) -> Result<Vec<u8>, RecordError> {
        let mut text = Vec::new();
        match self {
            Self::Report => {
                let look = Look { units, zone: TimeZone::system(), paper: None };
                text = Report::of(store, run)?.page(&look).into_bytes();
            }
            Self::Rows => {
                if let Err(ExportError::Record(problem)) = write_json(store, run, &mut text) {
                    return Err(problem);
                }
            }
            // Memory takes everything that is written.
            Self::Table(table) => {
                let _ = table.write(&Report::of(store, run)?, &mut text);
            }
        }
        Ok(text)
    }
}
