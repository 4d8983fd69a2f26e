//! Gas by its kind: what a plan burns, what flowed in a run, and what the bottles hold.

use std::collections::BTreeMap;

use evenpass_core::catalogue::Catalogue;
use evenpass_core::plan::Plan;
use evenpass_core::quantity::{Time, Volume};
use evenpass_core::recipe::Recipe;

/// The key by which oxygen and its lots are told: the catalogue has fuel gases alone.
pub const OXYGEN: &str = "oxygen";

/// Volumes of gas.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Gases {
    /// The fuels, each by its key in the catalogue.
    pub fuels: BTreeMap<String, Volume>,
    /// Oxygen.
    pub oxygen: Volume,
}

impl Gases {
    /// That of one gas, by its key.
    #[must_use]
    pub fn of(&self, key: &str) -> Volume {
        if key == OXYGEN {
            self.oxygen
        } else {
            self.fuels.get(key).copied().unwrap_or(Volume::ZERO)
        }
    }

    /// All fuels together.
    #[must_use]
    pub fn fuel(&self) -> Volume {
        self.fuels.values().copied().sum()
    }
}

/// What one torch burns.
#[derive(Debug, Clone, PartialEq)]
struct TorchFlow {
    /// The key of its fuel.
    fuel_gas: String,
    burning: Time,
    fuel: Volume,
    oxygen: Volume,
}

/// What a plan burns, torch by torch in their order.
#[derive(Debug, Clone, PartialEq)]
pub struct GasFlow {
    torches: Vec<TorchFlow>,
}

impl GasFlow {
    /// Of a plan and the catalogue it was made with.
    #[must_use]
    pub fn of(plan: &Plan, catalogue: &Catalogue) -> Self {
        let planned = plan.program.torches.iter().zip(&plan.forecast.gas);
        let torches = planned.filter(|(_, gas)| gas.burning > Time::ZERO).map(|(torch, gas)| {
            let torch = catalogue.torch(&torch.key);
            TorchFlow {
                fuel_gas: torch.map(|torch| torch.fuel_gas.clone()).unwrap_or_default(),
                burning: gas.burning,
                fuel: gas.fuel,
                oxygen: gas.oxygen,
            }
        });
        Self { torches: torches.collect() }
    }

    /// How long the torches burn, all together.
    #[must_use]
    pub fn burning(&self) -> Time {
        self.torches.iter().map(|torch| torch.burning).sum()
    }

    /// What the plan burns.
    #[must_use]
    pub fn planned(&self) -> Gases {
        self.within(self.burning())
    }

    /// What flows while a fuel's valve is open so long in all. One torch burns after the other; what
    /// is longer than planned is the last one's. Nobody meters the gas.
    #[must_use]
    pub fn within(&self, open: Time) -> Gases {
        let mut left = open;
        let mut gases = Gases::default();
        for (place, torch) in self.torches.iter().enumerate() {
            let is_last = place + 1 == self.torches.len();
            let own = if is_last { left } else { left.min(torch.burning) };
            left -= own;
            let share = own / torch.burning;
            let fuel = gases.fuels.entry(torch.fuel_gas.clone()).or_insert(Volume::ZERO);
            *fuel += torch.fuel * share;
            gases.oxygen += torch.oxygen * share;
        }
        gases
    }
}

/// A gas in bottles.
#[derive(Debug, Clone, PartialEq)]
pub struct Bottle {
    /// Its key.
    pub of: String,
    /// What it is, for people.
    pub title: String,
    /// What is in it; `None` where nobody has said at a change of bottle.
    pub holds: Option<Volume>,
    /// What a part takes by the plan.
    pub planned: Volume,
    /// What whole parts took.
    pub taken: Vec<Volume>,
}

impl Bottle {
    /// So much was taken out.
    pub fn take(&mut self, used: Volume) {
        self.holds = self.holds.map(|holds| (holds - used).max(Volume::ZERO));
    }
}

/// The bottles of a job, of which nobody has said anything yet.
#[must_use]
pub fn bottles(catalogue: &Catalogue, recipe: &Recipe, flow: &GasFlow) -> Vec<Bottle> {
    let planned = flow.planned();
    let bottle = |(of, title): (String, String)| Bottle {
        planned: planned.of(&of),
        of,
        title,
        holds: None,
        taken: Vec::new(),
    };
    gases(catalogue, recipe).into_iter().map(bottle).collect()
}

/// The gases of a job, each by its key and for people: that of the spraying torch, then that of a
/// fusing torch which burns another, then oxygen.
#[must_use]
pub fn gases(catalogue: &Catalogue, recipe: &Recipe) -> Vec<(String, String)> {
    let torches = [Some(&recipe.spray.torch), recipe.fuse.as_ref().map(|fuse| &fuse.torch)];
    let mut all: Vec<(String, String)> = Vec::new();
    for key in torches.into_iter().flatten() {
        let fuel = catalogue.torch(key).and_then(|torch| catalogue.fuel_gas(&torch.fuel_gas));
        let fuel = fuel.map(|gas| (gas.key.clone(), gas.title.clone()));
        all.extend(fuel.filter(|fuel| !all.contains(fuel)));
    }
    all.push((OXYGEN.to_owned(), OXYGEN.to_owned()));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn torch(fuel_gas: &str, burning: f64, fuel: f64, oxygen: f64) -> TorchFlow {
        TorchFlow {
            fuel_gas: fuel_gas.to_owned(),
            burning: Time::from_s(burning),
            fuel: Volume::from_l(fuel),
            oxygen: Volume::from_l(oxygen),
        }
    }

    #[test]
    fn each_fuel_is_counted_for_the_time_of_the_torch_that_burns_it() {
        // 18 L/min of acetylene for 2 min, then 40 L/min of propane for 1 min.
        let flow = GasFlow {
            torches: vec![
                torch("acetylene", 120.0, 36.0, 40.0),
                torch("propane", 60.0, 40.0, 160.0),
            ],
        };
        let flowed = |seconds: f64| {
            let gases = flow.within(Time::from_s(seconds));
            [gases.of("acetylene"), gases.of("propane"), gases.of(OXYGEN)].map(Volume::l)
        };
        assert_eq!(flowed(0.0), [0.0, 0.0, 0.0]);
        assert_eq!(flowed(60.0), [18.0, 0.0, 20.0], "it was broken off while it sprayed");
        assert_eq!(flowed(180.0), [36.0, 40.0, 200.0]);
        assert_eq!(flowed(210.0), [36.0, 60.0, 280.0], "it fused longer than planned");
        assert_eq!(flow.planned().fuel(), Volume::from_l(76.0));
    }
}
