//! Recipes: which there are.

use std::path::PathBuf;

use axum::extract::State;
use maud::{Markup, html};

use super::layout;
use crate::panel::app::App;
use crate::panel::live::Values;
use crate::panel::texts;
use crate::panel::visitor::Visitor;

/// The file of a recipe by the name it is offered under; `None` for any other.
pub(in crate::panel) fn path_of(app: &App, name: &str) -> Option<PathBuf> {
    let names = names(app);
    names.iter().any(|known| known == name).then(|| app.inside.options.recipes.join(name))
}

/// Names of the recipes in the folder.
fn names(app: &App) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(&app.inside.options.recipes)
        .into_iter()
        .flatten()
        .filter_map(Result::ok)
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| name.ends_with(".toml"))
        .collect();
    names.sort();
    names
}

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let inside = html! {
        h1 { (texts::RECIPES) }
        ul.recipes {
            @for name in names(&app) {
                li { span { (name) } form data-post="/load" data-then="/" {
                    input type="hidden" name="recipe" value=(name);
                    button type="submit" { (texts::LOAD) }
                } }
            }
        }
    };
    layout::page(&app, &visitor, "recipes", inside)
}

/// What is live on it.
pub(in crate::panel) fn live(_: &App, _: &Visitor, _: &mut Values) {}
