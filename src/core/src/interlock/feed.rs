//! Powder judged by what the hopper loses and what the hose pushes back.

use core::time::Duration;

use crate::moment::Moment;

/// The feeder runs so long before its loss in weight is taken (arbitrary).
const FEED_SETTLES: Duration = Duration::from_secs(1);
/// Loss in weight is taken over windows of this length (arbitrary; 4 g at 60 g/min).
const WINDOW: Duration = Duration::from_secs(4);
/// A first window under this loss is too near the scale's own noise to judge by, g (arbitrary).
const LEAST_LOSS: f64 = 2.0;

/// The hopper's loss in weight, window by window since powder began.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Feed {
    window: Option<(Moment, f64)>,
    starts: Option<Moment>,
    first: Option<f64>,
    share: Option<f64>,
}

impl Feed {
    /// The last window's loss as a share of the first's, once there are two.
    pub(super) fn update(&mut self, now: Moment, powder: bool, weight: Option<f64>) -> Option<f64> {
        let Some(weight) = weight.filter(|_| powder) else {
            *self = Self::default();
            return None;
        };
        let starts = *self.starts.get_or_insert(now + FEED_SETTLES);
        if now < starts {
            return None;
        }
        let (began, full) = *self.window.get_or_insert((now, weight));
        if now.since(began) >= WINDOW {
            let loss = full - weight;
            match self.first {
                None => self.first = Some(loss),
                Some(first) if first >= LEAST_LOSS => self.share = Some(loss / first),
                Some(_) => {}
            }
            self.window = Some((now, weight));
        }
        self.share
    }
}

/// The hose's back-pressure with air alone, to compare with when powder runs.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Hose {
    before: Option<f64>,
}

impl Hose {
    /// The last back-pressure with settled air and no powder.
    pub(super) fn update(
        &mut self,
        air: bool,
        settled: bool,
        powder: bool,
        pressure: Option<f64>,
    ) -> Option<f64> {
        if !air {
            self.before = None;
        } else if settled && !powder {
            self.before = pressure.or(self.before);
        }
        self.before
    }
}
