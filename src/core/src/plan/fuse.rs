//! The bands in which a zone is fused.

use crate::quantity::{Length, Range};
use crate::recipe::End;

/// The bands of a zone in the order they are fused: each of the given width, from the starting
/// end on. The last one ends at the zone's edge and overlaps the one before it as far as the
/// zone is not a whole number of bands: what is molten twice is no harm, a sliver that cannot be
/// oscillated over would be one. A zone shorter than a band is one band.
#[must_use]
pub fn bands(zone: Range<Length>, band: Length, starts: End) -> Vec<Range<Length>> {
    let length = zone.high - zone.low;
    if length <= band || band <= Length::ZERO {
        return vec![zone];
    }
    // A zone that is whole bands but for rounding gets no sliver more.
    let count = (length / band - 1e-9).ceil();
    let mut bands = Vec::new();
    let mut index = 0.0;
    while index < count {
        let offset = (band * index).min(length - band);
        bands.push(match starts {
            End::ChuckSide => Range { low: zone.low + offset, high: zone.low + offset + band },
            End::TailSide => Range { low: zone.high - offset - band, high: zone.high - offset },
        });
        index += 1.0;
    }
    bands
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range(low: f64, high: f64) -> Range<Length> {
        Range { low: Length::from_mm(low), high: Length::from_mm(high) }
    }

    #[test]
    fn bands_cover_the_zone_from_the_starting_end_and_the_last_ends_at_its_edge() {
        let zone = range(100.0, 220.0);
        let found = bands(zone, Length::from_mm(50.0), End::TailSide);
        assert_eq!(found, [range(170.0, 220.0), range(120.0, 170.0), range(100.0, 150.0)]);
        let found = bands(zone, Length::from_mm(40.0), End::ChuckSide);
        assert_eq!(found, [range(100.0, 140.0), range(140.0, 180.0), range(180.0, 220.0)]);
        assert_eq!(bands(zone, Length::from_mm(200.0), End::ChuckSide), [zone]);
    }
}
