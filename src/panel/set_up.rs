//! The set-up of the loaded job, checked line by line by somebody who stands before it: for one part.
//! Once that part's job has ended and is left, the next part is to be checked anew, recipe or not.

use axum::extract::{Form, State};
use axum::response::Response;
use evenpass_core::sequence::{Leaf, Phase};
use tracing::warn;

use super::app::{App, Checked, locked, place};
use super::asking::{Reply, Seal};
use super::texts;
use super::visitor::Visitor;
use crate::particulars::{ASKED, Asked, Particulars};
use crate::people::{Right, Whence};
use crate::station::Place;

/// Somebody says that the set-up of the loaded job was checked, line by line: it stands among the
/// acts, and beside the job. Nobody needs the seat for it: nothing moves by it.
pub(super) async fn checked(
    State(app): State<App>,
    visitor: Visitor,
    Form(form): Form<Vec<(String, String)>>,
) -> Response {
    let open = unticked(&form);
    let lines = texts::SET_UP_LIST.len();
    let loaded = app.station().loaded();
    let title = loaded.as_ref().map_or("", |loaded| loaded.job.recipe.title.as_str());
    let what = format!("set-up checked: {} of {lines}, {title}", lines - open.len());
    if let Err(refused) = visitor.sealed(&app, &Seal::of(&form), &what) {
        return refused;
    }
    let said = said_of_part(&form);
    let reply = match (visitor.right(Right::Run), loaded) {
        (Err(reply), _) => reply,
        (Ok(()), _) if place(visitor.whence) == Place::Elsewhere => {
            Reply::refused(texts::SET_UP_ELSEWHERE)
        }
        (Ok(()), None) => Reply::refused(texts::NO_JOB),
        (Ok(()), Some(_)) if !open.is_empty() => {
            Reply::refused(format!("{} {}", texts::SET_UP_OPEN, open.join(" ")))
        }
        (Ok(()), Some(job)) => match said {
            Err(reply) => reply,
            Ok(said) => {
                app.station().say_of_part(said);
                *locked(&app.inside.checked) = Some(Checked::now(job, visitor.name.clone()));
                Reply::done()
            }
        },
    };
    visitor.told(&app, &what, reply)
}

/// What is said of the part in the fields beside the list.
fn said_of_part(form: &[(String, String)]) -> Result<Particulars, Reply> {
    let mut said = Particulars::none();
    for asked in ASKED {
        let field = field(asked);
        let words = form.iter().filter(|(name, _)| *name == field);
        for (_, words) in words {
            said.put(asked.name, words).map_err(|no| {
                Reply::refused(format!(
                    "{}: found {}; accepted: {}",
                    asked.name, no.found, no.accepted
                ))
            })?;
        }
    }
    Ok(said)
}

/// The name of a field in which something is said of the part.
pub(super) fn field(asked: Asked) -> String {
    format!("part.{}", asked.name)
}

/// Follows the machine for as long as it is scanned: what was checked was checked for one part.
pub(super) async fn follow(app: App) {
    let mut snapshots = app.station().snapshots();
    let mut part = Part::default();
    loop {
        let phase = snapshots.borrow_and_update().status.phase;
        if part.is_over(phase) {
            *locked(&app.inside.checked) = None;
            if let Err(trouble) = app.station().next_part().await {
                warn!("the whole job could not be loaded for the next part: {trouble}");
            }
        }
        if snapshots.changed().await.is_err() {
            return;
        }
    }
}

/// The part in the chuck, as far as the states tell.
#[derive(Debug, Default)]
struct Part {
    /// Whether its job has ended, and not been left.
    ended: bool,
}

impl Part {
    /// Whether the job of a part is over and was left with this phase. A job that goes on after a
    /// trip is that of the same part, and so is one that was given up before its first flame.
    fn is_over(&mut self, phase: Phase) -> bool {
        let left = self.ended && matches!(phase, Phase::Idle | Phase::Manual | Phase::Starting);
        self.ended = matches!(phase, Phase::Complete | Phase::Stopped | Phase::Aborted)
            || (self.ended && phase == Phase::Aborting);
        left
    }
}

/// How the set-up of the loaded job stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SetUp {
    /// Nothing is loaded, so that there is nothing to check.
    NoJob,
    /// Nobody has checked it since it was loaded.
    Open,
    /// Somebody has.
    Checked,
}

impl SetUp {
    /// As a style sheet knows it.
    pub(super) const fn mark(self) -> &'static str {
        match self {
            Self::NoJob | Self::Open => "open",
            Self::Checked => "checked",
        }
    }
}

/// How the set-up of the loaded job stands.
pub(super) fn stands(app: &App) -> SetUp {
    let Some(loaded) = app.station().loaded() else { return SetUp::NoJob };
    let checked = locked(&app.inside.checked);
    match checked.as_ref().and_then(|checked| checked.of(&loaded)) {
        Some(_) => SetUp::Checked,
        None => SetUp::Open,
    }
}

/// Whether a job may be started from a page: its set-up is checked there first. The start button
/// at the machine and the command line have no list to tick; whoever presses start there stands
/// before the part, and the pages show them that the list is open.
///
/// # Errors
/// What is missing.
pub(super) fn may_start(app: &App, visitor: &Visitor) -> Result<(), Reply> {
    let begins = app.station().snapshot().status.leaf == Leaf::Ready;
    match stands(app) {
        SetUp::Open if begins && visitor.whence == Whence::Machine => {
            Err(Reply::denied(texts::SET_UP_NOT_CHECKED, texts::SET_UP_WHERE))
        }
        _ => Ok(()),
    }
}

/// The lines of the set-up that are not ticked.
fn unticked(form: &[(String, String)]) -> Vec<&'static str> {
    let is_ticked = |number: usize| {
        let name = format!("line{number}");
        form.iter().any(|(known, value)| *known == name && value == "yes")
    };
    let lines = texts::SET_UP_LIST.into_iter().enumerate();
    lines.filter(|(number, _)| !is_ticked(*number)).map(|(_, line)| line).collect()
}

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::sync::Arc;
    use std::time::{Duration, Instant};

    use evenpass_core::request::{Answer, Request};

    use super::*;
    use crate::files::Places;
    use crate::learning::Lessons;
    use crate::panel::on_twin::panel;
    use crate::station::{Commander, Loaded, Place, Sitter};

    /// Phases one after another, and those with which a part was over.
    fn over(phases: &[Phase]) -> Vec<usize> {
        let mut part = Part::default();
        let phases = phases.iter().enumerate();
        phases.filter_map(|(at, phase)| part.is_over(*phase).then_some(at)).collect()
    }

    #[test]
    fn a_part_is_over_once_its_ended_job_is_left_however_it_ended() {
        use Phase::{
            Aborted, Aborting, Complete, Cooling, Idle, Spraying, Starting, Stopped, Stopping,
        };
        assert_eq!(over(&[Idle, Starting, Spraying, Cooling, Complete, Complete, Idle, Idle]), [6]);
        assert_eq!(over(&[Spraying, Stopping, Stopped, Idle, Starting, Spraying]), [3]);
        assert_eq!(over(&[Spraying, Aborting, Aborted, Idle]), [3]);
        // Where no look fell between the reset and the next start.
        assert_eq!(over(&[Complete, Starting]), [1]);
        assert_eq!(over(&[Complete, Aborting, Aborted, Idle]), [3]);
    }

    #[test]
    fn a_part_whose_job_goes_on_or_has_not_begun_is_not_over() {
        use Phase::{Aborted, Aborting, Held, Idle, Lighting, Manual, Spraying, Starting};
        assert!(
            over(&[Spraying, Aborting, Aborted, Held, Starting, Lighting, Spraying]).is_empty()
        );
        assert!(over(&[Idle, Starting, Idle, Manual, Idle, Starting, Spraying]).is_empty());
    }

    /// The machine's own states, and the loaded job: it stays, and what was checked of it does not.
    #[tokio::test(flavor = "multi_thread", worker_threads = 1)]
    async fn when_a_run_has_ended_and_is_left_its_recipe_stays_and_its_set_up_is_open_again() {
        let (app, _folder) = panel(20.0);
        let recipe = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes/short-job.toml");
        let places = Places { rig: None, catalogue: None };
        let loaded = Loaded::read(&recipe, places, Lessons::Ignored).unwrap();
        let station = app.station();
        station.at_bench(Box::new(evenpass_hil::Bench::turn_key_on)).unwrap();
        assert_eq!(station.load(loaded).await, Ok(Answer::Accepted));
        let job = station.loaded().unwrap();
        *locked(&app.inside.checked) = Some(Checked::now(job.clone(), "Ann".into()));
        let is_checked =
            || locked(&app.inside.checked).as_ref().is_some_and(|c| c.of(&job).is_some());
        let following = tokio::spawn(follow(app.clone()));
        let until = async |phase: Phase| {
            let give_up = Instant::now() + Duration::from_secs(20);
            while station.snapshot().status.phase != phase {
                assert!(Instant::now() < give_up, "{}", station.snapshot().status.text);
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
        };
        let sitter = Sitter { key: "session 1".into(), name: "Ann".into() };
        let turn = station.seat(|seat, now| {
            seat.take(&sitter, now);
            seat.turn()
        });
        let who = Commander { sitter, place: Place::AtMachine, turn };
        until(Phase::Idle).await;
        station.command(&who, Request::Abort).await.unwrap();
        until(Phase::Aborted).await;
        assert!(is_checked(), "the trip may be reset, and the same part goes on");
        station.command(&who, Request::Acknowledge).await.unwrap();
        let give_up = Instant::now() + Duration::from_secs(20);
        while station.command(&who, Request::Reset).await != Ok(Answer::Accepted) {
            assert!(Instant::now() < give_up, "{}", station.snapshot().status.text);
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        until(Phase::Idle).await;
        let give_up = Instant::now() + Duration::from_secs(20);
        while is_checked() {
            assert!(Instant::now() < give_up, "it stays checked");
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        assert!(Arc::ptr_eq(&station.loaded().unwrap(), &job), "the recipe stays loaded");
        let quitting = station.clone();
        tokio::task::spawn_blocking(move || quitting.quit()).await.unwrap().unwrap();
        // The scan has ended, and with it what follows it.
        tokio::time::timeout(Duration::from_secs(20), following).await.unwrap().unwrap();
    }

    fn ticked(lines: impl IntoIterator<Item = &'static str>) -> Vec<(String, String)> {
        lines.into_iter().map(|line| (line.to_owned(), "yes".to_owned())).collect()
    }

    #[test]
    fn each_line_of_the_set_up_counts_once_and_by_its_own_tick_alone() {
        let lines = texts::SET_UP_LIST;
        assert_eq!(unticked(&[]), lines);
        let others = ["line0", "line0", "line0", "line1", "line2", "line3", "line9", "line"];
        assert_eq!(unticked(&ticked(others)), lines.get(4..).expect("a fifth"));
        let denied = [("line4".to_owned(), "no".to_owned())];
        let form = [&ticked(["line0", "line1", "line2", "line3"])[..], &denied].concat();
        assert_eq!(unticked(&form), lines.get(4..).expect("a fifth"));
        assert_eq!(lines.len(), 5);
        assert!(unticked(&ticked(["line0", "line1", "line2", "line3", "line4"])).is_empty());
    }
}
