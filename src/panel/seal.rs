//! What every request that changes something brings with it: the token of a page of ours, and an id
//! by which it is answered once.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;

use super::app::{App, locked};
use super::asking::Reply;
use super::texts;
use super::visitor::{Visitor, written};
use crate::people::Once;

/// What every request that changes something brings with it.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct Seal {
    /// The token of the page's forms.
    form: String,
    /// The request's own id: each is answered once.
    id: String,
}

impl Seal {
    /// Of a form whose other fields are many.
    pub(super) fn of(form: &[(String, String)]) -> Self {
        let field = |name: &str| {
            form.iter().find(|(known, _)| known == name).map_or_else(String::new, |f| f.1.clone())
        };
        Self { form: field("form"), id: field("id") }
    }
}

impl Visitor {
    /// Whether a request is from one of their pages, for the first time, and not quicker than hands.
    ///
    /// # Errors
    /// Why not, already written down.
    #[expect(clippy::result_large_err, reason = "the refusal is the answer, passed on as it is")]
    pub(super) fn sealed(&self, app: &App, seal: &Seal, what: &str) -> Result<(), Response> {
        if !locked(&app.inside.paces).may_ask(self.number, app.now()) {
            let why = texts::TOO_QUICK;
            app.inside.acts.keep(&self.asker(), what, Some(why), None);
            let status = StatusCode::TOO_MANY_REQUESTS;
            return Err(written((status, Json(Reply::refused(why))).into_response()));
        }
        self.sealed_however_quick(app, seal, what)
    }

    /// The same for what only takes away, which is never asked too often.
    ///
    /// # Errors
    /// As [`Self::sealed`].
    #[expect(clippy::result_large_err, reason = "the refusal is the answer, passed on as it is")]
    pub(super) fn sealed_however_quick(
        &self,
        app: &App,
        seal: &Seal,
        what: &str,
    ) -> Result<(), Response> {
        let refuse = |status, why: &str| {
            app.inside.acts.keep(&self.asker(), what, Some(why), None);
            Err(written((status, Json(Reply::refused(why))).into_response()))
        };
        {
            let mut sessions = locked(&app.inside.sessions);
            let look = crate::people::Activity::Act;
            let known = sessions.find(&self.cookie, look, app.now());
            if !known.is_some_and(|session| session.is_form(&seal.form)) {
                drop(sessions);
                return refuse(StatusCode::FORBIDDEN, texts::NOT_OUR_FORM);
            }
            match sessions.accept_once(&self.cookie, &seal.id, app.now()) {
                Once::First => return Ok(()),
                Once::Again => {}
                Once::NoId | Once::NoSession => {
                    drop(sessions);
                    return refuse(StatusCode::BAD_REQUEST, texts::NO_ID);
                }
            }
        }
        refuse(StatusCode::CONFLICT, texts::ASKED_BEFORE)
    }
}
