//! From the weight to the feed that the carriage is given.

use super::solve::Even;

/// Points of the feed are no wider apart, m. The feed is linear between them and the weight is
/// not: at half a standard deviation that would cost 0.5 to 0.9 %.
const POINTS: f64 = 1e-3;
/// From one point to the next the feed changes by no more than this factor. At 1 mm alone a feed
/// that leaps between its bounds would be 0.7 % off at the ends.
const FACTOR: f64 = 1.05;

impl Even {
    /// `[z, v]` in m and m/s over the window, at most 1 mm apart; linear between them.
    #[must_use]
    pub fn feed(&self) -> Vec<(f64, f64)> {
        let passes = f64::from(self.passes);
        let points = self.points();
        // Along a chord of the feed the mean weight is less than that of its ends: every point is
        // raised by what its two chords lose.
        let pairs = points.iter().zip(points.iter().skip(1));
        let mut kept: Vec<f64> = pairs.map(|(a, b)| chord(a.1, b.1)).collect();
        kept.extend(kept.last().copied());
        let before = kept.first().copied().into_iter().chain(kept.iter().copied());
        let raised = points.iter().zip(kept.iter().zip(before));
        raised
            .map(|((z, weight), (after, before))| {
                let feed = passes / weight * f64::midpoint(*after, before);
                (*z, feed.clamp(self.limits.0, self.limits.1))
            })
            .collect()
    }

    /// Place and weight, near enough to each other for a feed that is linear in between.
    fn points(&self) -> Vec<(f64, f64)> {
        let mut points = Vec::new();
        for (a, b) in self.weights.iter().zip(self.weights.iter().skip(1)) {
            let slope = (b.1 - a.1) / (b.0 - a.0);
            let (mut place, mut weight) = *a;
            // A remainder shorter than a tenth of a micrometre is rounding.
            while place < b.0 - 1e-7 {
                points.push((place, weight));
                let leap = if slope > 0.0 { FACTOR - 1.0 } else { 1.0 - 1.0 / FACTOR };
                let step = (weight * leap / slope.abs()).min(POINTS);
                place += step;
                weight += slope * step;
            }
        }
        points.extend(self.weights.last().copied());
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

/// Mean weight along a chord of the feed as a share of the mean of the weights at its ends.
fn chord(a: f64, b: f64) -> f64 {
    let ratio = b / a;
    // Below this the series' first term is exact to rounding.
    let mean = if (ratio - 1.0).abs() < 1e-4 {
        f64::midpoint(1.0, ratio) - (ratio - 1.0).powi(2) / 6.0
    } else {
        // Of 1/v between v = 1 and v = 1/ratio.
        ratio.ln() / (1.0 - 1.0 / ratio)
    };
    mean / f64::midpoint(1.0, ratio)
}
