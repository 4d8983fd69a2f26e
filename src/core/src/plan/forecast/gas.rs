//! Gas: flow times the time a torch burns, lighting, preheat and fusing included.

use serde::Serialize;

use super::{Basis, StepForecast};
use crate::catalogue::FuelGas;
use crate::program::Program;
use crate::quantity::{Fraction, Time, Volume, VolumeFlow};

/// Share of an acetylene cylinder's contents drawn in an hour by a flame that burns now and
/// then (common rule of the gas trade, from memory); a supplier's own figure counts before it.
pub const DRAW_INTERMITTENT: Fraction = Fraction::from_ratio(1.0 / 10.0);
/// The same for one that burns without a pause.
pub const DRAW_CONTINUOUS: Fraction = Fraction::from_ratio(1.0 / 15.0);

/// The contents that give a flow steadily at a share of them in an hour.
#[must_use]
pub fn contents_for(flow: VolumeFlow, share: Fraction) -> Volume {
    Volume::from_l(flow.l_per_min() * 60.0 / share.ratio())
}

/// Contents that must be on the manifold so that the draw stays within its rule.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CylinderNeed {
    /// By the catalogue's share in an hour.
    pub by_catalogue: Volume,
    /// At a tenth in an hour: a flame that burns now and then.
    pub intermittent: Volume,
    /// At a fifteenth: one that burns without a pause.
    pub continuous: Volume,
}

/// Gas that one torch burns at one setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct GasUse {
    /// The torch.
    pub torch: String,
    /// The fuel gas.
    pub fuel_gas: String,
    /// How long it burns, lighting included.
    pub burning: Time,
    /// Flow of the fuel.
    pub fuel_flow: VolumeFlow,
    /// Fuel.
    pub fuel: Volume,
    /// Oxygen.
    pub oxygen: Volume,
    /// What the draw needs; `None` for a gas without a limit of draw.
    pub cylinders: Option<CylinderNeed>,
}

/// Gas by the program's torches.
pub(super) fn uses(basis: &Basis<'_>, program: &Program, steps: &[StepForecast]) -> Vec<GasUse> {
    let mut lit_before: Option<&str> = None;
    let mut uses = Vec::new();
    for (place, torch) in program.torches.iter().enumerate() {
        let burning: Time = steps
            .iter()
            .filter_map(|step| step.flame)
            .filter(|(used, _)| *used == place)
            .map(|(_, time)| time)
            .sum();
        // A torch that goes on with another setting is not lit again.
        let lighting = if lit_before == Some(torch.key.as_str()) {
            Time::ZERO
        } else {
            torch.lighting.trial + torch.lighting.proving
        };
        lit_before = Some(&torch.key);
        let lit = burning + lighting;
        let of = |flow: VolumeFlow| Volume::from_l(flow.l_per_min() * lit.s() / 60.0);
        let gas =
            basis.catalogue.torch(&torch.key).and_then(|t| basis.catalogue.fuel_gas(&t.fuel_gas));
        uses.push(GasUse {
            torch: torch.title.clone(),
            fuel_gas: gas.map_or_else(String::new, |gas| gas.title.clone()),
            burning: lit,
            fuel_flow: torch.gas.fuel,
            fuel: of(torch.gas.fuel),
            oxygen: of(torch.gas.oxygen),
            cylinders: gas.and_then(|gas| cylinders(gas, torch.gas.fuel)),
        });
    }
    uses
}

fn cylinders(gas: &FuelGas, flow: VolumeFlow) -> Option<CylinderNeed> {
    let share = gas.draw_per_hour.filter(|share| share.ratio() > 0.0)?;
    Some(CylinderNeed {
        by_catalogue: contents_for(flow, share),
        intermittent: contents_for(flow, DRAW_INTERMITTENT),
        continuous: contents_for(flow, DRAW_CONTINUOUS),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The gas trade's rule of a seventh, from memory: 14.29 L/min need 6 m3, 19.05
    /// need 8 m3, so 18 L/min need more than one of 6 m3.
    #[test]
    fn a_cylinder_gives_its_share_in_an_hour() {
        let seventh = Fraction::from_ratio(1.0 / 7.0);
        for (flow, contents) in [(14.285_714, 6000.0), (19.047_619, 8000.0), (18.0, 7560.0)] {
            let found = contents_for(VolumeFlow::from_l_per_min(flow), seventh).l();
            assert!((found - contents).abs() < 1e-3, "{flow}: {found}");
        }
        let flow = VolumeFlow::from_l_per_min(18.0);
        assert!((contents_for(flow, DRAW_CONTINUOUS).l() - 16_200.0).abs() < 1e-9);
    }
}
