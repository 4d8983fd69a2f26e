//! The orders of a hold, a stop and an abort, held against what happened.

use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::Coil;

use crate::asking::Run;
use crate::trial::told::What;

/// Relays have dropped so long after an abort (the trade's figure), s.
const RELAYS: f64 = 0.05;
/// From a hold or a stop to the feeder's coil: one scan and one exchange with its own write, s.
pub(crate) const FEEDER: f64 = 0.05;

impl Run {
    /// Nothing starts by a request that only takes away.
    pub(crate) fn nothing_starts(&self) {
        for coil in [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve, Coil::GasSupply] {
            self.never(What::Coil(coil, true));
        }
        self.never(What::Flame(true));
        if !self.before.turns {
            self.never(What::Spindle(true));
        }
    }

    pub(crate) fn check(&mut self) {
        self.nothing_starts();
        match self.asked {
            Request::Hold => self.check_hold(),
            Request::Stop => self.check_stop(),
            _ => self.check_abort(),
        }
    }

    pub(crate) fn check_hold(&mut self) {
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
    pub(crate) fn changes_nothing(&self) {
        assert_eq!(self.answer, Answer::AlreadySo, "{}", self.said());
    }

    /// Powder off at once, then the hose, then the torch clear.
    pub(crate) fn check_withdrawal(&self) {
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

    pub(crate) fn check_stop(&mut self) {
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
    pub(crate) fn check_shutting(&self, fuel: f64, oxygen: f64) {
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

    pub(crate) fn check_abort(&mut self) {
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
}
