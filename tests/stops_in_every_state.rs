//! Hold, stop and abort in every state of the chart, and during one another: what physically happens
//! on the twin, in which order, and when.
//!
//! The orders are those of the trade: of a hold: powder off, the hose empties over the rest of the
//! pass, the torch clear; of a stop: the same, then the gases in the order of the torch's handbook,
//! the purge, and the spindle until the part is cool; of an abort: powder, fuel and oxygen at once,
//! the torch off the part without air, the purge only there, the part turning on.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;
mod trial;

use std::time::Duration;

use evenpass_core::image::SpindleDemand;
use evenpass_core::moment::Moment;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::Coil;
use trial::places::{Place, places};
use trial::told::What;
use trial::{Trial, each};

/// Relays have dropped so long after an abort (the trade's figure), s.
const RELAYS: f64 = 0.05;
/// From a hold or a stop to the feeder's coil: one scan and one exchange with its own write, s.
const FEEDER: f64 = 0.05;
/// A trip has come to its rest after so long: the longest retreat here, the purge and its waits, s.
const TRIP_RESTS: f64 = 40.0;
/// A hold has come to its rest after so long, s.
const HOLD_RESTS: f64 = 40.0;
/// A stop ends at the latest with the cool step's own longest time, s.
const STOP_RESTS: f64 = 3.0 * 3600.0;
/// Looks while the part only turns and cools.
const SELDOM: Duration = Duration::from_millis(200);

/// What was asked, in which place, and what came of it.
struct Run {
    place: String,
    asked: Request,
    answer: Answer,
    at: Moment,
    before: Before,
    trial: Trial,
}

/// How things were when it was asked.
#[derive(Debug, Clone, Copy)]
struct Before {
    leaf: Leaf,
    phase: Phase,
    feeder: bool,
    nozzle: bool,
    fuel: bool,
    oxygen: bool,
    flame: bool,
    clear: bool,
    /// The spindle is asked to turn; for lighting by hand it is not.
    turns: bool,
    moves: bool,
    hottest: f64,
}

impl Before {
    fn of(trial: &mut Trial) -> Self {
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
    fn of(mut trial: Trial, place: String, asked: Request) -> Self {
        trial.renewed = None;
        let before = Before::of(&mut trial);
        trial.begin_record();
        let at = trial.now();
        let answer = trial.ask(asked);
        let mut run = Self { place, asked, answer, at, before, trial };
        run.to_its_rest();
        run
    }

    fn to_its_rest(&mut self) {
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

    fn said(&self) -> String {
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
    fn first(&self, what: What) -> Option<f64> {
        self.trial
            .told
            .iter()
            .find(|told| told.what == what)
            .map(|told| told.at.since(self.at).as_secs_f64())
    }

    /// When it last was so, s.
    fn last(&self, what: What) -> Option<f64> {
        self.trial
            .told
            .iter()
            .rev()
            .find(|told| told.what == what)
            .map(|told| told.at.since(self.at).as_secs_f64())
    }

    fn within(&self, what: What, longest: f64) {
        let at = self.first(what);
        assert!(
            at.is_some_and(|at| at <= longest),
            "{} within {longest} s\n{}",
            what.words(),
            self.said()
        );
    }

    fn never(&self, what: What) {
        assert_eq!(self.first(what), None, "never {}\n{}", what.words(), self.said());
    }

    /// What must come in this order, as far as it comes.
    fn in_order(&self, order: &[Option<f64>], words: &str) {
        let times: Vec<f64> = order.iter().flatten().copied().collect();
        assert!(times.is_sorted(), "{words}: {times:?}\n{}", self.said());
    }

    fn phase(&mut self) -> Phase {
        self.trial.status().phase
    }

    /// Nothing starts by a request that only takes away.
    fn nothing_starts(&self) {
        for coil in [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve, Coil::GasSupply] {
            self.never(What::Coil(coil, true));
        }
        self.never(What::Flame(true));
        if !self.before.turns {
            self.never(What::Spindle(true));
        }
    }

    fn check(&mut self) {
        self.nothing_starts();
        match self.asked {
            Request::Hold => self.check_hold(),
            Request::Stop => self.check_stop(),
            _ => self.check_abort(),
        }
    }

    fn check_hold(&mut self) {
        let phase = self.phase();
        match self.before.phase {
            Phase::Manual => assert_eq!(phase, Phase::Idle, "{}", self.said()),
            was if was.is_running() || was == Phase::Holding || was == Phase::Held => {
                assert_eq!(phase, Phase::Held, "{}", self.said());
                self.check_withdrawal();
                let held_out_of_it = self.before.fuel && self.before.phase != Phase::Lighting;
                if held_out_of_it && self.before.phase != Phase::Held {
                    self.never(What::Coil(Coil::FuelValve, false));
                }
                if self.before.turns && self.before.phase != Phase::Access {
                    self.never(What::Spindle(false));
                }
            }
            _ => self.changes_nothing(),
        }
        if matches!(self.before.phase, Phase::Manual) && self.before.moves {
            self.within(What::Carriage(false), 0.5);
        }
    }

    /// A request that was so already leaves everything as it goes.
    fn changes_nothing(&self) {
        assert_eq!(self.answer, Answer::AlreadySo, "{}", self.said());
    }

    /// Powder off at once, then the hose, then the torch clear.
    fn check_withdrawal(&self) {
        if self.before.feeder {
            self.within(What::Coil(Coil::PowderFeeder, false), FEEDER);
        }
        let feeder = self.first(What::Coil(Coil::PowderFeeder, false));
        let dry = self.first(What::Nozzle(false));
        let clear = self.first(What::Clear(true));
        if self.before.nozzle {
            assert!(dry.is_some(), "the hose empties\n{}", self.said());
        }
        if self.before.fuel && !self.before.clear {
            assert!(clear.is_some(), "the torch leaves the part\n{}", self.said());
        }
        self.in_order(&[feeder, dry, clear], "feeder, hose, clear");
    }

    fn check_stop(&mut self) {
        let phase = self.phase();
        match self.before.phase {
            Phase::Manual => {
                assert_eq!(phase, Phase::Idle, "{}", self.said());
                if self.before.moves {
                    self.within(What::Carriage(false), 0.5);
                }
                return;
            }
            Phase::Idle | Phase::Stopped | Phase::Aborted | Phase::Aborting | Phase::Complete => {
                return self.changes_nothing();
            }
            _ => {}
        }
        assert_eq!(phase, Phase::Stopped, "{}", self.said());
        self.check_withdrawal();
        let fuel = self.first(What::Coil(Coil::FuelValve, false));
        let oxygen = self.first(What::Coil(Coil::OxygenValve, false));
        let clear = self.first(What::Clear(true));
        if self.before.fuel {
            let (Some(fuel), Some(oxygen)) = (fuel, oxygen) else {
                panic!("gas is shut\n{}", self.said())
            };
            self.in_order(&[clear, Some(fuel.min(oxygen))], "clear, gas");
            self.check_shutting(fuel, oxygen);
        }
        // The part turns until it may stand.
        let rests = self.first(What::Spindle(false));
        let air = self.last(What::Coil(Coil::CarrierAir, false));
        self.in_order(&[air, rests], "purge, spindle");
        let limit = self.trial.of.job.recipe.cool.turn_until.celsius();
        if self.before.turns && self.before.hottest > limit {
            let truth = self.trial.truth();
            assert!(
                truth.part_highest_c < limit + 50.0,
                "stands still at {:.0} degC\n{}",
                truth.part_highest_c,
                self.said()
            );
        }
        let stopped = self.first(What::State(Leaf::Stopped));
        self.in_order(&[fuel, air, stopped], "gas, purge, stopped");
    }

    /// The handbook's order and lag, and its purge after the last gas.
    fn check_shutting(&self, fuel: f64, oxygen: f64) {
        use evenpass_core::catalogue::ShutOrder;
        let fusing = matches!(
            self.before.leaf,
            Leaf::Heating | Leaf::Wetting | Leaf::FuseTurning | Leaf::CoolingDown
        );
        let torches = &self.trial.of.plan.program.torches;
        let torch = if fusing { &torches[torches.len() - 1] } else { &torches[0] };
        let lag = torch.shut_lag.to_duration().as_secs_f64();
        let found = match torch.shut_order {
            ShutOrder::Together => (fuel - oxygen).abs(),
            ShutOrder::FuelFirst => oxygen - fuel,
            ShutOrder::OxygenFirst => fuel - oxygen,
        };
        // Lighting is given up by hand's distance: both valves at once.
        if self.before.phase == Phase::Lighting {
            return;
        }
        let wanted = if torch.shut_order == ShutOrder::Together { 0.0 } else { lag };
        assert!((found - wanted).abs() < 0.03, "lag {found}, handbook {wanted}\n{}", self.said());
        let purge = torch.purge_after.to_duration().as_secs_f64();
        let air = self.last(What::Coil(Coil::CarrierAir, false));
        let after = air.map(|air| air - fuel.max(oxygen));
        assert!(
            after.is_some_and(|after| after >= purge - 0.05 && after < purge + 1.0),
            "purge of {purge} s after the gas: {after:?}\n{}",
            self.said()
        );
    }

    fn check_abort(&mut self) {
        let phase = self.phase();
        if self.before.phase == Phase::Aborted || self.before.phase == Phase::Aborting {
            self.changes_nothing();
        }
        assert_eq!(phase, Phase::Aborted, "{}", self.said());
        let before = self.before;
        for (on, coil) in [
            (before.feeder, Coil::PowderFeeder),
            (before.fuel, Coil::FuelValve),
            (before.oxygen, Coil::OxygenValve),
        ] {
            if on {
                self.within(What::Coil(coil, false), RELAYS);
            }
        }
        if before.flame {
            self.within(What::Flame(false), 1.0);
        }
        // No air through the hose while the torch is over the part.
        if !before.clear && (before.feeder || before.fuel) {
            let clear = self.first(What::Clear(true)).unwrap_or(f64::INFINITY);
            let air = self.first(What::Coil(Coil::CarrierAir, true)).unwrap_or(f64::INFINITY);
            assert!(air >= clear, "air before the torch is clear\n{}", self.said());
            self.within(What::Coil(Coil::CarrierAir, false), RELAYS);
        }
        if before.turns {
            self.never(What::Spindle(false));
        }
    }

    fn row(&self) -> String {
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

fn head() -> String {
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

#[test]
fn hold_stop_and_abort_keep_their_order_in_every_state_of_the_chart() {
    let mut work = Vec::new();
    for place in places() {
        for asked in [Request::Hold, Request::Stop, Request::Abort] {
            work.push((place.clone(), asked));
        }
    }
    let runs = each(work, |(place, asked): (Place, Request)| {
        let name = place.name();
        Run::of(place.trial, name, asked)
    });
    println!("{}", head());
    for run in &runs {
        println!("{}", run.row());
    }
    for mut run in runs {
        run.check();
    }
}

/// What is asked second while the first is being carried out, and how long after it, s: in the next
/// scan, while the hose empties, on the way, just clear, in the purge, at rest.
const LATER: [f64; 7] = [0.0, 0.02, 0.5, 3.0, 11.2, 13.0, 30.0];

/// How a request ends.
const fn end(asked: Request) -> (u8, Phase) {
    match asked {
        Request::Hold => (0, Phase::Held),
        Request::Stop => (1, Phase::Stopped),
        _ => (2, Phase::Aborted),
    }
}

#[test]
fn of_two_requests_the_severer_holds_whichever_came_first_and_whenever() {
    let places = places();
    let at = |leaf: Leaf, note: &str| {
        let found = places.iter().find(|place| place.leaf == leaf && place.note == note);
        found.expect("a place").trial.clone()
    };
    let spraying = at(Leaf::Crossing, "powder on");
    let waiting = [at(Leaf::HeldLit, ""), at(Leaf::HeldUnlit, "at rest")];
    let asks = [Request::Hold, Request::Stop, Request::Abort];
    let mut work = Vec::new();
    for later in LATER {
        for second in asks {
            for first in asks {
                work.push((spraying.clone(), first, later, second));
            }
            for held in &waiting {
                work.push((held.clone(), Request::Restart, later, second));
            }
        }
    }
    let alone = Run::of(spraying.clone(), "held, nothing else asked".to_owned(), Request::Hold);
    let clear_alone = alone.first(What::Clear(true)).expect("it leaves");
    let runs = each(work, |(mut trial, first, later, second)| {
        trial.begin_record();
        assert_eq!(trial.ask(first), Answer::Accepted);
        let asked = trial.now();
        trial.wait(later);
        let (leaf, fed) = (trial.leaf(), trial.truth().feeder_on);
        let off = trial.told.iter().find(|told| told.what == What::Coil(Coil::PowderFeeder, false));
        let fed_for = off.map(|off| off.at.since(asked).as_secs_f64());
        let place = format!("{first:?}, {later} s later in {}", leaf.name());
        (first, fed, fed_for, later, Run::of(trial, place, second))
    });
    println!("{}", head());
    for (.., run) in &runs {
        println!("{}", run.row());
    }
    for (first, fed, fed_for, later, mut run) in runs {
        let is_hold = |asked: Request| matches!(asked, Request::Hold | Request::Restart);
        let severest =
            if is_hold(first) || end(run.asked).0 > end(first).0 { run.asked } else { first };
        assert_eq!(run.phase(), end(severest).1, "{}", run.said());
        run.nothing_starts();
        if run.asked == Request::Abort && first != Request::Abort {
            run.check_abort();
        }
        if first != Request::Restart {
            assert!(!fed || later <= FEEDER, "powder goes on\n{}", run.said());
            // The hose empties over the rest of the pass all the same.
            let emptied = !matches!(severest, Request::Abort) && later < 1.0;
            let clear = run.first(What::Clear(true)).map(|clear| clear + later);
            assert!(
                !emptied || clear.is_some_and(|clear| (clear - clear_alone).abs() < 0.1),
                "clear {clear:?} s after the first request, by itself {clear_alone}\n{}",
                run.said()
            );
            assert!(
                fed_for.is_none_or(|off| off <= FEEDER),
                "powder for {fed_for:?}\n{}",
                run.said()
            );
        }
    }
}
