//! Recipes: which there are, one with every field and its forecast, and a new one by points taken
//! at the machine.

mod against;
mod draft;
mod forecast;
mod import;
mod one;
mod rehearsal;
pub(in crate::panel) mod teach;

use std::path::PathBuf;

use axum::extract::State;
use maud::{Markup, html};

pub(in crate::panel) use self::against::TaughtAgainst;
pub(in crate::panel) use self::draft::{changes, try_it};
pub(in crate::panel) use self::import::import;
pub(in crate::panel) use self::one::{compare, one, save, text};
pub(in crate::panel) use self::rehearsal::rehearse;
use super::layout;
use super::maintenance::Hand;
use crate::panel::app::App;
use crate::panel::live::Values;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;

/// The file of a recipe by the name it is offered under; `None` for any other, so that no name
/// leads out of the folder.
pub(in crate::panel) fn path_of(app: &App, name: &str) -> Option<PathBuf> {
    let names = names(app);
    names.iter().any(|known| known == name).then(|| app.inside.options.recipes.join(name))
}

/// The file of a recipe that is not there yet: a plain name of its own.
fn new_path(app: &App, name: &str) -> Result<PathBuf, String> {
    let plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '-' | '_');
    let stem = name.strip_suffix(".toml").unwrap_or(name);
    // What begins with a hyphen would be an option to the command line.
    if stem.is_empty()
        || stem.starts_with('-')
        || stem.len() > LONGEST_NAME
        || !stem.chars().all(plain)
    {
        return Err(texts::RECIPE_NAME_FORM.to_owned());
    }
    let path = app.inside.options.recipes.join(format!("{stem}.toml"));
    if path.exists() {
        return Err(format!("{stem}.toml {}", texts::IS_THERE_ALREADY));
    }
    Ok(path)
}

/// The button that sends a form which loads a recipe.
fn load_button(kind: &str) -> Markup {
    html! {
        button type="submit" data-kind=(kind) data-live="load" data-mark="off"
            aria-describedby="why-no-load" { (texts::LOAD) }
    }
}

/// Where it stands why nothing can be loaded.
fn why_no_load() -> Markup {
    html! { p.why #why-no-load data-live="load.why" role="status" {} }
}

/// What is live on the pages of recipes.
pub(in crate::panel) fn live(app: &App, visitor: &Visitor, values: &mut Values) {
    let hand = Hand::of(app, visitor);
    let why = hand.why_not(Right::Run, app.station().snapshot().by_hand.load.as_ref());
    values.mark("load", if why.is_none() { "ready" } else { "off" });
    values.html(
        "load.why",
        html! {
            @if let Some(why) = &why {
                span.sign aria-hidden="true" { "\u{2715}" } (texts::NO_LOAD) ": " (why)
            }
        },
    );
}

/// What is wrong, in the place of what was asked for.
fn fault(words: &str) -> Markup {
    html! { p.trouble { (words) } }
}

/// Longest name of a recipe's file, without its ending.
const LONGEST_NAME: usize = 60;

/// Names of the recipes in the folder.
fn names(app: &App) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(&app.inside.options.recipes)
        .into_iter()
        .flatten()
        .filter_map(Result::ok)
        .filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()))
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| name.ends_with(".toml"))
        .collect();
    names.sort();
    names
}

/// Title and revision of a recipe's text, as far as it can be made out.
fn heading(text: &str) -> (String, String) {
    let leaves = evenpass_core::document::leaves(text).unwrap_or_default();
    let of = |path: &str| {
        leaves.iter().find(|leaf| leaf.path == path).map_or_else(String::new, |l| l.shown.clone())
    };
    (of("title"), of("revision"))
}

/// The page.
pub(in crate::panel) async fn page(State(app): State<App>, visitor: Visitor) -> Markup {
    let listing = app.clone();
    let recipes = tokio::task::spawn_blocking(move || {
        let heading = |name: String| {
            let path = listing.inside.options.recipes.join(&name);
            let text = crate::files::read(&path).map(|source| heading(&source.text));
            (name, text)
        };
        names(&listing).into_iter().map(heading).collect::<Vec<_>>()
    })
    .await
    .unwrap_or_default();
    let engineer = visitor.may(Right::Engineer);
    let inside = html! {
        h1 { (texts::RECIPES) }
        @if recipes.is_empty() { p { (texts::NO_RECIPES) } }
        (why_no_load())
        ul.recipes {
            @for (name, read) in &recipes {
                li {
                    a href=(format!("/recipes/{name}")) {
                        @match read {
                            Ok((title, revision)) => {
                                strong { (title) } " r" (revision) br; small { (name) }
                            }
                            Err(_) => { strong { (name) } br; small.trouble { (texts::NOT_READABLE) } }
                        }
                    }
                    form data-post="/load" data-then="/" {
                        input type="hidden" name="recipe" value=(name);
                        (load_button("plain"))
                    }
                }
            }
        }
        @if engineer {
            section {
                h2 { (texts::NEW_RECIPE) }
                p { a.button href="/teach" { (texts::TEACH) } }
                (import::form())
            }
        }
    };
    layout::page(&app, &visitor, "recipes", inside)
}
