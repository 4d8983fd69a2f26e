//! What of a zone can be fused at a time, and where the flame can turn meanwhile.
//!
//! A flame over the middle of what is to wet leaves its ends behind: past the zone's end heat flows
//! off into the cold part, and the coat ahead is colder than the coat in hand. So the flame goes past
//! the zone's ends, and ahead of the coat in hand.

use crate::program::FuseBand;
use crate::quantity::{Length, Range};
use crate::recipe::End;

/// Lengths of a band that are tried, in standard deviations of the flame; the longest first, which a
/// person calls wet least often. Arbitrary.
const LENGTHS: [f64; 6] = [8.0, 4.0, 2.5, 2.0, 1.5, 1.0];
/// How far the flame goes past a zone's end, or ahead of the coat in hand, in its standard
/// deviations. Arbitrary.
const BEYOND: [f64; 4] = [1.0, 1.5, 2.0, 3.0];
/// How far it stays away from the end of the coat in hand that was fused before, as a share of that
/// coat: the flame goes over most of what a person watches. Arbitrary.
const BEHIND: [f64; 2] = [0.0, 0.5];

/// Farthest that a flame goes past a zone's end.
pub(crate) fn farthest(flame: Length, overrun: Option<Length>) -> Length {
    let ahead = BEYOND.iter().copied().fold(0.0, f64::max);
    overrun.unwrap_or(Length::ZERO).max(flame * ahead)
}

/// A zone as it is fused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fused {
    /// Its edges.
    pub edges: Range<Length>,
    /// Which end is first.
    pub starts: End,
    /// Standard deviation of the flame.
    pub flame: Length,
    /// Where the torch may travel.
    pub travel: Range<Length>,
    /// Length of a band, if the recipe names one.
    pub band: Option<Length>,
    /// How far the flame goes past the zone's ends, if the recipe names it.
    pub overrun: Option<Length>,
}

impl Fused {
    /// Lengths of the next band, the longest first: whole shares of what is left.
    pub(crate) fn lengths(&self, done: Length) -> Vec<Length> {
        let left = self.edges.high - self.edges.low - done;
        let share = |longest: Length| {
            // What is whole bands but for rounding gets no sliver more.
            let count = (left / longest - 1e-9).ceil().max(1.0);
            left / count
        };
        let wished = self.band.filter(|band| *band > Length::ZERO);
        let mut lengths: Vec<Length> = match wished {
            Some(band) => vec![share(band)],
            None => LENGTHS.iter().map(|sigmas| share(self.flame * *sigmas)).collect(),
        };
        lengths.dedup();
        lengths
    }

    /// Where the flame can turn for a band of a length that begins where `done` of the zone is fused.
    pub(crate) fn bands(&self, done: Length, length: Length) -> Vec<FuseBand> {
        let whole = self.edges.high - self.edges.low;
        let past = |sigmas: &[f64]| -> Vec<Length> {
            let tried = || sigmas.iter().map(|sigmas| self.flame * *sigmas).collect();
            self.overrun.map_or_else(tried, |overrun| vec![overrun])
        };
        let is_last = done + length >= whole - self.flame * 1e-6;
        let before: Vec<Length> = if done <= Length::ZERO {
            past(&BEYOND).into_iter().map(|overrun| Length::ZERO - overrun).collect()
        } else {
            BEHIND.iter().map(|share| length * *share).collect()
        };
        let after: Vec<Length> = if is_last {
            past(&BEYOND)
        } else {
            BEYOND.iter().map(|sigmas| self.flame * *sigmas).collect()
        };
        let mut bands = Vec::new();
        for before in &before {
            for after in &after {
                let coat = self.stretch(done, done + length);
                let travel = self.reached(self.stretch(done + *before, done + length + *after));
                // A shorter one is a flame that all but stands.
                if travel.high - travel.low >= self.flame {
                    bands.push(FuseBand::new(coat, travel));
                }
            }
        }
        if bands.is_empty() {
            let coat = self.stretch(done, done + length);
            bands.push(FuseBand::new(coat, self.reached(coat)));
        }
        bands
    }

    /// From one distance off the starting end to another.
    fn stretch(&self, from: Length, to: Length) -> Range<Length> {
        match self.starts {
            End::ChuckSide => Range { low: self.edges.low + from, high: self.edges.low + to },
            End::TailSide => Range { low: self.edges.high - to, high: self.edges.high - from },
        }
    }

    /// As much of it as the carriage reaches.
    fn reached(&self, wished: Range<Length>) -> Range<Length> {
        let low = wished.low.max(self.travel.low).min(wished.high);
        Range { low, high: wished.high.min(self.travel.high).max(low) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn range(low: f64, high: f64) -> Range<Length> {
        Range { low: mm(low), high: mm(high) }
    }

    fn zone(starts: End) -> Fused {
        Fused {
            edges: range(100.0, 220.0),
            starts,
            flame: mm(15.0),
            travel: range(0.0, 600.0),
            band: None,
            overrun: None,
        }
    }

    #[test]
    fn bands_are_whole_shares_of_the_zone_and_the_longest_is_tried_first() {
        let found = zone(End::TailSide).lengths(Length::ZERO);
        assert_eq!(found, [120.0, 60.0, 30.0, 20.0, 15.0].map(mm));
        let wished = Fused { band: Some(mm(50.0)), ..zone(End::TailSide) };
        assert_eq!(wished.lengths(Length::ZERO), [mm(40.0)]);
        assert_eq!(wished.lengths(mm(80.0)), [mm(40.0)]);
    }

    #[test]
    fn the_flame_turns_past_the_ends_of_the_zone_and_ahead_of_the_coat_in_hand() {
        for starts in [End::TailSide, End::ChuckSide] {
            let zone = zone(starts);
            // What is on the zone's way in and ahead of the coat, from the starting end.
            let seen = |range: Range<Length>| match starts {
                End::ChuckSide => (range.low - mm(100.0), range.high - mm(100.0)),
                End::TailSide => (mm(220.0) - range.high, mm(220.0) - range.low),
            };
            for (done, past) in [(0.0, true), (40.0, false), (80.0, false)] {
                for band in zone.bands(mm(done), mm(40.0)) {
                    assert_eq!(seen(band.coat), (mm(done), mm(done + 40.0)));
                    let (from, to) = seen(band.travel);
                    assert_eq!(from < mm(done), past, "{band:?}");
                    assert!(to >= mm(done + 40.0 + 15.0), "{band:?}");
                }
            }
        }
    }

    #[test]
    fn the_flame_turns_where_the_carriage_still_reaches() {
        let short = Fused { travel: range(90.0, 225.0), ..zone(End::TailSide) };
        for band in short.bands(Length::ZERO, mm(120.0)) {
            assert_eq!(band.travel, range(90.0, 225.0));
        }
        let narrow = Fused { edges: range(100.0, 104.0), overrun: Some(mm(0.0)), ..short };
        let found = narrow.bands(Length::ZERO, mm(4.0));
        assert_eq!(found, [FuseBand::new(range(100.0, 104.0), range(100.0, 104.0))]);
    }
}
