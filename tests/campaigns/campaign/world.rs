//! One run: the whole program and the whole twin in virtual time, what the schedule lets happen,
//! the person, and the checker that looks at the twin every few milliseconds.

mod happening;

use std::time::Duration;

use evenpass::clock::virtual_time::{Unwitnessed, VirtualTime};
use evenpass::embed;
use evenpass::files::Job;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::request::Answer;
use evenpass_core::scan::Controller;
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::{Button, Coil, Fault, HandScript, Presence, Truth};

use super::check::{Checker, Look, Violation};
use super::handicap::{Defect, Handicapped};
use super::operator::{LOOK_EVERY, Operator};
use super::schedule::{Event, Schedule};
use crate::support::observed::Observed;

/// How often the world is looked at while anything moves, flows or burns.
const CLOSE: Duration = Duration::from_millis(4);
/// And while nothing does.
const FAR: Duration = Duration::from_millis(20);
/// How long after everything was mended the job may take to end or to be given up.
const ENDS_WITHIN: Duration = Duration::from_secs(30 * 60);
/// After the job's end the machine has so long to come to rest.
const RESTS_WITHIN: Duration = Duration::from_secs(180);
/// Entries kept for a report on a run that failed.
const LAST: usize = 60;

/// What is asked of a run besides its outcome.
#[derive(Clone, Copy, Default)]
pub(crate) struct Extras {
    /// Every scan is looked at from outside.
    pub(crate) observe: bool,
    /// What was told is kept.
    pub(crate) tell: bool,
    /// A defect of the program that the checker is not told of.
    pub(crate) defect: Option<Defect>,
    /// A fault at the bench that the checker is not told of.
    pub(crate) undeclared: Option<(u64, Fault)>,
}

/// What came of a run.
#[derive(Debug, Clone)]
pub(crate) struct Outcome {
    /// Where it ended.
    pub(crate) end: Phase,
    /// When, s.
    pub(crate) ended_s: f64,
    pub(crate) checker: Checker,
    /// Keys of the rows that were first out, in order.
    pub(crate) first_out: Vec<String>,
    /// How often the job was held, and warned of.
    pub(crate) holds: u32,
    pub(crate) stops: u32,
    pub(crate) passed: Vec<Phase>,
    /// What happened, with the phase it happened in.
    pub(crate) happened: Vec<(Event, Phase)>,
    pub(crate) told: Vec<String>,
    pub(crate) observed: Vec<Observed>,
}

impl Outcome {
    pub(crate) fn violations(&self) -> &[Violation] {
        &self.checker.violations
    }
}

/// A run under way.
struct World<'a> {
    time: VirtualTime<Unwitnessed, Handicapped>,
    operator: Operator,
    schedule: &'a Schedule,
    extras: Extras,
    outcome: Outcome,
    look_next: Moment,
    lets_go: Vec<(Moment, Button)>,
    moved_until: u64,
    jog_renewed_us: u64,
    tripped: bool,
    done: bool,
}

/// Plays a schedule.
pub(crate) fn play(job: &Job, plan: &Plan, schedule: &Schedule, extras: Extras) -> Outcome {
    let mut controller = Controller::new(&job.rig).expect("the rig can be driven");
    assert_eq!(controller.load(plan), Answer::Accepted, "the job is taken");
    let bench = embed::bench(job, plan, schedule.bench_seed).expect("the bench takes the part");
    let mut program = Handicapped::new(controller, extras.defect);
    if extras.observe {
        program.observe();
    }
    let mut time = VirtualTime::new(&job.rig, program, bench, Unwitnessed);
    time.bench().follow_script(&stands(schedule.person.stands()));
    let outcome = Outcome {
        end: Phase::Idle,
        ended_s: 0.0,
        checker: Checker::new(&plan.program),
        first_out: Vec::new(),
        holds: 0,
        stops: 0,
        passed: Vec::new(),
        happened: Vec::new(),
        told: Vec::new(),
        observed: Vec::new(),
    };
    let mut world = World {
        time,
        operator: Operator::new(&schedule.person),
        schedule,
        extras,
        outcome,
        look_next: Moment::START,
        lets_go: Vec::new(),
        moved_until: 0,
        jog_renewed_us: 0,
        tripped: false,
        done: false,
    };
    world.run();
    world.outcome
}

pub(crate) fn stands(presence: Presence) -> HandScript {
    HandScript { presence, presses: Vec::new() }
}

impl World<'_> {
    fn run(&mut self) {
        let schedule = self.schedule;
        let mut undeclared = self.extras.undeclared;
        for timed in &schedule.events {
            self.until(Moment::from_micros(timed.at_us));
            if let Some((at_us, fault)) = undeclared
                && at_us <= timed.at_us
            {
                self.time.bench().inject(fault);
                undeclared = None;
            }
            self.happen(timed.event);
        }
        if let Some((at_us, fault)) = undeclared {
            self.until(Moment::from_micros(at_us));
            self.time.bench().inject(fault);
        }
        self.until(Moment::from_micros(schedule.mended_at_us));
        self.mend();
        let mended = self.time.now();
        while !self.done && self.time.now() - mended < ENDS_WITHIN {
            let until = self.time.now() + Duration::from_millis(500);
            self.until(until);
            let phase = self.phase();
            self.done = self.operator.is_content(phase);
        }
        let ended = self.time.now();
        self.outcome.end = self.phase();
        self.outcome.ended_s = ended.as_seconds();
        // Whatever came of it, it must be at rest soon, and nobody does anything more.
        self.time.bench().follow_script(&stands(Presence::Absent));
        while self.time.now() - ended < RESTS_WITHIN {
            let truth = self.truth();
            if unrest(&truth).is_empty() {
                break;
            }
            let until = self.time.now() + Duration::from_millis(500);
            self.until(until);
        }
        self.judge_end();
        self.outcome.observed = self.time.controller().observed();
    }

    fn judge_end(&mut self) {
        let truth = self.truth();
        let at_us = truth.time_us;
        let mut found = |what, words: String| {
            self.outcome.checker.violations.push(Violation { what, at_us, words });
        };
        let left = unrest(&truth);
        if !left.is_empty() {
            found("no safe rest", format!("{left:?} {truth:?}"));
        }
        let end = self.outcome.end;
        if !matches!(end, Phase::Complete | Phase::Stopped | Phase::Idle) {
            let status = self.time.controller().controller.status();
            let snapshot = self.time.controller().controller.snapshot();
            found(
                "it never ended",
                format!(
                    "{} since {} by {:?}; prompt {:?}; first {:?}; needs {:?}; holds {:?}",
                    status.text,
                    status.since,
                    status.cause,
                    status.prompt,
                    status.first_cause,
                    snapshot.verdict.reset_needs,
                    snapshot.verdict.holds
                ),
            );
        }
    }

    fn truth(&mut self) -> Truth {
        self.time.bench().truth()
    }

    fn phase(&mut self) -> Phase {
        self.time.controller().controller.phase()
    }

    /// Runs until a moment, looking on the way.
    fn until(&mut self, end: Moment) {
        while self.time.now() < end {
            let step = if self.is_busy() { CLOSE } else { FAR };
            let next = (self.time.now() + step).min(end);
            self.time.run_until(next);
            self.let_go(next);
            self.look(next);
            if next >= self.look_next {
                self.look_next = next + LOOK_EVERY;
                self.operate(next);
            }
        }
    }

    fn is_busy(&mut self) -> bool {
        let truth = self.truth();
        truth.fuel_open
            || truth.supply_open
            || truth.feeder_on
            || truth.flame_lit
            || truth.drive_torque
            || truth.torch_mm_s != 0.0
            || !truth.guard_closed
    }

    fn let_go(&mut self, now: Moment) {
        let Self { time, lets_go, operator, .. } = self;
        let bench = time.bench();
        lets_go.retain(|(until, button)| {
            let held = now < *until;
            if !held {
                bench.release(*button);
            }
            held
        });
        operator.let_go(now, bench);
    }

    /// The operator acts when everything is mended, or before that if they are eager.
    fn operate(&mut self, now: Moment) {
        let mended = now.as_micros() >= self.schedule.mended_at_us;
        if self.done || !(mended || self.schedule.person.eager || !self.tripped) {
            return;
        }
        // The operator needs both at once: the program's screen and the machine's buttons.
        let Self { time, operator, .. } = self;
        let (program, bench) = time.both();
        operator.look(now, program, bench);
    }

    fn look(&mut self, now: Moment) {
        self.take_entries();
        let truth = self.truth();
        let phase = self.phase();
        if self.outcome.passed.last() != Some(&phase) {
            self.outcome.passed.push(phase);
        }
        if truth.buttons & (1 << Button::HoldToRun as u16) != 0 {
            self.jog_renewed_us = truth.time_us;
        }
        let program = self.time.controller();
        let jogging = phase == Phase::Manual && program.controller.status().leaf == Leaf::Jogging;
        let behind = program.is_behind(now);
        let stalled = behind || program.is_stalled(now);
        if behind {
            self.outcome.checker.unbidden.clock_stands(now.as_micros());
        }
        let look = Look {
            truth: &truth,
            phase,
            jogging,
            jog_renewed_us: self.jog_renewed_us,
            stalled,
            clock_moved: now.as_micros() < self.moved_until,
        };
        self.outcome.checker.look(&look);
    }

    fn take_entries(&mut self) {
        while let Some(entry) = self.time.controller().controller.take_entry() {
            self.count(&entry);
            if self.extras.tell && !matches!(entry.kind, EntryKind::Sample | EntryKind::Contact) {
                self.outcome.told.push(format!(
                    "{:10.3} {:?} {} [{}]",
                    entry.at.as_seconds(),
                    entry.kind,
                    entry.text,
                    entry.cause
                ));
                let over = self.outcome.told.len().saturating_sub(LAST * 20);
                self.outcome.told.drain(..over);
            }
        }
    }

    fn count(&mut self, entry: &Entry) {
        let field = |key: &str| entry.data.get(key).and_then(|value| value.as_str());
        if entry.kind != EntryKind::Cause {
            return;
        }
        match (field("change"), field("class")) {
            (Some("confirmed"), Some("trip")) if !self.tripped => {
                self.tripped = true;
                let key = field("interlock").unwrap_or_default().to_owned();
                self.outcome.first_out.push(key);
            }
            (Some("confirmed"), Some("hold")) => self.outcome.holds += 1,
            (Some("confirmed"), Some("stop")) => self.outcome.stops += 1,
            (Some("cleared"), Some("trip")) => self.tripped = false,
            _ => {}
        }
    }
}

/// What is not at rest.
fn unrest(truth: &Truth) -> Vec<&'static str> {
    let gas = truth.fuel_open || truth.oxygen_open || truth.supply_open;
    [
        (gas, "gas"),
        (truth.fuel_bar > 0.05 || truth.oxygen_bar > 0.05, "pressure behind the isolation valve"),
        (truth.flame_lit, "flame"),
        (truth.feeder_on, "feeder"),
        (truth.energised & (1 << Coil::Igniter as u16) != 0, "igniter"),
        (truth.torch_mm_s != 0.0, "carriage"),
        (truth.drive_torque, "torque"),
        (truth.spindle_rpm >= 1.0, "spindle"),
    ]
    .iter()
    .filter_map(|(is_so, what)| is_so.then_some(*what))
    .collect()
}
