//! When a row has to count, by what is physically so on the twin: written from the meaning of each
//! arming, not from the interlocks' code, and compared with what they do.

use evenpass_core::interlock::matrix::{Arming, Row};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::Truth;

/// The world at one instant of a run in which nothing is done.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sample {
    /// s after the place was kept.
    pub(crate) at: f64,
    pub(crate) truth: Truth,
    pub(crate) leaf: Leaf,
    pub(crate) phase: Phase,
    /// Asked of the carriage: a travel or the search for the datum.
    pub(crate) travelling: bool,
    /// The spindle is asked to turn.
    pub(crate) turning: bool,
    /// The step in hand sprays.
    pub(crate) spraying: bool,
    pub(crate) clear_from: f64,
    pub(crate) part: (f64, f64),
}

/// Gas under this counts as vented, bar.
const VENTED: f64 = 0.05;

impl Sample {
    fn gas(&self) -> bool {
        self.truth.supply_open || self.truth.fuel_bar > VENTED || self.truth.oxygen_bar > VENTED
    }

    fn process(&self) -> bool {
        self.truth.feeder_on || (self.gas() && (self.truth.fuel_open || self.truth.oxygen_open))
    }

    fn energised(&self) -> bool {
        self.gas() || self.process() || self.truth.drive_torque || self.truth.spindle_rpm > 1.0
    }

    fn clear(&self) -> bool {
        self.truth.torch_z_mm >= self.clear_from
    }

    fn heat(&self) -> bool {
        self.gas() && (self.truth.fuel_open || self.truth.flame_lit)
    }

    fn lighting_by_hand(&self) -> bool {
        matches!(self.leaf, Leaf::Purging | Leaf::Opening | Leaf::ConfirmingFlame)
    }

    fn over_part(&self) -> bool {
        (self.part.0..=self.part.1).contains(&self.truth.torch_z_mm)
    }
}

/// Whether a row counts at an instant; `None` where its own memory of the last seconds decides.
pub(crate) fn armed(row: &Row, now: &Sample) -> Option<bool> {
    let truth = &now.truth;
    let basic = match row.arming {
        Arming::Always => true,
        Arming::Energised => now.energised(),
        // The gas comes back for lighting by hand: the sequence shuts it when the guard opens.
        Arming::GuardNeeded if now.lighting_by_hand() || now.leaf == Leaf::ClosingUp => {
            return None;
        }
        Arming::GuardNeeded => now.energised(),
        Arming::GasPresent => now.gas(),
        // A spindle that is not asked to turn has no speed to be over.
        Arming::Process if row.key == "overspeed" => now.process() && now.turning,
        Arming::Process => now.process(),
        Arming::SupplyOpen => truth.supply_open,
        Arming::FuelSettled => truth.supply_open && truth.fuel_open,
        Arming::OxygenSettled => truth.supply_open && truth.oxygen_open,
        Arming::CarrierSettled => truth.carrier_on && (truth.feeder_on || truth.fuel_open),
        Arming::Burning => truth.fuel_open && truth.flame_lit,
        Arming::Lighting => truth.fuel_open && !truth.flame_lit,
        Arming::Powder => truth.feeder_on,
        Arming::PowderOverPart => truth.feeder_on && now.over_part(),
        Arming::FlameOverPart => now.heat() && !now.clear(),
        Arming::SprayHeat => truth.feeder_on || (now.heat() && !now.clear() && now.spraying),
        // The pyrometer looks at the torch's place: on the way off the part it sees something else.
        Arming::FuseHeat if now.heat() && now.phase != Phase::Fusing => return None,
        Arming::FuseHeat => now.heat() && !now.clear() && !now.spraying,
        Arming::Fusing => now.heat() && !now.clear() && matches!(now.phase, Phase::Fusing),
        Arming::SpindleSettled => now.turning && (truth.feeder_on || (now.heat() && !now.clear())),
        Arming::SpindleNeeded => now.process() || now.turning,
        Arming::DriveNeeded => now.process() || truth.drive_torque,
        Arming::Travelling => now.travelling,
        Arming::WorkingMotion => now.process() || truth.torch_mm_s.abs() > 20.5,
        Arming::WatchdogBeating => now.energised(),
    };
    // What settles, proves or vents takes its time: on the way it may count or not.
    let on_the_way = match row.arming {
        Arming::FuelSettled | Arming::OxygenSettled | Arming::CarrierSettled | Arming::Burning => {
            now.lighting_by_hand()
        }
        Arming::Travelling => now.travelling != (truth.torch_mm_s.abs() > 0.05),
        _ => false,
    };
    (!on_the_way).then_some(basic)
}

/// What a row must do at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Expected {
    /// It counts all the time: it is confirmed.
    Confirmed,
    /// It counts at no time: it is not.
    NotConfirmed,
    /// It counts for a part of the time, or its memory decides.
    Either,
}

/// What a row must do, from a run in which nothing is done: from `from` to `needs` it has to count
/// to be confirmed, and to `until` not to count to stay unconfirmed, s.
pub(crate) fn expected(row: &Row, run: &[Sample], needs: f64, until: f64) -> Expected {
    let within = |longest: f64| run.iter().filter(move |sample| sample.at <= longest);
    if within(needs).all(|sample| armed(row, sample) == Some(true)) {
        Expected::Confirmed
    } else if within(until).all(|sample| armed(row, sample) == Some(false)) {
        Expected::NotConfirmed
    } else {
        Expected::Either
    }
}
