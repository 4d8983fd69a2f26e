//! Turns that the carriage makes with the powder on: what they add at the ends.

use super::influence::Stations;

/// Parts of equal time into which slowing down is divided.
const PARTS: u32 = 6;

/// An end of the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// That of lower z.
    Low,
    /// That of higher z.
    High,
}

/// Turns with the powder on. Left out of the plan they cost 3 to 4 % at the ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turns {
    /// Rest at each turn, s.
    pub dwell: f64,
    /// Of the carriage beyond the window, m/s2.
    pub acceleration: f64,
    /// Where the first pass begins.
    pub home: End,
}

impl Turns {
    /// Share of the target that the turns give each station, with the carriage leaving the
    /// `window` at these feeds (m/s): it slows down to rest, waits, and comes back.
    pub(super) fn base(
        &self,
        stations: &Stations,
        window: (f64, f64),
        feeds: (f64, f64),
        passes: u32,
        rate_per_target: f64,
    ) -> Vec<f64> {
        let away = f64::from(passes / 2);
        let home = f64::from(passes.saturating_sub(1) / 2);
        let (low, high) = match self.home {
            End::Low => (home, away),
            End::High => (away, home),
        };
        let ends = [(window.0, -1.0, feeds.0, low), (window.1, 1.0, feeds.1, high)];
        stations
            .list
            .iter()
            .map(|station| {
                let given = ends.iter().map(|(edge, outward, feed, count)| {
                    let way = feed * feed / (2.0 * self.acceleration);
                    let turn = edge + outward * way;
                    let slowing = feed / self.acceleration;
                    let moving: f64 = (0..PARTS)
                        .map(|part| {
                            let time = (f64::from(part) + 0.5) / f64::from(PARTS) * slowing;
                            let at = turn - outward * 0.5 * self.acceleration * time * time;
                            stations.thickness(station, at)
                        })
                        .sum();
                    let moving = moving * 2.0 * slowing / f64::from(PARTS);
                    count * (moving + self.dwell * stations.thickness(station, turn))
                });
                given.sum::<f64>() * rate_per_target
            })
            .collect()
    }
}
