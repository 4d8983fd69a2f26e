//! The choice of the order that the next part is made for.

use std::path::PathBuf;

use axum::extract::{Form, State};
use axum::response::Response;
use serde::Deserialize;

use super::{Shop, in_one_line};
use crate::batch::job::ordered;
use crate::batch::parts::{tally_of, tried};
use crate::batch::served::Chosen;
use crate::panel::app::App;
use crate::panel::asking::{Reply, Seal, load_read, may_command};
use crate::panel::texts;
use crate::panel::visitor::Visitor;
use crate::people::Right;
use crate::shown::one_line;
use crate::station::Loaded;

#[derive(Debug, Deserialize)]
pub(in crate::panel) struct AskChoose {
    /// The order; none when empty.
    batch: String,
    turn: u64,
    #[serde(flatten)]
    seal: Seal,
}

/// Somebody chooses the order that the next part is made for. Its recipe is loaded unless it is; no
/// part begins by it.
pub(in crate::panel) async fn choose(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskChoose>,
) -> Response {
    let what: String = format!("make parts of batch {}", ask.batch).chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    let reply = choose_it(&app, &visitor, &ask).await.unwrap_or_else(|reply| reply);
    app.look_at_order_anew();
    visitor.told(&app, &what, reply)
}

async fn choose_it(app: &App, visitor: &Visitor, ask: &AskChoose) -> Result<Reply, Reply> {
    visitor.right(Right::Run)?;
    may_command(app, visitor, ask.turn)?;
    let shop = Shop::of(app);
    if ask.batch.is_empty() {
        if shop.loaded.is_none() {
            return Err(Reply::refused(texts::NO_JOB));
        }
        app.station().choose(Chosen::Without).await;
        return Ok(Reply::done_so(texts::batches::PARTS_BY_THEMSELVES));
    }
    let id = ask.batch.clone();
    let look = move || {
        let store = shop.store().map_err(|problem| problem.whole())?;
        let batch = shop.own(&store, &id)?;
        let tried = tried(&store, &batch).map_err(|problem| problem.whole())?;
        let is_loaded = shop.loaded_for(&batch).is_some();
        let tally = tally_of(&batch, &tried);
        if tally.queue.is_empty() {
            return Err(format!(
                "{}: {}",
                one_line(batch.id.as_str()),
                texts::batches::NO_PART_TO_MAKE
            ));
        }
        Ok((batch, is_loaded))
    };
    let found = app.read_records(visitor, look).await.flatten();
    let (batch, is_loaded) = found.map_err(|why| Reply::refused(in_one_line(&why)))?;
    // Looking took its time.
    may_command(app, visitor, ask.turn)?;
    let order = Chosen::Order(batch.id.clone());
    if is_loaded {
        app.station().choose(order).await;
        return Ok(Reply::done());
    }
    let path = PathBuf::from(&batch.recipe.name);
    load_read(app, visitor, ask.turn, Some(order), move |places, from| {
        Loaded::of(ordered(&batch), &path, places, from)
    })
    .await
}
