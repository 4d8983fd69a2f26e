//! From the weight to the feed that the carriage is given.

use super::solve::Even;

/// Points of the feed are no wider apart, m. The feed is linear between them and the weight is
/// not: at half a standard deviation that would cost 0.5 to 0.9 %.
const POINTS: f64 = 1e-3;
/// From one point to the next the feed changes by no more than this factor: a chord of the feed
/// then gives the weight to 0.02 %. At 1 mm alone a feed that leaps between its bounds would be
/// 0.7 % off at the ends.
const FACTOR: f64 = 1.05;

impl Even {
    /// `[z, v]` in m and m/s over the window, at most 1 mm apart; linear between them.
    #[must_use]
    pub fn feed(&self) -> Vec<(f64, f64)> {
        let passes = f64::from(self.passes);
        let feed = |weight: f64| (passes / weight).clamp(self.limits.0, self.limits.1);
        let mut points = Vec::new();
        for (a, b) in self.weights.iter().zip(self.weights.iter().skip(1)) {
            let slope = (b.1 - a.1) / (b.0 - a.0);
            let (mut place, mut weight) = *a;
            // A remainder shorter than a tenth of a micrometre is rounding.
            while place < b.0 - 1e-7 {
                points.push((place, feed(weight)));
                let leap = if slope > 0.0 { FACTOR - 1.0 } else { 1.0 - 1.0 / FACTOR };
                let step = (weight * leap / slope.abs()).min(POINTS);
                place += step;
                weight += slope * step;
            }
        }
        points.extend(self.weights.last().map(|last| (last.0, feed(last.1))));
        points
    }

    /// Slowest and fastest feed, m/s.
    #[must_use]
    pub fn feed_range(&self) -> (f64, f64) {
        let feeds = self.weights.iter().map(|(_, weight)| f64::from(self.passes) / weight);
        feeds.fold((f64::INFINITY, 0.0), |range, feed| (range.0.min(feed), range.1.max(feed)))
    }

    /// Largest acceleration that the changes of the feed ask for, m/s2; without the turns.
    #[must_use]
    pub fn acceleration(&self) -> f64 {
        let passes = f64::from(self.passes);
        let pairs = self.weights.iter().zip(self.weights.iter().skip(1));
        // Half the change of the squared feed per way, at the steeper end of each stretch.
        pairs.fold(0.0_f64, |most, (a, b)| {
            let slope = ((b.1 - a.1) / (b.0 - a.0)).abs();
            most.max(passes * passes * slope / a.1.min(b.1).powi(3))
        })
    }

    /// Powder sprayed within the window, kg.
    #[must_use]
    pub fn powder(&self, rate: f64) -> f64 {
        let pairs = self.weights.iter().zip(self.weights.iter().skip(1));
        rate * pairs.map(|(a, b)| (b.0 - a.0) * f64::midpoint(a.1, b.1)).sum::<f64>()
    }
}
