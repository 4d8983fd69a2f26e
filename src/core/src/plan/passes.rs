//! Feed of a zone and number of its passes.

use serde::Serialize;

use super::outline::Outline;
use crate::coat::deposit::{Deposit, area_of, build_of};
use crate::coat::plume::capture;
use crate::program::FeedPoint;
use crate::quantity::{Fraction, Length, Pitch, Range, Speed, SpindleSpeed};
use crate::recipe::FeedChoice;

/// Most passes a zone may take (arbitrary: far beyond any coat of the trade, it catches a slip
/// in a unit before it fills the memory).
pub const MOST_PASSES: u32 = 500;

/// Passes a coat needs, told three ways, and how many are planned.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PassCount {
    /// Radial thickness to spray: finish and allowance over one less the shrink.
    pub required: Length,
    /// As if the part stayed thin: required thickness over thickness per pass.
    pub thin: f64,
    /// On the growing radius.
    pub with_growth: f64,
    /// On the growing radius, with the shrink too counted by area: this one is rounded up.
    pub by_area: f64,
    /// Planned.
    pub planned: u32,
}

impl PassCount {
    /// What a coat needs.
    ///
    /// `wanted` is the radial thickness after fusing, `area_per_pass` the cross-section of coat
    /// (mm2) that a pass adds; `insisted` is the recipe's own number.
    pub(crate) fn new(
        diameter: Length,
        wanted: Length,
        shrink: Fraction,
        area_per_pass: f64,
        insisted: Option<u32>,
    ) -> Self {
        let left = 1.0 - shrink.ratio();
        let required = wanted / left;
        let per_pass = area_per_pass / (core::f64::consts::PI * diameter.mm());
        let by_area = area_of(diameter, wanted) / left / area_per_pass;
        // A count that is whole but for rounding is whole.
        let needed = (by_area - 1e-9).ceil().clamp(1.0, f64::from(MOST_PASSES) + 1.0);
        Self {
            required,
            thin: required.mm() / per_pass,
            with_growth: area_of(diameter, required) / area_per_pass,
            by_area,
            planned: insisted.unwrap_or_else(|| whole(needed)),
        }
    }
}

/// A small whole number as such.
fn whole(value: f64) -> u32 {
    (0..=MOST_PASSES + 1).find(|count| f64::from(*count) >= value).unwrap_or(MOST_PASSES + 1)
}

/// The feed along a zone.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ZoneFeed {
    /// By rising position; one point where the feed is the same all along.
    pub points: Vec<FeedPoint>,
    /// Slowest and fastest.
    pub range: Range<Speed>,
    /// At the mean diameter.
    pub mean: Speed,
}

/// The feed that makes the coat even along the outline: proportional to what the part catches
/// there over its diameter, and right at the mean diameter.
pub(crate) fn feed_along(outline: &Outline, reference: Speed, plume: Length) -> ZoneFeed {
    let diameters = outline.diameters();
    let mean = (diameters.low + diameters.high) / 2.0;
    let share = |diameter: Length| capture(diameter, plume).ratio() / diameter.mm();
    if diameters.low == diameters.high {
        let points = outline.stations().first().map(|p| FeedPoint { at: p.at, feed: reference });
        return ZoneFeed {
            points: points.into_iter().collect(),
            range: Range { low: reference, high: reference },
            mean: reference,
        };
    }
    let at = |diameter: Length| reference * (share(diameter) / share(mean));
    let points = outline
        .stations()
        .iter()
        .map(|point| FeedPoint { at: point.at, feed: at(point.diameter) })
        .collect();
    ZoneFeed {
        points,
        range: Range { low: at(diameters.high), high: at(diameters.low) },
        mean: reference,
    }
}

/// The feed at the mean diameter as the recipe chooses it. `deposit` is that of the mean
/// diameter; `slant` the surface along the zone over its length.
pub(crate) fn reference_feed(
    choice: FeedChoice,
    spindle: SpindleSpeed,
    deposit: &Deposit,
    diameter: Length,
    slant: f64,
) -> Speed {
    match choice {
        FeedChoice::Pitch(pitch) => {
            Speed::from_mm_per_s(pitch.mm_per_turn() * spindle.rpm() / 60.0)
        }
        FeedChoice::Feed(feed) => feed,
        FeedChoice::ThicknessPerPass(thickness) => deposit.feed_for(thickness * slant, diameter),
    }
}

/// Travel for each turn at a feed.
pub(crate) fn pitch_of(feed: Speed, spindle: SpindleSpeed) -> Pitch {
    Pitch::from_mm_per_turn(feed.mm_per_s() * 60.0 / spindle.rpm())
}

/// Radial build after each pass.
pub(crate) fn build_up(diameter: Length, area_per_pass: f64, passes: u32) -> Vec<Length> {
    (1..=passes).map(|pass| build_of(diameter, area_per_pass * f64::from(pass))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn count(wanted: f64, insisted: Option<u32>) -> PassCount {
        let area = 3.935_467_6 * core::f64::consts::PI;
        PassCount::new(mm(50.0), mm(wanted), Fraction::from_ratio(0.18), area, insisted)
    }

    /// Computed here from the mass balance: 0.55 mm after fusing.
    #[test]
    fn passes_are_counted_on_the_growing_radius_and_rounded_up() {
        let found = count(0.55, None);
        assert!((found.required.mm() - 0.6707).abs() < 5e-5, "{}", found.required);
        assert!((found.thin - 8.52).abs() < 0.005, "{}", found.thin);
        assert!((found.with_growth - 8.64).abs() < 0.005, "{}", found.with_growth);
        assert!((found.by_area - 8.6154).abs() < 5e-4, "{}", found.by_area);
        assert_eq!(found.planned, 9);
    }

    /// Computed here from the mass balance: 0.80 + 0.25 mm after fusing.
    #[test]
    fn a_thicker_coat_needs_seventeen_passes() {
        let found = count(1.05, None);
        assert!((found.required.mm() - 1.28049).abs() < 5e-6, "{}", found.required);
        assert!((found.thin - 16.27).abs() < 0.005, "{}", found.thin);
        assert!((found.by_area - 16.61).abs() < 0.005, "{}", found.by_area);
        assert_eq!(found.planned, 17);
    }

    #[test]
    fn a_recipe_may_insist_on_a_number() {
        assert_eq!(count(0.55, Some(6)).planned, 6);
    }

    #[test]
    fn a_count_without_end_stops_one_beyond_the_most() {
        assert_eq!(count(1e9, None).planned, MOST_PASSES + 1);
    }
}
