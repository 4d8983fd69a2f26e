//! What would happen if a signal failed: the interlocks themselves and [`enforce`], as they run
//! on the machine, fed with the scene of a phase and the images a fault would give.
//!
//! The machine and the sequence are stood in for by a few lines each; causes, delays, order,
//! effects and messages are the real ones.

mod asked;
mod hands;
mod phase;
mod range;
mod seen;
mod shown;
mod watches;
mod world;

use core::time::Duration;

use serde::Serialize;

pub use asked::{
    Assumed, Assumption, AssumptionError, Device, FaultWord, Reading, Target, assumptions, names,
};
pub use phase::ScenePhase;
pub use range::within_ranges;

use self::hands::Hands;
use self::seen::{Seen, listed};
use self::shown::Shown;
use self::watches::watches;
use self::world::World;
use super::figures::FigureProblem;
use super::interlocks::Interlocks;
use super::judge::Finding;
use super::matrix::Raised;
use super::remaining::{Abilities, Remaining};
use super::told::{AlarmState, Told};
use super::verdict::Class;
use super::{Limits, enforce};
use crate::image::{AxisDemand, Coil, Contact, Inputs, Level, Outputs, SpindleDemand};
use crate::moment::Moment;
use crate::rig::Rig;

/// The scene stands so long before the fault comes: every settling time of the arming is over.
const SETTLES: Duration = Duration::from_secs(20);
/// Where the gases are opened only now: the supply has stood open so long.
const SUPPLY_OPEN: Duration = Duration::from_secs(4);
/// So long after the fault is looked: the slowest staged row and what follows it.
const LOOKS_FOR: Duration = Duration::from_secs(40);
/// A stalled controller stands still so long.
const STALL: Duration = Duration::from_millis(500);

/// What became of one row that watches what was assumed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Judged {
    /// Its key.
    pub key: &'static str,
    /// Its title.
    pub title: &'static str,
    /// How severe.
    pub class: Class,
    /// Whether it was armed when the fault came, or later.
    pub armed: Level,
    /// After how long it was confirmed; none when it was not.
    pub confirmed: Option<Duration>,
}

/// The place of a cause among those of its episode.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// The first trip.
    FirstOut,
    /// A trip after it.
    Consequent,
    /// A hold or a stop.
    Hold,
    /// A warning.
    Warning,
}

/// A cause that was confirmed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Confirmed {
    /// How long after the fault.
    pub after: Duration,
    /// Its key.
    pub key: &'static str,
    /// How severe.
    pub class: Class,
    /// Its place.
    pub role: Role,
    /// Told whole, as it would be shown when it came.
    pub told: Told,
    /// How it stands at the end.
    pub state: AlarmState,
}

/// An output that changed, or something seen to follow.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// How long after the fault.
    pub after: Duration,
    /// What, in words.
    pub what: String,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhatIf {
    /// The phase.
    pub phase: ScenePhase,
    /// What was assumed.
    pub assumed: Vec<Assumption>,
    /// The rows that watch it.
    pub judged: Vec<Judged>,
    /// The causes confirmed, in their order.
    pub confirmed: Vec<Confirmed>,
    /// How many trips came after those that are listed.
    pub more_consequent: u32,
    /// What the outputs did, in their order.
    pub effects: Vec<Change>,
    /// What an abort can still do at the first cause, or at the end without one.
    pub remaining: Vec<Remaining>,
    /// What a reset would still need at the end.
    pub reset_needs: Vec<&'static str>,
}

/// Says what would happen on a rig if these assumptions came true in a phase.
///
/// # Errors
/// [`FigureProblem`] when the rig's figures of interlocks are wrong.
pub fn what_if(
    rig: &Rig,
    phase: ScenePhase,
    assumed: &[Assumption],
) -> Result<WhatIf, FigureProblem> {
    let mut play = Play::new(rig, phase, assumed)?;
    play.settle();
    play.strike(assumed);
    Ok(play.tell(assumed))
}

/// One scene played.
struct Play {
    period: Duration,
    phase: ScenePhase,
    limits: Limits,
    world: World,
    shown: Shown,
    hands: Hands,
    interlocks: Interlocks,
    abilities: Abilities,
    outputs: Outputs,
    struck: Moment,
    judged: Vec<Judged>,
    confirmed: Vec<Confirmed>,
    effects: Vec<Change>,
    remaining: Vec<Remaining>,
    clear: Level,
    flame: Level,
}

impl Play {
    fn new(rig: &Rig, phase: ScenePhase, assumed: &[Assumption]) -> Result<Self, FigureProblem> {
        Ok(Self {
            period: rig.scan.to_duration().max(Duration::from_millis(1)),
            phase,
            limits: phase::limits(phase, rig),
            world: World::new(phase, rig),
            shown: Shown::new(assumed, rig),
            hands: Hands::new(phase, rig),
            interlocks: Interlocks::new(rig)?,
            abilities: Abilities::of(rig),
            outputs: phase::asks(phase, rig),
            struck: Moment::START,
            judged: Vec::new(),
            confirmed: Vec::new(),
            effects: Vec::new(),
            remaining: Vec::new(),
            clear: Level::Off,
            flame: Level::Off,
        })
    }

    /// One scan after so long.
    fn scan(&mut self, span: Duration) -> Inputs {
        self.world.advance(span, &self.outputs);
        let inputs = self.shown.look(&self.world).clone();
        self.interlocks.step(&inputs, &self.outputs, &self.limits);
        let verdict = self.interlocks.verdict();
        let clear = self.interlocks.torch_clear();
        let proposed = self.hands.propose(&inputs, verdict, clear);
        self.outputs = enforce(verdict, &inputs, proposed);
        inputs
    }

    fn settle(&mut self) {
        let settles = if self.phase == ScenePhase::Lighting { SUPPLY_OPEN } else { SETTLES };
        let end = self.world.now + settles;
        while self.world.now < end {
            self.scan(self.period);
        }
        if self.phase == ScenePhase::Held {
            self.interlocks.request(self.world.now, Raised::Hold);
        }
        self.struck = self.world.now;
        self.clear = self.interlocks.torch_clear();
        self.flame = self.world.contact(Contact::Flame);
        if self.phase == ScenePhase::Lighting {
            self.hands.light();
        }
    }

    fn strike(&mut self, assumed: &[Assumption]) {
        self.shown.begin(&self.world);
        let mut seen = Seen::of(self.interlocks.verdict());
        let mut first = true;
        let end = self.world.now + LOOKS_FOR;
        while self.world.now < end {
            let span = if first && stalls(assumed) { STALL } else { self.period };
            let before = self.outputs;
            if first {
                self.raise(assumed);
            }
            first = false;
            let inputs = self.scan(span);
            self.look(&inputs, assumed, &mut seen);
            self.compare(&before);
        }
        if self.remaining.is_empty() {
            let inputs = self.shown.look(&self.world).clone();
            self.remaining = self.abilities.remaining(&inputs);
        }
    }

    fn raise(&mut self, assumed: &[Assumption]) {
        for one in assumed {
            if let Assumed::Raised(cause) = one.assumed {
                self.interlocks.request(self.world.now, cause);
            }
        }
    }

    fn look(&mut self, inputs: &Inputs, assumed: &[Assumption], seen: &mut Seen) {
        let after = inputs.now.since(self.struck);
        for standing in self.interlocks.standings(inputs, &self.limits) {
            let found = standing.armed.is_on() && standing.finding == Finding::Present;
            let known = self.judged.iter_mut().find(|judged| judged.key == standing.row.key);
            match known {
                Some(judged) if standing.armed.is_on() => judged.armed = Level::On,
                Some(_) => {}
                None if watches(standing.row, assumed) || found => self.judged.push(Judged {
                    key: standing.row.key,
                    title: standing.row.title,
                    class: standing.row.class,
                    armed: standing.armed,
                    confirmed: None,
                }),
                None => {}
            }
        }
        let verdict = self.interlocks.verdict().clone();
        for (occurrence, role) in listed(&verdict) {
            if !seen.is_new(occurrence) {
                continue;
            }
            if role == Role::FirstOut || (role == Role::Hold && self.remaining.is_empty()) {
                self.remaining = self.abilities.remaining(inputs);
            }
            if let Some(judged) = self.judged.iter_mut().find(|one| one.key == occurrence.key) {
                judged.confirmed = judged.confirmed.or(Some(after));
            }
            self.confirmed.push(Confirmed {
                after,
                key: occurrence.key,
                class: occurrence.class,
                role,
                told: verdict.told(occurrence),
                state: verdict.alarm_state(occurrence),
            });
        }
        for confirmed in &mut self.confirmed {
            let now = listed(&verdict).find(|(occurrence, _)| occurrence.key == confirmed.key);
            if let Some((occurrence, _)) = now {
                confirmed.state = verdict.alarm_state(occurrence);
            }
        }
    }

    /// Tells what changed since the outputs before.
    fn compare(&mut self, before: &Outputs) {
        let after = self.world.now.since(self.struck);
        let now = self.outputs;
        let mut tell = |what: String| self.effects.push(Change { after, what });
        if before.powder.now != now.powder.now {
            tell(format!("powder {}", on_off(now.powder.now)));
        }
        for coil in [
            Coil::Fuel,
            Coil::Oxygen,
            Coil::Supply,
            Coil::CarrierAir,
            Coil::CoolingAir,
            Coil::Extraction,
            Coil::Igniter,
        ] {
            if before.coil(coil) != now.coil(coil) {
                tell(format!("{} {}", coil.title(), on_off(now.coil(coil))));
            }
        }
        if before.watchdog != now.watchdog {
            tell(format!("watchdog {}", on_off(now.watchdog)));
        }
        if let Some(words) = axis_words(before.axis, now.axis) {
            tell(words);
        }
        match (before.spindle, now.spindle) {
            (SpindleDemand::Turn(_), SpindleDemand::Stop) => tell("spindle stopped".to_owned()),
            (SpindleDemand::Stop, SpindleDemand::Turn(_)) => tell("spindle turns".to_owned()),
            _ => {}
        }
        let clear = self.interlocks.torch_clear();
        if clear.is_on() && !self.clear.is_on() {
            tell("seen: the torch is clear of the part".to_owned());
        }
        self.clear = clear;
        let flame = self.world.contact(Contact::Flame);
        if self.flame.is_on() && !flame.is_on() {
            tell("physically: the flame is out".to_owned());
        }
        self.flame = flame;
    }

    fn tell(mut self, assumed: &[Assumption]) -> WhatIf {
        // What the phase does by itself, fault or none, is no effect of the fault.
        let first = self.confirmed.iter().filter(|one| one.class > Class::Warn);
        let first = first.map(|one| one.after).min();
        self.effects.retain(|change| first.is_some_and(|first| change.after >= first));
        WhatIf {
            phase: self.phase,
            assumed: assumed.to_vec(),
            judged: self.judged,
            confirmed: self.confirmed,
            more_consequent: self.interlocks.verdict().more_consequent,
            effects: self.effects,
            remaining: self.remaining,
            reset_needs: self.interlocks.verdict().reset_needs.clone(),
        }
    }
}

/// Whether the controller is assumed to stall.
fn stalls(assumed: &[Assumption]) -> bool {
    assumed.iter().any(|one| {
        one.target == Target::Device(Device::Controller)
            && one.assumed != Assumed::Word(FaultWord::Ok)
    })
}

/// What became of the carriage's demand, in words; none where it is as before.
fn axis_words(before: AxisDemand, now: AxisDemand) -> Option<String> {
    match (before, now) {
        (AxisDemand::Travel(old), AxisDemand::Travel(new)) if old.to == new.to => None,
        (_, AxisDemand::Travel(new)) => Some(format!("carriage sent to {:.1}", new.to)),
        (old, new) if core::mem::discriminant(&old) == core::mem::discriminant(&new) => None,
        (_, AxisDemand::Off) => Some("carriage without torque".to_owned()),
        (_, AxisDemand::QuickStop) => Some("carriage stopped".to_owned()),
        (_, AxisDemand::Still) => Some("carriage held still".to_owned()),
        (_, AxisDemand::Home(_)) => None,
    }
}

const fn on_off(level: Level) -> &'static str {
    match level {
        Level::On => "on",
        Level::Off => "off",
    }
}
