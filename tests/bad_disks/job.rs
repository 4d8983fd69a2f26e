//! A job on the twin, recorded on a disk that writes down what is done to it.

use std::path::Path;
use std::time::Duration;

use evenpass::attendant::Attended;
use evenpass::clock::virtual_time::Unwitnessed;
use evenpass::files::Job;
use evenpass::keeping::{Begin, Ended, Keeping};
use evenpass::record::{RunKind, RunRecord, Store};
use evenpass::twin_job::TwinJob;
use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::{Plan, plan};
use evenpass_disk::{Dice, Disk, Left, Operation, Remains, Syncs, Trust};

use crate::support::jobs::Texts;

/// The records file in its folder.
pub(crate) const FILE: &str = "records.sqlite";
/// The longest that the recorder lets a sample wait for its commit: what came within it is
/// committed together.
pub(crate) const TOGETHER: Duration = Duration::from_millis(200);

/// How things stood once all that came until then was offered to the disk.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Step {
    /// On the time line of the controller.
    pub(crate) at: Moment,
    /// Operations on the disk by then.
    pub(crate) operations: usize,
    /// Entries sent by then.
    pub(crate) sent: u64,
    /// The highest number that was acknowledged by then.
    pub(crate) acknowledged: u64,
    /// Where the torch was, mm from the chuck face.
    pub(crate) torch_mm: f64,
}

/// A job that was recorded.
pub(crate) struct Recorded {
    pub(crate) job: Job,
    pub(crate) plan: Plan,
    pub(crate) id: String,
    /// A run that was recorded before, as it was.
    pub(crate) earlier: RunRecord,
    pub(crate) log: Vec<Operation>,
    /// Operations by which the earlier run was ended, and by which this one was begun.
    pub(crate) earlier_by: usize,
    pub(crate) begun: usize,
    /// Operations before its end was asked for, and by which it was acknowledged.
    pub(crate) ending: usize,
    pub(crate) ended: usize,
    pub(crate) steps: Vec<Step>,
    pub(crate) sent: Vec<Entry>,
}

impl Recorded {
    /// The operations of a step: from its first to behind its last.
    pub(crate) fn operations_of(&self, step: usize) -> (usize, usize) {
        let of = |step: usize| self.steps.get(step).map(|step| step.operations);
        let from = step.checked_sub(1).and_then(of).unwrap_or(self.begun);
        (from, of(step).unwrap_or(from))
    }

    /// What was acknowledged, and how things stood, when the power went before that operation. Time
    /// stands while a step is written: what the step had to tell was sent.
    pub(crate) fn at(&self, cut: usize) -> (u64, Option<&Step>) {
        let through = self.steps.iter().take_while(|step| step.operations <= cut).last();
        let acknowledged = through.map_or(0, |step| step.acknowledged);
        let now = self.steps.iter().find(|step| step.operations > cut).or(self.steps.last());
        (acknowledged, now.filter(|_| cut >= self.begun))
    }

    /// How long it took.
    pub(crate) fn lasted(&self) -> Moment {
        self.steps.last().map_or(Moment::START, |step| step.at)
    }

    /// Bytes written.
    pub(crate) fn written(&self) -> f64 {
        let of = |operation: &Operation| match operation {
            Operation::Wrote { bytes, .. } => bytes.len() as f64,
            _ => 0.0,
        };
        self.log.iter().map(of).sum()
    }

    /// The disk with nothing lost.
    pub(crate) fn whole(&self) -> Left {
        let mut remains = Remains::of_nothing(Trust::Kept);
        for (number, operation) in (0..).zip(&self.log) {
            remains.take(number, operation);
        }
        remains.cut(&mut Dice::new(0))
    }
}

/// Plans a shipped recipe on the shipped bench.
pub(crate) fn planned(recipe: &str) -> (Job, Plan) {
    let job = Texts::of(recipe).job();
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    (job, plan)
}

pub(crate) fn begun(job: &Job, plan: &Plan, seed: u64, file: &Path) -> Keeping {
    let begin = Begin::fresh(RunKind::Twin, Some(seed), Some(file));
    Keeping::begin(job, plan, &begin).expect("begin")
}

/// Records a short run that ends at once, so that there is something to be spared.
fn earlier(job: &Job, plan: &Plan, file: &Path) -> RunRecord {
    let mut twin = TwinJob::new(job, plan, 9, Attended::No, Unwitnessed).expect("a twin");
    let keeping = begun(job, plan, 9, file);
    let id = keeping.id();
    twin.run_until(Moment::START + Duration::from_secs(8), &mut |entry| keeping.deliver(entry));
    let end = evenpass::attendant::End::NotStarted;
    let ended = Ended { end, first_cause: None, zones: &[], powder_fed_g: None };
    keeping.finish(&ended).expect("finish");
    Store::open_existing(file).and_then(|store| store.run(&id)).expect("read")
}

/// Runs and records a shipped recipe on the twin.
pub(crate) fn recorded(recipe: &str, seed: u64) -> Recorded {
    let folder = tempfile::tempdir().expect("temporary folder");
    let file = folder.path().join(FILE);
    let disk = Disk::under(&file, Syncs::WrittenDown).expect("a disk");
    let (job, plan) = planned(recipe);
    let earlier = earlier(&job, &plan, &file);
    let earlier_by = disk.operations();
    let mut twin = TwinJob::new(&job, &plan, seed, Attended::No, Unwitnessed).expect("a twin");
    let keeping = begun(&job, &plan, seed, &file);
    let begun = disk.operations();
    let id = keeping.id().to_string();
    let (mut steps, mut sent) = (Vec::new(), Vec::<Entry>::new());
    let end = loop {
        let end = twin.run_until(twin.now() + TOGETHER, &mut |entry| {
            sent.push(entry.clone());
            keeping.deliver(entry);
        });
        let acknowledged = keeping.flush();
        steps.push(Step {
            at: twin.now(),
            operations: disk.operations(),
            sent: sent.len() as u64,
            acknowledged,
            torch_mm: twin.bench().truth().torch_z_mm,
        });
        if let Some(end) = end {
            break end;
        }
    };
    let ending = disk.operations();
    let ended = Ended { end, first_cause: None, zones: &[], powder_fed_g: None };
    keeping.finish(&ended).expect("finish");
    let ended = disk.operations();
    let log = disk.log();
    Recorded { job, plan, id, earlier, log, earlier_by, begun, ending, ended, steps, sent }
}
