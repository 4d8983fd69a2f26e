//! What happens in one run, and when: everything a seed has drawn, written down so that it can be
//! kept, read, shortened and played again without the generator that drew it.

use std::fs;
use std::path::{Path, PathBuf};

use evenpass_core::request::{Origin, Request};
use evenpass_hil::{Button, Fault, LineIndex, Presence, Target};
use serde::{Deserialize, Serialize};

/// What a clock does while the program stands still.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum StallClock {
    /// It runs on: a program that was not scheduled.
    Runs,
    /// It stands as well: a computer that was suspended, on a clock that does not count that.
    Stands,
}

/// One thing that happens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Event {
    /// A fault of the bench comes.
    Inject(Fault),
    /// A signal's or device's fault goes.
    Mend(Target),
    /// All faults of a line go.
    MendLine(LineIndex),
    /// All troubles of the plant go.
    MendPlant,
    /// Mains goes.
    MainsOff,
    /// Mains comes back.
    MainsOn,
    /// The program's port of a line goes.
    PortGone(LineIndex),
    /// It comes back.
    PortBack(LineIndex),
    /// The program stands still.
    Stall {
        /// For so long, us.
        for_us: u64,
        /// And its clock?
        clock: StallClock,
    },
    /// The clock handed to the controller is put forward, us.
    ClockForward(u64),
    /// The clock handed to the controller is put back, us.
    ClockBack(u64),
    /// A button is pressed and let go.
    Press {
        /// Which.
        button: Button,
        /// For how long, us.
        hold_us: u64,
    },
    /// The key is turned on.
    KeyOn,
    /// The key is turned off.
    KeyOff,
    /// The guard is opened.
    OpenGuard,
    /// The guard is shut.
    ShutGuard,
    /// Somebody sparks at the torch.
    Spark,
    /// Somebody pushes the carriage to a place, mm.
    PushCarriage(f64),
    /// The hopper is filled to a weight, g.
    FillHopper(f64),
    /// Somebody asks something.
    Ask(Request, Origin),
    /// Somebody else stands at the machine.
    Stands(Presence),
}

impl Person {
    /// Them at the machine.
    pub(crate) const fn stands(&self) -> Presence {
        Presence::Paced { reaction_s: self.reaction_s, watching_s: self.watching_s }
    }
}

/// Something at its time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Timed {
    /// When, us since power-up.
    pub(crate) at_us: u64,
    /// What.
    pub(crate) event: Event,
}

/// The one who looks after the job.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Person {
    /// What they need before each act, s.
    pub(crate) reaction_s: f64,
    /// And before one that they watch for, the wetting of the coat, s.
    pub(crate) watching_s: f64,
    /// Whether they reset and restart while things go wrong, or only afterwards.
    pub(crate) eager: bool,
}

/// One run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Schedule {
    /// What it was drawn from.
    pub(crate) seed: u64,
    /// What the bench draws its own chances from.
    pub(crate) bench_seed: u64,
    /// The person.
    pub(crate) person: Person,
    /// When everything is mended, us.
    pub(crate) mended_at_us: u64,
    /// What happens, by time.
    pub(crate) events: Vec<Timed>,
}

/// A schedule that was kept, with what it taught.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Journal {
    /// What it showed when it was first played, and what came of it.
    pub(crate) lesson: String,
    /// What happens in it.
    pub(crate) schedule: Schedule,
}

/// Where journals are kept.
pub(crate) fn kept_in() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/seeds")
}

/// All journals that are kept, by name.
pub(crate) fn kept() -> Vec<(String, Journal)> {
    let folder = kept_in();
    let mut names: Vec<PathBuf> = fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .collect();
    names.sort();
    names.iter().map(|path| (name_of(path), read(path))).collect()
}

fn name_of(path: &Path) -> String {
    path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
}

/// Reads one.
pub(crate) fn read(path: &Path) -> Journal {
    let text =
        fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// A journal's text: one event a line, so that a difference between two can be read.
pub(crate) fn text(journal: &Journal) -> String {
    let schedule = &journal.schedule;
    let events: Vec<String> =
        schedule.events.iter().map(|event| format!("      {}", one(event))).collect();
    format!(
        "{{\n  \"lesson\": {},\n  \"schedule\": {{\n    \"seed\": {},\n    \"bench_seed\": {},\n    \
         \"person\": {},\n    \"mended_at_us\": {},\n    \"events\": [\n{}\n    ]\n  }}\n}}\n",
        one(&journal.lesson),
        schedule.seed,
        schedule.bench_seed,
        one(&schedule.person),
        schedule.mended_at_us,
        events.join(",\n")
    )
}

fn one(value: &impl Serialize) -> String {
    serde_json::to_string(value).expect("it can be written")
}
