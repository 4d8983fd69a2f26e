//! The pages, each with what it shows while it stands still; what moves is in [`super::live`].

pub(super) mod batches;
pub(super) mod bench;
pub(super) mod layout;
pub(super) mod maintenance;
pub(super) mod recipes;
pub(super) mod records;
pub(super) mod run;
pub(super) mod undone;

use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use maud::html;

use super::texts;

/// Any other address.
pub(super) async fn not_found() -> Response {
    let page = layout::bare(
        texts::NOT_FOUND,
        html! {
            main.sign-in { h1 { (texts::NOT_FOUND) } p { a href="/" { (texts::RUN) } } }
        },
    );
    (StatusCode::NOT_FOUND, page).into_response()
}
