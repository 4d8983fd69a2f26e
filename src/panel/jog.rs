//! The line of a held jog key: a web socket on which pulses go out and signs come back. It is open
//! only while a page that jogs is open, and carries nothing else.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::response::Response;
use evenpass_core::request::{Answer, Direction, Request};
use serde::Deserialize;
use serde_json::json;
use tokio::time::{Interval, MissedTickBehavior, interval};

use super::app::{App, locked};
use super::connections::Stays;
use super::visitor::Visitor;
use crate::people::Right;
use crate::station::{Follows, JogHold, PULSE_EVERY, Sign};

/// The largest message, bytes: a sign is some dozens.
const LARGEST: usize = 256;

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
    Extension(stays): Extension<Stays>,
    upgrade: WebSocketUpgrade,
) -> Response {
    upgrade.max_message_size(LARGEST).max_frame_size(LARGEST).on_upgrade(move |socket| {
        stays.set();
        hold(app, visitor, socket)
    })
}

async fn hold(app: App, visitor: Visitor, mut socket: WebSocket) {
    let mut hold = JogHold::default();
    let mut beat: Interval = interval(PULSE_EVERY);
    beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut moving = false;
    loop {
        tokio::select! {
            _ = beat.tick() => {
                let pulse = hold.pulse(app.now());
                let message = Message::Text(json!({ "pulse": pulse }).to_string().into());
                if socket.send(message).await.is_err() {
                    break;
                }
            }
            said = socket.recv() => {
                let Some(Ok(message)) = said else { break };
                let Message::Text(text) = message else { continue };
                let Ok(said) = serde_json::from_str::<Said>(&text) else { break };
                let Some(sign) = said.sign() else { break };
                let told = answer(&app, &visitor, &mut hold, sign, &said).await;
                if let Sign::Pressed(way) = sign {
                    note(&app, &visitor, way, told.as_deref());
                }
                moving = told.is_none() && sign != Sign::Released;
                if let Some(why) = told {
                    let message = Message::Text(json!({ "let_go": why.as_ref() }).to_string().into());
                    if socket.send(message).await.is_err() {
                        break;
                    }
                }
            }
        }
    }
    if moving {
        // A line that broke is a key let go. A controller that has ended moves nothing.
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
    if sign != Sign::Released && !visitor.may(Right::Maintain) {
        return Some(Right::Maintain.needs().into());
    }
    let request = match hold.sign(sign, said.pulse, app.now()) {
        Follows::Ask(request) => request,
        Follows::LetGo(why) => return Some(why.into()),
    };
    match app.station().command(&visitor.commander(said.turn), request).await {
        Ok(Answer::Accepted | Answer::AlreadySo) => {
            if let Request::Jog(way) = request {
                *locked(&app.inside.last_move) = Some(way);
            }
            None
        }
        Ok(Answer::Denied(denial)) => Some(format!("{}; {}", denial.why, denial.help).into()),
        Err(refused) => Some(refused.to_string().into()),
    }
}

/// Each press of a key is an act of a person.
fn note(app: &App, visitor: &Visitor, way: Direction, refused: Option<&str>) {
    let what = Request::Jog(way).title();
    app.inside.acts.keep(&visitor.asker(), what, refused, None);
}
