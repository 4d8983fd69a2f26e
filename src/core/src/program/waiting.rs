//! When a part is too hot for its next pass, and when it is cool enough again: one rule for the
//! sequence, which keeps it, and for the forecast, which tells the waits it will make.

use super::SprayStep;
use crate::quantity::{Temperature, TemperatureStep};

/// How far under the ceiling a pass is to stay, K: clear of the warning 20 K below it.
const CLEAR_OF_CEILING: f64 = 25.0;
/// How far over the low end of its window a part is at least when a wait ends, K; arbitrary.
const OVER_LOW: f64 = 10.0;

impl SprayStep {
    /// The hottest the part may be when a pass begins, so that the pass stays under the ceiling
    /// if it adds what the last one of this step added: its peak at the part sensor over where it
    /// began; `None` before the first.
    #[must_use]
    pub fn hottest_start(&self, rise: Option<TemperatureStep>) -> Temperature {
        let rise = rise.unwrap_or(TemperatureStep::ZERO).kelvin();
        let kept = if rise > 0.0 { rise + CLEAR_OF_CEILING } else { 0.0 };
        let high = self.window.high.celsius() - kept;
        Temperature::from_celsius(high.max(self.lowest_start()).min(self.window.high.celsius()))
    }

    /// Whether a part is too hot for a pass to begin: it waits, clear of the torch.
    #[must_use]
    pub fn is_too_hot(&self, part: Temperature, rise: Option<TemperatureStep>) -> bool {
        part > self.hottest_start(rise)
    }

    /// A part that waited is cool enough below this: what the recipe says, and no hotter than a
    /// pass may begin.
    #[must_use]
    pub fn resumes_below(&self, rise: Option<TemperatureStep>) -> Temperature {
        let low = Temperature::from_celsius(self.lowest_start());
        self.resume_below.min(self.hottest_start(rise)).max(low)
    }

    fn lowest_start(&self) -> f64 {
        self.window.low.celsius() + OVER_LOW
    }
}
