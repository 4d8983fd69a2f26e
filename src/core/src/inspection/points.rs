//! What a measurement puts on a control chart: one figure each, from that measurement alone.
//!
//! What the next plan stands on is another thing: it is fitted to all measurements together
//! ([`learn`](crate::learn)), and moves slowly. A chart has to show what one part says.

use serde::Serialize;

use crate::learn::{
    Figures, Pair, PartMeasured, PowderDelayMeasured, RunBasis, StripeMeasured,
    deposition_efficiency,
};
use crate::quantity::{Fraction, Length, Time};

/// A figure of a torch with a powder that is followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tracked {
    /// Deposition efficiency: of a part that was weighed what its weight says, of another its build
    /// factor, which the catalogue's densities make an efficiency of.
    Efficiency,
    /// Standard deviation of the plume.
    Footprint,
    /// From the feeder's start until powder arrives.
    DelayOn,
    /// From its stop until no more does.
    DelayOff,
}

impl Tracked {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Efficiency, Self::Footprint, Self::DelayOn, Self::DelayOff];

    /// What it is called.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Efficiency => "deposition efficiency",
            Self::Footprint => "footprint",
            Self::DelayOn => "powder delay on",
            Self::DelayOff => "powder delay off",
        }
    }

    /// The unit its figures are in.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Efficiency => "%",
            Self::Footprint => "mm",
            Self::DelayOn | Self::DelayOff => "s",
        }
    }
}

/// What a part says of the efficiency; `None` when neither its diameters nor its weight say
/// anything.
#[must_use]
pub fn point_of_part(
    part: &PartMeasured,
    basis: &RunBasis,
    pair: &Pair,
    figures: &Figures,
) -> Option<Fraction> {
    by_weight(part, basis, figures).or_else(|| by_diameters(part, basis, pair, figures))
}

/// What stayed on the part, of what was fed over it.
fn by_weight(part: &PartMeasured, basis: &RunBasis, figures: &Figures) -> Option<Fraction> {
    // The weight of a part with two powders speaks of neither.
    let alone = basis.powders().len() == 1;
    let (weights, fed) = part.weights.zip(part.fed).filter(|_| alone)?;
    let share = deposition_efficiency(weights.after - weights.before, fed.mass)?;
    let lands = basis.share_that_lands(figures.footprint)?;
    (lands.ratio() > 0.0).then(|| Fraction::from_ratio(share / lands))
}

fn by_diameters(
    part: &PartMeasured,
    basis: &RunBasis,
    pair: &Pair,
    figures: &Figures,
) -> Option<Fraction> {
    let of_pair = part
        .diameters
        .iter()
        .filter(|reading| basis.zone_at(reading.at).is_some_and(|zone| zone.powder == pair.powder));
    let ratios = of_pair.filter_map(|reading| basis.build_ratio(part, reading, figures));
    let (sum, count) = ratios.fold((0.0, 0.0), |(sum, count), one| (sum + one, count + 1.0));
    (count > 0.0).then(|| figures.efficiency * (sum / count))
}

/// The footprint of a stripe: the standard deviation of the Gaussian through its readings. `None`
/// where they are no hill.
///
/// A parabola through the logarithms, each weighted by the square of its thickness, so that the
/// feet, where the gauge shows little else than itself, say little (Guo, IEEE Signal Processing
/// Magazine 28 (2011) 134, from memory).
#[must_use]
pub fn footprint_of_stripe(stripe: &StripeMeasured) -> Option<Length> {
    /// A reading below so many uncertainties of the gauge is foot.
    const SHOWS: f64 = 2.0;
    let hill = stripe.readings.iter().filter(|one| one.thickness > stripe.gauge * SHOWS);
    let (mut places, mut weights, mut logs) = (Vec::new(), Vec::new(), Vec::new());
    for reading in hill {
        let thickness = reading.thickness.mm();
        places.push(reading.at.mm());
        weights.push(thickness * thickness);
        logs.push(thickness.ln());
    }
    let all: f64 = weights.iter().sum();
    let mean = |of: &dyn Fn(usize) -> Option<f64>| -> Option<f64> {
        let mut sum = 0.0;
        for (index, weight) in weights.iter().enumerate() {
            sum += weight * of(index)?;
        }
        (all > 0.0).then(|| sum / all)
    };
    // About the weighted middle, where the first moment is zero.
    let middle = mean(&|index| places.get(index).copied())?;
    let at = |index: usize| places.get(index).map(|place| place - middle);
    let moment = |power: i32| mean(&|index| at(index).map(|x| x.powi(power)));
    let with = |power: i32| mean(&|index| Some(at(index)?.powi(power) * logs.get(index)?));
    let (m2, m3, m4) = (moment(2)?, moment(3)?, moment(4)?);
    let (l0, l1, l2) = (with(0)?, with(1)?, with(2)?);
    // Normal equations of ln t = a + b x + c x^2, solved for c.
    let determinant = m2 * (m4 - m2 * m2) - m3 * m3;
    let bend = m2 * (l2 - m2 * l0) - m3 * l1;
    let curvature = bend / determinant;
    let (low, high) = places
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| (low.min(*at), high.max(*at)));
    let footprint = (-0.5 / curvature).sqrt();
    // A hill that is wider than what was measured of it was not seen.
    (curvature < 0.0 && footprint < high - low).then(|| Length::from_mm(footprint))
}

/// The mean of the times of one delay; `None` without any.
#[must_use]
pub fn point_of_delay(measured: &PowderDelayMeasured, which: Tracked) -> Option<Time> {
    let times = match which {
        Tracked::DelayOn => &measured.on,
        Tracked::DelayOff => &measured.off,
        Tracked::Efficiency | Tracked::Footprint => return None,
    };
    let (sum, count) =
        times.iter().fold((Time::ZERO, 0.0), |(sum, count), one| (sum + *one, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::learn::ThicknessReading;
    use crate::quantity::{MassFlow, Speed};

    fn stripe(thickness: impl Fn(f64) -> f64) -> StripeMeasured {
        let places = (-6..=6).map(|place| f64::from(place) * 2.5);
        let reading = |at: f64| ThicknessReading {
            at: Length::from_mm(at),
            thickness: Length::from_mm(thickness(at)),
        };
        StripeMeasured {
            set: MassFlow::from_g_per_min(60.0),
            feed: Speed::from_mm_per_s(40.0),
            readings: places.map(reading).collect(),
            gauge: Length::from_mm(0.002),
        }
    }

    /// A Gaussian of 6.3 mm whose middle lies beside the places that were measured.
    #[test]
    fn the_footprint_of_a_true_hill_is_found_wherever_its_middle_lies() {
        let hill = stripe(|at| 0.2 * (-0.5 * ((at - 0.9) / 6.3_f64).powi(2)).exp());
        let found = footprint_of_stripe(&hill).expect("a hill").mm();
        assert!((found - 6.3).abs() < 1e-6, "{found}");
    }

    #[test]
    fn a_plain_or_a_valley_has_no_footprint() {
        assert_eq!(footprint_of_stripe(&stripe(|_| 0.1)), None);
        assert_eq!(footprint_of_stripe(&stripe(|at| 0.1 + at * at * 1e-3)), None);
        assert_eq!(footprint_of_stripe(&stripe(|_| 0.0)), None);
    }
}
