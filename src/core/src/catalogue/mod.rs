//! The catalogue: powders, torches and gases with their limits.

pub(crate) mod bounds;
mod check;
mod read;

pub(crate) use bounds::WATCHED_POWER;

use serde::Serialize;

use crate::quantity::{
    Density, Fraction, Length, MassFlow, Power, Pressure, Range, Speed, Temperature, Time,
    VolumeFlow,
};

/// A self-fluxing alloy powder.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Powder {
    /// Its name in recipes, unique in the catalogue.
    pub key: String,
    /// What it is, for people.
    pub title: String,
    /// Density of the coat as sprayed, pores included.
    pub density_as_sprayed: Density,
    /// Density of the coat after fusing.
    pub density_fused: Density,
    /// Share of the powder fed that stays on a wide part.
    pub efficiency: Fraction,
    /// Temperature of the part at which it may be sprayed on: below, it does not bond; above,
    /// the pass waits.
    pub spray_window: Range<Temperature>,
    /// Where it starts to melt.
    pub solidus: Temperature,
    /// Where it is all molten.
    pub liquidus: Temperature,
    /// Reading of the pyrometer between which fusing is expected.
    pub fuse_window: Range<Temperature>,
    /// Thickest coat as sprayed, radial.
    pub thickest: Length,
}

/// What a torch is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TorchPurpose {
    /// It sprays and preheats only; fusing needs another.
    Spraying,
    /// It heats only.
    Fusing,
    /// One torch for both.
    SprayingAndFusing,
}

/// The flow of the gases at one setting of a torch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct GasSetting {
    /// Fuel gas.
    pub fuel: VolumeFlow,
    /// Oxygen.
    pub oxygen: VolumeFlow,
    /// Net heat that enters a part wide enough to catch the whole flame.
    pub net_power: Power,
}

impl GasSetting {
    /// Heat of the fuel at this setting.
    #[must_use]
    pub fn heat(&self, gas: &FuelGas) -> Power {
        Power::from_kw(self.fuel.l_per_min() / 60.0 * gas.kilojoule_per_litre)
    }
}

/// Order in which the two gases are shut at an ordinary stop, by the torch's handbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ShutOrder {
    /// Both at once.
    Together,
    /// Fuel, then oxygen after the lag.
    FuelFirst,
    /// Oxygen, then fuel after the lag.
    OxygenFirst,
}

/// How a torch is lit, by its maker's handbook.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct LightingRules {
    /// How long carrier or shroud air clears the torch before gas.
    pub purge: Time,
    /// Longest time gas may flow unlit.
    pub trial: Time,
    /// How long to wait before another try.
    pub wait: Time,
    /// Tries before it locks out.
    pub tries: u32,
    /// How long the flame is watched before it counts as burning.
    pub proving: Time,
}

/// A torch with the plume it makes and the limits its handbook gives.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Torch {
    /// Its name in recipes, unique in the catalogue.
    pub key: String,
    /// What it is, for people.
    pub title: String,
    /// What it is for.
    pub purpose: TorchPurpose,
    /// Standard deviation of its plume along and across the axis at the nominal standoff.
    pub plume: Length,
    /// Standard deviation of its flame's heat along and across the part.
    pub flame: Length,
    /// Distance nozzle to surface it may work at.
    pub standoff: Range<Length>,
    /// Surface speed of the part it may work on.
    pub surface_speed: Range<Speed>,
    /// Powder it can carry; `None` for a torch that only heats.
    pub powder_rate: Option<Range<MassFlow>>,
    /// Feed along the part it may run at.
    pub feed: Range<Speed>,
    /// From the feeder's start until powder arrives at the part.
    pub powder_delay_on: Time,
    /// From the feeder's stop until no more powder arrives.
    pub powder_delay_off: Time,
    /// Time constant of the rise and fall of the flow.
    pub powder_rise: Time,
    /// Setting for preheating and spraying.
    pub spraying: GasSetting,
    /// Setting for fusing.
    pub fusing: GasSetting,
    /// Fuel gas pressure it is set to.
    pub fuel_pressure: Pressure,
    /// Oxygen pressure it is set to.
    pub oxygen_pressure: Pressure,
    /// Carrier or shroud air pressure it is set to.
    pub carrier_pressure: Pressure,
    /// Whether its carrier gas is oxygen, which must not purge after the fuel is shut.
    pub carrier: Carrier,
    /// The fuel gas, by its key in the catalogue.
    pub fuel_gas: String,
    /// How it is lit.
    pub lighting: LightingRules,
    /// Order of an ordinary stop.
    pub shut_order: ShutOrder,
    /// Lag between the two gases at an ordinary stop, 0 to 2 s.
    pub shut_lag: Time,
    /// Purge after the gases are shut.
    pub purge_after: Time,
    /// Longest dwell under flame at a turn on the part.
    pub longest_dwell: Time,
}

/// What carries the powder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Carrier {
    /// Air: it may purge.
    Air,
    /// Oxygen: it may not purge once the fuel is shut.
    Oxygen,
}

/// A fuel gas with the limits of its supply.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct FuelGas {
    /// Its name in the catalogue.
    pub key: String,
    /// What it is, for people.
    pub title: String,
    /// Highest gauge pressure it may be used at.
    pub highest_pressure: Pressure,
    /// Lower heating value, kilojoule in a litre at normal conditions.
    pub kilojoule_per_litre: f64,
    /// Largest share of a cylinder's contents drawn in an hour; `None` where there is no limit.
    pub draw_per_hour: Option<Fraction>,
}

/// Powders, torches and gases.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[non_exhaustive]
pub struct Catalogue {
    /// The powders.
    pub powders: Vec<Powder>,
    /// The torches.
    pub torches: Vec<Torch>,
    /// The fuel gases.
    pub fuel_gases: Vec<FuelGas>,
}

impl Catalogue {
    /// The powder of that name.
    #[must_use]
    pub fn powder(&self, key: &str) -> Option<&Powder> {
        self.powders.iter().find(|powder| powder.key == key)
    }

    /// The torch of that name.
    #[must_use]
    pub fn torch(&self, key: &str) -> Option<&Torch> {
        self.torches.iter().find(|torch| torch.key == key)
    }

    /// The fuel gas of that name.
    #[must_use]
    pub fn fuel_gas(&self, key: &str) -> Option<&FuelGas> {
        self.fuel_gases.iter().find(|gas| gas.key == key)
    }
}
