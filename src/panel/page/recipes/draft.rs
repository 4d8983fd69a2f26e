//! A recipe with fields set otherwise: tried, shown, and not written.

use std::path::Path;

use axum::extract::{Form, Path as Named, State};
use axum::response::{IntoResponse as _, Response};
use evenpass_core::document::{Difference, FieldValue, differences, leaves, set};
use maud::{Markup, html};

use super::forecast::forecast;
use super::{fault, path_of};
use crate::files::{Places, Source};
use crate::learning::Lessons;
use crate::panel::app::App;
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Units;
use crate::shown::one_line;
use crate::station::Loaded;

/// How the fields of a recipe are named among a form's.
pub(super) const FIELD: &str = "field:";

/// The fields that a form sets otherwise than the text has them, each written as it is there.
///
/// # Errors
/// The text is no TOML any more: why.
pub(super) fn changed(
    text: &str,
    form: &[(String, String)],
) -> Result<Vec<(String, FieldValue)>, String> {
    let leaves = leaves(text).map_err(|problems| problems.to_string())?;
    let given = |path: &str| {
        form.iter().find_map(|(name, value)| {
            (name.strip_prefix(FIELD) == Some(path)).then(|| one_line(value.trim()))
        })
    };
    Ok(leaves
        .iter()
        .filter_map(|leaf| {
            let value = given(&leaf.path)?;
            (value != leaf.shown).then(|| (leaf.path.clone(), leaf.with(&value)))
        })
        .collect())
}

/// A recipe's text with a form's fields.
///
/// # Errors
/// Fields that cannot be set, as a person is to read it.
pub(super) fn edited(text: &str, form: &[(String, String)]) -> Result<String, String> {
    set(text, &changed(text, form)?).map_err(|problems| problems.to_string())
}

/// Plans a text that stands in no file.
///
/// # Errors
/// Everything that is wrong with it, as a person is to read it.
pub(super) fn planned(app: &App, path: &Path, text: &str) -> Result<Loaded, String> {
    let options = &app.inside.options;
    let places = Places { rig: options.rig.as_deref(), catalogue: options.catalogue.as_deref() };
    let name = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into());
    let source = Source { name, text: text.to_owned() };
    Loaded::of(source, path, places, Lessons::Kept(app.station().records()))
}

/// What is shown of a draft: what is wrong with it, or what it will give.
pub(in crate::panel) async fn try_it(
    State(app): State<App>,
    visitor: Visitor,
    Named(name): Named<String>,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let Some(path) = path_of(&app, &name) else {
        return fault(texts::NO_SUCH_RECIPE).into_response();
    };
    let trying = app.clone();
    let units = visitor.units;
    let tried = app.plan(&visitor, move || tried(&trying, &path, &form, units)).await;
    tried.unwrap_or_else(|why| fault(&why)).into_response()
}

fn tried(app: &App, path: &Path, form: &[(String, String)], units: Units) -> Markup {
    let draft = crate::files::read(path)
        .and_then(|own| edited(&own.text, form).map(|text| (own.text, text)))
        .and_then(|(own, text)| planned(app, path, &text).map(|loaded| (own, text, loaded)));
    match draft {
        Ok((own, text, loaded)) => html! {
            (changes(&differences(&own, &text).unwrap_or_default()))
            (forecast(&loaded, units))
        },
        Err(problem) => trouble(&problem, units),
    }
}

/// A message of several lines.
pub(super) fn trouble(problem: &str, units: Units) -> Markup {
    html! { pre.trouble role="alert" { (units.restate(&crate::shown::harmless(problem))) } }
}

/// What differs.
pub(in crate::panel) fn changes(differences: &[Difference]) -> Markup {
    let or = |value: &Option<String>| value.clone().unwrap_or_else(|| "\u{2013}".to_owned());
    html! {
        @if !differences.is_empty() {
            table.changes {
                thead { tr { th { (texts::FIELD) } th { (texts::BEFORE) } th { (texts::AFTER) } } }
                tbody { @for one in differences {
                    tr { td { (one.path) } td { (or(&one.old)) } td { (or(&one.new)) } }
                } }
            }
        }
    }
}
