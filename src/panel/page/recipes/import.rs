//! A recipe's text from elsewhere becomes a recipe of the folder, once it reads and plans.

use axum::extract::{Form, State};
use axum::response::Response;
use jiff::Timestamp;
use maud::{Markup, html};
use serde::Deserialize;

use super::draft::planned;
use super::new_path;
use crate::durable;
use crate::editing::Digest;
use crate::files;
use crate::panel::app::App;
use crate::panel::asking::{Reply, Seal};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;
use crate::revisions::{self, Wanted};

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
                let first = First { who: &who, why: texts::IMPORTED_HERE };
                keep(&taking, &given.name, &given.text, first)
            });
            kept.await.flatten().map_or_else(Reply::refused, |()| Reply::done())
        }
        Err(reply) => reply,
    };
    visitor.told(&app, &what, reply)
}

/// Whose first revision a new recipe is, and how it came about.
#[derive(Debug, Clone, Copy)]
pub(super) struct First<'a> {
    pub(super) who: &'a str,
    pub(super) why: &'a str,
}

/// Keeps a new recipe, with who made it as its first revision. Nothing is written unless it reads
/// and can be planned.
///
/// # Errors
/// Everything that is wrong with name or text, as a person is to read it; or that the recipe is
/// there, and who made it could not be written.
pub(super) fn keep(app: &App, name: &str, text: &str, first: First<'_>) -> Result<(), String> {
    let path = new_path(app, name.trim())?;
    let text = text.replace("\r\n", "\n");
    planned(app, &path, &text)?;
    let catalogue = files::catalogue(app.inside.options.catalogue.as_deref(), Some(&path))?;
    durable::create(&path, text.as_bytes())
        .map_err(|trouble| format!("{}: {trouble}", path.display()))?;
    let First { who, why } = first;
    let expected = &Digest::of(&text);
    let wanted = Wanted { text: &text, who, when: Timestamp::now(), why, expected };
    revisions::save(&path, &wanted, &catalogue)
        .map(drop)
        .map_err(|trouble| format!("{}: {trouble}", texts::FIRST_NOT_KEPT))
}
