//! The jobs and rigs that are explored: the shipped short job on the shipped bench, and variants
//! of it that have what it lacks (a change of torch, a second band, a lever, an igniter, an old
//! surface, a flame that must be attended often).

use std::sync::Arc;
use std::time::Duration;

use evenpass_core::plan::plan;
use evenpass_core::program::{FuseBand, Program, Step};
use evenpass_core::quantity::{Range, Temperature, Time};
use evenpass_core::rig::Rig;

use crate::faults::{self, Kind};
use crate::support::jobs::{Texts, changed};

/// One job on one rig, with everything that stays the same while it is explored.
#[derive(Debug)]
pub(crate) struct World {
    pub(crate) name: &'static str,
    pub(crate) rig: Rig,
    pub(crate) program: Arc<Program>,
    /// Everything that can go wrong, with the rows it is for.
    pub(crate) kinds: Vec<Kind>,
    pub(crate) scan: Duration,
    /// The first spray step's window.
    pub(crate) spray: Range<Temperature>,
    /// What the preheat aims at, degC.
    pub(crate) aim: f64,
}

impl World {
    fn new(name: &'static str, texts: &Texts, change: impl FnOnce(&mut Rig, &mut Program)) -> Self {
        let mut job = texts.job();
        let planned = plan(&job.recipe, &job.rig, &job.catalogue).expect("planned");
        let mut program = planned.program;
        change(&mut job.rig, &mut program);
        let spray = program.steps.iter().find_map(|step| match step {
            Step::Spray(step) => Some(step.window),
            _ => None,
        });
        let aim = program.steps.iter().find_map(|step| match step {
            Step::Preheat(step) => Some(step.aim.celsius()),
            _ => None,
        });
        let kinds = faults::kinds(&job.rig, &program);
        Self {
            name,
            scan: job.rig.scan.to_duration(),
            rig: job.rig,
            kinds,
            program: Arc::new(program),
            spray: spray.expect("it sprays"),
            aim: aim.expect("it preheats"),
        }
    }

    /// The shipped short job on the shipped bench: what rehearsals are compared with.
    pub(crate) fn shipped() -> Self {
        Self::new("short job, bench, lit by hand", &Texts::of("short-job"), |_, _| {})
    }

    /// By a lever and an igniter, with a change of torch before a fusing of two bands; the surface
    /// counts as old from the first minute, and attendance is asked for often.
    pub(crate) fn varied() -> Self {
        let mut texts = Texts::of("short-job").with_gears();
        texts.rig = changed(&texts.rig, "lit_by = \"hand\"", "lit_by = \"igniter\"");
        Self::new("change of torch, lever, igniter", &texts, |rig, program| {
            rig.attendance.every = Time::from_s(20.0);
            rig.attendance.answer_within = Time::from_s(5.0);
            program.blasted_within = Time::from_s(1.0);
            for step in &mut program.steps {
                if let Step::Spray(step) = step {
                    step.dwell = Time::from_s(0.5);
                }
            }
            let fuse = program.steps.iter().position(|step| matches!(step, Step::Fuse(_)));
            let at = fuse.expect("it fuses");
            if let Some(Step::Fuse(step)) = program.steps.get_mut(at) {
                // Side by side: the front is drawn along between them.
                let band = step.bands[0].travel;
                let middle = (band.low + band.high) / 2.0;
                let [low, high] =
                    [Range { low: band.low, high: middle }, Range { low: middle, high: band.high }];
                step.bands = vec![FuseBand::new(high, high), FuseBand::new(low, low)];
            }
            program.steps.insert(at, Step::ChangeTorch(0));
        })
    }

    /// The kind of fault of that place in the list.
    pub(crate) fn kind(&self, index: u16) -> &Kind {
        &self.kinds[usize::from(index)]
    }
}
