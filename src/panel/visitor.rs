//! Who asks.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::extract::{ConnectInfo, FromRequestParts};
use axum::http::header::{COOKIE, SET_COOKIE};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};

use super::app::{App, locked, place};
use super::texts;
use crate::people::{Activity, Person, Right, Role, Tokens, Units, Whence, random};
use crate::station::{Commander, Place, Sitter};

/// Name of the cookie.
const COOKIE_NAME: &str = "evenpass";
/// How long a browser keeps it, s: as long as the longest session.
const KEPT_S: u32 = 12 * 3600;

/// Who is written down with an act.
#[derive(Debug, Clone)]
pub(super) struct Asker {
    /// The person's name.
    pub(super) name: Arc<str>,
    /// Their role; `None` for somebody who is not signed in.
    pub(super) role: Option<Role>,
    /// From where.
    pub(super) whence: Whence,
}

impl FromRequestParts<App> for Asker {
    type Rejection = Response;

    /// Anybody: a stop asks for nothing.
    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        let whence = whence(parts, app);
        let visitor = Visitor::find(&parts.headers, app, whence, Activity::Look);
        Ok(match visitor {
            Some(visitor) => visitor.asker(),
            None => Self { name: crate::people::NOT_SIGNED_IN.into(), role: None, whence },
        })
    }
}

/// Somebody who is signed in.
#[derive(Debug, Clone)]
pub(super) struct Visitor {
    /// The session's cookie.
    pub(super) cookie: String,
    /// The session's number.
    pub(super) number: u64,
    /// The person's name.
    pub(super) name: Arc<str>,
    /// Their role.
    pub(super) role: Role,
    /// The token of their pages' forms.
    pub(super) form: String,
    /// What they read figures in.
    pub(super) units: Units,
    /// From where they ask.
    pub(super) whence: Whence,
}

impl Visitor {
    /// The visitor of a session's cookie.
    pub(super) fn find(
        headers: &HeaderMap,
        app: &App,
        whence: Whence,
        activity: Activity,
    ) -> Option<Self> {
        let cookie = cookie(headers)?;
        let mut sessions = locked(&app.inside.sessions);
        let session = sessions.find(cookie, activity, app.now())?;
        let (number, role) = (session.number(), session.role());
        let (name, form): (Arc<str>, String) = (session.name().into(), session.form().to_owned());
        drop(sessions);
        let units = app.units_of(&name);
        Some(Self { cookie: cookie.to_owned(), number, name, role, form, units, whence })
    }

    /// As somebody who is written down.
    pub(super) fn asker(&self) -> Asker {
        Asker { name: self.name.clone(), role: Some(self.role), whence: self.whence }
    }

    /// As somebody who sits.
    pub(super) fn sitter(&self) -> Sitter {
        Sitter { key: seat_key(self.number).into(), name: self.name.clone() }
    }

    /// As somebody who commands, in the turn that their page named.
    pub(super) fn commander(&self, turn: u64) -> Commander {
        Commander { sitter: self.sitter(), place: place(self.whence), turn }
    }

    /// Whether they may.
    pub(super) fn may(&self, right: Right) -> bool {
        self.role.allows(right)
    }
}

/// What tells one session in the seat from another.
pub(super) fn seat_key(number: u64) -> String {
    format!("session {number}")
}

impl FromRequestParts<App> for Visitor {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Response> {
        let whence = whence(parts, app);
        let looks = matches!(parts.uri.path(), "/live" | "/jog" | "/state");
        let activity = if looks { Activity::Look } else { Activity::Act };
        if let Some(visitor) = Self::find(&parts.headers, app, whence, activity) {
            return Ok(visitor);
        }
        if parts.method != Method::GET || looks {
            let asker = Asker { name: crate::people::NOT_SIGNED_IN.into(), role: None, whence };
            let what = format!("{} {}", parts.method, parts.uri.path());
            app.inside.acts.keep(&asker, &what, Some(texts::SIGN_IN_FIRST), None);
            return Err(written((StatusCode::UNAUTHORIZED, texts::SIGN_IN_FIRST).into_response()));
        }
        // Before anybody was added, whoever is at the twin is let in without a PIN.
        if !app.asks_for_a_pin() && place(whence) == Place::AtMachine {
            let tokens = begin(app, app.nobody()).map_err(IntoResponse::into_response)?;
            let to = parts.uri.path().to_owned();
            return Err(with_cookie(&tokens, Redirect::to(&to).into_response()));
        }
        Err(Redirect::to("/sign-in").into_response())
    }
}

fn whence(parts: &Parts, app: &App) -> Whence {
    let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>();
    // A connection always has its other end; without one it is nowhere near the machine.
    let peer = peer.map_or(std::net::Ipv4Addr::BROADCAST.into(), |peer| peer.0.ip());
    app.whence(peer, &parts.headers)
}

/// Marks an answer that was written down with more than the guard can know.
#[derive(Debug, Clone, Copy)]
pub(super) struct WrittenDown;

/// The same answer, marked as written down.
pub(super) fn written(mut answer: Response) -> Response {
    answer.extensions_mut().insert(WrittenDown);
    answer
}

/// Begins a session of somebody who is on the roll now: since it was looked at for their PIN, it may
/// have been read anew.
pub(super) fn begin(app: &App, person: &Person) -> Result<Tokens, (StatusCode, &'static str)> {
    let random = random::<64>()
        .map_err(|_| (StatusCode::INTERNAL_SERVER_ERROR, "the system gives no randomness"))?;
    let people = locked(&app.inside.people);
    if !app.is_in_force(&people, person) {
        return Err((StatusCode::FORBIDDEN, texts::NOT_ON_ROLL));
    }
    Ok(app.begin_session(person, random, app.now()))
}

/// An answer that also gives a browser its cookie.
pub(super) fn with_cookie(tokens: &Tokens, mut answer: Response) -> Response {
    let cookie = format!(
        "{COOKIE_NAME}={}; HttpOnly; SameSite=Strict; Path=/; Max-Age={KEPT_S}",
        tokens.cookie
    );
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        answer.headers_mut().insert(SET_COOKIE, value);
    }
    answer
}

/// An answer that also takes it away.
pub(super) fn without_cookie(mut answer: Response) -> Response {
    let gone = HeaderValue::from_static("evenpass=; HttpOnly; SameSite=Strict; Path=/; Max-Age=0");
    answer.headers_mut().insert(SET_COOKIE, gone);
    answer
}

/// The cookie that a browser sent.
pub(super) fn cookie(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find_map(|(name, value)| (name == COOKIE_NAME).then_some(value))
}
