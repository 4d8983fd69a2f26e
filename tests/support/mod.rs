//! One rehearsal of one job: controller and bench in virtual time, the person at the bench, and a
//! witness of what is physically so, every scan.

#![allow(dead_code, reason = "each file of tests uses its own part of it")]
#![allow(clippy::panic, clippy::expect_used, reason = "a test that cannot go on fails")]

pub(crate) mod jobs;
pub(crate) mod observed;
pub(crate) mod watch;

use std::time::Duration;

use evenpass::attendant::{Attendant, Attended, Next};
use evenpass::clock::virtual_time::{VirtualTime, Way, Witness};
use evenpass::embed;
use evenpass::files::Job;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::{Plan, plan};
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::rig::{LineId, SpindleSpec};
use evenpass_core::scan::Controller;
use evenpass_core::sequence::{Ask, Phase};
use evenpass_hil::{Bench, Button, Coil, HandScript, Presence, Switched, Truth};

use watch::Watch;

/// How often the world is looked at: once a scan of the bench's rig.
const LOOK_EVERY: Duration = Duration::from_millis(20);
/// How long a finger stays on a button.
const PRESS: f64 = 0.3;

/// One burst on a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Burst {
    pub(crate) start: Moment,
    pub(crate) line: usize,
    pub(crate) way: Way,
    pub(crate) bytes: Vec<u8>,
}

/// Keeps every burst, if it is to.
#[derive(Debug, Default)]
pub(crate) struct Bus {
    keep: bool,
    pub(crate) trace: Vec<Burst>,
    pub(crate) requests: u64,
    pub(crate) bytes: u64,
}

impl Witness for Bus {
    fn burst(&mut self, start: Moment, line: LineId, way: Way, bytes: &[u8]) {
        self.requests += u64::from(way == Way::Request);
        self.bytes += bytes.len() as u64;
        if self.keep {
            self.trace.push(Burst { start, line: line.0, way, bytes: bytes.to_vec() });
        }
    }
}

/// Who brings the job to its start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Begin {
    /// Homing is asked for, and the person at the bench does what the lamp calls for.
    Attended,
    /// Nobody asks for anything and nobody is there.
    Alone,
}

/// A rehearsal under way.
pub(crate) struct Rehearsal {
    pub(crate) job: Job,
    pub(crate) plan: Plan,
    pub(crate) seed: u64,
    pub(crate) entries: Vec<Entry>,
    pub(crate) switches: Vec<Switched>,
    pub(crate) watch: Watch,
    /// Whether somebody sets the gear lever where the prompt asks for it.
    pub(crate) lever_is_set: bool,
    time: VirtualTime<Bus>,
    attendant: Option<Attendant>,
    lets_go: Vec<(Moment, Button)>,
}

impl Rehearsal {
    /// The job in the chuck, planned and loaded, power just on.
    pub(crate) fn new(job: Job, seed: u64, begin: Begin) -> Self {
        let plan = plan(&job.recipe, &job.rig, &job.catalogue)
            .unwrap_or_else(|problems| panic!("{}: {problems}", job.recipe_source.name));
        Self::of_plan(job, plan, seed, begin, false)
    }

    /// The same, with every burst kept.
    pub(crate) fn traced(job: Job, seed: u64) -> Self {
        let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
        Self::of_plan(job, plan, seed, Begin::Attended, true)
    }

    /// Of a plan that was made otherwise.
    pub(crate) fn of_plan(job: Job, plan: Plan, seed: u64, begin: Begin, keep: bool) -> Self {
        let mut controller = Controller::new(&job.rig).expect("the rig can be driven");
        assert_eq!(controller.load(&plan), Answer::Accepted, "the job is taken");
        let bench = embed::bench(&job, &plan, seed).expect("the bench takes the part");
        let bus = Bus { keep, ..Bus::default() };
        let mut time = VirtualTime::new(&job.rig, controller, bench, bus);
        let attendant = match begin {
            Begin::Attended => Some(Attendant::new(Attended::Yes)),
            Begin::Alone => {
                time.bench().follow_script(&nobody());
                None
            }
        };
        let watch = Watch::new(&plan.program, &time.bench().truth());
        Self {
            job,
            plan,
            seed,
            entries: Vec::new(),
            switches: Vec::new(),
            watch,
            lever_is_set: matches!(begin, Begin::Attended),
            time,
            attendant,
            lets_go: Vec::new(),
        }
    }

    pub(crate) fn now(&self) -> Moment {
        self.time.now()
    }

    pub(crate) fn truth(&mut self) -> Truth {
        self.time.bench().truth()
    }

    pub(crate) fn bench(&mut self) -> &mut Bench {
        self.time.bench()
    }

    pub(crate) fn controller(&mut self) -> &mut Controller {
        self.time.controller()
    }

    pub(crate) fn bus(&self) -> &Bus {
        self.time.witness()
    }

    pub(crate) fn phase(&mut self) -> Phase {
        self.time.controller().phase()
    }

    /// From the seat at the machine.
    pub(crate) fn ask(&mut self, request: Request) -> Answer {
        self.ask_from(request, Origin::Seat)
    }

    pub(crate) fn ask_from(&mut self, request: Request, origin: Origin) -> Answer {
        let now = self.now();
        self.time.controller().request(now, request, origin)
    }

    /// A button at the machine, pressed as a person does.
    pub(crate) fn press(&mut self, button: Button) {
        self.bench().press(button);
        self.lets_go.push((self.now() + Duration::from_secs_f64(PRESS), button));
    }

    /// From now on nobody is at the machine.
    pub(crate) fn leave(&mut self) {
        self.bench().follow_script(&nobody());
    }

    /// Somebody is at the machine again.
    pub(crate) fn come_back(&mut self) {
        self.bench().follow_script(&HandScript::default());
    }

    /// One scan further, with everything that is told and seen in it.
    pub(crate) fn look_once(&mut self) {
        let until = self.now() + LOOK_EVERY;
        self.time.run_until(until);
        self.let_go(until);
        self.set_the_lever();
        if let Some(attendant) = self.attendant.as_mut() {
            let status = self.time.controller().status();
            if let Next::Ask(request) = attendant.follow(until, &status) {
                self.time.controller().request(until, request, Origin::Seat);
            }
        }
        while let Some(entry) = self.time.controller().take_entry() {
            self.entries.push(entry);
        }
        let phase = self.time.controller().phase();
        let bench = self.time.bench();
        self.switches.extend(bench.take_switched());
        self.watch.look(phase, &bench.truth());
    }

    /// Runs until something is so, or for so long; says whether it came to be so.
    pub(crate) fn until(&mut self, longest_s: f64, so: impl Fn(&mut Self) -> bool) -> bool {
        let end = self.now() + Duration::from_secs_f64(longest_s);
        while self.now() < end {
            if so(self) {
                return true;
            }
            self.look_once();
        }
        so(self)
    }

    /// Runs until something is so; it must come to be so.
    pub(crate) fn expect(&mut self, what: &str, longest_s: f64, so: impl Fn(&mut Self) -> bool) {
        if !self.until(longest_s, so) {
            panic!("not within {longest_s} s: {what}\n{}", self.told());
        }
    }

    /// Runs for so long.
    pub(crate) fn wait(&mut self, seconds: f64) {
        self.until(seconds, |_| false);
    }

    /// Runs to the job's end.
    pub(crate) fn finish(&mut self) -> Phase {
        self.until(3.0 * 3600.0, |this| {
            matches!(this.phase(), Phase::Complete | Phase::Stopped | Phase::Aborted)
        });
        self.phase()
    }

    /// Runs to the job's end, which must be that it is complete.
    pub(crate) fn complete(&mut self) {
        let end = self.finish();
        assert_eq!(end, Phase::Complete, "{}", self.told());
    }

    /// Runs until spraying in that pass the torch has come to a place.
    pub(crate) fn until_pass_is_at(&mut self, pass: usize, place_mm: f64) {
        self.expect(&format!("pass {pass} at {place_mm} mm"), 3600.0, |this| {
            let status = this.controller().status();
            let in_pass = status.phase == Phase::Spraying
                && status.leaf == evenpass_core::sequence::Leaf::Crossing
                && status.progress.is_some_and(|at| at.pass.is_some_and(|(now, _)| now == pass));
            let truth = this.truth();
            let way = truth.torch_mm_s;
            in_pass && (truth.torch_z_mm - place_mm) * way >= 0.0 && way != 0.0
        });
    }

    /// What was told, causes and states last, for a failing test.
    pub(crate) fn told(&mut self) -> String {
        let (truth, phase) = (self.truth(), self.phase());
        let told: Vec<String> = self
            .entries
            .iter()
            .filter(|entry| !matches!(entry.kind, EntryKind::Sample | EntryKind::Contact))
            .map(|entry| {
                format!(
                    "{:10.3} {:?} {} [{}]",
                    entry.at.as_seconds(),
                    entry.kind,
                    entry.text,
                    entry.cause
                )
            })
            .collect();
        let last = told.len().saturating_sub(40);
        format!(
            "seed {}, {phase:?} at {}\n{}\n{truth:?}",
            self.seed,
            self.now(),
            told.get(last..).unwrap_or_default().join("\n")
        )
    }

    /// Causes of a class that were confirmed, as told.
    pub(crate) fn confirmed(&self, class: &str) -> Vec<String> {
        self.entries
            .iter()
            .filter(|entry| {
                entry.kind == EntryKind::Cause
                    && entry.data.get("change").is_some_and(|change| change == "confirmed")
                    && entry.data.get("class").is_some_and(|of| of == class)
            })
            .map(|entry| format!("{:.2} s {}", entry.at.as_seconds(), entry.text))
            .collect()
    }

    /// Entries of a kind.
    pub(crate) fn of_kind(&self, kind: EntryKind) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(move |entry| entry.kind == kind)
    }

    /// When the feeder switched, and where the torch then was.
    pub(crate) fn feeder_switches(&self) -> Vec<Switched> {
        self.switches.iter().filter(|s| s.coil == Coil::PowderFeeder).copied().collect()
    }

    fn let_go(&mut self, now: Moment) {
        let due: Vec<Button> =
            self.lets_go.iter().filter(|(at, _)| *at <= now).map(|(_, button)| *button).collect();
        self.lets_go.retain(|(at, _)| *at > now);
        for button in due {
            self.bench().release(button);
        }
    }

    /// The person at the bench knows no gear table: who rehearses sets the lever.
    fn set_the_lever(&mut self) {
        if !self.lever_is_set || !matches!(self.job.rig.spindle, SpindleSpec::Gears(_)) {
            return;
        }
        let asked = self.time.controller().status().prompt.map(|prompt| prompt.ask);
        if let Some(Ask::SetLever(speed)) = asked {
            self.time.bench().set_lever_rpm(speed.rpm());
        }
    }
}

fn nobody() -> HandScript {
    HandScript { presence: Presence::Absent, presses: Vec::new() }
}

/// Fails when a figure is off by more than allowed; says which.
#[track_caller]
pub(crate) fn near(what: &str, found: f64, expected: f64, allowed: f64) {
    assert!(
        (found - expected).abs() <= allowed,
        "{what}: found {found}, expected {expected} within {allowed}"
    );
}
