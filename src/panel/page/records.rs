//! Records: what was done.

use axum::extract::State;
use maud::{Markup, html};

use super::layout;
use crate::panel::app::App;
use crate::panel::texts;
use crate::panel::visitor::Visitor;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    layout::page(&app, &visitor, "records", html! { h1 { (texts::RECORDS) } })
}
