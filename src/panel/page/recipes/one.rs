//! One recipe: every field with the forecast beside it, saved as a new revision with who, when and
//! why, and its revisions compared.

use std::path::{Path, PathBuf};

use axum::extract::{Form, Path as Named, Query, State};
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use evenpass_core::document::{Leaf, leaves};
use jiff::Timestamp;
use maud::{Markup, html};
use serde::Deserialize;

use super::draft::{self, FIELD, changes, edited, planned, trouble};
use super::forecast::forecast;
use super::{load_button, path_of, why_no_load};
use crate::files;
use crate::panel::app::App;
use crate::panel::aside::aside;
use crate::panel::asking::{Reply, Seal};
use crate::panel::page::{layout, not_found};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;
use crate::revisions::{self, History, Standing, Wanted};
use crate::station::Loaded;

/// What is read of a recipe for its page.
struct Read {
    text: String,
    leaves: Vec<Leaf>,
    history: Result<History, String>,
    planned: Result<Loaded, String>,
}

fn read(app: &App, path: &Path) -> Result<Read, String> {
    let text = files::read(path)?.text;
    Ok(Read {
        leaves: leaves(&text).unwrap_or_default(),
        history: revisions::list(path),
        planned: planned(app, path, &text),
        text,
    })
}

/// The page.
pub(in crate::panel) async fn one(
    State(app): State<App>,
    visitor: Visitor,
    Named(name): Named<String>,
) -> Response {
    let Some(path) = path_of(&app, &name) else { return not_found().await };
    let reading = app.clone();
    let read = app.plan(&visitor, move || read(&reading, &path)).await;
    let inside = match read {
        Ok(Ok(read)) => shown(&name, &read, &visitor),
        Ok(Err(problem)) => trouble(&problem, visitor.units),
        Err(why) => trouble(&why, visitor.units),
    };
    layout::page(&app, &visitor, "recipes", inside).into_response()
}

fn shown(name: &str, read: &Read, visitor: &Visitor) -> Markup {
    let (title, revision) = super::heading(&read.text);
    let engineer = visitor.may(Right::Engineer);
    html! {
        p { a href="/recipes" { "\u{2190} " (texts::RECIPES) } }
        h1 { (title) small { " r" (revision) ", " (name) } }
        @if let Ok(History { standing: Standing::EditedOutside, .. }) = &read.history {
            p.trouble { (texts::EDITED_OUTSIDE) }
        }
        div.buttons {
            form data-post="/load" data-then="/" {
                input type="hidden" name="recipe" value=(name);
                (load_button("wanted"))
            }
            button type="button" data-show=(format!("/recipes/{name}/rehearse")) data-into="rehearsal"
                data-with="fields" { (texts::REHEARSE) }
            a.button href=(format!("/recipes/{name}/text")) { (texts::EXPORT) }
        }
        (why_no_load())
        div id="rehearsal" {}
        div.recipe {
            @if engineer { (fields(name, read)) }
            section.forecast id="forecast" {
                @match &read.planned {
                    Ok(loaded) => (forecast(loaded, visitor.units)),
                    Err(problem) => (trouble(problem, visitor.units)),
                }
            }
        }
        @if let Ok(history) = &read.history { (history_of(name, history)) }
    }
}

/// A field for every value, by table.
fn fields(name: &str, read: &Read) -> Markup {
    let digest = read.history.as_ref().map_or("", |history| history.digest.as_str());
    let table = |path: &str| path.rsplit_once('.').map_or("", |(table, _)| table).to_owned();
    let mut tables: Vec<String> = Vec::new();
    for leaf in &read.leaves {
        if !tables.contains(&table(&leaf.path)) {
            tables.push(table(&leaf.path));
        }
    }
    html! {
        form.fields id="fields" data-draft=(format!("/recipes/{name}/try")) data-into="forecast"
            data-post=(format!("/recipes/{name}/save")) data-then=(format!("/recipes/{name}")) {
            input type="hidden" name="digest" value=(digest);
            @for head in &tables {
                fieldset {
                    legend { @if head.is_empty() { (texts::WHOLE_RECIPE) } @else { (head) } }
                    @for leaf in read.leaves.iter().filter(|leaf| table(&leaf.path) == *head) {
                        label {
                            (leaf.path.rsplit('.').next().unwrap_or(&leaf.path))
                            input name=(format!("{FIELD}{}", leaf.path)) value=(leaf.shown)
                                readonly[leaf.path == "revision"];
                        }
                    }
                }
            }
            label { (texts::WHY) input name="why" required maxlength="200"; }
            button type="submit" data-kind="wanted" { (texts::SAVE) }
        }
    }
}

fn history_of(name: &str, history: &History) -> Markup {
    html! {
        @if !history.revisions.is_empty() {
            section {
                h2 { (texts::REVISIONS) }
                table {
                    thead { tr { @for head in [texts::REVISION, texts::WHO, texts::WHEN, texts::WHY, ""] { th { (head) } } } }
                    tbody { @for kept in history.revisions.iter().rev() {
                        tr {
                            td { "r" (kept.revision) } td { (kept.who) }
                            td { (kept.when.strftime("%Y-%m-%d %H:%M")) } td { (kept.why) }
                            td { @if let Some(before) = before(history, kept.revision) {
                                a href=(format!("/recipes/{name}/compare?old={before}&new={}", kept.revision)) {
                                    (texts::COMPARE) " r" (before)
                                }
                            } }
                        }
                    } }
                }
            }
        }
    }
}

/// The revision before another.
fn before(history: &History, revision: u32) -> Option<u32> {
    history.revisions.iter().map(|kept| kept.revision).filter(|kept| *kept < revision).max()
}

#[derive(Debug, Deserialize)]
pub(in crate::panel) struct Pair {
    old: u32,
    new: u32,
}

/// Two revisions beside each other.
pub(in crate::panel) async fn compare(
    State(app): State<App>,
    visitor: Visitor,
    Named(name): Named<String>,
    Query(pair): Query<Pair>,
) -> Response {
    let Some(path) = path_of(&app, &name) else { return not_found().await };
    let compared = aside(move || revisions::compare(&path, pair.old, pair.new)).await;
    let inside = html! {
        p { a href=(format!("/recipes/{name}")) { "\u{2190} " (name) } }
        h1 { (texts::COMPARE) " r" (pair.old) ", r" (pair.new) }
        @match compared {
            Ok(differences) => {
                @if differences.is_empty() { p { (texts::NO_DIFFERENCE) } }
                (changes(&differences))
            }
            Err(problem) => (trouble(&problem, visitor.units)),
        }
    };
    layout::page(&app, &visitor, "recipes", inside).into_response()
}

/// The recipe's text as a file.
pub(in crate::panel) async fn text(
    State(app): State<App>,
    _: Visitor,
    Named(name): Named<String>,
) -> Response {
    let Some(path) = path_of(&app, &name) else { return not_found().await };
    match tokio::task::spawn_blocking(move || files::read(&path)).await {
        Ok(Ok(source)) => {
            let headers = [
                (CONTENT_TYPE, "application/toml".to_owned()),
                (CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
            ];
            (headers, source.text).into_response()
        }
        Ok(Err(problem)) => (StatusCode::NOT_FOUND, problem).into_response(),
        Err(broken) => (StatusCode::INTERNAL_SERVER_ERROR, broken.to_string()).into_response(),
    }
}

/// Fields of a form that are no recipe's.
pub(super) fn plain<'a>(form: &'a [(String, String)], name: &str) -> &'a str {
    form.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value)
}

/// The changed recipe becomes the next revision.
pub(in crate::panel) async fn save(
    State(app): State<App>,
    visitor: Visitor,
    Named(name): Named<String>,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let what: String = format!("save {name}: {}", plain(&form, "why")).chars().take(200).collect();
    if let Err(refused) = visitor.sealed(&app, &Seal::of(&form), &what) {
        return refused;
    }
    if let Err(reply) = visitor.right(Right::Engineer) {
        return visitor.told(&app, &what, reply);
    }
    let Some(path) = path_of(&app, &name) else {
        return visitor.told(&app, &what, Reply::refused(texts::NO_SUCH_RECIPE));
    };
    let (saving, who) = (app.clone(), visitor.name.to_string());
    let saved = app.plan(&visitor, move || saved(&saving, path, &form, &who)).await;
    let reply = match saved {
        Ok(Ok(())) => Reply::done(),
        Ok(Err(problem)) => Reply::refused(problem),
        Err(why) => Reply::refused(why),
    };
    visitor.told(&app, &what, reply)
}

fn saved(app: &App, path: PathBuf, form: &[(String, String)], who: &str) -> Result<(), String> {
    let own = files::read(&path)?.text;
    if draft::changed(&own, form)?.is_empty() {
        return Err(texts::NOTHING_CHANGED.to_owned());
    }
    let text = edited(&own, form)?;
    // What cannot be planned is no recipe for anybody.
    planned(app, &path, &text)?;
    let catalogue = files::catalogue(app.inside.options.catalogue.as_deref(), Some(&path))?;
    let history = revisions::list(&path)?;
    if history.digest.as_str() != plain(form, "digest") {
        return Err(texts::CHANGED_MEANWHILE.to_owned());
    }
    let wanted = Wanted {
        text: &text,
        who,
        when: Timestamp::now(),
        why: plain(form, "why"),
        expected: &history.digest,
    };
    revisions::save(&path, &wanted, &catalogue).map(drop)
}
