//! The motion of a case and when the feeder is switched: what the controller does on a machine.

use serde_json::Value;

use super::super::profile::{Limits, Profile};
use super::{number, pairs};

/// Cells of a feed that changes along the part, mm.
const FEED_CELL_MM: f64 = 0.02;

/// One pass, from rest to rest, by the time since its begin.
pub(super) enum Way {
    Even(Profile),
    /// Time, place, speed and acceleration at the begin of each cell.
    Changing(Vec<(f64, f64, f64, f64)>),
}

impl Way {
    fn new(case: &Value, from_mm: f64, to_mm: f64) -> Self {
        let acceleration = 1e3 * number(case, "/program/accel_m_s2");
        if let Some(feed) = case.pointer("/program/feed_m_s").and_then(Value::as_f64) {
            let limits = Limits {
                speed_mm_s: 1e3 * feed,
                acceleration_mm_s2: acceleration,
                deceleration_mm_s2: acceleration,
            };
            return Self::Even(Profile::to(0.0, from_mm, 0.0, to_mm, limits));
        }
        let feed = pairs(case, "/program/feed_profile");
        let asked = |z_mm: f64| {
            let z = 1e-3 * z_mm;
            let next = feed.partition_point(|point| point.0 <= z);
            match (next.checked_sub(1).map(|i| feed[i]), feed.get(next)) {
                (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (z - a.0) / (b.0 - a.0),
                (Some(end), None) => end.1,
                (None, Some(end)) => end.1,
                (None, None) => 0.0,
            }
        };
        let count = ((to_mm - from_mm).abs() / FEED_CELL_MM).ceil();
        let speed = |share: f64| {
            let way = share * (to_mm - from_mm);
            let ramp = |rest: f64| (2.0 * acceleration * rest.abs().max(0.0)).sqrt();
            (1e3 * asked(from_mm + way)).min(ramp(way)).min(ramp(to_mm - from_mm - way))
        };
        let (mut cells, mut time, mut done) = (Vec::new(), 0.0, 0.0);
        while done < count {
            let (a, b) = (speed(done / count), speed((done + 1.0) / count));
            let width = (to_mm - from_mm) / count;
            let taken = 2.0 * width.abs() / (a + b);
            cells.push((
                time,
                from_mm + done * width,
                a * width.signum(),
                (b - a) / taken * width.signum(),
            ));
            time += taken;
            done += 1.0;
        }
        cells.push((time, to_mm, 0.0, 0.0));
        Self::Changing(cells)
    }

    fn at(&self, time: f64) -> f64 {
        match self {
            Self::Even(profile) => profile.at(time).0,
            Self::Changing(cells) => {
                let next = cells.partition_point(|cell| cell.0 <= time);
                let (begun, from, speed, acceleration) = cells[next.saturating_sub(1)];
                let t = time - begun;
                from + speed * t + 0.5 * acceleration * t * t
            }
        }
    }

    /// When it reaches a place, by bisection.
    fn reaches(&self, mark_mm: f64, toward: f64) -> f64 {
        let (mut a, mut b) = (0.0, 1_000.0);
        for _ in 0..80 {
            let middle = 0.5 * (a + b);
            if (self.at(middle) - mark_mm) * toward >= 0.0 { b = middle } else { a = middle }
        }
        b
    }
}

/// A stretch of the program: at rest, or a pass.
pub(super) struct Leg {
    pub(super) from_s: f64,
    pub(super) to_s: f64,
    pub(super) rest_mm: f64,
    pub(super) way: Option<Way>,
}

impl Leg {
    pub(super) fn at(&self, time_s: f64) -> f64 {
        let way = self.way.as_ref();
        way.map_or(self.rest_mm, |way| way.at((time_s - self.from_s).min(self.to_s - self.from_s)))
    }
}

/// The whole motion, and when the feeder is switched on and off, s.
pub(super) fn program(case: &Value) -> (Vec<Leg>, Vec<(f64, f64)>) {
    let at = |path: &str| number(case, path);
    let (low, high) = (1e3 * at("/powder/edge_low_m"), 1e3 * at("/powder/edge_high_m"));
    let due = |time: f64| {
        let (time, poll) = (time.max(0.0), at("/powder/poll_s"));
        if poll > 0.0 { (time / poll - 1e-9).ceil() * poll } else { time }
    };
    let start = 1e3 * at("/program/travel_start_m");
    let (mut here, mut there) = (start, 1e3 * at("/program/travel_end_m"));
    let mut now = at("/program/lead_in_s");
    let mut legs = vec![Leg { from_s: 0.0, to_s: now, rest_mm: here, way: None }];
    let mut wanted: Vec<(f64, f64)> = Vec::new();
    let passes = at("/program/passes");
    let mut done = 0.0;
    while done < passes {
        if done > 0.0 {
            let to_s = now + at("/program/reversal_dwell_s");
            legs.push(Leg { from_s: now, to_s, rest_mm: here, way: None });
            now = to_s;
        }
        let way = Way::new(case, here, there);
        let toward = (there - here).signum();
        let (on, off) = if toward > 0.0 { (low, high) } else { (high, low) };
        wanted.push((
            due(now + way.reaches(on, toward) - at("/powder/lead_on_s")),
            due(now + way.reaches(off, toward) - at("/powder/lead_off_s")),
        ));
        let to_s = now + way.reaches(there - 1e-9 * toward, toward);
        legs.push(Leg { from_s: now, to_s, rest_mm: there, way: Some(way) });
        now = to_s;
        (here, there) = (there, here);
        done += 1.0;
    }
    if case.pointer("/powder/switch_mode").unwrap() == "continuous" {
        wanted = vec![(wanted[0].0, wanted[wanted.len() - 1].1)];
    }
    wanted.retain(|(on, off)| on < off);
    wanted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut merged: Vec<(f64, f64)> = Vec::new();
    for (on, off) in wanted {
        match merged.last_mut() {
            Some(last) if on <= last.1 => last.1 = last.1.max(off),
            _ => merged.push((on, off)),
        }
    }
    (legs, merged)
}
