//! A request made in a place, and what came of it.

use std::time::Duration;

use evenpass_core::image::SpindleDemand;
use evenpass_core::moment::Moment;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::Coil;

use crate::trial::Trial;
use crate::trial::told::What;

/// A trip has come to its rest after so long: the longest retreat here, the purge and its waits, s.
pub(crate) const TRIP_RESTS: f64 = 40.0;
/// A hold has come to its rest after so long, s.
pub(crate) const HOLD_RESTS: f64 = 40.0;
/// A stop ends at the latest with the cool step's own longest time, s.
pub(crate) const STOP_RESTS: f64 = 3.0 * 3600.0;
/// Looks while the part only turns and cools.
pub(crate) const SELDOM: Duration = Duration::from_millis(200);

/// What was asked, in which place, and what came of it.
pub(crate) struct Run {
    pub(crate) place: String,
    pub(crate) asked: Request,
    pub(crate) answer: Answer,
    pub(crate) at: Moment,
    pub(crate) before: Before,
    pub(crate) trial: Trial,
}

/// How things were when it was asked.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Before {
    pub(crate) leaf: Leaf,
    pub(crate) phase: Phase,
    pub(crate) feeder: bool,
    pub(crate) nozzle: bool,
    pub(crate) fuel: bool,
    pub(crate) oxygen: bool,
    pub(crate) flame: bool,
    pub(crate) clear: bool,
    /// The spindle is asked to turn; for lighting by hand it is not.
    pub(crate) turns: bool,
    pub(crate) moves: bool,
    pub(crate) hottest: f64,
}

impl Before {
    pub(crate) fn of(trial: &mut Trial) -> Self {
        let truth = trial.truth();
        let status = trial.status();
        let program = &trial.of.plan.program;
        Self {
            leaf: status.leaf,
            phase: status.phase,
            feeder: truth.feeder_on,
            nozzle: truth.powder_g_s > 0.02,
            fuel: truth.fuel_open,
            oxygen: truth.oxygen_open,
            flame: truth.flame_lit,
            clear: truth.torch_z_mm >= (program.part.high + program.clear_by).mm(),
            turns: trial.controller().snapshot().outputs.spindle != SpindleDemand::Stop,
            moves: truth.torch_mm_s.abs() > 0.05,
            hottest: truth.part_highest_c,
        }
    }
}

impl Run {
    /// Asks, and runs to the rest that follows. Whoever held a key down lets it go to ask.
    pub(crate) fn of(mut trial: Trial, place: String, asked: Request) -> Self {
        trial.renewed = None;
        let before = Before::of(&mut trial);
        trial.begin_record();
        let at = trial.now();
        let answer = trial.ask(asked);
        let mut run = Self { place, asked, answer, at, before, trial };
        run.run_to_its_rest();
        run
    }

    pub(crate) fn run_to_its_rest(&mut self) {
        let trial = &mut self.trial;
        let ended = |this: &mut Trial| {
            matches!(
                this.status().phase,
                Phase::Idle | Phase::Held | Phase::Stopped | Phase::Aborted | Phase::Complete
            )
        };
        trial.wait(0.1);
        let longest = if self.asked == Request::Hold { HOLD_RESTS } else { TRIP_RESTS };
        trial.until(longest, ended);
        if trial.status().phase == Phase::Stopping {
            trial.look_every = SELDOM;
            trial.until(STOP_RESTS, ended);
        }
        trial.wait(6.0);
    }

    pub(crate) fn said(&self) -> String {
        let said: Vec<String> = self
            .trial
            .told
            .iter()
            .map(|told| {
                format!("{:.3} {}", told.at.since(self.at).as_secs_f64(), told.what.words())
            })
            .collect();
        format!("{:?} in {}: {}", self.asked, self.place, said.join(", "))
    }

    /// When it first was so after the asking, s.
    pub(crate) fn first(&self, what: What) -> Option<f64> {
        self.trial
            .told
            .iter()
            .find(|told| told.what == what)
            .map(|told| told.at.since(self.at).as_secs_f64())
    }

    /// When it last was so, s.
    pub(crate) fn last(&self, what: What) -> Option<f64> {
        self.trial
            .told
            .iter()
            .rev()
            .find(|told| told.what == what)
            .map(|told| told.at.since(self.at).as_secs_f64())
    }

    pub(crate) fn within(&self, what: What, longest: f64) {
        let at = self.first(what);
        assert!(
            at.is_some_and(|at| at <= longest),
            "{} within {longest} s\n{}",
            what.words(),
            self.said()
        );
    }

    pub(crate) fn never(&self, what: What) {
        assert_eq!(self.first(what), None, "never {}\n{}", what.words(), self.said());
    }

    /// What must come in this order, as far as it comes.
    pub(crate) fn in_order(&self, order: &[Option<f64>], words: &str) {
        let times: Vec<f64> = order.iter().flatten().copied().collect();
        assert!(times.is_sorted(), "{words}: {times:?}\n{}", self.said());
    }

    pub(crate) fn phase(&mut self) -> Phase {
        self.trial.status().phase
    }

    pub(crate) fn row(&self) -> String {
        let time = |what: What| match self.first(what) {
            Some(at) => format!("{at:.2}"),
            None => "-".to_owned(),
        };
        let air = self.last(What::Coil(Coil::CarrierAir, false));
        let air = air.map_or_else(|| "-".to_owned(), |at| format!("{at:.2}"));
        format!(
            "{:<40}{:<7}{:>8}{:>8}{:>8}{:>8}{:>8}{:>8}{:>8}{:>9}  {}",
            self.place,
            format!("{:?}", self.asked),
            time(What::Coil(Coil::PowderFeeder, false)),
            time(What::Nozzle(false)),
            time(What::Clear(true)),
            time(What::Coil(Coil::OxygenValve, false)),
            time(What::Coil(Coil::FuelValve, false)),
            time(What::Flame(false)),
            air,
            time(What::Spindle(false)),
            self.trial
                .told
                .iter()
                .filter(|told| matches!(told.what, What::State(_)))
                .map(|told| format!(
                    "{} {:.2}",
                    told.what.words(),
                    told.at.since(self.at).as_secs_f64()
                ))
                .collect::<Vec<_>>()
                .join(", "),
        )
    }
}

pub(crate) fn head() -> String {
    format!(
        "{:<40}{:<7}{:>8}{:>8}{:>8}{:>8}{:>8}{:>8}{:>8}{:>9}  states entered",
        "seconds from the asking; place",
        "asked",
        "feeder",
        "hose",
        "clear",
        "oxygen",
        "fuel",
        "flame",
        "purged",
        "spindle"
    )
}
