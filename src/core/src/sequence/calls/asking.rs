//! What becomes of a request: judged by the gate, and acted on when it is let through.

use core::time::Duration;

use super::Sequence;
use crate::image::{Contact, Inputs, Level, Outputs};
use crate::interlock::Verdict;
use crate::moment::Moment;
use crate::proof::Strokes;
use crate::request::{Answer, Origin, Request};
use crate::sequence::cause::Cause;
use crate::sequence::chart::Event as Told;
use crate::sequence::conditions::View;
use crate::sequence::context::{Permitted, Scan};
use crate::sequence::event::{Event, Happening, Wish};
use crate::sequence::gate;
use crate::sequence::leaf::Phase;
use crate::sequence::state::State;

impl Sequence {
    /// The gate: judges a request and, when accepted, acts on it.
    pub fn request(
        &mut self,
        now: Moment,
        request: Request,
        origin: Origin,
        inputs: &Inputs,
        verdict: &Verdict,
    ) -> Answer {
        let mut answer = self.judge(request, origin, inputs, verdict);
        let mut changed = None;
        if answer == Answer::Accepted {
            match self.changed(request) {
                Some(Ok(program)) => changed = Some(program),
                Some(Err(denial)) => answer = Answer::Denied(denial),
                None => {}
            }
        }
        // Somebody is there who presses a button at the machine, or acts at the seat with the key
        // on; what changes nothing shows nobody.
        let figures = &self.chart.inner().figures;
        let key = inputs.is_on(Contact::EnablingKey, figures.field_age);
        let there = origin == Origin::Machine || (origin == Origin::Seat && key);
        if there && answer == Answer::Accepted {
            let attending = self.attendance.asked().is_some();
            self.attendance.act(now);
            if attending && request == Request::Accept {
                self.tell_answer(now, request, origin, &answer);
                return answer;
            }
        }
        if answer == Answer::Accepted && changed.is_none() {
            self.act(now, request, inputs, verdict);
        }
        self.tell_answer(now, request, origin, &answer);
        if let Some(program) = changed {
            self.take_change(now, program);
        }
        answer
    }

    fn tell_answer(&mut self, now: Moment, request: Request, origin: Origin, answer: &Answer) {
        // A renewed lease is no news.
        if matches!(request, Request::Jog(_)) && *answer == Answer::Accepted {
            return;
        }
        let answer = answer.clone();
        self.outbox.tell(Event { at: now, what: Happening::Answered { request, origin, answer } });
    }

    /// What a request would be told now. Nothing is changed.
    pub(crate) fn judge(
        &self,
        request: Request,
        origin: Origin,
        inputs: &Inputs,
        verdict: &Verdict,
    ) -> Answer {
        let machine = self.chart.inner();
        let state = self.chart.state();
        let watch_left = match (state, self.program.as_ref()) {
            (State::ConfirmingFlame(confirming), Some(program)) => {
                let proving = program
                    .torches
                    .get(machine.torch)
                    .map_or(Duration::ZERO, |torch| torch.lighting.proving.to_duration());
                proving.saturating_sub(confirming.watched(inputs.now)).as_secs_f64()
            }
            _ => 0.0,
        };
        let level = |on: bool| Level::from_bit(on);
        let asks = machine.prompt.is_some_and(|prompt| prompt.ask.is_answered_by_accept());
        gate::judge(
            request,
            origin,
            &View {
                state,
                figures: &machine.figures,
                inputs,
                verdict,
                missing: &self.missing,
                program: level(self.program.is_some()),
                attendance: level(self.attendance.asked().is_some()),
                asks: level(asks),
                watch_left,
            },
        )
    }

    /// Acts on a request that the gate has let through.
    fn act(&mut self, now: Moment, request: Request, inputs: &Inputs, verdict: &Verdict) {
        let cause = Cause::Asked(request);
        let told = match request {
            Request::Hold if self.phase() == Phase::Manual => Told::Stop(cause),
            Request::Hold => Told::Hold(cause),
            Request::Stop => Told::Stop(cause),
            Request::Abort => {
                self.outbox.wish(Wish::Abort);
                Told::Trip(cause)
            }
            Request::Acknowledge => return self.outbox.wish(Wish::Acknowledge),
            Request::BadFlame => return self.outbox.wish(Wish::BadFlame),
            Request::CoatLifting => return self.outbox.wish(Wish::CoatLifting),
            Request::Inspected => return self.outbox.wish(Wish::Inspected),
            Request::Reset if self.phase() == Phase::Aborted => {
                self.outbox.wish(Wish::Reset);
                Told::Ask(request)
            }
            _ => Told::Ask(request),
        };
        let program = self.program.clone();
        let mut scan = Scan {
            now,
            inputs,
            verdict,
            program: program.as_deref(),
            permitted: if self.missing.is_empty() { Permitted::Yes } else { Permitted::No },
            figures: self.chart.inner().figures,
            outputs: Outputs::default(),
            attendance: None,
            strokes: Strokes::default(),
            outbox: &mut self.outbox,
        };
        self.chart.handle_with_context(&told, &mut scan);
    }
}
