//! The part's outline: straight between its points, with steps.

/// An outline of points `[z, R]` in metres, z never falling; two points of one z are a step.
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    points: Vec<(f64, f64)>,
}

impl Shape {
    /// `None` with fewer than two points, a z that falls, or no length.
    #[must_use]
    pub fn new(points: Vec<(f64, f64)>) -> Option<Self> {
        let rising = points.iter().zip(points.iter().skip(1)).all(|(a, b)| a.0 <= b.0);
        let shape = Self { points };
        (rising && shape.low() < shape.high()).then_some(shape)
    }

    /// Chuck-side end, m.
    #[must_use]
    pub fn low(&self) -> f64 {
        self.points.first().map_or(0.0, |point| point.0)
    }

    /// Tail-side end, m.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.points.last().map_or(0.0, |point| point.0)
    }

    /// Radius (m) and slope dR/dz at z; at a step those of the higher-z side.
    #[must_use]
    pub fn at(&self, z: f64) -> (f64, f64) {
        let mut pieces = self.pieces().rev();
        let piece = pieces.find(|(a, _)| a.0 <= z).or_else(|| self.pieces().next());
        piece.map_or((0.0, 0.0), |(a, b)| {
            let slope = (b.1 - a.1) / (b.0 - a.0);
            (a.1 + slope * (z - a.0), slope)
        })
    }

    /// Middles and widths (m) of slices no wider than `widest`, none of them across a point.
    #[must_use]
    pub fn slices(&self, widest: f64) -> Vec<(f64, f64)> {
        let mut slices = Vec::new();
        for (a, b) in self.pieces() {
            let count = ((b.0 - a.0) / widest).ceil().max(1.0);
            let width = (b.0 - a.0) / count;
            let mut done = 0.0;
            while done < count {
                slices.push((a.0 + (done + 0.5) * width, width));
                done += 1.0;
            }
        }
        slices
    }

    /// Where the radius jumps, m.
    pub fn steps(&self) -> impl Iterator<Item = f64> {
        self.points.windows(2).filter_map(|pair| match pair {
            [a, b] if a.0 >= b.0 && a.1 != b.1 => Some(a.0),
            _ => None,
        })
    }

    /// The pieces that have a length.
    fn pieces(&self) -> impl DoubleEndedIterator<Item = ((f64, f64), (f64, f64))> {
        self.points.windows(2).filter_map(|pair| match pair {
            [a, b] if a.0 < b.0 => Some((*a, *b)),
            _ => None,
        })
    }
}
