//! What a person sees of a running job: one line that is kept new, and a line for everything
//! that happened.

use std::io::{self, IsTerminal};
use std::time::{Duration, Instant};

use evenpass_core::image::{Analogue, Contact, Level, Referenced};
use evenpass_core::interlock::{Permissive, PermissiveState};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::program::Step;
use evenpass_core::quantity::{Speed, Temperature};
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::Leaf;

use super::outlet::Outlet;
use super::say::harmless;

/// How often the line is made new on a terminal.
const TERMINAL_EVERY: Duration = Duration::from_millis(200);
/// How often it is printed where lines cannot be made new.
const PAGE_EVERY: Duration = Duration::from_secs(2);
/// What is missing for a start is told once it has been the same so long: until the first replies
/// are in, everything is.
const MISSING_SETTLES: Duration = Duration::from_secs(2);
/// How old a value may be to be shown.
const FRESH: Duration = Duration::from_secs(1);
/// Slower than this the carriage is shown at rest.
const AT_REST: Speed = Speed::from_mm_per_s(0.2);

/// Shows progress on standard output, and never waits for its reader.
#[derive(Debug)]
pub(super) struct Progress {
    outlet: Outlet,
    terminal: bool,
    shown: Option<Instant>,
    line_open: bool,
    last_told: String,
    missing: Missing,
}

/// What is missing for a start, since when, and whether it has been told.
#[derive(Debug, Default)]
struct Missing {
    looks: Vec<&'static str>,
    since: Moment,
    told: bool,
}

impl Missing {
    /// What is to be told now: each thing that is missing, with what was found and where to look.
    fn news(&mut self, snapshot: &Snapshot) -> Vec<String> {
        let now = snapshot.at;
        let waits = snapshot.status.leaf == Leaf::NotReady;
        let looks = if waits { snapshot.status.missing.as_slice() } else { &[] };
        if self.looks != looks {
            *self = Self { looks: looks.to_vec(), since: now, told: false };
        }
        if self.told || self.looks.is_empty() || now.since(self.since) < MISSING_SETTLES {
            return Vec::new();
        }
        self.told = true;
        let found = |look: &str| {
            let missing = |one: &&Permissive| one.state == PermissiveState::Missing;
            snapshot.permissives.iter().filter(missing).find(|one| one.look == look)
        };
        let tell = |look: &&'static str| match found(look) {
            Some(Permissive { title, found, .. }) if found.starts_with(title) => {
                format!("not ready: {found}. {look}")
            }
            Some(Permissive { title, found, .. }) => format!("not ready: {title}: {found}. {look}"),
            None => format!("not ready: {look}"),
        };
        self.looks.iter().map(tell).collect()
    }
}

impl Progress {
    pub(super) fn new() -> Self {
        Self {
            outlet: Outlet::new(),
            terminal: io::stdout().is_terminal(),
            shown: None,
            line_open: false,
            last_told: String::new(),
            missing: Missing::default(),
        }
    }

    /// Shows what happened, if it is for people.
    pub(super) fn tell(&mut self, entry: &Entry) {
        let at = clock(entry.at.as_seconds());
        let mark = |name: &str| entry.data.get(name).and_then(serde_json::Value::as_str);
        let turns = |name: &str| mark(name).is_some_and(|leaf| leaf.ends_with("Turning"));
        let line = match entry.kind {
            EntryKind::State if turns("to") || turns("from") => return,
            EntryKind::State => format!("{at}  {} ({})", entry.text, entry.cause),
            EntryKind::Prompt if mark("mark") == Some("asked") => {
                format!("{at}  >> {}", entry.text)
            }
            EntryKind::Pass => format!("{at}  {}", entry.text),
            EntryKind::Cause => format!("{at}  !! {}", entry.text),
            EntryKind::Request if entry.data.get("changed").is_some() => {
                format!("{at}  {}", entry.text)
            }
            EntryKind::Request if mark("answer") == Some("denied") => {
                format!("{at}  {}: {}", entry.text, entry.cause)
            }
            _ => return,
        };
        if line != self.last_told {
            self.print(&line);
            self.last_told = line;
        }
    }

    /// Makes the line new, if it is time, and says what keeps the machine from being ready.
    pub(super) fn show(&mut self, plan: &Plan, snapshot: &Snapshot) {
        for missing in self.missing.news(snapshot) {
            self.print(&missing);
        }
        self.show_line(|| line(plan, snapshot));
    }

    /// Makes the line new, if it is time.
    pub(super) fn show_line(&mut self, line: impl FnOnce() -> String) {
        let every = if self.terminal { TERMINAL_EVERY } else { PAGE_EVERY };
        if self.shown.is_some_and(|shown| shown.elapsed() < every) {
            return;
        }
        self.shown = Some(Instant::now());
        let line = line();
        self.line_open = self.terminal;
        self.outlet.passing(match self.terminal {
            true => format!("\r\x1b[K{line}"),
            false => format!("{line}\n"),
        });
    }

    /// Prints a line of its own above the one that is kept new.
    pub(super) fn print(&mut self, text: &str) {
        let clear = if self.line_open { "\r\x1b[K" } else { "" };
        self.line_open = false;
        self.outlet.line(format!("{clear}{}\n", harmless(text)));
    }
}

/// Minutes and seconds, hours where there are any.
pub(super) fn clock(seconds: f64) -> String {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a clock shows whole seconds of a job, which is not negative"
    )]
    let whole = seconds.max(0.0) as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 {
        format!("{hours}:{minutes:02}:{seconds:02}")
    } else {
        format!("{minutes:02}:{seconds:02}")
    }
}

/// The line: state, position, powder, flame, temperature, time left.
fn line(plan: &Plan, snapshot: &Snapshot) -> String {
    let now = snapshot.at;
    let inputs = &snapshot.inputs;
    let mut parts = vec![format!("{}  {}", clock(now.as_seconds()), snapshot.status.text)];
    match inputs.axis.trusted(now, FRESH) {
        Some(axis) if axis.referenced == Referenced::Yes => {
            let way = match axis.velocity {
                speed if speed > AT_REST => " ->",
                speed if speed < -AT_REST => " <-",
                _ => "",
            };
            parts.push(format!("at {:.1}{way}", axis.position));
        }
        Some(_) => parts.push("no datum".to_owned()),
        None => parts.push("position unknown".to_owned()),
    }
    if let Some(zone) = snapshot.status.in_hand.as_ref().filter(|zone| zone.is_changed()) {
        parts.push(zone.to_string());
    }
    parts.push(format!("powder {}", on_off(Some(snapshot.status.powder))));
    parts.push(format!("flame {}", on_off(inputs.contact(Contact::Flame).trusted(now, FRESH))));
    parts.push(temperature(plan, snapshot));
    if let Some(left) = left(plan, snapshot) {
        parts.push(format!("{} left", clock(left)));
    }
    parts.join(", ")
}

fn on_off(level: Option<Level>) -> &'static str {
    match level {
        Some(Level::On) => "on",
        Some(Level::Off) => "off",
        None => "unknown",
    }
}

/// The temperature that counts in the step in hand, beside its window.
fn temperature(plan: &Plan, snapshot: &Snapshot) -> String {
    let step = snapshot
        .status
        .progress
        .as_ref()
        .and_then(|progress| plan.program.steps.get(progress.step.saturating_sub(1)));
    let (tag, window) = match step {
        Some(Step::Fuse(step)) => (Analogue::FuseTemperature, Some(step.window)),
        Some(Step::Preheat(step)) => (Analogue::PartTemperature, Some(step.window)),
        Some(Step::Spray(step)) => (Analogue::PartTemperature, Some(step.window)),
        _ => (Analogue::PartTemperature, None),
    };
    let value = snapshot
        .inputs
        .analogue(tag)
        .trusted(snapshot.at, FRESH)
        .map_or_else(|| "unknown".to_owned(), |c| format!("{:.0}", Temperature::from_celsius(c)));
    match window {
        Some(window) => {
            format!("{value} ({:.0} to {:.0})", window.low.celsius(), window.high.celsius())
        }
        None => value,
    }
}

/// Seconds left by the forecast: the rest of the step in hand and the steps after it.
fn left(plan: &Plan, snapshot: &Snapshot) -> Option<f64> {
    let progress = snapshot.status.progress.as_ref()?;
    let rest = plan.forecast.steps.iter().skip(progress.step).map(|step| step.takes.s());
    let step = plan.forecast.steps.get(progress.step.saturating_sub(1))?;
    let left = match progress.pass.or(progress.band) {
        Some((at, of)) => step.takes.s() * (1.0 - share(at, of)),
        None => {
            let lasted = snapshot.at - snapshot.status.since;
            (step.takes.s() - lasted.as_secs_f64()).max(0.0)
        }
    };
    Some(rest.sum::<f64>() + left)
}

#[expect(clippy::cast_precision_loss, reason = "passes and bands are counted in dozens")]
fn share(at: usize, of: usize) -> f64 {
    at.saturating_sub(1) as f64 / of.max(1) as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_keeps_a_machine_from_being_ready_is_told_once_it_has_lasted_and_only_once() {
        let (rig, _) = crate::files::rig(None).unwrap();
        let mut controller = evenpass_core::scan::Controller::new(&rig).unwrap();
        controller.handle_time(Moment::from_micros(20_000));
        let mut snapshot = controller.snapshot();
        assert!(snapshot.status.missing.len() > 3, "nothing is read yet");
        let mut missing = Missing::default();
        assert!(missing.news(&snapshot).is_empty(), "the first replies may still come");
        snapshot.at = snapshot.at + MISSING_SETTLES;
        let told = missing.news(&snapshot);
        assert_eq!(told.len(), snapshot.status.missing.len());
        for (told, look) in told.iter().zip(&snapshot.status.missing) {
            assert!(told.starts_with("not ready: ") && told.ends_with(look), "{told}");
        }
        let guard = "not ready: Guard open: ";
        assert!(told.iter().any(|told| told.starts_with(guard)), "{told:#?}");
        assert!(missing.news(&snapshot).is_empty(), "told once");

        snapshot.status.missing.truncate(1);
        assert!(missing.news(&snapshot).is_empty(), "another list waits anew");
        snapshot.at = snapshot.at + MISSING_SETTLES;
        assert_eq!(missing.news(&snapshot).len(), 1);
    }
}
