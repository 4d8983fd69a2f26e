//! The figures that can be learned, and where the catalogue says them.

use serde::{Deserialize, Serialize};

use crate::catalogue::Catalogue;
use crate::quantity::{Density, Fraction, Length};

/// A torch with a powder, by their keys in the catalogue.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Pair {
    /// The torch.
    pub torch: String,
    /// The powder.
    pub powder: String,
}

impl core::fmt::Display for Pair {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} with {}", self.torch, self.powder)
    }
}

/// One figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Share of the powder fed that stays on a wide part.
    Efficiency,
    /// Powder the feeder gives over what is set at it.
    PowderRate,
    /// Standard deviation of the plume on the part.
    Footprint,
    /// Density of the coat as sprayed.
    DensityAsSprayed,
    /// Density of the coat after fusing.
    DensityFused,
}

/// How many figures there are.
pub(super) const COUNT: usize = 5;

impl Figure {
    /// All of them, in the order the fit counts them.
    pub const ALL: [Self; COUNT] = [
        Self::Efficiency,
        Self::PowderRate,
        Self::Footprint,
        Self::DensityAsSprayed,
        Self::DensityFused,
    ];

    /// What it is called.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Efficiency => "deposition efficiency",
            Self::PowderRate => "powder rate",
            Self::Footprint => "footprint",
            Self::DensityAsSprayed => "density as sprayed",
            Self::DensityFused => "density fused",
        }
    }

    /// What it can be.
    #[must_use]
    pub const fn can_be(self) -> &'static str {
        match self {
            Self::Efficiency => "above 0 % up to 100 %",
            Self::PowderRate | Self::Footprint | Self::DensityAsSprayed => "above zero",
            Self::DensityFused => "more than as sprayed",
        }
    }

    /// One standard deviation of what a catalogue says, as a share of it, before anything was
    /// measured. All are common practice, no source: an efficiency depends on the setting of the
    /// torch, a feeder's dial on the powder in it, a plume on the nozzle's wear; a fused coat has
    /// hardly any pores, and its density is the alloy's.
    #[must_use]
    pub const fn catalogue_uncertainty(self) -> f64 {
        match self {
            Self::Efficiency => 0.07,
            Self::PowderRate => 0.05,
            Self::Footprint => 0.10,
            Self::DensityAsSprayed => 0.03,
            Self::DensityFused => 0.01,
        }
    }
}

/// The figures of a torch with a powder.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Figures {
    /// Share of the powder fed that stays on a wide part.
    pub efficiency: Fraction,
    /// Powder the feeder gives over what is set at it; 1 in a catalogue.
    pub powder_rate: Fraction,
    /// Standard deviation of the plume on the part.
    pub footprint: Length,
    /// Density of the coat as sprayed.
    pub density_as_sprayed: Density,
    /// Density of the coat after fusing.
    pub density_fused: Density,
}

impl Figures {
    /// What the catalogue says; `None` when it lacks the torch or the powder.
    #[must_use]
    pub fn of(catalogue: &Catalogue, pair: &Pair) -> Option<Self> {
        let (torch, powder) = (catalogue.torch(&pair.torch)?, catalogue.powder(&pair.powder)?);
        Some(Self {
            efficiency: powder.efficiency,
            powder_rate: Fraction::from_ratio(1.0),
            footprint: torch.plume,
            density_as_sprayed: powder.density_as_sprayed,
            density_fused: powder.density_fused,
        })
    }

    /// One of them in its base unit.
    #[must_use]
    pub const fn value(&self, figure: Figure) -> f64 {
        match figure {
            Figure::Efficiency => self.efficiency.ratio(),
            Figure::PowderRate => self.powder_rate.ratio(),
            Figure::Footprint => self.footprint.mm(),
            Figure::DensityAsSprayed => self.density_as_sprayed.g_per_cm3(),
            Figure::DensityFused => self.density_fused.g_per_cm3(),
        }
    }

    /// The same with one of them multiplied.
    #[must_use]
    pub fn times(mut self, figure: Figure, factor: f64) -> Self {
        match figure {
            Figure::Efficiency => self.efficiency = self.efficiency * factor,
            Figure::PowderRate => self.powder_rate = self.powder_rate * factor,
            Figure::Footprint => self.footprint = self.footprint * factor,
            Figure::DensityAsSprayed => self.density_as_sprayed = self.density_as_sprayed * factor,
            Figure::DensityFused => self.density_fused = self.density_fused * factor,
        }
        self
    }

    /// How a figure differs from the same one of `other`: -0.1 for a tenth less.
    #[must_use]
    pub fn change_from(&self, other: &Self, figure: Figure) -> f64 {
        self.value(figure) / other.value(figure) - 1.0
    }

    /// The first figure that no coat can have, if one has: no more stays than is fed, and pores
    /// make it lighter. What is no number at all cannot be either.
    #[must_use]
    pub fn impossible(&self) -> Option<Figure> {
        let above_zero =
            |figure: Figure| self.value(figure) > 0.0 && self.value(figure).is_finite();
        Figure::ALL.into_iter().find(|figure| {
            !above_zero(*figure)
                || match figure {
                    Figure::Efficiency => self.efficiency.ratio() > 1.0,
                    Figure::DensityFused => self.density_as_sprayed >= self.density_fused,
                    Figure::PowderRate | Figure::Footprint | Figure::DensityAsSprayed => false,
                }
        })
    }

    /// A figure in words, with its unit.
    #[must_use]
    pub fn told(&self, figure: Figure) -> String {
        let value = self.value(figure);
        match figure {
            _ if !value.is_finite() => "no number".to_owned(),
            Figure::Efficiency | Figure::PowderRate => format!("{:.1} %", value * 100.0),
            Figure::Footprint => format!("{value:.2} mm"),
            Figure::DensityAsSprayed | Figure::DensityFused => format!("{value:.2} g/cm3"),
        }
    }
}
