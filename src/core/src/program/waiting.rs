//! When a part is too hot for its next pass, and when it is cool enough again: one rule for the
//! sequence, which keeps it, and for the forecast, which tells the waits it will make.

use super::SprayStep;
use crate::quantity::{Temperature, TemperatureStep};

/// How far under the ceiling a pass is to stay, K: clear of the warning 20 K below it, by what the
/// torch adds on its way from the park across the part (5 K on the thin sleeve of the shipped
/// recipes) and as much again.
const CLEAR_OF_CEILING: f64 = 30.0;
/// How far over the low end of its window a part is at least when a wait ends, K; arbitrary.
const OVER_LOW: f64 = 10.0;

/// What the last passes of a step added: their peaks at the part sensor over where they began.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Rises {
    last: Option<TemperatureStep>,
    before: Option<TemperatureStep>,
}

impl Rises {
    /// A pass has ended; `None` for one whose rise is not known.
    pub const fn add(&mut self, rise: Option<TemperatureStep>) {
        *self = Self { last: rise, before: self.last };
    }

    /// What the next pass is expected to add: as much as the steeper of the last two, since a pass
    /// toward the tail and one back begin and end at other ends and heat the sensor's place
    /// differently. Nothing before the first.
    #[must_use]
    pub fn expected(&self) -> TemperatureStep {
        let known = [self.last, self.before].into_iter().flatten().map(TemperatureStep::kelvin);
        TemperatureStep::from_kelvin(known.fold(0.0, f64::max))
    }
}

impl SprayStep {
    /// The hottest the part may be when a pass begins, so that the pass stays under the ceiling
    /// if it adds what the passes before lead to expect.
    #[must_use]
    pub fn hottest_start(&self, rises: Rises) -> Temperature {
        let rise = rises.expected().kelvin();
        let kept = if rise > 0.0 { rise + CLEAR_OF_CEILING } else { 0.0 };
        let high = self.window.high.celsius() - kept;
        Temperature::from_celsius(high.max(self.lowest_start()).min(self.window.high.celsius()))
    }

    /// Whether a part is too hot for a pass to begin: it waits, clear of the torch.
    #[must_use]
    pub fn is_too_hot(&self, part: Temperature, rises: Rises) -> bool {
        part > self.hottest_start(rises)
    }

    /// A part that waited is cool enough below this: what the recipe says, and no hotter than a
    /// pass may begin.
    #[must_use]
    pub fn resumes_below(&self, rises: Rises) -> Temperature {
        let low = Temperature::from_celsius(self.lowest_start());
        self.resume_below.min(self.hottest_start(rises)).max(low)
    }

    fn lowest_start(&self) -> f64 {
        self.window.low.celsius() + OVER_LOW
    }
}
