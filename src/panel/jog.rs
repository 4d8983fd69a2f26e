//! The line of a held jog key: a web socket on which pulses go out and signs come back. It is open
//! only while a page that jogs is open, and carries nothing else.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Response};
use evenpass_core::moment::Moment;
use evenpass_core::request::{Answer, Direction, Request};
use serde::Deserialize;
use serde_json::json;
use tokio::time::{Interval, MissedTickBehavior, interval, timeout};

use super::app::{App, locked};
use super::limits::{Share, share};
use super::texts;
use super::visitor::{Visitor, written};
use crate::people::{Activity, Right};
use crate::station::{Follows, JogHold, PULSE_EVERY, Sign};

/// The largest message, bytes: a sign is some dozens.
const LARGEST: usize = 256;
/// The most of them in a second: a page sends 25, and after a stall all that waited come at once.
const MOST_SIGNS: u32 = 100;
/// What a page does not take for so long, it will not act on.
const TAKEN_WITHIN: Duration = Duration::from_millis(500);

/// What the page says.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Said {
    /// `chuck`, `tail`: pressed that way; `held`, `released`.
    key: String,
    /// The newest pulse it has seen.
    pulse: u64,
    /// The turn in the seat that its page shows.
    turn: u64,
}

impl Said {
    /// What came, if it is one of the page's signs.
    fn read(text: &str) -> Option<(Sign, Self)> {
        let said: Self = serde_json::from_str(text).ok()?;
        Some((said.sign()?, said))
    }

    fn sign(&self) -> Option<Sign> {
        match self.key.as_str() {
            "chuck" => Some(Sign::Pressed(Direction::TowardChuck)),
            "tail" => Some(Sign::Pressed(Direction::TowardTail)),
            "held" => Some(Sign::Held),
            "released" => Some(Sign::Released),
            _ => None,
        }
    }
}

/// Opens the line.
pub(super) async fn line(
    State(app): State<App>,
    visitor: Visitor,
    upgrade: WebSocketUpgrade,
) -> Response {
    let refused = |status, why: &str| {
        app.inside.acts.keep(&visitor.asker(), "jog", Some(why), None);
        written((status, why.to_owned()).into_response())
    };
    if let Err(reply) = visitor.right(Right::Maintain) {
        return refused(StatusCode::FORBIDDEN, reply.why());
    }
    let Ok(share) = share(&app.inside.jog_lines, visitor.number) else {
        return refused(StatusCode::SERVICE_UNAVAILABLE, texts::TOO_MANY_JOG_LINES);
    };
    upgrade
        .max_message_size(LARGEST)
        .max_frame_size(LARGEST)
        .on_upgrade(move |socket| hold(app, visitor, socket, share))
}

/// Counts the signs of each second.
#[derive(Debug, Default)]
struct Signs {
    since: Moment,
    count: u32,
}

impl Signs {
    /// Whether one more is no more than a page sends.
    fn one_more(&mut self, now: Moment) -> bool {
        if now.since(self.since) >= Duration::from_secs(1) {
            *self = Self { since: now, count: 0 };
        }
        self.count += 1;
        self.count <= MOST_SIGNS
    }
}

/// Says something to the page, if it listens.
async fn say(socket: &mut WebSocket, what: serde_json::Value) -> bool {
    let said = socket.send(Message::Text(what.to_string().into()));
    matches!(timeout(TAKEN_WITHIN, said).await, Ok(Ok(())))
}

/// `_share`: its place among the lines, given back at its end.
async fn hold(app: App, visitor: Visitor, mut socket: WebSocket, _share: Share) {
    let mut hold = JogHold::default();
    let mut beat: Interval = interval(PULSE_EVERY);
    beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    // Whether the controller may have a lease from this line.
    let mut leased = false;
    let mut signs = Signs::default();
    let refused = |why: &str| app.inside.acts.keep(&visitor.asker(), "jog", Some(why), None);
    loop {
        tokio::select! {
            _ = beat.tick() => {
                let pulse = hold.pulse(app.now());
                if !say(&mut socket, json!({ "pulse": pulse })).await {
                    break;
                }
            }
            said = socket.recv() => {
                let message = match said {
                    None | Some(Ok(Message::Close(_))) => break,
                    Some(Ok(message)) => message,
                    Some(Err(_)) => {
                        refused(texts::NOT_OUR_SIGN);
                        break;
                    }
                };
                if !signs.one_more(app.now()) {
                    refused(texts::TOO_MANY_SIGNS);
                    break;
                }
                // Pings are answered below this.
                if matches!(message, Message::Ping(_) | Message::Pong(_)) {
                    continue;
                }
                let said = message.to_text().ok().and_then(Said::read);
                let Some((sign, said)) = said else {
                    refused(texts::NOT_OUR_SIGN);
                    break;
                };
                let told = answer(&app, &visitor, &mut hold, sign, &said).await;
                match (sign, &told) {
                    (Sign::Pressed(way), _) => note(&app, &visitor, way, told.as_deref()),
                    (_, Some(why)) => refused(why),
                    (_, None) => {}
                }
                if told.is_some() {
                    hold.refused();
                    let_go(&app, &visitor, &mut leased).await;
                } else {
                    leased = sign != Sign::Released;
                }
                if let Some(why) = told
                    && !say(&mut socket, json!({ "let_go": visitor.units.restate(&why) })).await
                {
                    break;
                }
            }
        }
    }
    // A line that broke is a key let go.
    let_go(&app, &visitor, &mut leased).await;
}

/// The key is let go: nothing moves on until its lease runs out. Others than who has a lease stop
/// nobody's jog by it.
async fn let_go(app: &App, visitor: &Visitor, leased: &mut bool) {
    if std::mem::take(leased) {
        // A controller that has ended moves nothing.
        let _ = app.station().command(&visitor.commander(0), Request::JogRelease).await;
    }
}

/// What follows from a sign; why the key counts as let go, if it does.
async fn answer(
    app: &App,
    visitor: &Visitor,
    hold: &mut JogHold,
    sign: Sign,
    said: &Said,
) -> Option<Arc<str>> {
    if matches!(sign, Sign::Pressed(_))
        && let Some(why) = not_pressed(app, visitor)
    {
        return Some(why.into());
    }
    let request = match hold.sign(sign, said.pulse, app.now()) {
        Follows::Ask(request) => request,
        Follows::LetGo(why) => return Some(why.into()),
    };
    match app.station().command(&visitor.commander(said.turn), request).await {
        Ok(Answer::Accepted | Answer::AlreadySo) => None,
        Ok(Answer::Denied(denial)) => Some(format!("{}; {}", denial.why, denial.help).into()),
        Err(refused) => Some(refused.to_string().into()),
    }
}

/// Why a press does not count, if it does not. A press is an act of its person, as a form is; signs
/// that it goes on being held are none.
fn not_pressed(app: &App, visitor: &Visitor) -> Option<&'static str> {
    let now = app.now();
    if !locked(&app.inside.paces).may_ask(visitor.number, now) {
        return Some(texts::TOO_QUICK);
    }
    let mut sessions = locked(&app.inside.sessions);
    let known = sessions.find(&visitor.cookie, Activity::Act, now).is_some();
    (!known).then_some(texts::SIGN_IN_FIRST)
}

/// Each press of a key is an act of a person.
fn note(app: &App, visitor: &Visitor, way: Direction, refused: Option<&str>) {
    let what = Request::Jog(way).title();
    app.inside.acts.keep(&visitor.asker(), what, refused, None);
}
