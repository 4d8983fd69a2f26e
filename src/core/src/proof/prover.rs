//! One proof from its preparation to its result.
//!
//! ```text
//! Preparing --healthy for 0.5 s, outputs seen energised--> Acting --input seen--> Measuring --> Ended
//! ```
//!
//! Every stage has a deadline; what is missing at it is the failure. The response is counted from
//! the last reading that was still healthy, so that a poll's age never makes it look shorter than
//! it was, to the scan that sees the last effect.

use core::time::Duration;

use super::measure::{Limit, effects, limit, stamp};
use super::procedure::{Procedure, Strokes};
use super::result::{Effect, Failing, Proved, Stage};
use super::words;
use crate::cia402::PowerState;
use crate::image::{Coil, Contact, Inputs, Level};
use crate::interlock::matrix::Row;
use crate::interlock::{Class, Occurrence, ProofFinding, ProofWatch, Verdict};
use crate::moment::Moment;

/// The device must have been healthy so long before the act; arbitrary.
const HEALTHY_FOR: Duration = Duration::from_millis(500);
/// Outputs energise and an untouched device reads healthy within this; arbitrary.
const READY_WITHIN: Duration = Duration::from_secs(10);
/// How long a person may take to prepare or to act; half of what a proving may last.
const PERSON_WITHIN: Duration = Duration::from_secs(300);
/// How long effects are waited for beyond their limit, to tell slow from never; arbitrary.
const WAIT_ON: Duration = Duration::from_secs(2);

/// What a scan shows of a proof.
#[derive(Debug, Clone, Copy)]
pub struct ProverView<'a> {
    /// The image of the scan.
    pub inputs: &'a Inputs,
    /// What the interlocks found of the row under proof.
    pub finding: Option<ProofFinding>,
    /// The verdict of the scan.
    pub verdict: &'a Verdict,
    /// What the module acknowledged of the fuel valve's coil.
    pub fuel: Option<Level>,
    /// What the module acknowledged of the oxygen valve's coil.
    pub oxygen: Option<Level>,
    /// Whether the sequence is proving after this scan.
    pub proving: Level,
    /// How old a contact may be.
    pub field_age: Duration,
    /// How old the drive's reading may be.
    pub axis_age: Duration,
}

/// What a proof asks of the next scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// What is energised.
    pub strokes: Strokes,
    /// Which row is looked at, and whether it is armed.
    pub watch: ProofWatch,
}

/// Inside a stage.
#[derive(Debug, Clone)]
enum Phase {
    Preparing { until: Moment, healthy_since: Option<Moment> },
    Acting { until: Moment, healthy_at: Moment },
    Measuring { healthy_at: Moment, until: Moment },
    Ended(Box<Proved>),
}

/// One proof under way.
#[derive(Debug, Clone)]
pub struct Prover {
    procedure: &'static Procedure,
    row: &'static Row,
    began: Moment,
    limit: Limit,
    phase: Phase,
    /// What must come, and when it was first seen.
    effects: Vec<(Effect, Option<Moment>)>,
    /// When the person said that the act is done.
    done: Option<Moment>,
    /// How late the act was seen, if it was too late.
    late: Option<Duration>,
}

impl Prover {
    /// Begins a proof. `delay` is the row's own on this rig.
    #[must_use]
    pub fn new(
        procedure: &'static Procedure,
        row: &'static Row,
        delay: Duration,
        now: Moment,
    ) -> Self {
        let effects = effects(row, procedure);
        let limit = limit(row, delay, &effects);
        let patience = if procedure.prepare.is_empty() { READY_WITHIN } else { PERSON_WITHIN };
        Self {
            procedure,
            row,
            began: now,
            limit,
            phase: Phase::Preparing { until: now + patience, healthy_since: None },
            effects: effects.into_iter().map(|effect| (effect, None)).collect(),
            done: None,
            late: None,
        }
    }

    /// The procedure.
    #[must_use]
    pub const fn procedure(&self) -> &'static Procedure {
        self.procedure
    }

    /// When it began.
    #[must_use]
    pub const fn began(&self) -> Moment {
        self.began
    }

    /// The row under proof.
    #[must_use]
    pub const fn row(&self) -> &'static Row {
        self.row
    }

    /// Where it stands.
    #[must_use]
    pub const fn stage(&self) -> Stage {
        match self.phase {
            Phase::Preparing { .. } => Stage::Preparing,
            Phase::Acting { .. } => Stage::Acting,
            Phase::Measuring { .. } => Stage::Measuring,
            Phase::Ended(_) => Stage::Ended,
        }
    }

    /// Its result, once there is one.
    #[must_use]
    pub fn proved(&self) -> Option<&Proved> {
        match &self.phase {
            Phase::Ended(proved) => Some(proved),
            _ => None,
        }
    }

    /// The person has done what was to be done at the device. Harmless at any other time.
    pub fn done(&mut self, now: Moment) {
        if matches!(self.phase, Phase::Acting { .. }) && self.done.is_none() {
            self.done = Some(now);
        }
    }

    /// What the next scan is to energise, look at and arm; `None` once there is a result.
    #[must_use]
    pub fn step(&self) -> Option<Step> {
        let armed = match self.phase {
            Phase::Preparing { .. } => Level::Off,
            Phase::Acting { .. } | Phase::Measuring { .. } => Level::On,
            Phase::Ended(_) => return None,
        };
        let watch = ProofWatch { key: self.row.key, armed };
        Some(Step { strokes: self.procedure.strokes, watch })
    }

    /// Takes in what a scan shows.
    pub fn look(&mut self, view: &ProverView<'_>) {
        let now = view.inputs.now;
        match self.phase.clone() {
            Phase::Preparing { until, healthy_since } => {
                self.prepare(until, healthy_since, view);
            }
            Phase::Acting { until, healthy_at } => self.act(until, healthy_at, view),
            Phase::Measuring { healthy_at, until } => {
                self.measure(healthy_at, until, now, view);
            }
            Phase::Ended(_) => {}
        }
    }

    fn prepare(&mut self, until: Moment, healthy_since: Option<Moment>, view: &ProverView<'_>) {
        let now = view.inputs.now;
        if let Some(failing) = self.interrupted(view) {
            return self.end(Some(failing), None, view);
        }
        // A row that is latched would pass for one that has just answered.
        let latched = self.is_latched(view);
        let healthy = view.finding == Some(ProofFinding::Healthy) && !latched;
        let missing = self.not_energised(view);
        let since = (healthy && missing.is_none()).then(|| healthy_since.unwrap_or(now));
        if since.is_some_and(|since| now.since(since) >= HEALTHY_FOR) {
            let healthy_at = stamp(self.row, view.inputs);
            self.phase = Phase::Acting { until: now + PERSON_WITHIN, healthy_at };
        } else if now >= until {
            let failing = match (healthy, latched) {
                (true, _) => missing.unwrap_or(Failing::NotHealthy),
                (false, true) => Failing::LatchedBefore,
                (false, false) => Failing::NotHealthy,
            };
            self.end(Some(failing), None, view);
        } else {
            self.phase = Phase::Preparing { until, healthy_since: since };
        }
    }

    fn act(&mut self, until: Moment, healthy_at: Moment, view: &ProverView<'_>) {
        let now = view.inputs.now;
        let seen = view.finding == Some(ProofFinding::Unhealthy) || self.is_latched(view);
        if seen {
            self.late = self
                .done
                .map(|done| now.since(done))
                .filter(|after| *after > self.procedure.within);
            self.phase =
                Phase::Measuring { healthy_at, until: healthy_at + self.limit.longest + WAIT_ON };
            return self.measure(healthy_at, healthy_at + self.limit.longest + WAIT_ON, now, view);
        }
        if let Some(failing) = self.interrupted(view) {
            return self.end(Some(failing), None, view);
        }
        // A slow device is waited for longer than it may take, to be told as slow and not as dead.
        let given_up = self.done.is_some_and(|done| {
            now.since(done) > self.procedure.within + self.procedure.within.max(WAIT_ON * 2)
        });
        if given_up || now >= until {
            return self.end(Some(Failing::NotSeen), None, view);
        }
        let healthy_at = if view.finding == Some(ProofFinding::Healthy) {
            stamp(self.row, view.inputs)
        } else {
            healthy_at
        };
        self.phase = Phase::Acting { until, healthy_at };
    }

    fn measure(&mut self, healthy_at: Moment, until: Moment, now: Moment, view: &ProverView<'_>) {
        let latched = self.is_latched(view);
        if let Some(other) = self.other_first(view) {
            return self.end(Some(other), None, view);
        }
        for (effect, seen) in &mut self.effects {
            let is_so = latched && comes_about(*effect, view);
            if is_so && seen.is_none() {
                *seen = Some(now);
            }
        }
        let last = self.effects.iter().map(|(_, seen)| *seen).collect::<Option<Vec<Moment>>>();
        if let Some(last) = last.and_then(|seen| seen.into_iter().max()) {
            let response = last.since(healthy_at);
            let failing = self.judge(healthy_at);
            return self.end(failing, Some(response), view);
        }
        let gone = !latched && view.finding == Some(ProofFinding::Healthy);
        let over = !latched && !view.proving.is_on();
        if now >= until || gone || over {
            let failing = if latched {
                let missing = self.effects.iter().find(|(_, seen)| seen.is_none());
                missing.map_or(Failing::NotLatched, |(effect, _)| Failing::NoEffect(*effect))
            } else if over && now < until {
                Failing::ProvingEnded
            } else {
                Failing::NotLatched
            };
            self.end(Some(failing), None, view);
        }
    }

    /// Every effect has come: in time, and the act seen in time?
    fn judge(&self, healthy_at: Moment) -> Option<Failing> {
        if let Some(after) = self.late {
            return Some(Failing::SeenLate { after, within: self.procedure.within });
        }
        self.effects
            .iter()
            .filter(|(_, seen)| seen.is_some_and(|at| at.since(healthy_at) > self.limit.longest))
            .max_by_key(|(_, seen)| *seen)
            .map(|(effect, _)| Failing::TooSlow(*effect))
    }

    fn end(&mut self, failing: Option<Failing>, response: Option<Duration>, view: &ProverView<'_>) {
        let occurrence = self.occurrence(view.verdict);
        let effects: Vec<Effect> = self.effects.iter().map(|(effect, _)| *effect).collect();
        let found = match &failing {
            None => words::passed(occurrence, &effects),
            Some(failing) => words::failed(failing, self.row, occurrence, self.limit.longest),
        };
        self.phase = Phase::Ended(Box::new(Proved {
            key: self.row.key,
            failing,
            expected: words::expected(self.row, &effects),
            found,
            response,
            limit: self.limit.longest,
            limit_reason: self.limit.reason.clone(),
        }));
    }

    /// What ends a proof before the act was seen.
    fn interrupted(&self, view: &ProverView<'_>) -> Option<Failing> {
        let ended = (!view.proving.is_on()).then_some(Failing::ProvingEnded);
        self.other_first(view).or(ended)
    }

    fn other_first(&self, view: &ProverView<'_>) -> Option<Failing> {
        let first = view.verdict.first.as_ref()?;
        (first.key != self.row.key)
            .then(|| Failing::OtherFirst { key: first.key, message: first.message.clone() })
    }

    fn occurrence<'v>(&self, verdict: &'v Verdict) -> Option<&'v Occurrence> {
        let first = verdict.first.iter();
        first.chain(&verdict.holds).find(|occurrence| occurrence.key == self.row.key)
    }

    fn is_latched(&self, view: &ProverView<'_>) -> bool {
        match self.row.class {
            Class::Trip => {
                view.verdict.first.as_ref().is_some_and(|first| first.key == self.row.key)
            }
            Class::Hold | Class::Stop | Class::Warn => self.occurrence(view.verdict).is_some(),
        }
    }

    /// The first output that is not yet seen as energised.
    fn not_energised(&self, view: &ProverView<'_>) -> Option<Failing> {
        let strokes = self.procedure.strokes;
        let valves = [
            (strokes.fuel, Coil::Fuel, view.fuel, Contact::FuelShut),
            (strokes.oxygen, Coil::Oxygen, view.oxygen, Contact::OxygenShut),
        ];
        let shut = valves.into_iter().find(|(stroked, _, acknowledged, contact)| {
            let open = view.inputs.is_off(*contact, view.field_age);
            stroked.is_on() && !(*acknowledged == Some(Level::On) && open)
        });
        if let Some((_, coil, ..)) = shut {
            return Some(Failing::NotOpened(coil));
        }
        let torque = view
            .inputs
            .axis
            .trusted(view.inputs.now, view.axis_age)
            .is_some_and(|axis| axis.power == PowerState::OperationEnabled);
        (strokes.torque.is_on() && !torque).then_some(Failing::NoTorque)
    }
}

/// Whether an effect is seen.
fn comes_about(effect: Effect, view: &ProverView<'_>) -> bool {
    match effect {
        // Every row that holds, stops or trips takes the powder away.
        Effect::Latched => view.verdict.effects.powder_off.is_imposed(),
        Effect::CoilOff(Coil::Fuel) => view.fuel == Some(Level::Off),
        Effect::CoilOff(Coil::Oxygen) => view.oxygen == Some(Level::Off),
        Effect::CoilOff(_) => false,
        Effect::Shut(contact) => view.inputs.is_on(contact, view.field_age),
        Effect::NoTorque => {
            view.inputs.axis.trusted(view.inputs.now, view.axis_age).is_some_and(|axis| {
                !matches!(
                    axis.power,
                    PowerState::OperationEnabled
                        | PowerState::QuickStopActive
                        | PowerState::FaultReactionActive
                        | PowerState::Unknown
                )
            })
        }
        Effect::RelayDropped => view.inputs.is_off(Contact::WatchdogRelay, view.field_age),
    }
}
