//! A recipe's text from elsewhere becomes a recipe of the folder, once it reads and plans.

use axum::extract::{Form, State};
use axum::response::Response;
use jiff::Timestamp;
use maud::{Markup, html};
use serde::Deserialize;

use super::draft::planned;
use super::new_path;
use crate::files;
use crate::panel::app::App;
use crate::panel::asking::{Reply, Seal};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;
use crate::revisions::{self, Beginning, Origin};

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
            let (taking, who) = (app.clone(), visitor.name.to_string());
            let kept = app.plan(&visitor, move || {
                keep(&taking, &given.name, &given.text, &who, Beginning::Imported)
            });
            kept.await.flatten().map_or_else(Reply::refused, |()| Reply::done())
        }
        Err(reply) => reply,
    };
    visitor.told(&app, &what, reply)
}

/// Keeps a new recipe with its maker. Nothing is written unless it reads and can be planned.
///
/// # Errors
/// Everything that is wrong with name or text, as a person is to read it; or that it could not be
/// written.
pub(super) fn keep(
    app: &App,
    name: &str,
    text: &str,
    who: &str,
    beginning: Beginning,
) -> Result<(), String> {
    let path = new_path(app, name.trim())?;
    let text = text.replace("\r\n", "\n");
    planned(app, &path, &text)?;
    let catalogue = files::catalogue(app.inside.options.catalogue.as_deref(), Some(&path))?;
    let origin = Origin { who, when: Timestamp::now(), how: beginning };
    revisions::begin(&path, &text, origin, &catalogue).map(drop)
}
