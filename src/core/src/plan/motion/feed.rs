//! The feed of a pass as stretches that the ramp then bounds.

use super::{Course, Direction, SLOWEST};
use crate::program::{FeedPoint, Pass};

/// A stretch over which the wanted feed is linear in the distance from the start.
#[derive(Debug, Clone, Copy)]
pub(super) struct Segment {
    low: f64,
    high: f64,
    speed: f64,
    slope: f64,
}

impl Segment {
    fn feed(&self, x: f64) -> f64 {
        self.speed + self.slope * (x - self.low)
    }

    /// The stretch cut where feed, ramp up and ramp down cross each other.
    pub(super) fn cut_where_the_law_changes(&self, ramp: f64, length: f64) -> Vec<(f64, f64)> {
        let mut cuts = vec![self.low, self.high, length / 2.0];
        // feed(x)^2 = 2 a x, and = 2 a (L - x): quadratics in w = x - low.
        let (v, k) = (self.speed, self.slope);
        for (linear, constant) in [
            (2.0 * v * k - 2.0 * ramp, v * v - 2.0 * ramp * self.low),
            (2.0 * v * k + 2.0 * ramp, v * v - 2.0 * ramp * (length - self.low)),
        ] {
            cuts.extend(roots(k * k, linear, constant).into_iter().map(|w| self.low + w));
        }
        cuts.retain(|x| x.is_finite() && (self.low..=self.high).contains(x));
        cuts.sort_by(f64::total_cmp);
        cuts.iter().zip(cuts.iter().skip(1)).map(|(a, b)| (*a, *b)).filter(|(a, b)| a < b).collect()
    }

    /// The law that binds between two cuts, judged in the middle.
    pub(super) fn course_within(&self, low: f64, high: f64, ramp: f64, length: f64) -> Course {
        let middle = f64::midpoint(low, high);
        let up = 2.0 * ramp * middle;
        let down = 2.0 * ramp * (length - middle);
        let feed = self.feed(middle);
        if feed * feed <= up.min(down) {
            Course::Feed { speed: self.feed(low), slope: self.slope }
        } else if up <= down {
            Course::RampUp
        } else {
            Course::RampDown
        }
    }
}

/// Real roots of `a w^2 + b w + c`, without cancellation.
fn roots(a: f64, b: f64, c: f64) -> Vec<f64> {
    if a == 0.0 {
        return if b == 0.0 { Vec::new() } else { vec![-c / b] };
    }
    let discriminant = b * b - 4.0 * a * c;
    if discriminant < 0.0 {
        return Vec::new();
    }
    let q = -0.5 * (b + discriminant.sqrt().copysign(b));
    if q == 0.0 { vec![0.0] } else { vec![q / a, c / q] }
}

/// The feed along the leg as linear stretches in the distance from its start.
pub(super) fn segments(pass: &Pass, direction: Direction, length: f64) -> Vec<Segment> {
    if length <= 0.0 {
        return Vec::new();
    }
    let knot = |point: &FeedPoint| {
        let x = (point.at - pass.from).mm() * direction.sign();
        (x, point.feed.mm_per_s().max(SLOWEST))
    };
    let mut knots: Vec<(f64, f64)> = pass.feed.iter().map(knot).collect();
    knots.sort_by(|a, b| a.0.total_cmp(&b.0));
    let first = knots.first().map_or(SLOWEST, |knot| knot.1);
    let last = knots.last().map_or(SLOWEST, |knot| knot.1);
    let ends = [(f64::MIN, first), (f64::MAX, last)];
    let all: Vec<(f64, f64)> =
        ends.iter().take(1).chain(&knots).chain(ends.iter().skip(1)).copied().collect();
    let mut segments = Vec::new();
    for (a, b) in all.iter().zip(all.iter().skip(1)) {
        let (low, high) = (a.0.max(0.0), b.0.min(length));
        if low < high {
            let slope = if a.1 == b.1 { 0.0 } else { (b.1 - a.1) / (b.0 - a.0) };
            let speed = if slope == 0.0 { a.1 } else { a.1 + slope * (low - a.0) };
            segments.push(Segment { low, high, speed, slope });
        }
    }
    segments
}
