//! What a person may choose after an interruption, and what must be done before the job goes on.

use serde::{Deserialize, Serialize};

use super::interruption::Interruption;
use crate::plan::Plan;
use crate::program::Step;
use crate::quantity::{Length, Range, Temperature, Time};

/// A surface that was blasted longer ago is prepared again before it is sprayed (AWS C2.19:2013, read
/// in an excerpt: within two hours).
pub const DOWNTIME: Time = Time::from_s(7200.0);
/// How near the datum check must come, mm: what a seam that is off by so much leaves on one pass of a
/// 6 mm plume is 3.3 %, computed here from the Gaussian; arbitrary within that.
const DATUM_WITHIN: Length = Length::from_mm(0.5);

/// What may be done with the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Choice {
    /// Go on where powder ceased.
    GoOn,
    /// End the job with what is on the part.
    EndHere,
    /// Take the coat off, blast the part, and begin again.
    StripAndReblast,
}

impl Choice {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::GoOn, Self::EndHere, Self::StripAndReblast];

    /// The word it is typed by.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::GoOn => "go-on",
            Self::EndHere => "end-here",
            Self::StripAndReblast => "strip",
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::GoOn => "go on",
            Self::EndHere => "end the job here",
            Self::StripAndReblast => "strip and re-blast",
        }
    }
}

/// The choices, with the one that is taken where nothing speaks against it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Offer {
    /// All of them.
    pub choices: Vec<Choice>,
    /// The one to take when in doubt.
    pub default: Choice,
    /// Why.
    pub because: String,
}

/// How long a part has stood, as far as anybody knows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Waited {
    /// Since its job ceased; `None` where the clocks contradict each other.
    pub down: Option<Time>,
    /// Since the first job on its surface began, before which it was blasted; `None` alike.
    pub age: Option<Time>,
}

/// What may be done after so long. Going on is offered only where it can be planned.
#[must_use]
pub fn offer(found: &Interruption, waited: Waited, can_go_on: bool) -> Offer {
    let sprays = found.hand.is_some();
    let mut choices = vec![Choice::EndHere, Choice::StripAndReblast];
    if can_go_on {
        choices.insert(0, Choice::GoOn);
    }
    let within = found.program.blasted_within;
    let (default, because) = match waited.down {
        _ if found.suspect.is_some() => {
            (Choice::StripAndReblast, "the part may be spoiled: it wants an inspection".to_owned())
        }
        _ if !can_go_on => (Choice::StripAndReblast, "the rest cannot be planned".to_owned()),
        _ if !sprays => (Choice::GoOn, "all zones are sprayed, only heat is to follow".to_owned()),
        None => (
            Choice::StripAndReblast,
            "nobody knows how long it stood: the clocks contradict each other".to_owned(),
        ),
        Some(stood) if stood > DOWNTIME => (
            Choice::StripAndReblast,
            format!(
                "it stood for {:.1} h, longer than {:.0} h",
                stood.s() / 3600.0,
                DOWNTIME.s() / 3600.0
            ),
        ),
        Some(_) if waited.age.is_some_and(|age| age > within) => (
            Choice::StripAndReblast,
            format!(
                "it was blasted {:.0} min ago or more, and {:.0} min are allowed",
                waited.age.map_or(0.0, |age| age.s() / 60.0),
                within.s() / 60.0
            ),
        ),
        Some(stood) => (Choice::GoOn, format!("it stood for {:.0} min", stood.s() / 60.0)),
    };
    Offer { choices, default, because }
}

/// Something to be done, or looked at, before the job goes on.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Task {
    /// Home the carriage.
    Home,
    /// Bring the torch to this figure and see it stand at the mark of the part.
    DatumCheck {
        /// The figure.
        at: Length,
        /// How far it may be off.
        within: Length,
    },
    /// See the part's temperature: the job's own preheat brings it into the window, and waits above.
    Temperature(Range<Temperature>),
    /// Look at the surface: time since it was blasted, as far as the journal and the downtime tell.
    Surface {
        /// How long ago the first job on it began; `None` where nobody knows.
        age: Option<Time>,
        /// Longest without a look.
        within: Time,
    },
    /// Have this torch in.
    FitTorch(String),
    /// Inspect the part.
    Inspect(String),
}

impl Task {
    /// Whether it is a surface that was blasted longer ago than is allowed. Where nobody knows how long
    /// ago, stripping is the default, and a look decides.
    #[must_use]
    pub fn is_overdue(&self) -> bool {
        match *self {
            // What is no figure is within nothing.
            Self::Surface { age: Some(age), within } => !(Time::ZERO..=within).contains(&age),
            _ => false,
        }
    }
}

/// A task in its place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Before {
    /// What.
    pub task: Task,
    /// In words.
    pub words: String,
}

/// What must be done before the rest begins, in this order.
#[must_use]
pub fn before(found: &Interruption, rest: &Plan, waited: Waited) -> Vec<Before> {
    let mut all = Vec::new();
    let mut add = |task: Task, words: String| all.push(Before { task, words });
    if let Some(suspect) = &found.suspect {
        add(Task::Inspect(suspect.clone()), format!("inspect the part: {suspect}"));
    }
    add(Task::Home, "home the carriage".to_owned());
    let steps = &rest.program.steps;
    let edge = steps.iter().find_map(|step| match step {
        Step::Spray(step) => Some(step.edges.low),
        Step::Fuse(step) => Some(step.edges.low),
        _ => None,
    });
    if let Some(at) = edge {
        add(
            Task::DatumCheck { at, within: DATUM_WITHIN },
            format!(
                "datum check: at {at:.1} the torch stands over the chuck-side edge of the zone, \
                 within {DATUM_WITHIN:.1}"
            ),
        );
    }
    // A rest that only cools lights none.
    let heats = |step: &Step| !matches!(step, Step::ChangeTorch(_) | Step::Cool(_));
    if let Some(torch) = rest.program.torches.first().filter(|_| steps.iter().any(heats)) {
        add(Task::FitTorch(torch.key.clone()), format!("have {} in", torch.title));
    }
    let window = steps.iter().find_map(|step| match step {
        Step::Preheat(step) => Some(step.window),
        _ => None,
    });
    if let Some(window) = window {
        add(
            Task::Temperature(window),
            format!("part temperature: the job warms it to {} to {}", window.low, window.high),
        );
    }
    if found.hand.is_some() {
        let age = waited.age;
        let within = rest.program.blasted_within;
        let told = age.map_or_else(
            || "nobody knows how long ago it was blasted".to_owned(),
            |age| format!("it was blasted {:.0} min ago or more", age.s() / 60.0),
        );
        let task = Task::Surface { age, within };
        let engineer = if task.is_overdue() {
            "; to be sprayed on all the same it wants the engineer's reason"
        } else {
            ""
        };
        let words = format!(
            "look at the surface, oxide and soot: {told}; {:.0} min are allowed{engineer}",
            within.s() / 60.0
        );
        add(task, words);
    }
    all
}
