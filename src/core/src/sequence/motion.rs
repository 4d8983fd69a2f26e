//! Where the carriage will be, and when, along a leg it runs from rest to rest.
//!
//! The leg is cut into cells of constant acceleration. At each node the speed is the smallest of
//! the feed profile, the ramp up from rest and the ramp down to rest:
//! v(s) = min( feed(s), sqrt(2 a s), sqrt(2 a (S - s)) ), and a profile steeper than the ramp is
//! smoothed by it in both directions. In a cell t = 2 ds / (v1 + v2), which is exact for a
//! constant acceleration.

use core::time::Duration;

use crate::program::{FeedPoint, feed_at};
use crate::quantity::{Acceleration, Length, Speed};

/// Cells of equal length between the ramps. At R1's 164 mm of travel a cell is 2.6 mm; the error
/// in time of a feed that varies linearly by 10 % over a cell is under 0.1 %; computed here.
const EQUAL_CELLS: u32 = 64;
/// Cells in each ramp; the ramps have constant acceleration, so that few are enough.
const RAMP_CELLS: u32 = 4;

/// A node of the leg: distance from its start in mm, speed there in mm/s, time from its start
/// in s.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Node {
    distance: f64,
    speed: f64,
    time: f64,
}

/// One leg from rest to rest, with the time at each place.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Leg {
    from: Length,
    to: Length,
    nodes: Vec<Node>,
}

impl Leg {
    /// An empty leg with room for a usual one, so that none is made while a job runs.
    pub(super) fn with_room() -> Self {
        Self { nodes: Vec::with_capacity(256), ..Self::default() }
    }

    /// Lays the leg out again, in the memory it has.
    pub(super) fn lay(
        &mut self,
        from: Length,
        to: Length,
        profile: &[FeedPoint],
        ramp: Acceleration,
    ) {
        self.from = from;
        self.to = to;
        self.nodes.clear();
        let whole = (to - from).abs().mm();
        let acceleration = ramp.mm_per_s2();
        let nothing = whole <= 0.0 || acceleration <= 0.0 || profile.is_empty();
        if nothing {
            self.nodes.push(Node::default());
            return;
        }
        self.place_nodes(whole, acceleration, profile);
        self.limit_speeds(acceleration);
        let mut time = 0.0;
        let mut before: Option<Node> = None;
        for node in &mut self.nodes {
            if let Some(last) = before {
                let sum = last.speed + node.speed;
                if sum > 0.0 {
                    time += 2.0 * (node.distance - last.distance) / sum;
                }
            }
            node.time = time;
            before = Some(*node);
        }
    }

    fn place_nodes(&mut self, whole: f64, acceleration: f64, profile: &[FeedPoint]) {
        let node = |distance: f64| Node { distance, ..Node::default() };
        let ramp_of = |at: Length| {
            let feed = feed_at(profile, at).mm_per_s();
            (feed * feed / (2.0 * acceleration)).min(whole / 2.0)
        };
        let (up, down) = (ramp_of(self.from), ramp_of(self.to));
        for cell in 0..=RAMP_CELLS {
            let share = f64::from(cell) / f64::from(RAMP_CELLS);
            self.nodes.push(node(up * share * share));
            self.nodes.push(node(whole - down * share * share));
        }
        for cell in 1..EQUAL_CELLS {
            self.nodes.push(node(whole * f64::from(cell) / f64::from(EQUAL_CELLS)));
        }
        for point in profile {
            let distance = self.distance_to(point.at);
            if distance > 0.0 && distance < whole {
                self.nodes.push(node(distance));
            }
        }
        self.nodes.sort_unstable_by(|one, other| one.distance.total_cmp(&other.distance));
        self.nodes.dedup_by(|one, other| (one.distance - other.distance).abs() < 1e-9);
        for index in 0..self.nodes.len() {
            if let Some(distance) = self.nodes.get(index).map(|node| node.distance) {
                let speed = feed_at(profile, self.place(distance)).mm_per_s();
                if let Some(node) = self.nodes.get_mut(index) {
                    node.speed = speed;
                }
            }
        }
    }

    fn limit_speeds(&mut self, acceleration: f64) {
        let mut before: Option<Node> = None;
        for node in &mut self.nodes {
            let limit = before.map_or(0.0, |last| {
                (last.speed * last.speed + 2.0 * acceleration * (node.distance - last.distance))
                    .sqrt()
            });
            node.speed = node.speed.min(limit);
            before = Some(*node);
        }
        before = None;
        for node in self.nodes.iter_mut().rev() {
            let limit = before.map_or(0.0, |last| {
                (last.speed * last.speed + 2.0 * acceleration * (last.distance - node.distance))
                    .sqrt()
            });
            node.speed = node.speed.min(limit);
            before = Some(*node);
        }
    }

    /// Where it starts.
    pub(super) const fn from(&self) -> Length {
        self.from
    }

    /// Where it ends.
    pub(super) const fn to(&self) -> Length {
        self.to
    }

    /// How far along the leg a position is, mm; negative before its start.
    pub(super) fn distance_to(&self, at: Length) -> f64 {
        if self.to >= self.from { (at - self.from).mm() } else { (self.from - at).mm() }
    }

    /// The position so far along the leg.
    fn place(&self, distance: f64) -> Length {
        let step = Length::from_mm(distance);
        if self.to >= self.from { self.from + step } else { self.from - step }
    }

    /// Whether `one` comes after `other` along the leg.
    pub(super) fn is_past(&self, one: Length, other: Length) -> bool {
        self.distance_to(one) > self.distance_to(other)
    }

    /// Whichever of the two is farther along the leg.
    pub(super) fn farther(&self, one: Length, other: Length) -> Length {
        if self.is_past(one, other) { one } else { other }
    }

    /// Whichever of the two comes first along the leg.
    pub(super) fn nearer(&self, one: Length, other: Length) -> Length {
        if self.is_past(one, other) { other } else { one }
    }

    /// How long the whole leg takes.
    pub(super) fn whole_time(&self) -> f64 {
        self.nodes.last().map_or(0.0, |node| node.time)
    }

    /// Seconds from the leg's start until the carriage is at a position; clipped to the leg.
    pub(super) fn time_at(&self, at: Length) -> f64 {
        let distance = self.distance_to(at);
        let next = self.nodes.partition_point(|node| node.distance <= distance);
        let (Some(low), Some(high)) = (next.checked_sub(1), Some(next)) else { return 0.0 };
        match (self.nodes.get(low), self.nodes.get(high)) {
            (Some(low), Some(high)) => low.time + Self::time_within(low, high, distance),
            (Some(last), None) => last.time,
            _ => 0.0,
        }
    }

    fn time_within(low: &Node, high: &Node, distance: f64) -> f64 {
        let cell = high.distance - low.distance;
        let into = distance - low.distance;
        if cell <= 0.0 || into <= 0.0 {
            return 0.0;
        }
        let (start, end) = (low.speed * low.speed, high.speed * high.speed);
        let here = (start + (end - start) * (into / cell)).max(0.0).sqrt();
        let sum = low.speed + here;
        if sum > 0.0 { 2.0 * into / sum } else { 0.0 }
    }

    /// Where the carriage is so many seconds after the leg's start; clipped to the leg.
    pub(super) fn position_at(&self, seconds: f64) -> Length {
        let next = self.nodes.partition_point(|node| node.time <= seconds);
        let Some(low) = next.checked_sub(1).and_then(|index| self.nodes.get(index)) else {
            return self.from;
        };
        let Some(high) = self.nodes.get(next) else { return self.to };
        let span = high.time - low.time;
        if span <= 0.0 {
            return self.place(low.distance);
        }
        let into = seconds - low.time;
        let acceleration = (high.speed - low.speed) / span;
        self.place(low.distance + low.speed * into + 0.5 * acceleration * into * into)
    }
}

/// Longest a move from rest to rest may take before it counts as late: the time of the move at
/// its speed and ramp, half as much again, and five seconds for the line and the drive.
/// Factors are arbitrary; they only have to be safely above what a healthy drive needs, while a
/// stalled carriage under flame is the interlocks' to judge.
pub(super) fn patience(distance: Length, at: Speed, ramp: Acceleration) -> Duration {
    let speed = at.mm_per_s().abs().max(0.1);
    let ramp = ramp.mm_per_s2().abs().max(1.0);
    let seconds = distance.mm().abs() / speed + speed / ramp;
    Duration::try_from_secs_f64(seconds * 1.5 + 5.0).unwrap_or(Duration::from_secs(5))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::LegMotion;
    use crate::program::Pass;

    fn constant(feed: f64) -> Vec<FeedPoint> {
        vec![FeedPoint { at: Length::ZERO, feed: Speed::from_mm_per_s(feed) }]
    }

    fn leg(from: f64, to: f64, profile: &[FeedPoint], ramp: f64) -> Leg {
        let mut leg = Leg::with_room();
        leg.lay(
            Length::from_mm(from),
            Length::from_mm(to),
            profile,
            Acceleration::from_mm_per_s2(ramp),
        );
        leg
    }

    /// t = s/v + v/a; t = 2 sqrt(s/a) when too short to reach v (computed here).
    #[test]
    fn a_leg_takes_the_time_of_its_trapezoid_or_triangle() {
        let long = leg(0.0, 150.0, &constant(10.416_666_7), 100.0);
        assert!((long.whole_time() - 14.504_17).abs() < 1e-4, "{}", long.whole_time());
        let short = leg(20.0, 0.0, &constant(100.0), 200.0);
        assert!((short.whole_time() - 0.632_456).abs() < 1e-4, "{}", short.whole_time());
    }

    #[test]
    fn position_and_time_are_each_others_inverse() {
        let profile = [
            FeedPoint { at: Length::from_mm(50.0), feed: Speed::from_mm_per_s(8.0) },
            FeedPoint { at: Length::from_mm(90.0), feed: Speed::from_mm_per_s(14.0) },
        ];
        for (from, to) in [(40.0, 110.0), (110.0, 40.0)] {
            let leg = leg(from, to, &profile, 100.0);
            for tenth in 0..=10 {
                let time = leg.whole_time() * f64::from(tenth) / 10.0;
                let back = leg.time_at(leg.position_at(time));
                assert!((back - time).abs() < 1e-6, "{from}..{to} at {time}: {back}");
            }
        }
    }

    /// Time of v(z) = v1 + k z over L is ln(v2/v1)/k.
    #[test]
    fn a_linear_feed_takes_the_logarithm_of_its_ratio() {
        let profile = [
            FeedPoint { at: Length::from_mm(0.0), feed: Speed::from_mm_per_s(8.0) },
            FeedPoint { at: Length::from_mm(100.0), feed: Speed::from_mm_per_s(16.0) },
        ];
        let leg = leg(-10.0, 110.0, &profile, 100.0);
        let middle = leg.time_at(Length::from_mm(90.0)) - leg.time_at(Length::from_mm(10.0));
        let exact = (15.2_f64 / 8.8).ln() / 0.08;
        assert!((middle - exact).abs() < 2e-3, "{middle} against {exact}");
    }

    /// The plan's motion has a closed form and makes memory; this one is laid out again in the
    /// memory it has, and smooths a profile that is steeper than the ramp. For passes whose feed
    /// the ramp can follow the two are the same motion.
    #[test]
    fn the_leg_is_where_the_plan_s_motion_is() {
        let point =
            |(at, feed)| FeedPoint { at: Length::from_mm(at), feed: Speed::from_mm_per_s(feed) };
        for (from, to, feed) in [
            (78.2, 241.8, vec![(0.0, 10.416_667)]),
            (241.8, 78.2, vec![(0.0, 10.416_667)]),
            (50.0, 210.0, vec![(60.0, 8.0), (200.0, 14.0)]),
            (210.0, 50.0, vec![(60.0, 8.0), (120.0, 11.0), (200.0, 10.0)]),
            (0.0, 0.6, vec![(0.0, 30.0)]),
        ] {
            let pass = Pass {
                from: Length::from_mm(from),
                to: Length::from_mm(to),
                feed: feed.into_iter().map(point).collect(),
                powder: Vec::new(),
                trim: crate::request::Trim::NONE,
            };
            let planned = LegMotion::new(&pass, Acceleration::from_mm_per_s2(100.0));
            let leg = leg(from, to, &pass.feed, 100.0);
            for tenth in 0..=10 {
                let at = pass.from + (pass.to - pass.from) * (f64::from(tenth) / 10.0);
                let apart = leg.time_at(at) - planned.time_at(at).s();
                assert!(apart.abs() < 1e-3, "{from} to {to} at {at}: {apart} s");
            }
        }
    }

    #[test]
    fn positions_outside_the_leg_count_as_its_ends() {
        let leg = leg(10.0, 60.0, &constant(10.0), 100.0);
        assert_eq!(leg.time_at(Length::from_mm(0.0)), 0.0);
        assert_eq!(leg.time_at(Length::from_mm(99.0)), leg.whole_time());
        assert_eq!(leg.position_at(-1.0), Length::from_mm(10.0));
        assert_eq!(leg.position_at(1e3), Length::from_mm(60.0));
    }
}
