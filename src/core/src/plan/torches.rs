//! The torches of a job and their gases.

use super::problem::{Findings, Limit};
use crate::catalogue::{Catalogue, FuelGas, Torch, TorchPurpose};
use crate::quantity::Length;
use crate::recipe::Recipe;

/// Clear of a part is three standard deviations of the wider of plume and flame away from it.
const CLEAR_IN_DEVIATIONS: f64 = 3.0;

/// The torches of a job.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Torches<'a> {
    pub spray: &'a Torch,
    pub spray_gas: &'a FuelGas,
    /// The fusing torch and its gas; `None` for a coat left as sprayed.
    pub fuse: Option<(&'a Torch, &'a FuelGas)>,
}

impl<'a> Torches<'a> {
    /// Finds them in the catalogue; `None` when one is missing or for other work.
    pub(crate) fn find(
        recipe: &'a Recipe,
        catalogue: &'a Catalogue,
        findings: &mut Findings,
    ) -> Option<Self> {
        let spray = find(
            catalogue,
            &recipe.spray.torch,
            "spray, torch",
            &[TorchPurpose::Spraying, TorchPurpose::SprayingAndFusing],
            findings,
        );
        let fuse = recipe.fuse.as_ref().map(|fuse| {
            find(
                catalogue,
                &fuse.torch,
                "fuse, torch",
                &[TorchPurpose::Fusing, TorchPurpose::SprayingAndFusing],
                findings,
            )
        });
        match (spray, fuse) {
            (Some((spray, spray_gas)), None) => Some(Self { spray, spray_gas, fuse: None }),
            (Some((spray, spray_gas)), Some(Some(fuse))) => {
                Some(Self { spray, spray_gas, fuse: Some(fuse) })
            }
            (None, _) | (_, Some(None)) => None,
        }
    }

    /// How far beyond the part a torch is clear of it.
    pub(crate) fn clear_by(&self) -> Length {
        let wider = |torch: &Torch| torch.plume.max(torch.flame);
        let widest =
            self.fuse.map_or(wider(self.spray), |(fuse, _)| wider(fuse).max(wider(self.spray)));
        widest * CLEAR_IN_DEVIATIONS
    }
}

fn find<'a>(
    catalogue: &'a Catalogue,
    key: &str,
    place: &str,
    purposes: &[TorchPurpose],
    findings: &mut Findings,
) -> Option<(&'a Torch, &'a FuelGas)> {
    let Some(torch) = catalogue.torch(key) else {
        let known: Vec<&str> = catalogue.torches.iter().map(|torch| torch.key.as_str()).collect();
        findings.problem(
            Limit::Catalogue,
            place,
            format!("no torch \"{key}\" in the catalogue ({})", known.join(", ")),
            "name one of these or add it",
        );
        return None;
    };
    if !purposes.contains(&torch.purpose) {
        let purpose = match torch.purpose {
            TorchPurpose::Spraying => "spraying only",
            TorchPurpose::Fusing => "heating only",
            TorchPurpose::SprayingAndFusing => "spraying and fusing",
        };
        findings.problem(
            Limit::TorchPurpose,
            place,
            format!("{} is for {purpose}", torch.title),
            "name another torch",
        );
        return None;
    }
    let Some(gas) = catalogue.fuel_gas(&torch.fuel_gas) else {
        findings.problem(
            Limit::Catalogue,
            place,
            format!("{} burns \"{}\", which is not in the catalogue", torch.title, torch.fuel_gas),
            "add the fuel gas with its limits",
        );
        return None;
    };
    Some((torch, gas))
}
