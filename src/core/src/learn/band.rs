//! How far off a forecast may be, and by what.

use serde::Serialize;

use super::basis::Finish;
use super::coats::CoatsMeasured;
use super::figures::Figure;
use super::knowledge::{Knowledge, Known};
use super::rows::{PART_TO_PART, build_weights};
use crate::coat::plume::capture;
use crate::quantity::{Fraction, Length};

/// Step of the slope along the footprint.
const STEP: f64 = 1e-3;

/// What makes a forecast uncertain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    /// A figure that is not known better.
    Figure(Figure),
    /// One part differs from the next.
    PartToPart,
}

impl Cause {
    /// What it is called.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Figure(figure) => figure.title(),
            Self::PartToPart => "the scatter from part to part",
        }
    }
}

/// One standard deviation of a thickness, as a share of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Band {
    /// In the middle of a zone.
    pub within: Fraction,
    /// What has the largest share in it.
    pub mostly: Cause,
    /// That share of the variance.
    pub share: Fraction,
    /// Whether a coat of this torch with this powder was ever measured.
    pub calibrated: Known,
    /// On what it was measured.
    pub coats: CoatsMeasured,
}

impl Band {
    /// Of the thickness in the middle of a zone of this diameter: every place of it has the band
    /// of the build factor; what the part catches of the plume depends on the footprint too.
    #[must_use]
    pub fn of(knowledge: &Knowledge, diameter: Length, finish: Finish) -> Self {
        let plume = knowledge.most_likely().footprint;
        let caught = |footprint: Length| capture(diameter, footprint).ratio().ln();
        let slope = (caught(plume * (1.0 + STEP)) - caught(plume * (1.0 - STEP))) / (2.0 * STEP);
        let mut weights = build_weights(finish);
        if let Some(weight) = weights.get_mut(Figure::Footprint as usize) {
            *weight = slope;
        }
        let scatter = PART_TO_PART * PART_TO_PART;
        let shares = knowledge.shares_of(weights);
        let variance = shares.iter().sum::<f64>() + scatter;
        let (mostly, share) = Figure::ALL
            .iter()
            .zip(shares)
            .map(|(figure, share)| (Cause::Figure(*figure), share))
            .fold(
                (Cause::PartToPart, scatter),
                |most, next| if next.1 > most.1 { next } else { most },
            );
        Self {
            within: Fraction::from_ratio(variance.sqrt()),
            mostly,
            share: Fraction::from_ratio(share / variance),
            calibrated: knowledge.coat_measured,
            coats: knowledge.coats,
        }
    }
}

impl core::fmt::Display for Band {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(
            f,
            "± {:.1} % (one sigma, {}), most of it {}",
            self.within.percent(),
            self.coats,
            self.mostly.title()
        )
    }
}
