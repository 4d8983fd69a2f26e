//! One trial: the whole program on the twin, saved in a state of the chart, with something done to
//! it and what then physically happens, told with its time.
//!
//! A trial is a value. A place of the chart is walked to once, and every try begins from a copy.
//! Coils are told at the instant they switch in the module; what has to be looked at (motion, flame,
//! powder at the nozzle) is told at the next look, [`LOOK`] later at most.

#![allow(dead_code, reason = "each file of tests uses its own part of it")]
#![allow(clippy::panic, clippy::expect_used, reason = "a test that cannot go on fails")]

pub(crate) mod dice;
pub(crate) mod machine;
pub(crate) mod places;
pub(crate) mod told;

use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use evenpass::clock::virtual_time::{VirtualTime, Way, Witness};
use evenpass::embed;
use evenpass::files::Job;
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use evenpass_core::plan::{Plan, plan};
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::rig::LineId;
use evenpass_core::scan::{Controller, NO_DATUM};
use evenpass_core::sequence::{Ask, Leaf, Status};
use evenpass_hil::{Bench, Button, HandScript, Presence, Truth};

use machine::Machine;
use told::{Confirmed, Happened, What};

/// How often the world is looked at where it matters.
pub(crate) const LOOK: Duration = Duration::from_millis(5);
/// How long a finger stays on a button.
const PRESS: Duration = Duration::from_millis(300);
/// How long somebody who never brings a spark takes to look again.
const RELUCTANCE: Duration = Duration::from_millis(500);
/// How often a lease is renewed by whoever holds the key down.
const RENEW: Duration = Duration::from_millis(60);

/// A request as it went over a line.
#[derive(Debug, Clone)]
pub(crate) struct Sent {
    pub(crate) start: Moment,
    pub(crate) line: usize,
    pub(crate) bytes: Vec<u8>,
}

/// Keeps requests while it is asked to.
#[derive(Debug, Clone, Default)]
pub(crate) struct Wire {
    pub(crate) keep: bool,
    pub(crate) sent: Vec<Sent>,
}

impl Witness for Wire {
    fn burst(&mut self, start: Moment, line: LineId, way: Way, bytes: &[u8]) {
        if self.keep && way == Way::Request {
            self.sent.push(Sent { start, line: line.0, bytes: bytes.to_vec() });
        }
    }
}

/// What a trial is of: never changed once it is walked.
#[derive(Debug)]
pub(crate) struct Setting {
    pub(crate) job: Job,
    pub(crate) plan: Plan,
}

/// The whole program on the twin.
#[derive(Clone)]
pub(crate) struct Trial {
    pub(crate) of: Arc<Setting>,
    /// What was told and seen since the record was begun.
    pub(crate) told: Vec<Happened>,
    /// Causes confirmed since then.
    pub(crate) confirmed: Vec<Confirmed>,
    /// A key that somebody holds down: asked again and again.
    pub(crate) renewed: Option<Request>,
    /// Whoever is asked to light the torch opens the guard and accepts, and brings no spark.
    pub(crate) never_light: bool,
    /// How often the world is looked at.
    pub(crate) look_every: Duration,
    time: VirtualTime<Wire, Machine>,
    renew_at: Moment,
    before: Truth,
    lets_go: Vec<(Moment, Button)>,
}

impl Trial {
    /// The job in the chuck, planned and loaded, power just on, somebody at the machine.
    pub(crate) fn new(job: Job, seed: u64) -> Self {
        let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
        let mut controller = Controller::new(&job.rig).expect("the rig can be driven");
        assert_eq!(controller.load(&plan), Answer::Accepted, "the job is taken");
        let bench = embed::bench(&job, &plan, seed).expect("the bench takes the part");
        let before = bench.truth();
        let time = VirtualTime::new(&job.rig, Machine::new(controller), bench, Wire::default());
        Self {
            of: Arc::new(Setting { job, plan }),
            told: Vec::new(),
            confirmed: Vec::new(),
            renewed: None,
            never_light: false,
            look_every: LOOK,
            time,
            renew_at: Moment::START,
            before,
            lets_go: Vec::new(),
        }
    }

    pub(crate) fn now(&self) -> Moment {
        self.time.now()
    }

    pub(crate) fn truth(&mut self) -> Truth {
        self.time.bench().truth()
    }

    /// The bench, brought to this instant: what is done to it is done now.
    pub(crate) fn bench(&mut self) -> &mut Bench {
        let now = self.time.now().as_micros();
        let bench = self.time.bench();
        bench.advance(now);
        bench
    }

    pub(crate) fn controller(&mut self) -> &mut Controller {
        &mut self.time.controller().controller
    }

    pub(crate) fn status(&mut self) -> Status {
        self.controller().status()
    }

    pub(crate) fn leaf(&mut self) -> Leaf {
        self.controller().status().leaf
    }

    pub(crate) fn wire(&mut self) -> &mut Wire {
        self.time.witness_mut()
    }

    /// From the seat at the machine.
    pub(crate) fn ask(&mut self, request: Request) -> Answer {
        let now = self.now();
        self.controller().request(now, request, Origin::Seat)
    }

    /// A button at the machine, pressed as a person does.
    pub(crate) fn press(&mut self, button: Button) {
        self.bench().press(button);
        self.lets_go.push((self.now() + PRESS, button));
    }

    /// The program stands still for so long; the world does not.
    pub(crate) fn stall(&mut self, span: Duration) {
        let until = self.now() + span;
        self.time.controller().stand_until(until);
    }

    /// From now on nobody is at the machine; what a hand has begun it ends.
    pub(crate) fn leave(&mut self) {
        let nobody = HandScript { presence: Presence::Absent, presses: Vec::new() };
        self.bench().follow_script(&nobody);
    }

    /// Somebody is at the machine again.
    pub(crate) fn come_back(&mut self) {
        self.bench().follow_script(&HandScript::default());
    }

    /// Forgets what was told and seen so far.
    pub(crate) fn begin_record(&mut self) {
        self.told.clear();
        self.confirmed.clear();
        let _ = self.bench().take_switched().count();
        self.before = self.truth();
    }

    /// Runs to an instant without a look.
    pub(crate) fn run_to(&mut self, until: Moment) {
        self.time.run_until(until);
    }

    /// Homing is asked for; the person does the rest by the lamp.
    pub(crate) fn start_when_ready(&mut self) {
        self.expect("only the datum is missing", 30.0, |this| this.status().missing == [NO_DATUM]);
        assert_eq!(self.ask(Request::Home), Answer::Accepted);
    }

    /// Takes in what is told and seen, without going on.
    pub(crate) fn look_now(&mut self) {
        self.look_to(self.now());
    }

    /// One look further.
    pub(crate) fn look(&mut self) {
        self.look_to(self.now() + self.look_every);
    }

    /// Half a second after the last time, a person looks at what is asked.
    fn pretend_to_light(&mut self) {
        if !self.never_light || self.now() < self.renew_at {
            return;
        }
        self.renew_at = self.now() + RELUCTANCE;
        let asked = self.status().prompt.map(|prompt| prompt.ask);
        if matches!(asked, Some(Ask::OpenGuard)) {
            self.bench().open_guard();
            self.press(Button::Accept);
        }
    }

    fn look_to(&mut self, until: Moment) {
        self.pretend_to_light();
        if self.now() >= self.renew_at
            && let Some(request) = self.renewed
        {
            self.renew_at = self.now() + RENEW;
            self.ask(request);
        }
        self.time.run_until(until);
        for (_, button) in self.lets_go.extract_if(.., |(at, _)| *at <= until) {
            self.time.bench().release(button);
        }
        while let Some(entry) = self.controller().take_entry() {
            self.hear(&entry);
        }
        self.see();
    }

    fn hear(&mut self, entry: &Entry) {
        match entry.kind {
            EntryKind::State => {
                let to = entry.data.get("to").and_then(|to| to.as_str());
                if let Some(leaf) = to.and_then(told::leaf_of) {
                    self.told.push(Happened { at: entry.at, what: What::State(leaf) });
                }
            }
            EntryKind::Cause => self.confirmed.extend(Confirmed::of(entry)),
            _ => {}
        }
    }

    fn see(&mut self) {
        let bench = self.time.bench();
        let truth = bench.truth();
        let program = &self.of.plan.program;
        let clear_from = (program.part.high + program.clear_by).mm();
        self.told.extend(bench.take_switched().map(|switched| Happened {
            at: Moment::from_micros(switched.time_us),
            what: What::coil(switched.coil, switched.energised),
        }));
        told::compare(&self.before, &truth, clear_from, self.time.now(), &mut self.told);
        self.before = truth;
    }

    /// Runs until something is so, or for so long; says whether it came to be so.
    pub(crate) fn until(&mut self, longest_s: f64, so: impl Fn(&mut Self) -> bool) -> bool {
        let end = self.now() + Duration::from_secs_f64(longest_s);
        while self.now() < end {
            if so(self) {
                return true;
            }
            self.look();
        }
        so(self)
    }

    /// Runs until something is so; it must come to be so.
    pub(crate) fn expect(&mut self, what: &str, longest_s: f64, so: impl Fn(&mut Self) -> bool) {
        if !self.until(longest_s, so) {
            let (status, truth) = (self.status(), self.truth());
            let states = self.told.iter().rev().filter(|told| matches!(told.what, What::State(_)));
            let states: Vec<String> = states
                .take(12)
                .map(|told| format!("{} {}", told.at.as_seconds(), told.what.words()))
                .collect();
            panic!(
                "not within {longest_s} s: {what}; at {} {}: {}, missing {:?}, first cause {:?}, \
                 {truth:?}, from {states:?}",
                self.now(),
                status.text,
                status.cause,
                status.missing,
                status.first_cause
            );
        }
    }

    /// Runs until a state of the chart is entered.
    pub(crate) fn reach(&mut self, leaf: Leaf, longest_s: f64) {
        self.expect(leaf.name(), longest_s, |this| this.leaf() == leaf);
    }

    /// Runs for so long.
    pub(crate) fn wait(&mut self, seconds: f64) {
        self.until(seconds, |_| false);
    }
}

/// Work shared out to as many threads as there are cores.
pub(crate) fn each<T: Send, R: Send>(work: Vec<T>, of: impl Fn(T) -> R + Sync) -> Vec<R> {
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let count = work.len();
    let work = Mutex::new(work.into_iter().enumerate());
    let done = Mutex::new((0..count).map(|_| None).collect::<Vec<Option<R>>>());
    thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let Some((at, item)) = work.lock().expect("the work").next() else { break };
                    let result = of(item);
                    done.lock().expect("the results")[at] = Some(result);
                }
            });
        }
    });
    done.into_inner().expect("the results").into_iter().flatten().collect()
}
