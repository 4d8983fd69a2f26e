//! The part's temperature over the job, in as few points as tell it.

use serde::Serialize;

use crate::quantity::{Temperature, Time};

/// Most points that a forecast tells.
const MOST: usize = 400;
/// Steps kept while the job is worked out; above this they are thinned to a tenth.
const MOST_KEPT: usize = 20_000;
/// What may be left out at first, K; doubled until few enough are left.
const LEFT_OUT: f64 = 0.25;

/// The part's temperature at one instant of the job, as the mean over the section of a place:
/// right under the flame the surface is hotter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TemperaturePoint {
    /// Seconds since the job's start, on the clock of [`super::StepForecast::done_at`].
    pub at: Time,
    /// Where the part sensor looks: the middle of the first zone.
    pub seen: Temperature,
    /// At the hottest place of the part.
    pub hottest: Temperature,
}

/// The points of a job so far.
#[derive(Debug, Default)]
pub(super) struct History {
    points: Vec<TemperaturePoint>,
}

impl History {
    pub(super) fn add(&mut self, point: TemperaturePoint) {
        self.points.push(point);
        if self.points.len() > MOST_KEPT {
            self.points = thinned(&self.points, MOST_KEPT / 10);
        }
    }

    /// At most [`MOST`] points, straight lines between which tell the job.
    pub(super) fn told(&self) -> Vec<TemperaturePoint> {
        thinned(&self.points, MOST)
    }
}

/// At most so many of the points, first and last among them: those without which the lines
/// between the others would be farthest off.
fn thinned(points: &[TemperaturePoint], most: usize) -> Vec<TemperaturePoint> {
    let mut left_out = LEFT_OUT;
    loop {
        let mut kept = Vec::new();
        if let Some(first) = points.first() {
            kept.push(*first);
            keep(points, left_out, &mut kept);
        }
        // Everything is within this of everything: two points are left.
        if kept.len() <= most || left_out > 1e6 {
            return kept;
        }
        left_out *= 2.0;
    }
}

/// Adds what must stay after the first point, the last one included (Ramer, Douglas and Peucker).
fn keep(points: &[TemperaturePoint], left_out: f64, kept: &mut Vec<TemperaturePoint>) {
    // Stretches still to be looked at, the earliest on top.
    let mut stretches = vec![(0, points.len().saturating_sub(1))];
    while let Some((first, last)) = stretches.pop() {
        let (Some(a), Some(b)) = (points.get(first), points.get(last)) else { continue };
        let inner = points.iter().enumerate().take(last).skip(first + 1);
        let farthest = inner
            .map(|(index, point)| (index, off_line(a, b, point)))
            .max_by(|one, other| one.1.total_cmp(&other.1));
        match farthest {
            Some((index, off)) if off > left_out => {
                stretches.push((index, last));
                stretches.push((first, index));
            }
            _ if last > first => kept.push(*b),
            _ => {}
        }
    }
}

/// How far a point is off the lines from a to b, K.
fn off_line(a: &TemperaturePoint, b: &TemperaturePoint, point: &TemperaturePoint) -> f64 {
    let whole = (b.at - a.at).s();
    let share = if whole > 0.0 { (point.at - a.at).s() / whole } else { 0.0 };
    let off = |from: Temperature, to: Temperature, found: Temperature| {
        (found.celsius() - from.celsius() - (to.celsius() - from.celsius()) * share).abs()
    };
    off(a.seen, b.seen, point.seen).max(off(a.hottest, b.hottest, point.hottest))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(at: f64, seen: f64, hottest: f64) -> TemperaturePoint {
        TemperaturePoint {
            at: Time::from_s(at),
            seen: Temperature::from_celsius(seen),
            hottest: Temperature::from_celsius(hottest),
        }
    }

    #[test]
    fn straight_lines_are_told_by_their_ends_and_a_peak_of_either_is_kept() {
        let mut history = History::default();
        for second in 0..1000 {
            let at = f64::from(second);
            let peak = if second == 501 { 80.0 } else { 0.0 };
            history.add(point(at, 20.0 + 0.1 * at, 20.0 + 0.1 * at + peak));
        }
        let told = history.told();
        let times: Vec<f64> = told.iter().map(|point| point.at.s()).collect();
        assert_eq!(times, [0.0, 500.0, 501.0, 502.0, 999.0]);
    }

    #[test]
    fn a_long_and_restless_job_is_told_in_four_hundred_points_that_stay_near_it() {
        let mut history = History::default();
        let course = |at: f64| 300.0 + 50.0 * (at / 40.0).sin();
        for tick in 0..60_000 {
            let at = f64::from(tick) * 0.1;
            history.add(point(at, course(at), course(at) + 20.0));
        }
        let told = history.told();
        assert!(told.len() <= 400 && told.len() > 100, "{}", told.len());
        assert!(told.windows(2).all(|pair| pair[0].at < pair[1].at));
        assert_eq!(told[0].at.s(), 0.0);
        assert!((told[told.len() - 1].at.s() - 5999.9).abs() < 1e-9);
        for pair in told.windows(2) {
            let middle = (pair[0].at.s() + pair[1].at.s()) / 2.0;
            let line = (pair[0].seen.celsius() + pair[1].seen.celsius()) / 2.0;
            assert!((course(middle) - line).abs() < 5.0, "{middle} s: {line}");
        }
    }
}
