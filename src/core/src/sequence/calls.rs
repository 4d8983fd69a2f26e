//! The sequence as the scan layer sees it.

mod asking;
mod changing;

use std::sync::Arc;

use core::time::Duration;

use statig::blocking::{IntoStateMachineExt as _, StateMachine};

use self::changing::Course;
use crate::image::{Coil, Inputs, Level, Outputs};
use crate::interlock::{Class, Limits, Verdict};
use crate::moment::Moment;
use crate::program::Program;
use crate::proof::Strokes;
use crate::request::{Answer, Denial, Origin, Request};
use crate::rig::Rig;

use super::attendance::{Attendance, Demand};
use super::buttons::Buttons;
use super::cause::Cause;
use super::chart::Event as Told;
use super::context::{Permitted, Scan};
use super::event::{Event, Wish};
use super::leaf::{Leaf, Phase};
use super::machine::Machine;
use super::outbox::Outbox;
use super::prompt::Prompt;
use super::situation::Situation;
use super::status::{self, Status};

/// Two scans farther apart than this are a stall: what was due in between is not made up for.
/// The design's figure for a killed controller is 0.5 s to safe by the machine alone.
const STALL: Duration = Duration::from_millis(500);
/// Transitions in one scan at most; the longest chain in the chart is shorter. Bounds a fault.
const CHAIN: usize = 8;

/// The job's state machine: values and time in, a proposed output image out.
///
/// Its calls are of four kinds:
/// - getters: [`leaf`](Self::leaf), [`limits`](Self::limits), [`program`](Self::program),
///   [`status`](Self::status), [`situation`](Self::situation); they tell of the last call that changed anything;
/// - what came in: [`step`](Self::step), once a scan, with inputs and verdict of that scan;
/// - what people want: [`load`](Self::load), [`request`](Self::request), at any time between two
///   steps, with the newest inputs and verdict;
/// - what must go out: [`take_event`](Self::take_event) and [`take_wish`](Self::take_wish), after
///   each of the two above until empty; wishes go to the interlocks before their next step.
///
/// Time never goes back: a call with an earlier moment than the last counts as the same moment.
#[derive(Clone)]
pub struct Sequence {
    chart: StateMachine<Machine>,
    /// The job as it was loaded.
    planned: Option<Arc<Program>>,
    /// The same with what was changed in it since it was started.
    program: Option<Arc<Program>>,
    course: Course,
    buttons: Buttons,
    attendance: Attendance,
    missing: Vec<&'static str>,
    outbox: Outbox,
    last_step: Option<Moment>,
    /// Whether an ON edge was dropped since the last step.
    dropped: Level,
    strokes: Strokes,
    first_trip: Option<Arc<str>>,
}

impl core::fmt::Debug for Sequence {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Sequence").field("state", self.chart.state()).finish_non_exhaustive()
    }
}

impl Sequence {
    /// At rest, without a job.
    #[must_use]
    pub fn new(rig: &Rig) -> Self {
        Self {
            chart: Machine::new(rig).state_machine(),
            planned: None,
            program: None,
            course: Course::Fresh,
            buttons: Buttons::new(),
            attendance: Attendance::Idle,
            missing: Vec::with_capacity(32),
            outbox: Outbox::new(),
            last_step: None,
            dropped: Level::Off,
            strokes: Strokes::default(),
            first_trip: None,
        }
    }

    /// Takes a job over; only while none is under way.
    pub fn load(&mut self, program: Arc<Program>) -> Answer {
        if let Some(denial) = self.why_no_load() {
            return Answer::Denied(denial);
        }
        self.course = Course::Fresh;
        self.planned = Some(program.clone());
        self.program = Some(program);
        Answer::Accepted
    }

    /// Drops the rest of a job, if that is what is loaded: somebody decided otherwise about its part.
    /// Only while none is under way.
    pub fn drop_rest(&mut self) -> Answer {
        if let Some(denial) = self.why_no_load() {
            return Answer::Denied(denial);
        }
        self.planned.take_if(|program| !program.parts.is_any());
        self.program.clone_from(&self.planned);
        Answer::Accepted
    }

    /// Why no job can be loaded now; `None` when one can.
    #[must_use]
    pub fn why_no_load(&self) -> Option<Denial> {
        let at_rest = matches!(self.phase(), Phase::Idle | Phase::Complete | Phase::Stopped);
        (!at_rest).then(|| Denial {
            why: "a job or manual work is under way".to_owned(),
            help: "stop the job or leave manual work first".to_owned(),
        })
    }

    /// Swaps in a newly planned version of the job under way. Taken between passes only: never
    /// while the carriage crosses a zone, and only with as many steps as before.
    pub fn replace(&mut self, program: Arc<Program>) -> Answer {
        let same_steps =
            self.program.as_ref().is_some_and(|old| old.steps.len() == program.steps.len());
        if !same_steps {
            return Answer::Denied(Denial {
                why: "the new plan has other steps than the job under way".to_owned(),
                help: "stop the job and load the new plan".to_owned(),
            });
        }
        let between = matches!(
            self.leaf(),
            Leaf::HeldLit | Leaf::HeldUnlit | Leaf::WaitingForTemperature | Leaf::Inside
        );
        if !between || self.chart.inner().done_to.is_some() {
            return Answer::Denied(Denial {
                why: "a pass is under way or was left in its middle".to_owned(),
                help: "finish the pass, then hold".to_owned(),
            });
        }
        self.program = Some(program);
        Answer::Accepted
    }

    /// What a proof test wants energised in the next step, and in that one only. Only proving
    /// energises it, and only with the key on and both gases read as vented.
    pub const fn stroke(&mut self, strokes: Strokes) {
        self.strokes = strokes;
    }

    /// The devices dropped the ON edge that was due: no powder flows. The interlocks hold the job
    /// for it with the next step; the restart begins where powder was wanted.
    pub const fn powder_dropped(&mut self) {
        self.dropped = Level::On;
    }

    /// One scan. `missing` are the permissives that are not given, in words; empty when all are.
    /// What is not named by the state is proposed de-energised.
    pub fn step(
        &mut self,
        inputs: &Inputs,
        verdict: &Verdict,
        missing: &[&'static str],
    ) -> Outputs {
        let now = inputs.now;
        if self.missing != missing {
            self.missing.clear();
            self.missing.extend_from_slice(missing);
        }
        let stalled = self.last_step.is_some_and(|last| now.since(last) > STALL);
        self.last_step = Some(now);
        if stalled {
            self.buttons.forget();
        } else {
            self.press_buttons(inputs, verdict);
        }
        let figures = self.chart.inner().figures;
        let unattended = self.attend(now, figures.attend_every, figures.attend_within);

        let dropped = core::mem::take(&mut self.dropped);
        let strokes = core::mem::take(&mut self.strokes);
        self.forget_part();
        let program = self.program.clone();
        let mut scan = Scan {
            now,
            inputs,
            verdict,
            program: program.as_deref(),
            permitted: if missing.is_empty() { Permitted::Yes } else { Permitted::No },
            figures,
            outputs: Outputs::default(),
            attendance: self.attendance.asked(),
            strokes,
            outbox: &mut self.outbox,
        };
        let chart = &mut self.chart;
        if dropped.is_on() {
            chart.handle_with_context(&Told::PowderDropped, &mut scan);
        }
        if stalled && !matches!(chart.inner().leaf.phase(), Phase::Idle) {
            scan.wish(Wish::Stalled);
            chart.handle_with_context(&Told::Trip(Cause::Stalled), &mut scan);
        }
        if unattended == Demand::Hold {
            scan.wish(Wish::Unattended);
            chart.handle_with_context(&Told::Hold(Cause::Unattended), &mut scan);
        }
        if let Some(told) = demanded(verdict, chart.inner(), &scan) {
            chart.handle_with_context(&told, &mut scan);
        }
        for _ in 0..CHAIN {
            let before = chart.inner().leaf;
            chart.handle_with_context(&Told::Scan, &mut scan);
            if chart.inner().leaf == before {
                break;
            }
        }
        chart.handle_with_context(&Told::Propose, &mut scan);
        let outputs = scan.outputs;
        self.course = self.course.after(self.phase());
        self.note_first_trip(verdict);
        outputs
    }

    fn note_first_trip(&mut self, verdict: &Verdict) {
        match (&verdict.first, &self.first_trip) {
            (Some(first), None) => self.first_trip = Some(first.message.as_str().into()),
            (None, Some(_)) if self.phase() != Phase::Aborting => self.first_trip = None,
            _ => {}
        }
    }

    /// Buttons become requests. The start button restarts a held job; the reset button first
    /// acknowledges a trip that nobody has acknowledged yet.
    fn press_buttons(&mut self, inputs: &Inputs, verdict: &Verdict) {
        use crate::interlock::Acknowledged;
        let budget = self.chart.inner().figures.field_age;
        for request in self.buttons.pressed(inputs, budget).into_iter().flatten() {
            // A trip of this very scan has been shown to nobody yet.
            let shown = self.first_trip.is_some();
            let unseen = shown && verdict.tripped() && verdict.acknowledged == Acknowledged::No;
            let request = match request {
                Request::Start if self.phase() == Phase::Held => Request::Restart,
                Request::Reset if unseen => Request::Acknowledge,
                request => request,
            };
            let _ = self.request(inputs.now, request, Origin::Machine, inputs, verdict);
        }
    }

    fn attend(&mut self, now: Moment, every: Duration, within: Duration) -> Demand {
        let machine = self.chart.inner();
        // In manual work a valve is only ever stroked, with nothing before it to burn.
        let lit = !matches!(machine.leaf.phase(), Phase::Lighting | Phase::Manual);
        let burning = lit && machine.last.coil(Coil::Fuel).is_on();
        if burning {
            self.attendance.burning(now, every, within)
        } else {
            self.attendance.dark();
            Demand::Nothing
        }
    }

    /// The job in hand, as it stands with what people have changed in it.
    #[must_use]
    pub const fn program(&self) -> Option<&Arc<Program>> {
        self.program.as_ref()
    }

    /// The leaf the chart is in.
    #[must_use]
    pub fn leaf(&self) -> Leaf {
        self.chart.inner().leaf
    }

    /// The super-state the chart is in.
    #[must_use]
    pub fn phase(&self) -> Phase {
        self.chart.state().phase()
    }

    /// What a person is asked, as of the last step.
    #[must_use]
    pub fn prompt(&self) -> Option<Prompt> {
        self.chart.inner().prompt
    }

    /// What the step in hand sets for the interlocks.
    #[must_use]
    pub fn limits(&self) -> Limits {
        status::limits(self.chart.inner(), self.program.as_deref())
    }

    /// Everything a screen shows, as of the last step.
    #[must_use]
    pub fn status(&self) -> Status {
        status::of(
            self.chart.state(),
            self.chart.inner(),
            self.program.as_deref(),
            &self.missing,
            self.first_trip.as_deref(),
        )
    }

    /// What tells this sequence from another in another state, times and places left out.
    #[must_use]
    pub fn situation(&self) -> Situation {
        Situation::of(self.chart.state(), self.chart.inner(), self.program.as_deref())
    }

    /// The oldest event not yet taken.
    pub fn take_event(&mut self) -> Option<Event> {
        self.outbox.take_event()
    }

    /// The oldest wish not yet taken.
    pub fn take_wish(&mut self) -> Option<Wish> {
        self.outbox.take_wish()
    }

    /// Events dropped because nobody took them in time.
    #[must_use]
    pub const fn events_lost(&self) -> u64 {
        self.outbox.lost()
    }

    /// Requests that the gate let through and no state answered: an error of this program;
    /// always zero.
    #[must_use]
    pub fn unanswered(&self) -> u64 {
        self.chart.inner().unanswered
    }
}

/// What the interlocks demand, if anything.
fn demanded(verdict: &Verdict, machine: &Machine, scan: &Scan<'_>) -> Option<Told> {
    if let Some(first) = &verdict.first {
        let under_way = matches!(machine.leaf.phase(), Phase::Aborting | Phase::Aborted);
        return (!under_way).then_some(Told::Trip(Cause::Interlock(first.key, first.class)));
    }
    if verdict.class == Some(Class::Stop) {
        let cause = machine.demanded(Class::Stop, scan);
        return Some(Told::Stop(cause.unwrap_or(Cause::Interlock("stop", Class::Stop))));
    }
    machine.demanded(Class::Hold, scan).map(Told::Hold)
}
