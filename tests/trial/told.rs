//! What happens in a trial, each with its instant.

use evenpass_core::ledger::Entry;
use evenpass_core::moment::Moment;
use evenpass_core::sequence::Leaf;
use evenpass_hil::{Coil, Truth};

/// Slower than this the carriage rests, mm/s.
const RESTS: f64 = 0.05;
/// Slower than this the spindle rests, rpm.
const SPINDLE_RESTS: f64 = 1.0;
/// Less than this is no powder at the nozzle, g/s: a fiftieth of the reference job's feed.
const NO_POWDER: f64 = 0.02;

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum What {
    /// An output switched in fact, behind relay and emergency stop.
    Coil(Coil, bool),
    /// The flame burns, or is out.
    Flame(bool),
    /// Powder leaves the nozzle, or no more.
    Nozzle(bool),
    /// The carriage moves, or rests.
    Carriage(bool),
    /// The torch is clear of the part, or no more.
    Clear(bool),
    /// The carriage motor has torque, or none.
    Torque(bool),
    /// The spindle turns, or rests.
    Spindle(bool),
    /// The watchdog relay is up, or has dropped.
    Relay(bool),
    /// A state of the chart was entered.
    State(Leaf),
}

impl What {
    pub(crate) const fn coil(coil: Coil, energised: bool) -> Self {
        Self::Coil(coil, energised)
    }

    /// In words.
    pub(crate) fn words(self) -> String {
        let (on, off) = match self {
            Self::Coil(Coil::PowderFeeder, _) => ("feeder on", "feeder off"),
            Self::Coil(Coil::CarrierAir, _) => ("carrier air on", "carrier air off"),
            Self::Coil(Coil::FuelValve, _) => ("fuel open", "fuel shut"),
            Self::Coil(Coil::OxygenValve, _) => ("oxygen open", "oxygen shut"),
            Self::Coil(Coil::GasSupply, _) => ("supply open", "supply shut"),
            Self::Coil(Coil::Extraction, _) => ("extraction on", "extraction off"),
            Self::Coil(Coil::CoolingAir, _) => ("cooling jet on", "cooling jet off"),
            Self::Coil(_, _) => ("igniter on", "igniter off"),
            Self::Flame(_) => ("flame lit", "flame out"),
            Self::Nozzle(_) => ("powder at the nozzle", "no powder at the nozzle"),
            Self::Carriage(_) => ("carriage moves", "carriage at rest"),
            Self::Clear(_) => ("torch clear", "torch over the part"),
            Self::Torque(_) => ("torque on", "torque off"),
            Self::Spindle(_) => ("spindle turns", "spindle at rest"),
            Self::Relay(_) => ("watchdog relay up", "watchdog relay dropped"),
            Self::State(leaf) => return leaf.name().to_owned(),
        };
        if self.level() { on.to_owned() } else { off.to_owned() }
    }

    const fn level(self) -> bool {
        match self {
            Self::Coil(_, level)
            | Self::Flame(level)
            | Self::Nozzle(level)
            | Self::Carriage(level)
            | Self::Clear(level)
            | Self::Torque(level)
            | Self::Spindle(level)
            | Self::Relay(level) => level,
            Self::State(_) => true,
        }
    }
}

/// Something happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Happened {
    pub(crate) at: Moment,
    pub(crate) what: What,
}

/// A cause that was confirmed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Confirmed {
    pub(crate) at: Moment,
    pub(crate) key: String,
    pub(crate) class: String,
}

impl Confirmed {
    /// Of an entry of the ledger, if it tells of a confirmation.
    pub(crate) fn of(entry: &Entry) -> Option<Self> {
        let word = |name: &str| entry.data.get(name)?.as_str().map(str::to_owned);
        (word("change")? == "confirmed").then_some(())?;
        Some(Self { at: entry.at, key: word("interlock")?, class: word("class")? })
    }
}

/// The state of that name.
pub(crate) fn leaf_of(name: &str) -> Option<Leaf> {
    Leaf::ALL.iter().copied().find(|leaf| leaf.name() == name)
}

/// What is so of a machine whose torch is clear from a place on.
type Fact = fn(&Truth, f64) -> bool;
/// What is told when it comes to be so, or no longer is.
type Word = fn(bool) -> What;

/// Tells what is not as it was at the look before.
pub(crate) fn compare(
    before: &Truth,
    after: &Truth,
    clear_from: f64,
    at: Moment,
    told: &mut Vec<Happened>,
) {
    let facts: [(Fact, Word); 7] = [
        (|truth, _| truth.flame_lit, What::Flame),
        (|truth, _| truth.powder_g_s > NO_POWDER, What::Nozzle),
        (|truth, _| truth.torch_mm_s.abs() > RESTS, What::Carriage),
        (|truth, clear_from| truth.torch_z_mm >= clear_from, What::Clear),
        (|truth, _| truth.drive_torque, What::Torque),
        (|truth, _| truth.spindle_rpm > SPINDLE_RESTS, What::Spindle),
        (|truth, _| truth.watchdog_up, What::Relay),
    ];
    for (fact, what) in facts {
        let (was, is) = (fact(before, clear_from), fact(after, clear_from));
        if was != is {
            told.push(Happened { at, what: what(is) });
        }
    }
}
