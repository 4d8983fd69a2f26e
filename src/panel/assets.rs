//! Style sheets and scripts, inside the program.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

use crate::picture;

const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";

/// Name, kind and text of each.
const ASSETS: [(&str, &str, &str); 3] = [
    ("panel.css", CSS, include_str!("assets/panel.css")),
    ("panel.js", SCRIPT, include_str!("assets/panel.js")),
    ("picture.css", CSS, picture::STYLE),
];

/// One of them. A browser asks again after each start of the program, which may be a newer one.
pub(super) async fn asset(Path(name): Path<String>) -> Response {
    match ASSETS.iter().find(|(known, ..)| *known == name) {
        Some((_, kind, text)) => {
            ([(CONTENT_TYPE, *kind), (CACHE_CONTROL, "no-cache")], *text).into_response()
        }
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
