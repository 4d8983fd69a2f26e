//! Signing in and out, and a person's units.

use axum::Json;
use axum::extract::{Form, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::app::{App, locked};
use super::aside::aside;
use super::asking::{Reply, Seal};
use super::page::layout;
use super::texts;
use super::visitor::{Asker, Visitor, begin, cookie, with_cookie, without_cookie, written};
use crate::people::{LengthUnit, Person, PressureUnit, TemperatureUnit, Units, Whence};

/// The page.
pub(super) async fn page(State(app): State<App>) -> Markup {
    form(&app, None)
}

fn form(app: &App, trouble: Option<&str>) -> Markup {
    let text = app.station().snapshot().status.text.clone();
    layout::bare(
        texts::SIGN_IN,
        html! {
            main.sign-in {
                h1 { (texts::PRODUCT) }
                p.state { (text) }
                @if let Some(trouble) = trouble {
                    p.trouble role="alert" { (trouble) }
                }
                @if let Some(trouble) = app.roll_trouble() {
                    p.trouble role="alert" { (trouble) }
                }
                @if app.has_people() {
                    form method="post" action="/sign-in" autocomplete="off" {
                        label { (texts::NAME) input name="name" required maxlength="40" autofocus; }
                        label {
                            (texts::PIN)
                            input name="pin" type="password" inputmode="numeric" required
                                maxlength="12" autocomplete="off";
                        }
                        button.primary type="submit" { (texts::SIGN_IN) }
                    }
                } @else if app.asks_for_a_pin() {
                    p { (texts::NOBODY_SIGNS_IN) }
                } @else {
                    p { (texts::NOBODY_ADDED_ELSEWHERE) }
                }
                form method="post" action="/stop" { button.stop type="submit" { (texts::STOP) } }
                (layout::cautions())
            }
        },
    )
}

#[derive(Deserialize)]
pub(super) struct SignIn {
    name: String,
    pin: String,
}

/// A name and a PIN.
pub(super) async fn sign_in(
    State(app): State<App>,
    asker: Asker,
    headers: HeaderMap,
    Form(given): Form<SignIn>,
) -> Response {
    let name: String = given.name.trim().chars().take(crate::people::LONGEST_NAME + 1).collect();
    let asker = Asker { name: name.as_str().into(), ..asker };
    let refuse = |why: &str| {
        app.inside.acts.keep(&asker, "sign in", Some(why), None);
        if asker.whence == Whence::Terminal {
            return written((StatusCode::FORBIDDEN, Json(Reply::refused(why))).into_response());
        }
        written((StatusCode::FORBIDDEN, form(&app, Some(why))).into_response())
    };
    let throttled = locked(&app.inside.throttle).begin(&name, asker.whence, app.now());
    if let Err(wait) = throttled {
        return refuse(&wait.to_string());
    }
    // Hashing takes its time, on purpose: one after another, which the throttle keeps short.
    let Ok(_turn) = app.inside.hashing.acquire().await else { return refuse(texts::ENDING) };
    let (wanted, pin, hashing) = (name.clone(), given.pin, app.clone());
    let verified = aside(move || {
        hashing.refresh_people();
        let people = locked(&hashing.inside.people).clone();
        people.verify(&wanted, &pin).map(Option::<&Person>::cloned)
    })
    .await;
    let person = match verified {
        Ok(Some(person)) => person,
        Ok(None) => return refuse(texts::WRONG_PIN),
        Err(trouble) => return refuse(&trouble),
    };
    locked(&app.inside.throttle).right(&name, asker.whence);
    match begin(&app, &person) {
        Ok(tokens) => {
            // Whoever was signed in at this browser is not any more.
            if let Some(cookie) = cookie(&headers) {
                end_session(&app, cookie);
            }
            let asker = Asker { role: Some(person.role), ..asker };
            app.inside.acts.keep(&asker, "sign in", None, None);
            with_cookie(&tokens, Redirect::to("/").into_response())
        }
        Err((_, why)) => refuse(why),
    }
}

/// Ends the session of a cookie, if there is one; the seat is left.
fn end_session(app: &App, cookie: &str) {
    let over = locked(&app.inside.sessions).end(cookie);
    app.leave_seat(over.as_slice());
}

/// Signs out; the seat is left.
pub(super) async fn sign_out(
    State(app): State<App>,
    visitor: Visitor,
    Form(seal): Form<Seal>,
) -> Response {
    if let Err(refused) = visitor.sealed(&app, &seal, "sign out") {
        return refused;
    }
    end_session(&app, &visitor.cookie);
    app.inside.acts.keep(&visitor.asker(), "sign out", None, None);
    without_cookie(Redirect::to("/sign-in").into_response())
}

#[derive(Debug, Deserialize)]
pub(super) struct AskUnits {
    length: LengthUnit,
    temperature: TemperatureUnit,
    pressure: PressureUnit,
    #[serde(flatten)]
    seal: Seal,
}

/// A person chooses what they read figures in; files keep what was written.
pub(super) async fn units(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskUnits>,
) -> Response {
    if let Err(refused) = visitor.sealed(&app, &ask.seal, "units") {
        return refused;
    }
    let units = Units { length: ask.length, temperature: ask.temperature, pressure: ask.pressure };
    let name = visitor.name.to_string();
    let changing = app.clone();
    let changed = aside(move || {
        let changed =
            changing.inside.options.people.change(|people| people.set_units(&name, units));
        changing.refresh_people();
        changed.map(|_| ()).map_err(|problem| problem.to_string())
    })
    .await;
    let reply = match changed {
        Ok(()) => Reply::done(),
        Err(problem) => Reply::refused(problem),
    };
    visitor.told(&app, "units", reply)
}
