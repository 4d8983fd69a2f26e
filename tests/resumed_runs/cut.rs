//! A run that is cut off, and the one that takes it up.

use std::time::Duration;

use evenpass::clock::virtual_time::{Unwitnessed, VirtualTime};
use evenpass::embed;
use evenpass::files::Job;
use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::resume::{Interruption, Stood, go_on, read};
use evenpass_core::scan::{Controller, NO_DATUM};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::Bench;

const LOOK_EVERY: Duration = Duration::from_millis(20);

/// What ends the first run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Death {
    /// The controller is killed; the machine keeps its power.
    Killed,
    /// The mains fails, and comes back.
    Mains,
}

/// A run under way.
#[derive(Clone)]
pub(crate) struct Running {
    pub(crate) plan: Plan,
    pub(crate) entries: Vec<Entry>,
    pub(crate) time: VirtualTime<Unwitnessed>,
    asked: Moment,
}

impl Running {
    pub(crate) fn new(job: &Job, plan: &Plan, bench: Bench) -> Self {
        let mut controller = Controller::new(&job.rig).expect("the rig can be driven");
        assert_eq!(controller.load(plan), Answer::Accepted, "the job is taken");
        let time = VirtualTime::new(&job.rig, controller, bench, Unwitnessed);
        Self { plan: plan.clone(), entries: Vec::new(), time, asked: Moment::START }
    }

    pub(crate) fn phase(&mut self) -> Phase {
        self.time.controller().phase()
    }

    pub(crate) fn leaf(&mut self) -> Leaf {
        self.time.controller().status().leaf
    }

    pub(crate) fn run_until(&mut self, end: Moment) {
        while self.time.now() < end && !self.is_over() {
            self.look();
        }
    }

    fn is_over(&mut self) -> bool {
        matches!(self.phase(), Phase::Complete | Phase::Stopped | Phase::Aborted)
    }

    fn look(&mut self) {
        let until = self.time.now() + LOOK_EVERY;
        self.time.run_until(until);
        let status = self.time.controller().status();
        if status.phase == Phase::Idle && until >= self.asked {
            // Devices that lost their controller have a fault each; then the datum is sought.
            let request = match status.missing.as_slice() {
                [] => None,
                [NO_DATUM] => Some((Request::Home, Origin::Seat)),
                _ => Some((Request::Reset, Origin::Machine)),
            };
            if let Some((request, origin)) = request {
                self.asked = until + Duration::from_secs(5);
                self.time.controller().request(until, request, origin);
            }
        }
        while let Some(entry) = self.time.controller().take_entry() {
            self.entries.push(entry);
        }
    }

    /// To its end, whatever that is.
    pub(crate) fn finish(&mut self) -> Phase {
        self.run_until(self.time.now() + Duration::from_secs(5 * 3600));
        self.phase()
    }

    pub(crate) fn told(&mut self) -> String {
        let status = self.time.controller().status();
        let skipped = |entry: &&Entry| !entry.text.is_empty() && !entry.text.starts_with("coat");
        let told: Vec<String> = self
            .entries
            .iter()
            .filter(skipped)
            .map(|entry| format!("{} {:?} {} [{}]", entry.at, entry.kind, entry.text, entry.cause))
            .collect();
        let last = told[told.len().saturating_sub(40)..].join("\n");
        format!("{}; missing {:?}, {:?}\n{last}", status.text, status.missing, status.setback)
    }
}

/// Where the torch truly was when its powder ceased to make coat, mm.
pub(crate) struct Left {
    pub(crate) bench: Bench,
    /// What the journal kept.
    pub(crate) kept: Vec<Entry>,
    pub(crate) stood: Option<Stood>,
    pub(crate) ceased_mm: Option<f64>,
}

/// Cuts a run off now. What was written in the last `lost` before is not on the disk; the machine is
/// by itself for a while.
pub(crate) fn cut(run: Running, death: Death, lost: Duration, alone: Duration) -> Left {
    let now = run.time.now();
    let until = now.before(lost);
    let kept: Vec<Entry> = run.entries.into_iter().filter(|entry| entry.at <= until).collect();
    let mut bench = run.time.into_bench();
    if death == Death::Mains {
        bench.cut_power();
    }
    let mut ceased_mm = None;
    let end = bench.now_us() + u64::try_from(alone.as_micros()).unwrap();
    let mut coat = bench.truth().coat_g;
    while bench.now_us() < end {
        bench.advance(bench.now_us() + 1000);
        let truth = bench.truth();
        // What trickles at the end of a hose is no pass.
        if truth.powder_g_s > 0.5 && truth.coat_g > coat {
            ceased_mm = Some(truth.torch_z_mm);
        }
        coat = truth.coat_g;
    }
    let truth = bench.truth();
    let stood = match death {
        Death::Killed => {
            truth.drive_homed.then_some(Stood::Powered(Length::from_mm(truth.torch_z_mm)))
        }
        Death::Mains => Some(Stood::WithoutPower(Length::from_mm(truth.torch_z_mm))),
    };
    if death == Death::Mains {
        bench.restore_power();
    }
    Left { bench, kept, stood, ceased_mm }
}

/// The run that takes it up: read, planned on, loaded.
pub(crate) fn take_up(
    job: &Job,
    plan: &Plan,
    left: Left,
) -> Result<(Interruption, Running), String> {
    let found = read(&left.kept, plan, &job.rig, left.stood);
    let rest = go_on(&job.recipe, &job.rig, &job.catalogue, plan, &found)
        .map_err(|refusal| refusal.to_string())?;
    let mut bench = left.bench;
    // Whoever was inside comes out and shuts it.
    bench.shut_guard();
    bench.take_job_card(&embed::part(job, &rest)).expect("the bench has its torches");
    let mut running = Running::new(job, &rest, bench);
    stays_still(&mut running);
    Ok((found, running))
}

/// Nothing moves, burns or is sprayed before somebody starts it: looked at with nobody there.
fn stays_still(running: &mut Running) {
    let mut alone = running.clone();
    alone.time.bench().follow_script(&evenpass_hil::HandScript {
        presence: evenpass_hil::Presence::Absent,
        presses: Vec::new(),
    });
    let before = alone.time.bench().truth();
    for _ in 0..250 {
        let until = alone.time.now() + LOOK_EVERY;
        alone.time.run_until(until);
        let truth = alone.time.bench().truth();
        assert!((truth.torch_z_mm - before.torch_z_mm).abs() < 0.01, "moved: {truth:?}");
        assert!(!truth.fuel_open && !truth.oxygen_open && !truth.flame_lit, "gas: {truth:?}");
        assert!(!truth.feeder_on, "powder: {truth:?}");
    }
    let status = alone.time.controller().snapshot();
    assert_eq!(status.status.phase, Phase::Idle, "{}", status.status.text);
}
