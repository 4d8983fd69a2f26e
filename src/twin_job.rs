//! One job on the embedded twin: controller, bench and the person at the bench's machine, in
//! virtual time, from power-up to the job's end.

use std::time::Duration;

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::plan::Plan;
use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::scan::{Controller, Snapshot};
use evenpass_hil::Bench;

use crate::attendant::{Attendant, Attended, End, Next};
use crate::clock::virtual_time::{VirtualTime, Witness};
use crate::embed;
use crate::files::Job;

/// How often the attendant looks at the job.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// A job on the embedded twin.
pub struct TwinJob<W: Witness> {
    time: VirtualTime<W>,
    attendant: Attendant,
    ended: Option<End>,
}

impl<W: Witness> TwinJob<W> {
    /// The job's part in the chuck, the job loaded, power on.
    ///
    /// # Errors
    /// The rig cannot be driven, or the bench cannot take the part.
    pub fn new(
        job: &Job,
        plan: &Plan,
        seed: u64,
        attended: Attended,
        witness: W,
    ) -> Result<Self, String> {
        let mut controller =
            Controller::new(&job.rig).map_err(|p| format!("{}: {p}", job.rig_source.name))?;
        if let Answer::Denied(denial) = controller.load(plan) {
            return Err(format!("{}; {}", denial.why, denial.help));
        }
        let bench = embed::bench(job, plan, seed).map_err(|problem| format!("twin: {problem}"))?;
        let time = VirtualTime::new(&job.rig, controller, bench, witness);
        Ok(Self { time, attendant: Attendant::new(attended), ended: None })
    }

    /// Runs until a moment, or until the job ends; entries go to `keep`.
    pub fn run_until(&mut self, until: Moment, keep: &mut impl FnMut(Entry)) -> Option<End> {
        while self.ended.is_none() && self.time.now() < until {
            self.time.run_until((self.time.now() + LOOK_EVERY).min(until));
            let now = self.time.now();
            let status = self.time.controller().status();
            match self.attendant.follow(now, &status) {
                Next::Wait => {}
                Next::Ask(request) => {
                    self.request(request);
                }
                Next::Ended(end) => self.ended = Some(end),
            }
            while let Some(entry) = self.time.controller().take_entry() {
                keep(entry);
            }
        }
        self.ended
    }

    /// Asks something of the controller from the seat.
    pub fn request(&mut self, request: Request) -> Answer {
        if matches!(request, Request::Stop | Request::Abort) {
            self.attendant.give_up();
        }
        let now = self.time.now();
        self.time.controller().request(now, request, Origin::Seat)
    }

    /// The newest picture of the controller.
    pub fn snapshot(&mut self) -> Snapshot {
        self.time.controller().snapshot()
    }

    /// The twin.
    pub fn bench(&mut self) -> &mut Bench {
        self.time.bench()
    }

    /// The time it has come to.
    pub fn now(&self) -> Moment {
        self.time.now()
    }

    /// Whoever watched the lines.
    pub fn witness(&self) -> &W {
        self.time.witness()
    }
}
