//! A run that did not come to its end and waits for somebody to decide: looked for at the start, and
//! after each job, by a thread that may wait for the disk; and what somebody decides about it. Nothing
//! moves by that: going on loads what is left, like any other job.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::extract::{Form, State};
use axum::response::Response;
use evenpass_core::quantity::{Length, Quantity as _};
use evenpass_core::request::Answer;
use evenpass_core::resume::{Checked, Choice, Stood};
use evenpass_core::sequence::Phase;
use jiff::Timestamp;
use serde::Deserialize;
use tracing::warn;

use super::app::{App, locked};
use super::asking::{Reply, Seal, may_command};
use super::texts;
use super::visitor::Visitor;
use crate::people::{Right, Units};
use crate::record::{Outcome, RunId, RunKind, Store, records_file};
use crate::resuming::{self, CutOff, Decision, cut_off, on_hold};
use crate::station::Loaded;

/// One that waits is looked for again after so long; arbitrary.
const LOOK_AGAIN: Duration = Duration::from_secs(5);

/// A run that waits for somebody to decide.
pub(super) struct Undone {
    /// Its id.
    pub(super) run: RunId,
    /// What it has left; why it cannot be read, where it cannot.
    pub(super) cut: Result<CutOff, String>,
}

/// What was found when it was last looked.
#[derive(Default)]
pub(super) struct Looked {
    /// The run that was recorded last then; looked anew once there is another, or it has ended.
    after: Option<Option<RunId>>,
    /// When that was.
    at: Option<Instant>,
    found: Option<Arc<Undone>>,
    /// Why it could not be looked, the last time.
    trouble: Option<String>,
}

impl Looked {
    /// Whether one that was found may be settled meanwhile: elsewhere somebody decides of its part.
    fn is_old(&self) -> bool {
        self.found.is_some() && self.at.is_none_or(|at| at.elapsed() > LOOK_AGAIN)
    }
}

/// What a look needs.
struct Place {
    records: Option<PathBuf>,
    catalogue: Option<PathBuf>,
    rig: String,
    kind: RunKind,
}

impl Place {
    fn of(app: &App) -> Self {
        let station = app.station();
        Self {
            records: station.records().map(PathBuf::from),
            catalogue: app.inside.options.catalogue.clone(),
            rig: station.rig().title.clone(),
            kind: station.kind(),
        }
    }

    fn store(&self) -> Result<Store, String> {
        let store = records_file(self.records.as_deref());
        store.and_then(|file| Store::open_existing(&file)).map_err(|problem| problem.whole())
    }

    fn waits(&self, store: &Store) -> Result<Option<RunId>, String> {
        store.left_undone(&self.rig, self.kind).map_err(|problem| problem.whole())
    }

    fn read(&self, store: &Store, run: &RunId, stood: Option<Stood>) -> Result<CutOff, String> {
        cut_off(store, run, self.catalogue.as_deref(), stood)
    }
}

impl App {
    /// The run that waits for somebody to decide, as far as it was looked.
    pub(super) fn undone(&self) -> Option<Arc<Undone>> {
        locked(&self.inside.undone).found.clone()
    }

    /// Why nobody knows whether one waits; `None` once it was looked.
    pub(super) fn undone_unknown(&self) -> Option<String> {
        let looked = locked(&self.inside.undone);
        looked
            .trouble
            .clone()
            .or_else(|| looked.at.is_none().then(|| texts::UNDONE_NOT_LOOKED.to_owned()))
    }

    /// Looks for one, where that may have changed since. Waits for nothing itself.
    pub(super) fn look_for_undone(&self) {
        let station = self.station();
        let last = station.kept().run;
        let rests = matches!(station.snapshot().status.phase, Phase::Idle | Phase::Manual);
        let is_known = {
            let looked = locked(&self.inside.undone);
            looked.after.as_ref() == Some(&last) && !looked.is_old()
        };
        if !rests || is_known {
            return;
        }
        let Ok(turn) = self.inside.looking_undone.clone().try_acquire_owned() else { return };
        let app = self.clone();
        tokio::task::spawn_blocking(move || {
            let looked = app.look(last);
            if let Err(trouble) = &looked {
                warn!("whether a run waits for a decision is not known: {trouble}");
            }
            locked(&app.inside.undone).trouble = looked.err();
            drop(turn);
        });
    }

    fn look(&self, last: Option<RunId>) -> Result<(), String> {
        let place = Place::of(self);
        let store = place.store()?;
        let waits = place.waits(&store)?;
        // A record whose end is not on the disk yet may be the one.
        let ended = last.as_ref().map(|last| store.outcome(last)).transpose();
        let ended = ended.map_err(|problem| problem.whole())? != Some(Outcome::Open);
        let known = self.undone();
        let found = match (waits, known) {
            (None, _) => None,
            (Some(run), Some(known)) if known.run == run && still_so(&store, &known)? => {
                Some(known)
            }
            (Some(run), _) => {
                let cut = place.read(&store, &run, None);
                Some(Arc::new(Undone { run, cut }))
            }
        };
        *locked(&self.inside.undone) =
            Looked { after: ended.then_some(last), at: Some(Instant::now()), found, trouble: None };
        Ok(())
    }

    /// Something was decided: looks anew.
    fn look_again(&self) {
        locked(&self.inside.undone).after = None;
        self.look_for_undone();
    }
}

/// Whether what was read of a run stands, so that it need not be planned again.
fn still_so(store: &Store, known: &Undone) -> Result<bool, String> {
    let Ok(cut) = &known.cut else { return Ok(false) };
    let on_hold = on_hold(store, &known.run).map_err(|problem| problem.whole())?;
    Ok(cut.on_hold == on_hold)
}

#[derive(Debug, Deserialize)]
pub(super) struct AskSettle {
    run: String,
    choice: String,
    #[serde(default)]
    stood: String,
    #[serde(default)]
    datum: String,
    #[serde(default)]
    surface: String,
    #[serde(default)]
    inspection: String,
    #[serde(default)]
    unblasted: String,
    #[serde(default)]
    reason: String,
    turn: u64,
    #[serde(flatten)]
    seal: Seal,
}

/// Somebody decides about the run that waits.
pub(super) async fn settle(
    State(app): State<App>,
    visitor: Visitor,
    Form(ask): Form<AskSettle>,
) -> Response {
    let what: String = format!("{} run {}", ask.choice, ask.run).chars().take(80).collect();
    if let Err(refused) = visitor.sealed(&app, &ask.seal, &what) {
        return refused;
    }
    let reply = settle_it(&app, &visitor, &ask).await.unwrap_or_else(|reply| reply);
    app.look_again();
    visitor.told(&app, &what, reply)
}

async fn settle_it(app: &App, visitor: &Visitor, ask: &AskSettle) -> Result<Reply, Reply> {
    visitor.right(Right::Run)?;
    may_command(app, visitor, ask.turn)?;
    if !matches!(app.station().snapshot().status.phase, Phase::Idle | Phase::Manual) {
        return Err(Reply::refused(texts::UNDONE_UNDER_WAY));
    }
    let undone = app.undone().filter(|undone| undone.run.as_str() == ask.run);
    let undone = undone.ok_or_else(|| Reply::refused(texts::UNDONE_ELSE))?;
    let wants_place = undone.cut.as_ref().is_ok_and(|cut| cut.found.hand.is_some());
    let typed = Typed::of(ask, wants_place, visitor.units).map_err(Reply::refused)?;
    if typed.checked.unblasted.is_some() {
        visitor.right(Right::Engineer)?;
    }
    let place = Place::of(app);
    let person = visitor.name.to_string();
    if typed.choice != Choice::GoOn {
        // Before it is written down: what nobody is to spray on any more cannot be started meanwhile.
        app.station().drop_rest_of(&undone.run).await.map_err(Reply::refused)?;
        let work = move || {
            let mut store = place.store()?;
            typed.settle(&mut store, &place, &undone.run, undone.cut.as_ref().ok(), &person)
        };
        let settled = app.plan(visitor, work).await.map_err(Reply::refused)?;
        return settled.map(|()| Reply::done()).map_err(Reply::refused);
    }
    if let Ok(cut) = &undone.cut
        && cut.job.rig_source.text != app.station().rig_source().text
    {
        return Err(Reply::refused(texts::RIG_CHANGED_LOAD));
    }
    // Read anew with the place of the torch that was found. What was decided stands in the record before
    // anything is loaded; the run is settled by it only once the rest begins.
    let work = move || {
        let mut store = place.store()?;
        let stood = typed.stood;
        let cut = place.read(&store, &undone.run, stood)?;
        typed.settle(&mut store, &place, &undone.run, Some(&cut), &person)?;
        Loaded::rest(cut, stood)
    };
    let read = app.plan(visitor, work).await.map_err(Reply::refused)?;
    let loaded = read.map_err(|why| Reply::refused(why.trim_end().replace('\n', "; ")))?;
    // Reading and planning took their time.
    may_command(app, visitor, ask.turn)?;
    match app.station().load(loaded).await.map_err(Reply::refused)? {
        Answer::Denied(denial) => Err(Reply::denied(denial.why, denial.help)),
        Answer::Accepted | Answer::AlreadySo => Ok(Reply::done()),
    }
}

/// What somebody typed, understood.
struct Typed {
    choice: Choice,
    stood: Option<Stood>,
    checked: Checked,
    reason: String,
}

impl Typed {
    fn of(ask: &AskSettle, wants_place: bool, units: Units) -> Result<Self, String> {
        let choice = Choice::ALL.into_iter().find(|choice| choice.word() == ask.choice);
        let choice = choice.ok_or_else(|| texts::UNKNOWN_REQUEST.to_owned())?;
        let words = |text: &str| {
            let text = crate::shown::one_line(text.trim());
            (!text.is_empty()).then_some(text)
        };
        let datum = words(&ask.datum).map(|text| Length::parse(&text)).transpose();
        let datum = datum.map_err(|problem| format!("{}: {problem}", texts::DATUM_READ))?;
        let stood = match choice {
            Choice::GoOn if wants_place => {
                let form = || Stood::form(&units.restate(Stood::EXAMPLE));
                Stood::typed(&ask.stood)
                    .map_err(|_| format!("{}: {}", texts::STOOD_WANTED, form()))?
            }
            _ => None,
        };
        let checked = Checked {
            datum,
            surface: words(&ask.surface),
            inspection: words(&ask.inspection),
            unblasted: words(&ask.unblasted),
        };
        Ok(Self { choice, stood, checked, reason: words(&ask.reason).unwrap_or_default() })
    }

    /// Writes it down, if the run still waits.
    fn settle(
        &self,
        store: &mut Store,
        place: &Place,
        run: &RunId,
        cut: Option<&CutOff>,
        person: &str,
    ) -> Result<(), String> {
        if place.waits(store)?.as_ref() != Some(run) {
            return Err(texts::UNDONE_ELSE.to_owned());
        }
        let now = Timestamp::now();
        let because = cut.map(|cut| cut.offer(now).because).unwrap_or_default();
        let reason = if self.reason.is_empty() { &because } else { &self.reason };
        let (choice, checked) = (self.choice, &self.checked);
        let decision = Decision { person, choice, reason, checked };
        resuming::settle(store, run, cut, decision, now)
    }
}
