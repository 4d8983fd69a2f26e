//! Maintenance: the carriage by hand, the signals, and the proof tests.

use axum::extract::State;
use maud::{Markup, html};

use super::layout;
use crate::panel::app::App;
use crate::panel::live::Values;
use crate::panel::texts;
use crate::panel::visitor::Visitor;

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    layout::page(&app, &visitor, "maintenance", html! { h1 { (texts::MAINTENANCE) } })
}

/// What is live on it.
pub(in crate::panel) fn live(_: &App, _: &Visitor, _: &mut Values) {}
