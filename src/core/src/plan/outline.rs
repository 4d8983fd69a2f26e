//! The part's outline inside a zone.

use crate::quantity::{Fraction, Length, Range};
use crate::recipe::{Part, ProfilePoint};

/// The outline of one zone: its points in rising order, both edges included.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Outline {
    points: Vec<ProfilePoint>,
}

impl Outline {
    /// The outline between two edges, each edge with the diameter of the zone's own side.
    pub(crate) fn of(part: &Part, edges: Range<Length>) -> Self {
        let inside = part.profile.iter().filter(|p| edges.low < p.at && p.at < edges.high);
        let first = ProfilePoint { at: edges.low, diameter: part.diameter_at(edges.low) };
        let last = ProfilePoint { at: edges.high, diameter: diameter_before(part, edges.high) };
        let points =
            core::iter::once(first).chain(inside.copied()).chain(core::iter::once(last)).collect();
        Self { points }
    }

    /// The straight pieces, chuck side first.
    fn pieces(&self) -> impl Iterator<Item = (ProfilePoint, ProfilePoint)> {
        self.points.iter().copied().zip(self.points.iter().copied().skip(1))
    }

    /// Where the diameter jumps inside the zone, and how far the thickness jumps with it: the
    /// same powder on both sides, `(R1 - R2) / (R1 + R2)` to either side of the mean.
    pub(crate) fn steps(&self) -> impl Iterator<Item = (Length, Fraction)> {
        self.pieces().filter(|(a, b)| a.at == b.at && a.diameter != b.diameter).map(|(a, b)| {
            let jump = (a.diameter - b.diameter).abs() / (a.diameter + b.diameter);
            (a.at, Fraction::from_ratio(jump))
        })
    }

    /// Thinnest and thickest diameter.
    pub(crate) fn diameters(&self) -> Range<Length> {
        let first = self.points.first().map_or(Length::ZERO, |point| point.diameter);
        self.points.iter().fold(Range { low: first, high: first }, |range, point| Range {
            low: range.low.min(point.diameter),
            high: range.high.max(point.diameter),
        })
    }

    /// Places of its points.
    pub(crate) fn corners(&self) -> impl Iterator<Item = Length> {
        self.points.iter().map(|point| point.at)
    }

    /// The thinnest and the thickest of its points.
    pub(crate) fn extremes(&self) -> Range<ProfilePoint> {
        let nothing = ProfilePoint { at: Length::ZERO, diameter: Length::ZERO };
        let first = self.points.first().copied().unwrap_or(nothing);
        self.points.iter().fold(Range { low: first, high: first }, |range, point| Range {
            low: if point.diameter < range.low.diameter { *point } else { range.low },
            high: if point.diameter > range.high.diameter { *point } else { range.high },
        })
    }

    /// Length of the surface along the zone over the zone's own length: 1 on a cylinder,
    /// `sqrt(1 + R'^2)` on a cone.
    pub(crate) fn slant(&self) -> f64 {
        let (mut surface, mut length) = (0.0, 0.0);
        for (a, b) in self.pieces() {
            let way = (b.at - a.at).mm();
            let rise = (b.diameter - a.diameter).mm() / 2.0;
            if way > 0.0 {
                surface += way.hypot(rise);
                length += way;
            }
        }
        if length > 0.0 { surface / length } else { 1.0 }
    }

    /// Places close enough that the diameter changes by at most two percent from one to the
    /// next: between them a feed that goes with 1/D is linear to 5e-5.
    pub(crate) fn stations(&self) -> Vec<ProfilePoint> {
        const LARGEST_CHANGE: f64 = 0.02;
        let mut stations: Vec<ProfilePoint> = Vec::new();
        for (a, b) in self.pieces().filter(|(a, b)| a.at < b.at) {
            let count = ((b.diameter / a.diameter).ln().abs() / LARGEST_CHANGE).ceil().max(1.0);
            let mut done = 0.0;
            while done < count {
                let share = done / count;
                stations.push(ProfilePoint {
                    at: a.at + (b.at - a.at) * share,
                    diameter: a.diameter + (b.diameter - a.diameter) * share,
                });
                done += 1.0;
            }
        }
        stations.extend(self.points.last());
        stations
    }
}

/// The diameter at a place, that of the chuck side where the part has a step there.
fn diameter_before(part: &Part, at: Length) -> Length {
    let before = part.profile.iter().rev().find(|point| point.at < at);
    let after = part.profile.iter().find(|point| point.at >= at);
    match (before, after) {
        (Some(a), Some(b)) => {
            a.diameter + (b.diameter - a.diameter) * ((at - a.at) / (b.at - a.at))
        }
        (Some(end), None) | (None, Some(end)) => end.diameter,
        (None, None) => Length::ZERO,
    }
}

#[cfg(test)]
mod tests {
    use super::super::support;
    use super::*;

    fn range(low: f64, high: f64) -> Range<Length> {
        Range { low: Length::from_mm(low), high: Length::from_mm(high) }
    }

    #[test]
    fn an_edge_at_a_step_has_the_diameter_of_the_zones_own_side() {
        let part = support::part(&[(0.0, 50.0), (100.0, 50.0), (100.0, 80.0), (200.0, 80.0)]);
        let thin = Outline::of(&part, range(20.0, 100.0));
        assert_eq!(thin.diameters(), range(50.0, 50.0));
        let thick = Outline::of(&part, range(100.0, 180.0));
        assert_eq!(thick.diameters(), range(80.0, 80.0));
        let across = Outline::of(&part, range(20.0, 180.0));
        let steps: Vec<(Length, Fraction)> = across.steps().collect();
        assert_eq!(steps, [(Length::from_mm(100.0), Fraction::from_ratio(30.0 / 130.0))]);
        assert_eq!(thick.steps().count(), 0);
    }

    #[test]
    fn a_cone_has_more_surface_than_its_length() {
        let part = support::part(&[(0.0, 50.0), (100.0, 100.0)]);
        let cone = Outline::of(&part, range(0.0, 100.0));
        assert!((cone.slant() - 1.0625_f64.sqrt()).abs() < 1e-12);
        assert!(cone.stations().len() > 30);
    }
}
