//! A recipe's text from elsewhere becomes a recipe of the folder, once it reads and plans.

use axum::extract::{Form, State};
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;

use super::draft::planned;
use super::new_path;
use crate::editing;
use crate::panel::app::App;
use crate::panel::asking::{Reply, Seal};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;

/// Where the text is put in.
pub(super) fn form() -> Markup {
    html! {
        details {
            summary { (texts::IMPORT) }
            form data-post="/recipes" data-then="/recipes" {
                label { (texts::RECIPE_FILE) input name="name" required maxlength="64"; }
                label { (texts::RECIPE_TEXT) textarea name="text" rows="8" required spellcheck="false" {} }
                button type="submit" { (texts::IMPORT) }
            }
        }
    }
}

#[derive(Debug, Deserialize)]
pub(in crate::panel) struct Imported {
    name: String,
    text: String,
    #[serde(flatten)]
    seal: Seal,
}

/// Takes it.
pub(in crate::panel) async fn import(
    State(app): State<App>,
    visitor: Visitor,
    Form(given): Form<Imported>,
) -> Response {
    let what: String = format!("import {}", given.name).chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &given.seal, &what) {
        return refused;
    }
    let reply = match visitor.right(Right::Engineer) {
        Ok(()) => {
            let taking = app.clone();
            let kept =
                tokio::task::spawn_blocking(move || keep(&taking, &given.name, &given.text)).await;
            match kept {
                Ok(Ok(())) => Reply::done(),
                Ok(Err(problem)) => Reply::refused(problem),
                Err(broken) => Reply::refused(broken.to_string()),
            }
        }
        Err(reply) => reply,
    };
    visitor.told(&app, &what, reply)
}

/// Keeps a new recipe. Nothing is written unless it reads and can be planned.
///
/// # Errors
/// Everything that is wrong with name or text, as a person is to read it.
pub(super) fn keep(app: &App, name: &str, text: &str) -> Result<(), String> {
    let path = new_path(app, name.trim())?;
    let text = text.replace("\r\n", "\n");
    planned(app, &path, &text)?;
    editing::create(&path, text.as_bytes())
        .map_err(|trouble| format!("{}: {trouble}", path.display()))
}
