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
use crate::record::{RecordError, RunId, Store};
use crate::report::{Look, Report};

/// The name of the report and of the file with all rows.
const REPORT: &str = "report.html";
const ROWS: &str = "rows.json";

/// Links to all of them.
pub(super) fn links(run: &RunId) -> Markup {
    let tables = Table::ALL.map(Table::file);
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
        Ok((wanted.made(store, &run, units)?, run))
    });
    match made.await {
        Ok((text, run)) => {
            let headers = [
                (CONTENT_TYPE, wanted.kind().to_owned()),
                (CONTENT_DISPOSITION, format!("attachment; filename=\"{run}-{name}\"")),
            ];
            (headers, text).into_response()
        }
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
