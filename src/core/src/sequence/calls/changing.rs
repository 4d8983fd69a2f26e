//! A person's change of the passes that have not begun: worked out when it is asked for, between
//! two scans, and in force at once. The pass under way is the same in both programs, so that the new
//! one takes effect where the next pass begins.

use std::sync::Arc;

use super::Sequence;
use crate::moment::Moment;
use crate::plan::change::{Ahead, taken_back, touched_up, trimmed};
use crate::program::Program;
use crate::request::{Denial, Request};
use crate::sequence::event::{Event, Happening};
use crate::sequence::leaf::Phase;

/// How far the loaded job has come since it was loaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Course {
    /// It has not begun.
    Fresh,
    /// It has.
    Begun,
    /// It has ended, or was tripped, and is not left.
    Ended,
}

impl Course {
    /// The same once a scan has led to this phase: a person may leave it before the next.
    pub(super) const fn after(self, phase: Phase) -> Self {
        match (self, phase) {
            (Self::Fresh, Phase::Complete | Phase::Stopped | Phase::Aborting | Phase::Aborted)
            | (_, Phase::Idle | Phase::Manual) => self,
            (Self::Fresh, _) => Self::Begun,
            (_, Phase::Complete | Phase::Stopped | Phase::Aborting | Phase::Aborted) => Self::Ended,
            (begun, _) => begun,
        }
    }
}

impl Sequence {
    /// The program as a request changes it, or why it may not; `None` for a request that changes no
    /// pass.
    pub(super) fn changed(&self, request: Request) -> Option<Result<Program, Denial>> {
        let change = |make: &dyn Fn(&Program, Ahead) -> Result<Program, Denial>| match &self.program
        {
            Some(program) => make(program, self.chart.inner().ahead()),
            None => {
                Err(Denial { why: "no job is loaded".to_owned(), help: "load a job".to_owned() })
            }
        };
        match request {
            Request::Trim(trim) => Some(change(&|program, ahead| trimmed(program, ahead, trim))),
            Request::TouchUp => Some(change(&touched_up)),
            Request::TakePassBack => Some(change(&taken_back)),
            _ => None,
        }
    }

    /// What people changed was for that part: once its job has been left, the next one is sprayed as
    /// it was planned. What was planned for that part alone goes with it: nobody can start the rest
    /// of one part's job on another.
    pub(super) fn forget_part(&mut self) {
        if self.phase() == Phase::Idle {
            if self.course == Course::Ended {
                self.course = Course::Fresh;
                self.planned.take_if(|program| !program.parts.is_any());
            }
            self.program.clone_from(&self.planned);
        }
    }

    /// Takes a changed program over and tells what it means for the zone.
    pub(super) fn take_change(&mut self, now: Moment, program: Program) {
        self.program = Some(Arc::new(program));
        let Ahead { step, pass } = self.chart.inner().ahead();
        let what = Happening::PassesChanged { step: step + 1, pass: pass + 1 };
        self.outbox.tell(Event { at: now, what });
    }
}
