//! What somebody tells of an order at the panel: the same as by `evenpass batch`.

use std::path::PathBuf;

use axum::extract::{Form, State};
use axum::response::Response;
use evenpass_core::quantity::{Time, Volume};
use jiff::Timestamp;
use serde::Deserialize;

use super::{Shop, in_one_line};
use crate::batch::telling::{self, Field, LotTold, Wrong};
use crate::files;
use crate::panel::app::{App, place};
use crate::panel::asking::{Reply, Seal};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;
use crate::record::{Batch, Said, Store};
use crate::station::Place;

#[derive(Debug, Deserialize)]
pub(in crate::panel) struct AskTold {
    batch: String,
    act: String,
    #[serde(default)]
    holds: String,
    #[serde(default)]
    parts: String,
    #[serde(default)]
    ago: String,
    #[serde(default)]
    of: String,
    #[serde(default)]
    lot: String,
    #[serde(default)]
    certificate: String,
    #[serde(default)]
    contents: String,
    #[serde(flatten)]
    seal: Seal,
}

/// Somebody who stands before the machine tells what was done there. Nobody needs the seat for it:
/// nothing moves by it.
pub(in crate::panel) async fn told(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskTold>,
) -> Response {
    let figure = [&ask.holds, &ask.parts, &ask.of, &ask.lot].map(String::as_str).join(" ");
    let figure = figure.split_whitespace().collect::<Vec<_>>().join(" ");
    let what = format!("batch {}: {} {figure}", ask.batch, ask.act);
    let what: String = what.trim().chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    let reply = tell(&app, &visitor, ask).await.unwrap_or_else(|reply| reply);
    visitor.told(&app, &what, reply)
}

async fn tell(app: &App, visitor: &Visitor, ask: AskTold) -> Result<Reply, Reply> {
    visitor.right(Right::Run)?;
    if place(visitor.whence) == Place::Elsewhere {
        return Err(Reply::refused(texts::batches::TOLD_ELSEWHERE));
    }
    let telling = Telling::of(&ask).map_err(Reply::refused)?;
    keep(app, visitor, ask.batch, telling).await.map(Reply::done_so).map_err(Reply::refused)
}

/// Somebody told the controller that the part in the chuck was blasted just now: where that is the next
/// one of an order, the order is told the same, so that nobody has to say it twice.
pub(in crate::panel) async fn blasted_now(app: &App, visitor: &Visitor) -> Option<Reply> {
    let shown = app.order().filter(|shown| shown.in_hand.is_none())?;
    let (order, part) = (shown.order.as_ref()?, shown.next.as_ref()?.part.number);
    let telling = Telling::Blasted { parts: part.to_string(), ended: Timestamp::now() };
    let kept = keep(app, visitor, order.to_string(), telling).await;
    Some(Reply::done_so(
        kept.unwrap_or_else(|why| format!("{}: {why}", texts::batches::ORDER_NOT_TOLD)),
    ))
}

/// Keeps what is told of an order, and has it looked at anew: what stands in the records, in words; why
/// it cannot be taken, in one line.
async fn keep(
    app: &App,
    visitor: &Visitor,
    order: String,
    telling: Telling,
) -> Result<String, String> {
    let (shop, person) = (Shop::of(app), visitor.name.to_string());
    let plans = matches!(telling, Telling::TipCleaned);
    let work = move || {
        let mut store = shop.store().map_err(|problem| problem.whole())?;
        let batch = shop.own(&store, &order)?;
        let said = telling.said(&shop, &store, &batch)?;
        telling::keep(&mut store, &batch, &person, said).map_err(|problem| problem.whole())
    };
    let kept = if plans {
        app.plan(visitor, work).await.flatten()
    } else {
        app.read_records(visitor, work).await.flatten()
    };
    let (number, words) = kept.map_err(|why| in_one_line(&why))?;
    app.station().told_of_order().await;
    app.look_at_order_anew();
    Ok(format!("number {number}, {words}"))
}

/// What is told, understood.
enum Telling {
    Said(Said),
    TipCleaned,
    Blasted { parts: String, ended: Timestamp },
    Lot { of: String, lot: String, certificate: Option<String>, contents: Option<Volume> },
}

impl Telling {
    fn of(ask: &AskTold) -> Result<Self, String> {
        let given = |text: &str| (!text.trim().is_empty()).then(|| text.trim().to_owned());
        let told = || -> Result<Option<Self>, Wrong> {
            Ok(Some(match ask.act.as_str() {
                "refilled" => {
                    Self::Said(telling::refilled(telling::typed(Field::Holds, &ask.holds)?)?)
                }
                "tip-cleaned" => Self::TipCleaned,
                "blasted" => {
                    let ago = given(&ask.ago).map(|ago| telling::typed(Field::Ago, &ago));
                    let ago = ago.transpose()?.unwrap_or(Time::ZERO);
                    let ended = telling::blasted_at(ago, Timestamp::now())?;
                    Self::Blasted { parts: ask.parts.clone(), ended }
                }
                "lot" => {
                    let contents =
                        given(&ask.contents).map(|text| telling::typed(Field::Contents, &text));
                    Self::Lot {
                        of: ask.of.clone(),
                        lot: ask.lot.clone(),
                        certificate: given(&ask.certificate),
                        contents: contents.transpose()?,
                    }
                }
                _ => return Ok(None),
            }))
        };
        let told = told().map_err(|wrong| wrong.to_string())?;
        told.ok_or_else(|| texts::UNKNOWN_REQUEST.to_owned())
    }

    /// What stands in the record of an order.
    fn said(self, shop: &Shop, store: &Store, batch: &Batch) -> Result<Said, String> {
        let said = match self {
            Self::Said(said) => Ok(said),
            Self::TipCleaned => Ok(telling::tip_cleaned(&shop.stands(store, batch)?.standing)),
            Self::Blasted { parts, ended } => telling::blasted(batch, &parts, ended),
            Self::Lot { of, lot, certificate, contents } => {
                let recipe = PathBuf::from(&batch.recipe.name);
                let catalogue = files::catalogue(shop.catalogue.as_deref(), Some(&recipe))?;
                let certificate = certificate.as_deref();
                LotTold { of: &of, lot: &lot, certificate, contents }.said(&catalogue)
            }
        };
        said.map_err(|wrong| wrong.to_string())
    }
}
