//! Checks while a part is set up: does it agree with the recipe, and are its taught edges
//! believable.

use core::fmt;

use serde::Serialize;

use crate::quantity::{Fraction, Length, Range, SpindleSpeed};
use crate::recipe::{Part, Zone};

/// How far a measured diameter may be from the recipe's (common practice, no source).
pub const DIAMETER_TOLERANCE: Length = Length::from_mm(1.0);
/// How far a taught length may be from the recipe's (common practice, no source).
pub const LENGTH_TOLERANCE: Length = Length::from_mm(2.0);
/// Shortest zone in standard deviations of the plume: shorter, both edges fall off into each
/// other.
pub const SHORTEST_ZONE_IN_PLUMES: f64 = 2.0;
/// Longest zone in standard deviations of the plume (arbitrary: 30 m with a plume of 6 mm, which is
/// planned in two seconds; it catches a slip in a unit before it fills the memory).
pub const LONGEST_ZONE_IN_PLUMES: f64 = 5000.0;

/// What was compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Compared {
    /// The diameter in the middle of the zone.
    Diameter,
    /// The length of the zone.
    Length,
}

/// One disagreement between recipe and part, beyond its tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Disagreement {
    /// Of what.
    pub of: Compared,
    /// What the recipe says.
    pub recipe: Length,
    /// What was measured or taught.
    pub found: Length,
    /// How far apart they may be.
    pub tolerance: Length,
}

impl Disagreement {
    /// How far the part is from the recipe, relative to the recipe.
    #[must_use]
    pub fn relative(&self) -> Fraction {
        Fraction::from_ratio(self.found / self.recipe - 1.0)
    }
}

impl fmt::Display for Disagreement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self.of {
            Compared::Diameter => "diameter",
            Compared::Length => "length of the zone",
        };
        write!(
            f,
            "{name}: the recipe says {}, the part has {} ({:+.1} %, {} allowed); take the recipe \
             of this part or measure again",
            self.recipe,
            self.found,
            self.relative().percent(),
            self.tolerance
        )
    }
}

/// Compares a measured diameter (cold, in the middle of the zone) and taught edges with the
/// recipe. Empty when they agree.
#[must_use]
pub fn compare_with_measured(
    part: &Part,
    zone: &Zone,
    diameter: Length,
    taught: Range<Length>,
) -> Vec<Disagreement> {
    let pairs = [
        (
            Compared::Diameter,
            part.diameter_at((zone.from + zone.to) / 2.0),
            diameter,
            DIAMETER_TOLERANCE,
        ),
        (Compared::Length, zone.to - zone.from, taught.high - taught.low, LENGTH_TOLERANCE),
    ];
    pairs
        .into_iter()
        .map(|(of, recipe, found, tolerance)| Disagreement { of, recipe, found, tolerance })
        .filter(|pair| {
            let apart = (pair.found - pair.recipe).abs();
            // A difference that is no number agrees with nothing.
            apart > pair.tolerance || apart.mm().is_nan()
        })
        .collect()
}

/// How far a measured spindle speed may be from the planned one before a flame is lit, relative
/// (common practice, no source).
pub const SPINDLE_TOLERANCE: Fraction = Fraction::from_ratio(0.05);

/// A spindle that does not turn as planned: a lever in another place, or a slipping belt.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WrongSpindle {
    /// As planned.
    pub planned: SpindleSpeed,
    /// As measured.
    pub measured: SpindleSpeed,
}

impl fmt::Display for WrongSpindle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "measured {:.0}, planned {} ({:+.0} %, {:.0} allowed); set the lever or look at the \
             belt",
            self.measured,
            self.planned,
            (self.measured / self.planned - 1.0) * 100.0,
            SPINDLE_TOLERANCE.percent()
        )
    }
}

impl core::error::Error for WrongSpindle {}

/// Compares the measured spindle speed with the planned one, before any flame.
///
/// # Errors
/// [`WrongSpindle`] beyond [`SPINDLE_TOLERANCE`]; a measurement that is no number is beyond it.
pub fn check_spindle(planned: SpindleSpeed, measured: SpindleSpeed) -> Result<(), WrongSpindle> {
    let apart = (measured / planned - 1.0).abs();
    if apart <= SPINDLE_TOLERANCE.ratio() {
        Ok(())
    } else {
        Err(WrongSpindle { planned, measured })
    }
}

/// In which order two edges were taught.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TeachOrder {
    /// Chuck side first.
    AsTaken,
    /// Tail side first: swapped when stored, and said so.
    Swapped,
}

/// Two taught edges in order.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TaughtZone {
    /// The edges.
    pub edges: Range<Length>,
    /// How they were taken.
    pub order: TeachOrder,
}

/// Why two taught edges are refused.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TaughtTooShort {
    /// What lies between them.
    pub length: Length,
    /// The least.
    pub shortest: Length,
}

impl fmt::Display for TaughtTooShort {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the two taught edges are {} apart, a zone needs at least {} (two standard \
             deviations of the plume); take both edges again",
            self.length, self.shortest
        )
    }
}

impl core::error::Error for TaughtTooShort {}

/// A zone from two taught edges, in whichever order they were taken.
///
/// # Errors
/// [`TaughtTooShort`] when they are the same place or nearer than two standard deviations of
/// the plume.
pub fn taught_zone(
    first: Length,
    second: Length,
    plume: Length,
) -> Result<TaughtZone, TaughtTooShort> {
    let length = (second - first).abs();
    let shortest = plume * SHORTEST_ZONE_IN_PLUMES;
    if length > Length::ZERO && length >= shortest {
        let order = if first < second { TeachOrder::AsTaken } else { TeachOrder::Swapped };
        let edges = Range { low: first.min(second), high: first.max(second) };
        return Ok(TaughtZone { edges, order });
    }
    Err(TaughtTooShort { length, shortest })
}

#[cfg(test)]
mod tests {
    use super::super::support;
    use super::*;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn range(low: f64, high: f64) -> Range<Length> {
        Range { low: mm(low), high: mm(high) }
    }

    #[test]
    fn a_wrong_recipe_is_told_by_diameter_and_length() {
        let part = support::part(&[(0.0, 80.0), (400.0, 80.0)]);
        let zone = support::zone(100.0, 280.0);
        let found = compare_with_measured(&part, &zone, mm(50.0), range(100.0, 220.0));
        let told: Vec<(Compared, String)> = found
            .iter()
            .map(|pair| (pair.of, format!("{:.1}", pair.relative().percent())))
            .collect();
        assert_eq!(
            told,
            [(Compared::Diameter, "-37.5".to_owned()), (Compared::Length, "-33.3".to_owned())]
        );
    }

    #[test]
    fn a_lever_in_the_wrong_place_is_refused_before_any_flame() {
        let planned = SpindleSpeed::from_rpm(125.0);
        let found = check_spindle(planned, SpindleSpeed::from_rpm(180.2)).expect_err("180 for 125");
        assert!(found.to_string().starts_with("measured 180 rpm, planned 125 rpm (+44 %"));
        assert_eq!(check_spindle(planned, SpindleSpeed::from_rpm(131.0)), Ok(()));
        assert!(check_spindle(planned, SpindleSpeed::from_rpm(118.0)).is_err());
        assert!(check_spindle(planned, SpindleSpeed::from_rpm(f64::NAN)).is_err());
    }

    #[test]
    fn a_part_inside_the_tolerances_agrees() {
        let part = support::part(&[(0.0, 50.0), (300.0, 50.0)]);
        let zone = support::zone(100.0, 220.0);
        assert!(compare_with_measured(&part, &zone, mm(50.9), range(101.0, 222.9)).is_empty());
        assert_eq!(compare_with_measured(&part, &zone, mm(51.1), range(100.0, 222.1)).len(), 2);
        let nothing = mm(f64::NAN);
        assert_eq!(compare_with_measured(&part, &zone, nothing, range(100.0, 220.0)).len(), 1);
    }

    #[test]
    fn edges_taught_in_the_wrong_order_are_swapped_and_said_so() {
        let found = taught_zone(mm(220.0), mm(100.0), mm(6.0)).expect("far enough apart");
        assert_eq!(found.edges, range(100.0, 220.0));
        assert_eq!(found.order, TeachOrder::Swapped);
        let found = taught_zone(mm(100.0), mm(220.0), mm(6.0)).expect("far enough apart");
        assert_eq!(found.order, TeachOrder::AsTaken);
    }

    #[test]
    fn edges_at_one_place_or_nearer_than_two_sigma_are_refused() {
        assert!(taught_zone(mm(220.0), mm(220.0), mm(6.0)).is_err());
        assert!(taught_zone(mm(220.0), mm(220.0), Length::ZERO).is_err());
        assert!(taught_zone(mm(100.0), mm(111.9), mm(6.0)).is_err());
        assert!(taught_zone(mm(100.0), mm(112.0), mm(6.0)).is_ok());
        assert!(taught_zone(mm(f64::NAN), mm(112.0), mm(6.0)).is_err());
    }
}
