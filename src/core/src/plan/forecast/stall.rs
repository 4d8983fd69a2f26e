//! What a flame does that comes to stand over one place, under each torch.

use serde::Serialize;

use super::{Basis, FusingForecast};
use crate::plan::rest::{self, RestLimits, STALL_RISE, Standing};
use crate::program::{Program, Step};
use crate::quantity::{Length, TemperatureStep, Time};

/// Which flame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Flame {
    /// At the gas setting of preheat and spraying.
    Spraying,
    /// At that of fusing.
    Fusing,
}

impl Flame {
    /// For people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Spraying => "spraying flame",
            Self::Fusing => "fusing flame",
        }
    }
}

/// A carriage that stalls under a flame, where the part is thinnest and as hot as it gets.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StallForecast {
    /// Under which flame.
    pub flame: Flame,
    /// The thinnest diameter that it goes over.
    pub diameter: Length,
    /// When the surface is [`STALL_RISE`] hotter.
    pub too_hot: Time,
    /// When the interlock shuts the gas at the latest: the plan's own figure or the rig's.
    pub shut_after: Time,
    /// How much hotter the surface is by then.
    pub rise: TemperatureStep,
}

/// Of a job: the spraying flame, then the fusing one where it is fused.
pub(super) fn stalls(
    basis: &Basis<'_>,
    program: &Program,
    fused: &[FusingForecast],
) -> Vec<StallForecast> {
    let (recipe, torches) = (basis.recipe, basis.torches);
    let part = &recipe.part;
    let limit = RestLimits::of(basis.rig).flame;
    let told = |flame, standing: Standing<'_>, thinnest: Option<Length>, place: usize| {
        let diameter = thinnest?;
        let shut_after = program.torches.get(place)?.longest_rest.min(limit);
        let over = standing.over(diameter);
        let (too_hot, rise) = (over.time_to(STALL_RISE), over.rise(shut_after));
        Some(StallForecast { flame, diameter, too_hot, shut_after, rise })
    };
    let sprayed = program.steps.iter().filter_map(|step| match step {
        Step::Spray(step) => Some(step),
        _ => None,
    });
    let torch = torches.spray;
    let standing = Standing { part, torch, gas: &torch.spraying, hot: recipe.spray.window.high };
    let spraying = told(Flame::Spraying, standing, rest::thinnest(part, rest::ways(sprayed)), 0);
    let fusing = torches.fuse.zip(recipe.fuse.as_ref()).and_then(|((torch, _), fuse)| {
        let place = program.steps.iter().find_map(|step| match step {
            Step::Fuse(step) => Some(step.torch),
            _ => None,
        })?;
        let bands = fused.iter().flat_map(|zone| zone.bands.iter().map(|band| band.band.travel));
        let standing = Standing { part, torch, gas: &torch.fusing, hot: fuse.window.high };
        told(Flame::Fusing, standing, rest::thinnest(part, bands), place)
    });
    spraying.into_iter().chain(fusing).collect()
}
