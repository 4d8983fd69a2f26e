//! Live values by server-sent events: what has changed since the last look, a few times a second.
//! Never a backlog: who reads slowly gets the newest.

mod alert;
pub(super) mod part;
mod run;
mod scales;

pub(super) use self::run::stage;

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::future::ready;
use std::time::Duration;

use axum::Extension;
use axum::extract::{Query, State};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream::{once, unfold};
use maud::Markup;
use serde::{Deserialize, Serialize};
use tokio::sync::mpsc;
use tokio::time::{Interval, MissedTickBehavior, interval, timeout};

use super::app::App;
use super::connections::Stays;
use super::limits::{Share, Taken, share};
use super::texts;
use super::visitor::{Visitor, written};
use crate::people::Activity;

/// How often a page gets what has changed: quicker than anybody reads.
const EVERY: Duration = Duration::from_millis(200);
/// Who takes nothing for so long does not look on any more.
const TAKEN_WITHIN: Duration = Duration::from_secs(10);

/// One value of a page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Piece {
    /// The text of an element.
    Text(String),
    /// The inside of an element, as markup of ours.
    Html(String),
    /// A word that a style sheet shows an element by.
    Mark(&'static str),
}

/// Values by the names of the elements that show them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Values(BTreeMap<&'static str, Piece>);

impl Values {
    /// A text.
    pub(super) fn text(&mut self, name: &'static str, text: impl Into<String>) {
        self.0.insert(name, Piece::Text(text.into()));
    }

    /// Markup of ours.
    pub(super) fn html(&mut self, name: &'static str, html: Markup) {
        self.0.insert(name, Piece::Html(html.into_string()));
    }

    /// A mark.
    pub(super) fn mark(&mut self, name: &'static str, mark: &'static str) {
        self.0.insert(name, Piece::Mark(mark));
    }

    /// What is other than before, as an event's data.
    fn since(&self, before: &Self) -> BTreeMap<&'static str, &Piece> {
        let changed =
            |(name, piece): &(&&'static str, &Piece)| before.0.get(**name) != Some(*piece);
        self.0.iter().filter(changed).map(|(name, piece)| (*name, piece)).collect()
    }
}

/// Which page looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Page {
    /// Run.
    Run,
    /// Maintenance: the carriage.
    Maintenance,
    /// Maintenance: signals.
    Signals,
    /// Maintenance: proof tests.
    Proofs,
    /// Maintenance: lines.
    Lines,
    /// Maintenance: calibrations.
    Calibrations,
    /// Recipes.
    Recipes,
    /// Points for a new recipe.
    Teach,
    /// Orders.
    Batches,
    /// Records.
    Records,
    /// The twin's bench.
    Bench,
}

#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    page: Page,
}

/// All values of a page as they are now.
async fn values(app: &App, visitor: &Visitor, page: Page) -> Values {
    let mut values = Values::default();
    run::always(app, visitor, &mut values);
    match page {
        Page::Run => run::page(app, visitor, &mut values),
        Page::Teach => super::page::recipes::teach::live(app, visitor, &mut values).await,
        Page::Maintenance | Page::Signals | Page::Proofs | Page::Lines | Page::Calibrations => {
            super::page::maintenance::live(app, visitor, page, &mut values).await;
        }
        Page::Bench => super::page::bench::live(app, visitor, &mut values).await,
        Page::Recipes => super::page::recipes::live(app, visitor, &mut values),
        Page::Batches | Page::Records => {}
    }
    values
}

/// A stream that is open.
struct Stream {
    app: App,
    visitor: Visitor,
    page: Page,
    shown: Values,
    beat: Interval,
    count: u64,
    over: bool,
    /// Its place among the streams; given back with it.
    _share: Share,
}

/// Opens a stream.
pub(super) async fn stream(
    State(app): State<App>,
    visitor: Visitor,
    Extension(stays): Extension<Stays>,
    Query(asked): Query<Asked>,
) -> Response {
    let share = match share(&app.inside.streams, visitor.number) {
        Ok(share) => share,
        Err(taken) => {
            app.inside.acts.keep(&visitor.asker(), "watch", Some(texts::TOO_MANY_STREAMS), None);
            return busy(taken);
        }
    };
    stays.set();
    let mut beat = interval(EVERY);
    beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let begun = Stream {
        app,
        visitor,
        page: asked.page,
        shown: Values::default(),
        beat,
        count: 0,
        over: false,
        _share: share,
    };
    // Values are worked out here, among the workers, and not where the connection is.
    let (give, taken) = mpsc::channel(1);
    tokio::spawn(begun.run(give));
    let events = unfold(taken, |mut taken| async move {
        taken.recv().await.map(|event| (Ok::<_, Infallible>(event), taken))
    });
    Sse::new(events).keep_alive(KeepAlive::default()).into_response()
}

/// A stream of one event, which says why there is no other: what refuses a browser its stream tells
/// its page nothing, and the page would have to take the connection for lost.
fn busy(taken: Taken) -> Response {
    let words = match taken {
        Taken::Own => texts::BUSY_WITH_OWN,
        Taken::All => texts::BUSY_WITH_ALL,
    };
    let event = Event::default().event("busy").data(words);
    written(Sse::new(once(ready(Ok::<_, Infallible>(event)))).into_response())
}

impl Stream {
    /// Gives event after event, each worked out when there is room for it, until nobody takes them.
    async fn run(mut self, give: mpsc::Sender<Event>) {
        while !self.over {
            tokio::select! {
                _ = self.beat.tick() => {}
                () = give.closed() => return,
            }
            let Ok(Ok(room)) = timeout(TAKEN_WITHIN, give.reserve()).await else { return };
            room.send(self.next().await);
        }
    }

    /// What has changed; nothing but its number when nothing has, so that the page knows that it
    /// still looks at something live.
    async fn next(&mut self) -> Event {
        self.count += 1;
        if !self.is_signed_in() {
            self.over = true;
            return Event::default().event("over").data("");
        }
        let now = values(&self.app, &self.visitor, self.page).await;
        let changed = now.since(&self.shown);
        let data = serde_json::json!({ "count": self.count, "changed": changed });
        self.shown = now;
        Event::default().data(data.to_string())
    }

    fn is_signed_in(&self) -> bool {
        let mut sessions = super::app::locked(&self.app.inside.sessions);
        sessions.find(&self.visitor.cookie, Activity::Look, self.app.now()).is_some()
    }
}

/// Whether the program is there, for another one of ours and for nobody's secrets.
pub(super) async fn alive(State(app): State<App>) -> Response {
    let snapshot = app.station().snapshot();
    axum::Json(serde_json::json!({
        "program": "evenpass",
        "version": env!("CARGO_PKG_VERSION"),
        "rig": app.station().rig().title,
        "state": snapshot.status.text,
        "sign_in": app.asks_for_a_pin(),
        "beat": snapshot.beat,
    }))
    .into_response()
}
