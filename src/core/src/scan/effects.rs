//! What a hold, a stop or a trip did and when: every effect with its time after the cause
//! counted, as asked, acknowledged on the wire, read back, and seen.

use core::time::Duration;

use serde_json::json;

use super::episode::Episode;
use crate::devices::{CoilBelief, Switched};
use crate::image::{
    Analogue, AxisDemand, Coil, Contact, Inputs, Kind, Level, Outputs, SpindleDemand,
};
use crate::interlock::matrix::row;
use crate::interlock::{Abilities, durations, is_hindered};
use crate::ledger::{EntryKind, Ledger};
use crate::moment::Moment;
use crate::rig::Rig;

/// Below this the carriage is at rest, mm/s; as the interlocks have it.
const AT_REST: f64 = 0.5;
/// Below this the spindle is at rest, rpm; as the interlocks have it.
const SPINDLE_AT_REST: f64 = 1.0;

/// What an effect is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Powder,
    Fuel,
    Oxygen,
    Supply,
    Watchdog,
    Carriage,
    Torch,
    Flame,
    Purge,
    Spindle,
}

impl Part {
    const fn key(self) -> &'static str {
        match self {
            Self::Powder => "powder",
            Self::Fuel => "fuel",
            Self::Oxygen => "oxygen",
            Self::Supply => "supply",
            Self::Watchdog => "watchdog",
            Self::Carriage => "carriage",
            Self::Torch => "torch",
            Self::Flame => "flame",
            Self::Purge => "purge",
            Self::Spindle => "spindle",
        }
    }
}

/// How far an effect has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// The scan asks for it. A purge begins.
    Asked,
    /// The module has acknowledged it: when the coil changed behind the frame on the wire.
    OnTheWire,
    /// The module's own coils, read back, say so.
    ReadBack,
    /// A sensor says so. A purge ends.
    Seen,
}

impl Stage {
    const fn key(self) -> &'static str {
        match self {
            Self::Asked => "asked",
            Self::OnTheWire => "on_the_wire",
            Self::ReadBack => "read_back",
            Self::Seen => "seen",
        }
    }
}

/// The coils of a course, each with what proves it shut.
const COILS: [(Part, Coil, Option<Contact>, &str); 4] = [
    (Part::Powder, Coil::Powder, None, "powder off"),
    (Part::Fuel, Coil::Fuel, Some(Contact::FuelShut), "fuel shut"),
    (Part::Oxygen, Coil::Oxygen, Some(Contact::OxygenShut), "oxygen shut"),
    (Part::Supply, Coil::Supply, None, "supply shut"),
];

/// One scan as the log sees it.
pub(super) struct Look<'a> {
    /// The images of the scan.
    pub(super) inputs: &'a Inputs,
    /// What was in force before it.
    pub(super) before: &'a Outputs,
    /// What it wrote.
    pub(super) written: &'a Outputs,
    /// Whether the torch is clear.
    pub(super) clear: Level,
    /// What is known of a coil.
    pub(super) coil: &'a dyn Fn(Coil) -> CoilBelief,
}

/// A course under way.
#[derive(Debug, Clone)]
struct Course {
    episode: Episode,
    /// What was in force when it began.
    was: Outputs,
    moved: Level,
    clear: Level,
    burned: Level,
    told: Vec<(Part, Stage)>,
}

/// The log of effects.
#[derive(Debug, Clone)]
pub(super) struct EffectsLog {
    abilities: Abilities,
    vented_below: f64,
    course: Option<Course>,
}

impl EffectsLog {
    pub(super) fn new(rig: &Rig) -> Self {
        Self {
            abilities: Abilities::of(rig),
            vented_below: rig.field.isolation.vented_below.bar(),
            course: None,
        }
    }

    /// An episode has begun in this scan. What an abort can still do is told where something
    /// hinders it.
    pub(super) fn begin(&mut self, episode: Episode, look: &Look<'_>, ledger: &mut Ledger) {
        let remaining = self.abilities.remaining(look.inputs);
        let words: Vec<String> = remaining.iter().map(|one| one.words()).collect();
        let text = if is_hindered(&remaining).is_on() {
            format!("what can still be done: {}", words.join("; "))
        } else {
            "everything can be done by command".to_owned()
        };
        let title = row(episode.key).map_or(episode.key, |row| row.title);
        ledger.write(
            look.inputs.now,
            EntryKind::Effect,
            text,
            title.to_owned(),
            json!({
                "cause": episode.key,
                "class": episode.class,
                "title": title,
                "began_us": episode.began.as_micros(),
                "remaining": remaining,
            }),
        );
        let reads = |contact: Contact| {
            Level::from_bit(look.inputs.is_on(contact, durations::FIELD_SILENCE))
        };
        self.course = Some(Course {
            episode,
            was: *look.before,
            moved: Level::from_bit(!is_at_rest(look.inputs)),
            clear: look.clear,
            burned: reads(Contact::Flame),
            told: Vec::with_capacity(24),
        });
    }

    /// The episode is over.
    pub(super) fn end(&mut self) {
        self.course = None;
    }

    /// A coil that changed in its module.
    pub(super) fn switched(&mut self, switched: &Switched, ledger: &mut Ledger) {
        let Some(course) = &mut self.course else { return };
        if switched.level.is_on() {
            return;
        }
        for (part, coil, _, words) in COILS {
            if coil == switched.coil && course.was_on(coil).is_on() {
                course.tell(part, Stage::OnTheWire, switched.at, words, ledger);
            }
        }
    }

    /// Looks once a scan, the one it began in included.
    pub(super) fn look(&mut self, look: &Look<'_>, ledger: &mut Ledger) {
        if self.course.is_none() {
            return;
        }
        let vented = self.vented(look.inputs);
        let Some(course) = &mut self.course else { return };
        course.coils(look, vented, ledger);
        course.watchdog(look, ledger);
        course.carriage(look, ledger);
        course.flame_and_purge(look, ledger);
        course.spindle(look, ledger);
    }

    fn vented(&self, inputs: &Inputs) -> Level {
        let reads = |tag| inputs.analogue(tag).trusted(inputs.now, durations::FIELD_SILENCE);
        let low = |tag| reads(tag).is_some_and(|bar: f64| bar.abs() <= self.vented_below);
        Level::from_bit(low(Analogue::FuelPressure) && low(Analogue::OxygenPressure))
    }
}

impl Course {
    fn was_on(&self, coil: Coil) -> Level {
        if coil == Coil::Powder { self.was.powder.now } else { self.was.coil(coil) }
    }

    fn has(&self, part: Part, stage: Stage) -> bool {
        self.told.contains(&(part, stage))
    }

    /// Tells a stage once, with its time after the cause.
    fn tell(&mut self, part: Part, stage: Stage, at: Moment, words: &str, ledger: &mut Ledger) {
        if self.has(part, stage) {
            return;
        }
        self.told.push((part, stage));
        let after: Duration = at.since(self.episode.began);
        let how = match (part, stage) {
            (Part::Purge, Stage::Asked) => "begun",
            (Part::Purge, _) => "ended",
            (_, Stage::Asked) => "asked",
            (_, Stage::OnTheWire) => "on the wire",
            (_, Stage::ReadBack) => "read back",
            (_, Stage::Seen) => "seen",
        };
        ledger.write(
            at,
            EntryKind::Effect,
            format!("{words}: {how} after {:.3} s", after.as_secs_f64()),
            self.episode.key.to_owned(),
            json!({
                "cause": self.episode.key,
                "part": part.key(),
                "what": words,
                "stage": stage.key(),
                "after_us": u64::try_from(after.as_micros()).unwrap_or(u64::MAX),
            }),
        );
    }

    fn coils(&mut self, look: &Look<'_>, vented: Level, ledger: &mut Ledger) {
        let now = look.inputs.now;
        for (part, coil, proof, words) in COILS {
            if !self.was_on(coil).is_on() {
                continue;
            }
            let asked = if coil == Coil::Powder {
                look.written.powder.now
            } else {
                look.written.coil(coil)
            };
            if !asked.is_on() {
                self.tell(part, Stage::Asked, now, words, ledger);
            }
            if !self.has(part, Stage::Asked) {
                continue;
            }
            if self.has(part, Stage::OnTheWire) && (look.coil)(coil).confirmed == Some(Level::Off) {
                self.tell(part, Stage::ReadBack, now, words, ledger);
            }
            if let Some(contact) = proof {
                let signal = look.inputs.contact(contact);
                if signal.kind == Kind::Measured
                    && signal.value.is_on()
                    && signal.at >= self.episode.began
                {
                    self.tell(part, Stage::Seen, signal.at, words, ledger);
                }
            }
            if part == Part::Supply && vented.is_on() {
                self.tell(part, Stage::Seen, now, "supply shut, pipes vented", ledger);
            }
        }
    }

    fn watchdog(&mut self, look: &Look<'_>, ledger: &mut Ledger) {
        if !self.was.watchdog.is_on() {
            return;
        }
        let words = "watchdog stopped";
        if !look.written.watchdog.is_on() {
            self.tell(Part::Watchdog, Stage::Asked, look.inputs.now, words, ledger);
        }
        if self.has(Part::Watchdog, Stage::Asked) {
            let relay = look.inputs.contact(Contact::WatchdogRelay);
            if relay.kind == Kind::Measured && !relay.value.is_on() {
                self.tell(Part::Watchdog, Stage::Seen, relay.at, "watchdog relay dropped", ledger);
            }
        }
    }

    fn carriage(&mut self, look: &Look<'_>, ledger: &mut Ledger) {
        let now = look.inputs.now;
        if let Some(words) = turned(self.was.axis, look.written.axis) {
            self.tell(Part::Carriage, Stage::Asked, now, words, ledger);
        }
        let asked = self.has(Part::Carriage, Stage::Asked);
        if asked && self.moved.is_on() && is_at_rest(look.inputs) {
            let at = look.inputs.axis.at.max(self.episode.began);
            self.tell(Part::Carriage, Stage::Seen, at, "carriage at rest", ledger);
        }
        if !self.clear.is_on() && look.clear.is_on() {
            self.tell(Part::Torch, Stage::Seen, now, "torch clear of the part", ledger);
        }
    }

    fn flame_and_purge(&mut self, look: &Look<'_>, ledger: &mut Ledger) {
        let now = look.inputs.now;
        let flame = look.inputs.contact(Contact::Flame);
        // A flame that was lost is out before its loss counts.
        if flame.kind == Kind::Measured && !flame.value.is_on() && self.burned.is_on() {
            self.tell(Part::Flame, Stage::Seen, flame.at, "flame out", ledger);
        }
        let gas = [Coil::Fuel, Coil::Oxygen].iter().any(|coil| look.written.coil(*coil).is_on());
        let flowed = [Coil::Fuel, Coil::Oxygen].iter().any(|coil| self.was_on(*coil).is_on());
        let air = look.written.coil(Coil::CarrierAir).is_on();
        if flowed && !gas && air {
            self.tell(Part::Purge, Stage::Asked, now, "purge", ledger);
        }
        if self.has(Part::Purge, Stage::Asked) && !air {
            self.tell(Part::Purge, Stage::Seen, now, "purge", ledger);
        }
    }

    fn spindle(&mut self, look: &Look<'_>, ledger: &mut Ledger) {
        if self.was.spindle == SpindleDemand::Stop {
            return;
        }
        if look.written.spindle == SpindleDemand::Stop {
            self.tell(Part::Spindle, Stage::Asked, look.inputs.now, "spindle stopped", ledger);
        }
        let spindle = look.inputs.spindle;
        if self.has(Part::Spindle, Stage::Asked)
            && spindle.kind == Kind::Measured
            && spindle.value.measured.rpm() <= SPINDLE_AT_REST
        {
            self.tell(Part::Spindle, Stage::Seen, spindle.at, "spindle stopped", ledger);
        }
    }
}

/// What the carriage is asked now that it was not asked before, in words.
fn turned(was: AxisDemand, now: AxisDemand) -> Option<&'static str> {
    match (was, now) {
        (AxisDemand::Off, _) => None,
        (AxisDemand::Travel(was), AxisDemand::Travel(now)) if was.to == now.to => None,
        (_, AxisDemand::Travel(_)) => Some("torch withdrawn"),
        (_, AxisDemand::Off) => Some("carriage without torque"),
        (AxisDemand::QuickStop, AxisDemand::QuickStop) => None,
        (_, AxisDemand::QuickStop) => Some("carriage stopped"),
        (_, AxisDemand::Still | AxisDemand::Home(_)) => None,
    }
}

/// Whether the carriage is known to be at rest.
fn is_at_rest(inputs: &Inputs) -> bool {
    inputs
        .axis
        .trusted(inputs.now, durations::DRIVE_SILENCE)
        .is_some_and(|axis| axis.velocity.abs().mm_per_s() < AT_REST)
}
