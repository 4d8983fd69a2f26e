//! What one scan looks like from outside, coarse enough to be compared between a run of the whole
//! program and a node of the explored graph: the state, what the verdict takes away, and which
//! outputs are energised. No times, no places, no figures, and no warnings: a warning demands
//! nothing.
//!
//! A run is looked at once a scan, after the scan and before anything is asked:
//! [`Observed::of_snapshot`]. What repeats may be dropped.

use evenpass_core::image::{AxisDemand, Coil, Outputs, SpindleDemand};
use evenpass_core::interlock::{Acknowledged, CarriageEffect, Class, SpindleEffect, Verdict, Veto};
use evenpass_core::scan::Snapshot;
use evenpass_core::sequence::Leaf;

/// What the carriage is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) enum Carriage {
    /// No torque.
    Off,
    /// To stop.
    Stop,
    /// To stand under torque.
    Still,
    /// To move: a travel or the search for the datum.
    Move,
}

/// Outputs that are energised, one bit each. Lamps and horn are left out: they move nothing.
const COILS: [(Coil, u8); 7] = [
    (Coil::Fuel, 1),
    (Coil::Oxygen, 2),
    (Coil::Supply, 4),
    (Coil::CarrierAir, 8),
    (Coil::Igniter, 16),
    (Coil::CoolingAir, 32),
    (Coil::Extraction, 64),
];
/// The feeder runs.
const POWDER: u8 = 128;

/// What the verdict takes away, one bit each, the carriage and the spindle by their effects.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Taken {
    /// Powder, fuel, oxygen, supply, air, cooling, watchdog, from bit 0 on.
    pub(crate) outputs: u8,
    pub(crate) carriage: CarriageEffect,
    pub(crate) spindle: SpindleEffect,
}

/// What one scan looks like from outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Observed {
    /// The state.
    pub(crate) leaf: Leaf,
    /// The severest class in force from hold on.
    pub(crate) demands: Option<Class>,
    /// Whether the trip is acknowledged.
    pub(crate) acknowledged: Acknowledged,
    /// What is taken away.
    pub(crate) taken: Taken,
    /// Outputs energised.
    pub(crate) energised: u8,
    /// The carriage.
    pub(crate) carriage: Carriage,
    /// Whether the spindle is asked to turn.
    pub(crate) turns: bool,
    /// Whether the watchdog may beat.
    pub(crate) beats: bool,
}

impl Observed {
    /// A run of the whole program.
    pub(crate) fn of_snapshot(snapshot: &Snapshot) -> Self {
        Self::of(snapshot.status.leaf, &snapshot.verdict, &snapshot.outputs)
    }

    /// Of what one scan has left behind.
    pub(crate) fn of(leaf: Leaf, verdict: &Verdict, outputs: &Outputs) -> Self {
        let effects = &verdict.effects;
        let vetoes = [
            effects.powder_off,
            effects.fuel_shut,
            effects.oxygen_shut,
            effects.supply_shut,
            effects.air_off,
            effects.no_cooling,
            effects.watchdog_off,
        ];
        let taken = vetoes
            .iter()
            .enumerate()
            .fold(0, |bits, (bit, veto)| bits | u8::from(*veto == Veto::Imposed) << bit);
        let coils = COILS
            .iter()
            .fold(0, |bits, (coil, bit)| bits | if outputs.coil(*coil).is_on() { *bit } else { 0 });
        Self {
            leaf,
            demands: verdict.class.filter(|class| *class >= Class::Hold),
            acknowledged: verdict.acknowledged,
            taken: Taken { outputs: taken, carriage: effects.carriage, spindle: effects.spindle },
            energised: coils | if outputs.powder.now.is_on() { POWDER } else { 0 },
            carriage: match outputs.axis {
                AxisDemand::Off => Carriage::Off,
                AxisDemand::QuickStop => Carriage::Stop,
                AxisDemand::Still => Carriage::Still,
                AxisDemand::Travel(_) | AxisDemand::Home(_) => Carriage::Move,
            },
            turns: outputs.spindle != SpindleDemand::Stop,
            beats: outputs.watchdog.is_on(),
        }
    }
}

/// A run as what follows what, repeats dropped.
#[derive(Debug, Clone, Default)]
pub(crate) struct Seen(pub(crate) Vec<Observed>);

impl Seen {
    /// Takes in one more look.
    pub(crate) fn look(&mut self, observed: Observed) {
        if self.0.last() != Some(&observed) {
            self.0.push(observed);
        }
    }
}
