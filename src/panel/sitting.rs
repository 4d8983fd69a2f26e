//! The seat as a page asks for it: taken, asked for, given, kept or left.

use axum::extract::{Form, State};
use axum::response::Response;
use serde::Deserialize;

use super::app::{App, place};
use super::asking::{Reply, Seal};
use super::texts;
use super::visitor::Visitor;
use crate::station::{Place, Taking};

#[derive(Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum SeatAct {
    Take,
    Give,
    Keep,
    Leave,
}

#[derive(Debug, Deserialize)]
pub(super) struct AskSeat {
    act: SeatAct,
    #[serde(flatten)]
    seal: Seal,
}

/// The seat is taken, asked for, given, kept or left.
pub(super) async fn seat(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskSeat>,
) -> Response {
    let mut what = format!("seat: {:?}", ask.act).to_lowercase();
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    let sitter = visitor.sitter();
    // From elsewhere nothing can be commanded; a seat taken there would only keep others from it.
    if matches!(ask.act, SeatAct::Take) && place(visitor.whence) == Place::Elsewhere {
        return visitor.told(&app, &what, Reply::refused(texts::SEAT_ELSEWHERE));
    }
    let reply = app.station().seat(|seat, now| match ask.act {
        SeatAct::Take => match seat.take(&sitter, now) {
            Taking::Theirs => Reply::done(),
            Taking::Back => {
                what.push_str(", back from another session of the same person");
                Reply::done_so(texts::SEAT_BACK)
            }
            // It is another's still: that it was asked for is all that was done.
            Taking::Asked => {
                what = "seat: ask".to_owned();
                Reply::asked(texts::SEAT_ASKED)
            }
            Taking::Busy => Reply::refused(texts::SEAT_BUSY),
        },
        SeatAct::Give => seat
            .give(&sitter.key)
            .map_or_else(|w| Reply::refused(w.to_string()), |()| Reply::done()),
        SeatAct::Keep => seat
            .keep(&sitter.key)
            .map_or_else(|w| Reply::refused(w.to_string()), |()| Reply::done()),
        SeatAct::Leave => {
            seat.leave(&sitter.key);
            Reply::done()
        }
    });
    visitor.told(&app, &what, reply)
}
