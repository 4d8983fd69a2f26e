//! What the command line is told: who has signed in and how the machine stands, as one JSON value
//! each. A page gets markup instead.

use axum::Json;
use axum::extract::State;
use evenpass_core::image::{Contact, Kind, Level, Referenced};
use evenpass_core::interlock::{Acknowledged, Occurrence};
use evenpass_core::quantity::{Length, Speed, SpindleSpeed, fixed};
use evenpass_core::request::Direction;
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::{Ask, Leaf, Phase};
use serde::{Deserialize, Serialize};

use super::app::{App, place};
use super::visitor::Visitor;
use crate::people::{Role, Units};
use crate::record::RunKind;
use crate::station::{Place, ProofShown, shown_name};

/// The request that makes somebody a visitor at the command line.
pub const TERMINAL: &str = "x-evenpass-terminal";

/// Slower than this the carriage is at rest.
const AT_REST: Speed = Speed::from_mm_per_s(0.2);

/// Who has signed in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SessionTold {
    /// The person's name.
    pub person: String,
    /// Their role.
    pub role: Role,
    /// Whether what they ask counts as asked at the machine.
    pub at_machine: bool,
    /// The token that every request of the session brings.
    pub form: String,
    /// What they read figures in.
    pub units: Units,
}

/// How the machine stands, and who commands it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StateTold {
    /// The machine.
    pub machine: MachineTold,
    /// Who has the seat; `None` when nobody has.
    pub seat: Option<String>,
    /// Whether the one who asks has it.
    pub seat_is_yours: bool,
    /// Who asks for it.
    pub asking: Option<String>,
    /// The turn in the seat, which commands name.
    pub turn: u64,
    /// The loaded recipe's file name.
    pub recipe: Option<String>,
    /// The record that is being written, or was last.
    pub record: Option<String>,
    /// What keeps the record from being written.
    pub record_trouble: Option<String>,
    /// The proof test in hand, or the last one.
    pub proof: Option<ProofShown>,
    /// Whether a proof test is under way.
    pub proves: bool,
    /// Whether the machine is a twin inside the program.
    pub twin: bool,
}

/// Where a job stands, roughly: what somebody who follows it has to tell apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// No job runs.
    Idle,
    /// Manual work.
    Manual,
    /// A job runs, or is being held or stopped.
    Running,
    /// It waits for a restart.
    Held,
    /// It was ended early.
    Stopped,
    /// A trip is being carried out.
    Tripping,
    /// A trip is latched.
    Tripped,
    /// It is done.
    Complete,
}

impl Stage {
    const fn of(phase: Phase) -> Self {
        match phase {
            Phase::Idle => Self::Idle,
            Phase::Manual => Self::Manual,
            Phase::Held => Self::Held,
            Phase::Stopped => Self::Stopped,
            Phase::Aborting => Self::Tripping,
            Phase::Aborted => Self::Tripped,
            Phase::Complete => Self::Complete,
            _ => Self::Running,
        }
    }
}

/// What answers a prompt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AnsweredBy {
    /// The start.
    Start,
    /// Accept.
    Accept,
    /// Wet.
    Wet,
    /// An act that is seen at the machine.
    Act,
}

/// What a person is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PromptTold {
    /// In words.
    pub ask: String,
    /// What answers it.
    pub by: AnsweredBy,
    /// How long it can still be answered, s.
    pub left_s: Option<f64>,
}

/// A cause in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CauseTold {
    /// What, where, found and expected.
    pub what: String,
    /// What the machine did.
    pub done: String,
    /// What to do now.
    pub to_do: String,
}

/// How the machine stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MachineTold {
    /// The controller's time, s.
    pub at_s: f64,
    /// State and what is being done.
    pub text: String,
    /// Where a job stands, roughly.
    pub stage: Stage,
    /// Whether the carriage looks for its datum, is about to, or goes to the park after it.
    pub homes: bool,
    /// What a person is asked.
    pub prompt: Option<PromptTold>,
    /// What is missing for a start.
    pub missing: Vec<String>,
    /// The first cause of a trip that is latched.
    pub trip: Option<CauseTold>,
    /// Whether somebody has acknowledged it.
    pub acknowledged: bool,
    /// What a reset still waits for.
    pub reset_needs: Vec<String>,
    /// Causes that hold.
    pub holds: Vec<CauseTold>,
    /// What to look at, in words.
    pub warnings: Vec<String>,
    /// Why the last try did not go as asked.
    pub setback: Option<String>,
    /// What a restart would do; `None` where none is possible.
    pub restart: Option<String>,
    /// Where the torch is; `None` without a datum or a reading.
    pub place: Option<Length>,
    /// Whether the carriage moves or is about to.
    pub moves: bool,
    /// Which way it was last seen to move, if anybody knows.
    pub came: Option<Direction>,
    /// The point last taken.
    pub taken: Option<Length>,
    /// Place, feed, spindle, powder, flame in one line.
    pub figures: String,
}

impl MachineTold {
    /// Of a picture of the controller, in a person's units.
    #[must_use]
    pub fn of(snapshot: &Snapshot, units: Units) -> Self {
        let status = &snapshot.status;
        let verdict = &snapshot.verdict;
        let said = |text: &str| units.restate(text).into_owned();
        let told = |occurrence: &Occurrence| {
            let told = verdict.told(occurrence);
            CauseTold { what: said(&told.what), done: said(&told.done), to_do: said(told.to_do) }
        };
        let axis = &snapshot.inputs.axis;
        let known = axis.kind == Kind::Measured;
        let speed = axis.value.velocity.mm_per_s().abs();
        Self {
            at_s: snapshot.at.as_seconds(),
            text: said(&status.text),
            stage: Stage::of(status.phase),
            homes: status.leaf == Leaf::Homing,
            prompt: status.prompt.map(|prompt| PromptTold {
                ask: said(&prompt.ask.to_string()),
                by: answered_by(prompt.ask),
                left_s: prompt.until.map(|until| until.since(snapshot.at).as_secs_f64()),
            }),
            missing: status.missing.iter().map(|&words| said(words)).collect(),
            trip: verdict.first.as_ref().map(told),
            acknowledged: verdict.acknowledged == Acknowledged::Yes,
            reset_needs: verdict.reset_needs.iter().map(|&words| said(words)).collect(),
            holds: verdict.holds_not_overtaken().map(told).collect(),
            warnings: verdict.warnings.iter().map(|warning| said(&warning.message)).collect(),
            setback: status.setback.map(|cause| said(&cause.to_string())),
            restart: status.restart.as_deref().map(said),
            place: (known && axis.value.referenced == Referenced::Yes)
                .then_some(axis.value.position),
            moves: status.target.is_some() || (known && speed > AT_REST.mm_per_s()),
            came: snapshot.came,
            taken: status.taught.first().copied().flatten(),
            figures: figures(snapshot, units),
        }
    }
}

const fn answered_by(ask: Ask) -> AnsweredBy {
    match ask {
        Ask::Start | Ask::BeginHoming => AnsweredBy::Start,
        Ask::CallWet => AnsweredBy::Wet,
        ask if ask.is_answered_by_accept() => AnsweredBy::Accept,
        _ => AnsweredBy::Act,
    }
}

fn figures(snapshot: &Snapshot, units: Units) -> String {
    let inputs = &snapshot.inputs;
    let mut parts = vec![units.restate(&snapshot.status.text).into_owned()];
    let axis = &inputs.axis;
    parts.push(match (axis.kind == Kind::Measured, axis.value.referenced) {
        (true, Referenced::Yes) => format!("torch at {}", units.length(axis.value.position)),
        (true, Referenced::No) => "no datum".to_owned(),
        (false, _) => "place not known".to_owned(),
    });
    if inputs.spindle.kind == Kind::Measured {
        let turns: SpindleSpeed = inputs.spindle.value.measured;
        parts.push(format!("spindle {} rpm", fixed(turns.rpm(), 1)));
    }
    let flame = inputs.contact(Contact::Flame);
    if flame.kind == Kind::Measured {
        parts.push(format!("flame {}", on_off(flame.value)));
    }
    parts.push(format!("powder {}", on_off(snapshot.outputs.powder.now)));
    parts.join(", ")
}

const fn on_off(level: Level) -> &'static str {
    match level {
        Level::On => "on",
        Level::Off => "off",
    }
}

/// A proof's words in a person's units.
fn restated(shown: ProofShown, units: Units) -> ProofShown {
    let said = |text: &str| units.restate(text).into_owned();
    ProofShown {
        instruction: said(&shown.instruction),
        missing: said(&shown.missing),
        outcome: shown.outcome.as_deref().map(said),
        ..shown
    }
}

/// Who asks.
pub(super) async fn session(visitor: Visitor) -> Json<SessionTold> {
    Json(SessionTold {
        person: visitor.name.to_string(),
        role: visitor.role,
        at_machine: place(visitor.whence) == Place::AtMachine,
        form: visitor.form,
        units: visitor.units,
    })
}

/// How everything stands.
pub(super) async fn state(State(app): State<App>, visitor: Visitor) -> Json<StateTold> {
    let station = app.station();
    let own = visitor.sitter().key;
    let (seat, seat_is_yours, asking, turn) = station.seat(|seat, _| {
        let holder = seat.holder();
        (
            holder.map(|holder| shown_name(&holder.name).to_owned()),
            holder.is_some_and(|holder| holder.key == own),
            seat.asking().map(|asking| shown_name(&asking.name).to_owned()),
            seat.turn(),
        )
    });
    let kept = station.kept();
    let recipe = station
        .loaded()
        .and_then(|loaded| loaded.path.file_name().map(|name| name.to_string_lossy().into_owned()));
    Json(StateTold {
        machine: MachineTold::of(&station.snapshot(), visitor.units),
        seat,
        seat_is_yours,
        asking,
        turn,
        recipe,
        record: kept.run.map(|run| run.to_string()),
        record_trouble: kept.trouble,
        proof: station.proofs().shown().map(|shown| restated(shown, visitor.units)),
        proves: station.proofs().is_under_way(),
        twin: station.kind() == RunKind::Twin,
    })
}
