//! What is asked of the controller through a station, and by whom: a stop from anyone, all else by
//! whoever has the seat at the machine.

use std::sync::Arc;
use std::time::Duration;

use evenpass_core::request::{Answer, Denial, Origin, Request};
use evenpass_core::sequence::Leaf;
use tokio::sync::oneshot;
use tokio::time::timeout;

use super::keeper::Told;
use super::{NotSeated, Sitter, Station, locked};
use crate::clock::orders::{Asked, Order};
use crate::clock::paced::Gone;

/// How long a start waits until the header of its record is durable. Arbitrary: longer than a disk
/// takes, and whoever pressed the button still stands before it.
const RECORD_WITHIN: Duration = Duration::from_secs(2);

/// Who asks for something, and from where.
#[derive(Debug, Clone)]
pub struct Commander {
    /// The person, at one signed-in place.
    pub sitter: Sitter,
    /// Whether that place is at the machine.
    pub place: Place,
    /// The turn in the seat that the command was made in.
    pub turn: u64,
}

/// Where somebody is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// At the machine: what they do there are acts at the machine, with the key on.
    AtMachine,
    /// Elsewhere: they watch, and can stop.
    Elsewhere,
}

/// Why a command did not reach the controller.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// Its maker does not command.
    #[error("{0}")]
    NotSeated(#[from] NotSeated),
    /// Its maker is not at the machine.
    #[error(
        "only somebody at the machine may do that; from elsewhere: stop, hold, abort, acknowledge"
    )]
    Elsewhere,
    /// The scan has ended.
    #[error("{0}")]
    Gone(#[from] Gone),
}

impl Station {
    /// What only takes away, a stop first of all: from anyone, without seat, right or name. It waits
    /// for nothing and nobody.
    ///
    /// # Errors
    /// The scan has ended.
    pub async fn take_away(
        &self,
        request: Request,
        person: Option<Arc<str>>,
    ) -> Result<Answer, Gone> {
        self.ask(Asked { request, origin: Origin::Watcher, person }).await
    }

    /// A command. Holding, aborting, acknowledging and letting go of a jog key are taken from
    /// everyone; all else from whoever has the seat
    /// at the machine. A start waits until the header of its record is durable, but not for long;
    /// then it goes out only if its maker still has the seat, and to the state it was made in.
    ///
    /// # Errors
    /// Why it did not reach the controller.
    pub async fn command(&self, who: &Commander, request: Request) -> Result<Answer, Refused> {
        let person = Some(who.sitter.name.clone());
        if request.only_takes_away() {
            return Ok(self.take_away(request, person).await?);
        }
        if who.place == Place::Elsewhere {
            return Err(Refused::Elsewhere);
        }
        self.seat(|seat, _| seat.may_command(&who.sitter.key, who.turn))?;
        let asked = Asked { request, origin: Origin::Seat, person };
        if request == Request::Start && self.snapshot().status.leaf == Leaf::Ready {
            let _turn = self.inside.turns.lock().await;
            if let Err(trouble) = self.open_record().await {
                return Ok(Answer::Denied(Denial {
                    why: format!("the record of the job cannot be begun: {trouble}"),
                    help: "make room on the disk or look at the records file, then start again"
                        .to_owned(),
                }));
            }
            if self.snapshot().status.leaf != Leaf::Ready {
                return Ok(Answer::Denied(Denial {
                    why: "the machine has left the state that this start was meant for".to_owned(),
                    help: "look again, then start again".to_owned(),
                }));
            }
            return self.ask_from_seat(who, asked).await;
        }
        self.ask_from_seat(who, asked).await
    }

    /// Asks for somebody who has the seat until the order is on its way: nobody sits down between.
    async fn ask_from_seat(&self, who: &Commander, asked: Asked) -> Result<Answer, Refused> {
        let answer = self.seat(|seat, _| {
            seat.may_command(&who.sitter.key, who.turn)?;
            Ok::<_, Refused>(self.send(asked)?)
        })?;
        Ok(answer.await.map_err(|_| Gone)?)
    }

    async fn ask(&self, asked: Asked) -> Result<Answer, Gone> {
        self.send(asked)?.await.map_err(|_| Gone)
    }

    /// Sends it on its way, and says where its answer comes.
    fn send(&self, asked: Asked) -> Result<oneshot::Receiver<Answer>, Gone> {
        let (reply, answer) = oneshot::channel();
        self.order(Order::Request(asked, reply))?;
        Ok(answer)
    }

    async fn open_record(&self) -> Result<(), String> {
        let (reply, opened) = oneshot::channel();
        match &*locked(&self.inside.keeper) {
            Some(keeper) => keeper.tell(Told::Opens(reply)),
            None => return Err("the records are shut".to_owned()),
        }
        match timeout(RECORD_WITHIN, opened).await {
            Ok(opened) => {
                opened.unwrap_or_else(|_| Err("the keeper of the records has ended".to_owned()))
            }
            Err(_) => Err(format!("the disk has not answered for {} s", RECORD_WITHIN.as_secs())),
        }
    }
}
