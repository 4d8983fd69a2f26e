//! What is asked of the station: each request once, from a page of ours, by somebody who may.

use axum::Json;
use axum::extract::{Form, State};
use axum::http::header::ACCEPT;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Redirect, Response};
use evenpass_core::quantity::{Length, Quantity as _};
use evenpass_core::request::{Answer, Denial, Request, Trim};
use evenpass_core::sequence::Phase;
use serde::{Deserialize, Serialize};

use super::app::App;
pub(super) use super::seal::Seal;
use super::stops;
use super::texts;
use super::visitor::{Asker, Visitor, written};
use crate::batch::served::Chosen;
use crate::files::Places;
use crate::learning::Lessons;
use crate::people::{Right, Units};
use crate::proving::Said;
use crate::station::{Loaded, Place, Refused};

/// What became of a request, as the page shows it.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Reply {
    /// One word: accepted, already so, asked, denied, refused.
    answer: &'static str,
    /// Why, in one sentence; empty where it was accepted.
    why: String,
    /// What would help; empty where nothing is needed.
    help: String,
    /// The field of the form that is wrong, by its name; empty where it is none.
    #[serde(skip_serializing_if = "String::is_empty")]
    field: String,
}

impl Reply {
    pub(super) fn done() -> Self {
        Self { answer: "accepted", why: String::new(), help: String::new(), field: String::new() }
    }

    /// Done, with what became of it.
    pub(super) fn done_so(what: impl Into<String>) -> Self {
        Self { why: what.into(), ..Self::done() }
    }

    /// Asked of somebody else, who is still to answer.
    pub(super) fn asked(why: impl Into<String>) -> Self {
        Self { answer: "asked", why: why.into(), ..Self::done() }
    }

    /// Not now, with what would help.
    pub(super) fn denied(why: impl Into<String>, help: impl Into<String>) -> Self {
        Self { answer: "denied", why: why.into(), help: help.into(), ..Self::done() }
    }

    pub(super) fn refused(why: impl Into<String>) -> Self {
        Self { answer: "refused", why: why.into(), ..Self::done() }
    }

    /// Refused because of a field, which says so on the page.
    pub(super) fn wrong(field: String, why: String, help: String) -> Self {
        Self { answer: "refused", why, help, field }
    }

    fn of(answer: Answer) -> Self {
        match answer {
            Answer::Accepted => Self::done(),
            Answer::AlreadySo => Self { answer: "already so", ..Self::done() },
            Answer::Denied(Denial { why, help }) => Self::denied(why, help),
        }
    }

    /// In a person's units; what is kept of it stays as it was said.
    fn restated(self, units: Units) -> Self {
        let said = |text: String| units.restate(&text).into_owned();
        Self { why: said(self.why), help: said(self.help), ..self }
    }

    /// Why, in one sentence.
    pub(super) fn why(&self) -> &str {
        &self.why
    }

    /// Why it was not done, for the record.
    fn refusal(&self) -> Option<&str> {
        matches!(self.answer, "denied" | "refused").then_some(self.why.as_str())
    }
}

impl Visitor {
    /// Writes down what they asked and what they were told, and tells them.
    pub(super) fn told(&self, app: &App, what: &str, reply: Reply) -> Response {
        app.inside.acts.keep(&self.asker(), what, reply.refusal(), app.station().kept().run);
        self.tell(reply)
    }

    /// Tells them.
    fn tell(&self, reply: Reply) -> Response {
        let status = match reply.answer {
            "refused" => StatusCode::FORBIDDEN,
            _ => StatusCode::OK,
        };
        written((status, Json(reply.restated(self.units))).into_response())
    }

    /// Whether they may, and what they are told when not.
    pub(super) fn right(&self, right: Right) -> Result<(), Reply> {
        if self.may(right) {
            return Ok(());
        }
        Err(Reply::refused(format!("{} {}", texts::THIS_NEEDS, right.needs())))
    }
}

/// What can be asked by a word, with who may. Ways to jog are not among them: a held key has a
/// line of its own.
pub(crate) fn asked(word: &str, value: &str) -> Result<(Request, Right), String> {
    let request = match word {
        "start" => (Request::Start, Right::Run),
        "hold" => (Request::Hold, Right::Run),
        "hold-after-pass" => (Request::HoldAfterPass, Right::Run),
        "restart" => (Request::Restart, Right::Run),
        "abort" => (Request::Abort, Right::Run),
        "acknowledge" => (Request::Acknowledge, Right::Run),
        "reset" => (Request::Reset, Right::Run),
        "accept" => (Request::Accept, Right::Run),
        "wet" => (Request::Wet, Right::Run),
        "not-wet" => (Request::NotWet, Right::Run),
        "bad-flame" => (Request::BadFlame, Right::Run),
        "coat-lifting" => (Request::CoatLifting, Right::Run),
        "inspected" => (Request::Inspected, Right::Run),
        "blasted-now" => (Request::BlastedNow, Right::Run),
        // Whoever starts the shift finds the datum; the start button at the machine begins it.
        "home" => (Request::Home, Right::Run),
        "manual" => (Request::EnterManual, Right::Maintain),
        "leave-manual" => (Request::LeaveManual, Right::Maintain),
        "nudge" => {
            let by = Length::parse(value).map_err(|problem| format!("nudge: {problem}"))?;
            (Request::Nudge(by), Right::Maintain)
        }
        "trim" => {
            let percent = value.parse().map_err(|_| texts::TRIM_FORM.to_owned())?;
            (Request::Trim(Trim::of_percent(percent)), Right::Run)
        }
        "touch-up" => (Request::TouchUp, Right::Run),
        "pass-less" => (Request::TakePassBack, Right::Run),
        "take-point" => (Request::TakePoint, Right::Engineer),
        _ => return Err(texts::UNKNOWN_REQUEST.to_owned()),
    };
    Ok(request)
}

#[derive(Debug, Deserialize)]
pub(super) struct Ask {
    ask: String,
    #[serde(default)]
    value: String,
    turn: u64,
    #[serde(flatten)]
    seal: Seal,
}

/// Whether the body of an [`ask`] is of something that only takes away: such a word has no letter
/// that a form writes otherwise.
pub(super) fn takes_away(body: &[u8]) -> bool {
    let mut fields = body.split(|byte| *byte == b'&');
    let word = fields.find_map(|field| field.strip_prefix(b"ask="));
    let word = word.and_then(|word| std::str::from_utf8(word).ok());
    word.and_then(|word| asked(word, "").ok()).is_some_and(|(request, _)| request.only_takes_away())
}

/// Something is asked of the controller.
pub(super) async fn ask(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<Ask>,
) -> Response {
    let what: String = format!("{} {}", ask.ask, ask.value).trim().chars().take(80).collect();
    let asked = asked(&ask.ask, &ask.value);
    if let Ok((request, right)) = asked
        && request.only_takes_away()
    {
        return take_away(&app, &visitor, &ask, request, right).await;
    }
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    let (request, right) = match asked {
        Ok(asked) => asked,
        Err(why) => return visitor.told(&app, &what, Reply::refused(why)),
    };
    if let Err(reply) = visitor.right(right) {
        return visitor.told(&app, &what, reply);
    }
    if request == Request::Start
        && let Err(reply) = may_command(&app, &visitor, ask.turn)
            .and_then(|()| super::set_up::may_start(&app, &visitor))
    {
        return visitor.told(&app, &what, reply);
    }
    let answer = app.station().command(&visitor.commander(ask.turn), request).await;
    let mut reply = reply_of(answer);
    if request == Request::BlastedNow && reply.refusal().is_none() {
        reply = super::batches::blasted_now(&app, &visitor).await.unwrap_or(reply);
    }
    visitor.told(&app, &what, reply)
}

/// What only takes away goes to the scan as a stop does, and is counted as one where it repeats;
/// only that somebody who may has to ask for it.
async fn take_away(
    app: &App,
    visitor: &Visitor,
    ask: &Ask,
    request: Request,
    right: Right,
) -> Response {
    let what = ask.ask.as_str();
    if let Err(refused) = visitor.sealed_however_quick(app, &ask.seal, what) {
        return refused;
    }
    if let Err(reply) = visitor.right(right) {
        return visitor.told(app, what, reply);
    }
    let reply = match stops::take_away(app, request, visitor.name.clone()).await {
        Ok(answer) => Reply::of(answer),
        Err(gone) => Reply::refused(gone.to_string()),
    };
    let run = app.station().kept().run;
    app.inside.acts.keep_taken_away(&visitor.asker(), what, reply.refusal(), run);
    visitor.tell(reply)
}

fn reply_of(answer: Result<Answer, Refused>) -> Reply {
    match answer {
        Ok(answer) => Reply::of(answer),
        Err(refused) => Reply::refused(refused.to_string()),
    }
}

/// A stop: no sign-in, no seat, no token; whoever reaches the panel stops the machine. It is carried
/// out and written down even when its connection is gone before the answer.
pub(super) async fn stop(State(app): State<App>, asker: Asker, headers: HeaderMap) -> Response {
    let stopping = tokio::spawn(async move {
        let reply = match stops::take_away(&app, Request::Stop, asker.name.clone()).await {
            Ok(answer) => Reply::of(answer),
            Err(gone) => Reply::refused(gone.to_string()),
        };
        let run = app.station().kept().run;
        app.inside.acts.keep_taken_away(&asker, "stop", reply.refusal(), run);
        reply
    });
    let reply = stopping.await.unwrap_or_else(|broken| Reply::refused(broken.to_string()));
    // A page without a script sends a form and shows what comes: a page with the state.
    let accept = headers.get(ACCEPT).and_then(|accept| accept.to_str().ok()).unwrap_or_default();
    if reply.refusal().is_none() && accept.contains("text/html") {
        return Redirect::to("/").into_response();
    }
    (StatusCode::OK, Json(reply)).into_response()
}

#[derive(Debug, Deserialize)]
pub(super) struct AskLoad {
    recipe: String,
    turn: u64,
    #[serde(flatten)]
    seal: Seal,
}

/// A recipe is loaded: read, planned, and given to the controller.
pub(super) async fn load(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskLoad>,
) -> Response {
    let what: String = format!("load {}", ask.recipe).chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    let reply = load_it(&app, &visitor, &ask).await.unwrap_or_else(|reply| reply);
    visitor.told(&app, &what, reply)
}

/// Whether the job before is over and has not been left: nothing starts until it is.
fn has_ended(app: &App) -> bool {
    matches!(app.station().snapshot().status.phase, Phase::Complete | Phase::Stopped)
}

/// Whether they have the seat, at the machine.
pub(super) fn may_command(app: &App, visitor: &Visitor, turn: u64) -> Result<(), Reply> {
    let who = visitor.commander(turn);
    if who.place == Place::Elsewhere {
        return Err(Reply::refused(Refused::Elsewhere.to_string()));
    }
    app.station()
        .seat(|seat, _| seat.may_command(&who.sitter.key, who.turn))
        .map_err(|why| Reply::refused(why.to_string()))
}

async fn load_it(app: &App, visitor: &Visitor, ask: &AskLoad) -> Result<Reply, Reply> {
    let (reading, recipe) = (app.clone(), ask.recipe.clone());
    let read = move |places: Places<'_>, from: Lessons<'_>| {
        let path = super::page::recipes::path_of(&reading, &recipe)
            .ok_or_else(|| texts::NO_SUCH_RECIPE.to_owned())?;
        Loaded::read(&path, places, from)
    };
    load_read(app, visitor, ask.turn, None, read).await
}

/// Loads what is read, where nobody waits for it; made for that order, or as it comes.
pub(super) async fn load_read(
    app: &App,
    visitor: &Visitor,
    turn: u64,
    order: Option<Chosen>,
    read: impl FnOnce(Places<'_>, Lessons<'_>) -> Result<Loaded, String> + Send + 'static,
) -> Result<Reply, Reply> {
    visitor.right(Right::Run)?;
    may_command(app, visitor, turn)?;
    let reading = app.clone();
    let read = app.plan(visitor, move || {
        let options = &reading.inside.options;
        let places =
            Places { rig: options.rig.as_deref(), catalogue: options.catalogue.as_deref() };
        let from = reading.station().records().filter(|file| file.exists());
        read(places, from.map_or(Lessons::Ignored, Lessons::From))
    });
    let loaded = read.await.flatten().map_err(Reply::refused)?;
    // Reading and planning took their time.
    may_command(app, visitor, turn)?;
    // A plan by other figures than those that drive the carriage would be another job.
    if loaded.job.rig_source.text != app.station().rig_source().text {
        return Err(Reply::refused(texts::RIG_CHANGED_LOAD));
    }
    let answer = match order {
        Some(order) => app.station().load_for(loaded, order).await,
        None => app.station().load(loaded).await,
    };
    Ok(match answer.map_err(Reply::refused)? {
        Answer::Accepted if has_ended(app) => Reply::done_so(texts::LEAVE_JOB_FIRST),
        Answer::Accepted => match app.undone() {
            Some(undone) => Reply::done_so(format!("{} {}", texts::UNDONE_STAYS, undone.run)),
            None => Reply::done(),
        },
        answer => Reply::of(answer),
    })
}

#[derive(Debug, Deserialize)]
pub(super) struct AskProof {
    /// The interlock to prove; or what is said to the instruction: done, skip, quit, act.
    prove: String,
    turn: u64,
    #[serde(flatten)]
    seal: Seal,
}

/// A proof test is begun, or its instruction is answered.
pub(super) async fn prove(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskProof>,
) -> Response {
    let what: String = format!("prove {}", ask.prove).chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    let reply = prove_it(&app, &visitor, &ask).await.err().unwrap_or_else(Reply::done);
    visitor.told(&app, &what, reply)
}

async fn prove_it(app: &App, visitor: &Visitor, ask: &AskProof) -> Result<(), Reply> {
    let station = app.station();
    // What only takes away is taken from everybody, wherever they are and whoever sits: a proof
    // whose person has gone keeps nobody from their work.
    let ends = match ask.prove.as_str() {
        "skip" => Some(Said::Skip),
        "quit" => Some(Said::Quit),
        _ => None,
    };
    if let Some(said) = ends {
        visitor.right(Right::Run)?;
        return station.proofs().answer(said).map_err(Reply::refused);
    }
    visitor.right(Right::Maintain)?;
    may_command(app, visitor, ask.turn)?;
    match ask.prove.as_str() {
        "done" => station.proofs().answer(Said::Done).map_err(Reply::refused),
        "act" => station.technician_acts().map_err(|gone| Reply::refused(gone.to_string())),
        key => {
            let (station, key) = (station.clone(), key.to_owned());
            let who = visitor.commander(ask.turn);
            // One before it may have to end first.
            tokio::task::spawn_blocking(move || station.prove(&key, &who))
                .await
                .unwrap_or_else(|broken| Err(broken.to_string()))
                .map_err(Reply::refused)
        }
    }
}
