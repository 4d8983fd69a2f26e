//! The carriage's lost motion.

use serde::Serialize;

use super::{Calibrated, START_ANEW, mean_and_spread, refuse};
use crate::coat::plume::edge_error;
use crate::document::{FieldValue, Problem};
use crate::quantity::{Fraction, Length};
use crate::rig::{AxisSpec, BACKLASH};

/// Readings of one lost motion agree within this, and within half of it where it is large
/// (arbitrary): beyond, the gauge slips or the carriage does.
const AGREE: Length = Length::from_mm(0.05);
/// A dial gauge's smallest division, to which the figure is written.
const DIVISION: f64 = 0.01;

/// Two readings of a dial gauge with the same position shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugePair {
    /// Come to moving toward the tail.
    pub toward_tail: Length,
    /// Come to moving toward the chuck.
    pub toward_chuck: Length,
}

/// What was read.
#[derive(Debug, Clone, PartialEq)]
pub struct BacklashMeasured {
    /// Pairs of readings, the gauge with either sign.
    pub pairs: Vec<GaugePair>,
}

/// What a lost motion does to a coat's edge where nobody takes it up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BacklashEffect {
    /// With the powder switched at the edge itself: share of the full thickness.
    pub at_edge: Fraction,
    /// With the overrun.
    pub at_overrun: Fraction,
}

/// What it does at an edge, with this overrun and this plume.
#[must_use]
pub fn backlash_effect(backlash: Length, overrun: Length, plume: Length) -> BacklashEffect {
    BacklashEffect {
        at_edge: edge_error(backlash, Length::ZERO, plume),
        at_overrun: edge_error(backlash, overrun, plume),
    }
}

/// The lost motion: the mean difference of the two readings of a pair.
///
/// # Errors
/// Too few pairs, pairs that contradict each other, and more than a carriage may have.
pub fn backlash(
    axis: &AxisSpec,
    measured: &BacklashMeasured,
    overrun: Length,
    plume: Length,
) -> Result<Calibrated, Box<Problem>> {
    let lost: Vec<f64> =
        measured.pairs.iter().map(|pair| (pair.toward_chuck - pair.toward_tail).mm()).collect();
    let (mean, spread) = mean_and_spread("toward_chuck", &lost)?;
    let mean = mean.abs();
    if spread > AGREE.mm().max(mean / 2.0) {
        let found = format!("the pairs differ by {}", Length::from_mm(spread));
        return refuse(
            Problem::error("toward_chuck", found)
                .accepted(format!("differences that agree within {AGREE}, or half of themselves"))
                .help("look whether the gauge is fast and its tip square, and measure again"),
        );
    }
    let lost = Length::from_mm((mean / DIVISION).round() * DIVISION);
    if !BACKLASH.hold(&lost) {
        return refuse(Problem::error("toward_chuck", format!("{lost} of lost motion"))
            .accepted(format!("up to {}", BACKLASH.high))
            .help(
                "look at the unit; if it is so, the nut or its bearing is loose or worn: mend it",
            ));
    }
    let effect = backlash_effect(lost, overrun, plume);
    let found = format!(
        "{lost} of lost motion, {} in the file; an edge where it is not taken up is off by {:.3} % of \
         the coat with {overrun} of overrun, by {:.2} % with none",
        axis.backlash,
        effect.at_overrun.percent(),
        effect.at_edge.percent()
    );
    let agrees = (lost - axis.backlash).abs().mm() < DIVISION / 2.0;
    let writes = if agrees {
        Vec::new()
    } else {
        vec![("axis.backlash".to_owned(), FieldValue::Text(lost.to_string()))]
    };
    let mut notes = vec!["take every point moving toward the tail: the plan reckons so"];
    if !agrees {
        notes.push(START_ANEW);
    }
    Ok(Calibrated { procedure: "backlash", found, writes, notes })
}
