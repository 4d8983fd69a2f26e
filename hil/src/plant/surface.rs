//! The part's outer contour.

use crate::part::PartInChuck;

/// Radius and slope at one z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Place {
    /// Radius, m.
    pub(crate) radius_m: f64,
    /// dR/dz.
    pub(crate) slope: f64,
}

impl Place {
    /// Surface for each metre of z and of circumference.
    pub(crate) fn stretch(&self) -> f64 {
        (1.0 + self.slope * self.slope).sqrt()
    }
}

/// The contour, linear between its points; at a step the value of the higher z holds.
#[derive(Clone, Debug)]
pub(crate) struct Surface {
    points_m: Vec<(f64, f64)>,
}

impl Surface {
    pub(crate) fn new(part: &PartInChuck) -> Self {
        Self { points_m: part.profile_m.clone() }
    }

    /// First and last z of the part, m.
    pub(crate) fn span_m(&self) -> (f64, f64) {
        let z = |p: Option<&(f64, f64)>| p.map_or(0.0, |p| p.0);
        (z(self.points_m.first()), z(self.points_m.last()))
    }

    /// Where the radius jumps, m.
    pub(crate) fn steps_m(&self) -> impl Iterator<Item = f64> {
        self.points_m.windows(2).filter_map(|pair| match pair {
            [a, b] if a.0 >= b.0 && a.1 != b.1 => Some(a.0),
            _ => None,
        })
    }

    /// The contour at `z_m`, if the part is there.
    pub(crate) fn at(&self, z_m: f64) -> Option<Place> {
        let (start, end) = self.span_m();
        if z_m < start || z_m > end {
            return None;
        }
        self.points_m.windows(2).rev().find_map(|pair| match pair {
            [a, b] if z_m >= a.0 && b.0 > a.0 => {
                let slope = (b.1 - a.1) / (b.0 - a.0);
                Some(Place { radius_m: a.1 + slope * (z_m - a.0), slope })
            }
            _ => None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_higher_side_of_a_step_holds_at_the_step() {
        let part = PartInChuck {
            profile_m: vec![(0.0, 0.05), (0.1, 0.05), (0.1, 0.03), (0.2, 0.02)],
            ..PartInChuck::plain_shaft()
        };
        let surface = Surface::new(&part);
        assert_eq!(surface.at(0.0999).unwrap().radius_m, 0.05);
        assert_eq!(surface.at(0.1).unwrap().radius_m, 0.03);
        assert!((surface.at(0.15).unwrap().slope + 0.1).abs() < 1e-12);
        assert_eq!(surface.at(0.2).map(|p| (p.radius_m * 1e6).round()), Some(20_000.0));
        assert_eq!(surface.at(0.201), None);
    }
}
