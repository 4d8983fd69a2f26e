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
    /// it was planned.
    pub(super) fn forget_changes(&mut self) {
        if self.phase() == Phase::Idle {
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
