//! The deciding part of the program: the real sequence, the real interlocks, the real enforcement,
//! joined as the program's own scan joins them. That the joint is the same is tested against the
//! whole program, scan by scan, in `mapping`.

use std::sync::Arc;

use evenpass_core::image::{Inputs, Level, Outputs, Referenced};
use evenpass_core::interlock::{Inspected, Interlocks, PurgeDone, Raised, Verdict, enforce};
use evenpass_core::moment::Moment;
use evenpass_core::program::Program;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::rig::Rig;
use evenpass_core::scan::NO_DATUM;
use evenpass_core::sequence::{Happening, Phase, Sequence, Wish};

use crate::defects::Defect;

/// What stands against a start while the devices have not confirmed their settings.
pub(crate) const NOT_COMMISSIONED: &str = "devices have not confirmed their settings";

/// Sequence and interlocks of one machine, with what the last scan read and wrote.
#[derive(Debug, Clone)]
pub(crate) struct Machine {
    pub(crate) sequence: Sequence,
    pub(crate) interlocks: Interlocks,
    pub(crate) inputs: Inputs,
    pub(crate) outputs: Outputs,
    /// What the sequence proposed before the interlocks took their share.
    pub(crate) proposed: Outputs,
    pub(crate) missing: Vec<&'static str>,
    pub(crate) defect: Option<Defect>,
    /// What people asked and got since the scan before the last.
    pub(crate) accepted: Vec<(Request, Origin)>,
    told: Vec<(Request, Origin)>,
    dropped: u64,
    /// The verdict as a defect tells it.
    altered: Option<Verdict>,
}

/// What comes with the inputs of a scan.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Beside<'a> {
    /// Powder edges dropped so far.
    pub(crate) dropped: u64,
    /// Whether the scan is on time.
    pub(crate) on_time: Level,
    /// What is missing for a start: worked out here, or taken as told.
    pub(crate) missing: Missing<'a>,
}

/// What is missing for a start.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Missing<'a> {
    /// As the program's scan works it out; whether the devices have confirmed their settings.
    WorkedOut { commissioned: bool },
    /// As the whole program has told it.
    Told(&'a [&'static str]),
}

impl Machine {
    pub(crate) fn new(rig: &Rig, program: Arc<Program>, defect: Option<Defect>) -> Self {
        let mut sequence = Sequence::new(rig);
        assert_eq!(sequence.load(program), Answer::Accepted);
        Self {
            sequence,
            interlocks: Interlocks::new(rig).expect("the rig's figures are accepted"),
            inputs: Inputs::unknown(),
            outputs: Outputs::default(),
            proposed: Outputs::default(),
            missing: Vec::new(),
            defect,
            accepted: Vec::new(),
            told: Vec::new(),
            dropped: 0,
            altered: None,
        }
    }

    pub(crate) fn verdict(&self) -> &Verdict {
        self.altered.as_ref().unwrap_or_else(|| self.interlocks.verdict())
    }

    /// What a person wants.
    pub(crate) fn request(&mut self, now: Moment, request: Request, origin: Origin) -> Answer {
        let mut inputs = Inputs { now, ..self.inputs.clone() };
        if let Some(defect) = self.defect {
            if let Some(answer) = defect.answers(request, origin) {
                return answer;
            }
            defect.asked_with(request, &mut inputs);
        }
        let verdict = self.interlocks.verdict();
        let answer = self.sequence.request(now, request, origin, &inputs, verdict);
        self.grant_wishes(now, &inputs);
        self.drain();
        answer
    }

    /// One scan: read, judge, step, enforce.
    pub(crate) fn scan(&mut self, mut inputs: Inputs, beside: Beside<'_>) {
        if let Some(defect) = self.defect {
            defect.reads(&mut inputs);
        }
        let limits = self.sequence.limits();
        if beside.dropped != self.dropped {
            self.dropped = beside.dropped;
            self.sequence.powder_dropped();
            self.interlocks.raise(inputs.now, Raised::Overdue, "");
        }
        self.interlocks.step(&inputs, &self.outputs, &limits);
        self.look_for_permissives(&inputs, beside.missing);
        let shown = self.defect.and_then(|defect| defect.shows(&self.sequence, self.verdict()));
        let verdict = shown.as_ref().unwrap_or_else(|| self.interlocks.verdict());
        let blinded = self.defect.and_then(|defect| defect.shows_inputs(&self.sequence, &inputs));
        let seen = blinded.as_ref().unwrap_or(&inputs);
        let mut proposed = match self.defect {
            Some(defect) if defect.forgets_to_step(&self.sequence) => self.proposed,
            _ => self.sequence.step(seen, verdict, &self.missing),
        };
        self.grant_wishes(inputs.now, &inputs);
        if let Some(defect) = self.defect {
            defect.proposes(&self.sequence, self.verdict(), &self.outputs, &mut proposed);
        }
        if !beside.on_time.is_on() {
            proposed.watchdog = Level::Off;
        }
        let mut written = enforce(self.interlocks.verdict(), &inputs, proposed);
        if let Some(defect) = self.defect {
            defect.writes(&self.sequence, self.verdict(), &self.outputs, &proposed, &mut written);
        }
        self.proposed = proposed;
        self.outputs = written;
        self.inputs = inputs;
        self.drain();
        self.altered = self.defect.and_then(|defect| defect.tells(self.interlocks.verdict()));
        core::mem::swap(&mut self.accepted, &mut self.told);
        self.told.clear();
        if let Some(asked) = self.defect.and_then(|defect| defect.asks(self)) {
            self.request(self.inputs.now, asked, Origin::Machine);
            // No person asked this.
            self.told.clear();
        }
    }

    fn drain(&mut self) {
        while let Some(event) = self.sequence.take_event() {
            if let Happening::Answered { request, origin, answer: Answer::Accepted } = event.what {
                self.told.push((request, origin));
            }
        }
        self.interlocks.drain_news().for_each(drop);
    }

    fn look_for_permissives(&mut self, inputs: &Inputs, missing: Missing<'_>) {
        self.missing.clear();
        let commissioned = match missing {
            Missing::Told(told) => {
                self.missing.extend_from_slice(told);
                return;
            }
            Missing::WorkedOut { commissioned } => commissioned,
        };
        if !matches!(
            self.sequence.phase(),
            Phase::Idle | Phase::Manual | Phase::Starting | Phase::Complete | Phase::Stopped
        ) {
            return;
        }
        self.interlocks.missing(inputs, &self.sequence.limits(), &mut self.missing);
        if inputs.axis.value.referenced == Referenced::No {
            self.missing.push(NO_DATUM);
        }
        if !commissioned {
            self.missing.push(NOT_COMMISSIONED);
        }
    }

    fn grant_wishes(&mut self, now: Moment, inputs: &Inputs) {
        while let Some(wish) = self.sequence.take_wish() {
            let raised = match wish {
                Wish::Abort | Wish::IsolationLost => Raised::Abort,
                Wish::BadFlame => Raised::BadFlame,
                Wish::CoatLifting => Raised::CoatLifting,
                Wish::Unattended => Raised::Attendance,
                Wish::Stalled => Raised::Stalled,
                Wish::LockedOut => Raised::IgnitionLockout,
                Wish::Acknowledge => {
                    self.interlocks.acknowledge(now);
                    continue;
                }
                Wish::Reset => {
                    let (purge, inspected) = (PurgeDone::No, Inspected::No);
                    let _ = self.interlocks.reset(inputs, &self.outputs, purge, inspected);
                    continue;
                }
                Wish::Inspected => {
                    self.interlocks.inspected();
                    continue;
                }
                Wish::PurgeDone => {
                    self.interlocks.purged();
                    continue;
                }
                Wish::PurgeLeft => {
                    self.interlocks.purge_left();
                    continue;
                }
                Wish::Restarted | Wish::Ended => {
                    let _ = self.interlocks.clear_holds(now);
                    continue;
                }
                other => panic!("a wish that the scan does not know: {other:?}"),
            };
            self.interlocks.raise(now, raised, "");
        }
    }
}
