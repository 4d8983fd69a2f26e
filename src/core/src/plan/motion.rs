//! The carriage along one leg, exactly: where it is when, and when it is where.
//!
//! From rest to rest under one ramp `a`; in between the feed of the pass. With `x` the distance
//! from the start and `L` the length of the leg the speed is
//! `min(feed(x), sqrt(2 a x), sqrt(2 a (L - x)))`: a trapezoid for a constant feed, a triangle
//! for a leg too short to reach it. Each piece has a closed form in time.

use crate::program::{FeedPoint, Pass};
use crate::quantity::{Acceleration, Length, Speed, Time};

/// Which way the carriage goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Away from the chuck, toward rising positions.
    TowardTail,
    /// Toward the chuck.
    TowardChuck,
}

impl Direction {
    /// Of a move from one place to another.
    #[must_use]
    pub fn of(from: Length, to: Length) -> Self {
        if to < from { Self::TowardChuck } else { Self::TowardTail }
    }

    /// +1 toward the tail, -1 toward the chuck.
    #[must_use]
    pub const fn sign(self) -> f64 {
        match self {
            Self::TowardTail => 1.0,
            Self::TowardChuck => -1.0,
        }
    }
}

/// Slowest feed and ramp counted with, mm/s and mm/s2: a pass that says zero would never arrive.
const SLOWEST: f64 = 1e-6;

/// How the speed runs inside one piece.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Course {
    /// `sqrt(2 a x)`.
    RampUp,
    /// `speed` at the piece's start, `slope` more for each mm.
    Feed { speed: f64, slope: f64 },
    /// `sqrt(2 a (L - x))`.
    RampDown,
}

/// A stretch of the leg with one law of speed.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    starts_at: f64,
    ends_at: f64,
    starts_when: f64,
    lasts: f64,
    course: Course,
}

/// The planned motion of one leg.
#[derive(Debug, Clone, PartialEq)]
pub struct LegMotion {
    from: Length,
    to: Length,
    ramp: f64,
    length: f64,
    pieces: Vec<Piece>,
}

impl LegMotion {
    /// The motion of a pass under this ramp. A feed or a ramp of zero or less counts as a
    /// millionth of a millimetre per second (squared): the leg then takes next to forever, but
    /// it stays a number.
    #[must_use]
    pub fn new(pass: &Pass, ramp: Acceleration) -> Self {
        let direction = Direction::of(pass.from, pass.to);
        let length = (pass.to - pass.from).abs().mm();
        let ramp = ramp.mm_per_s2().max(SLOWEST);
        let segments = segments(pass, direction, length);
        let mut pieces = Vec::new();
        let mut when = 0.0;
        for segment in &segments {
            for (low, high) in segment.cut_where_the_law_changes(ramp, length) {
                let course = segment.course_within(low, high, ramp, length);
                let mut piece =
                    Piece { starts_at: low, ends_at: high, starts_when: when, lasts: 0.0, course };
                piece.lasts = piece.time_to(high, ramp, length);
                when += piece.lasts;
                pieces.push(piece);
            }
        }
        Self { from: pass.from, to: pass.to, ramp, length, pieces }
    }

    /// Which way it goes.
    #[must_use]
    pub fn direction(&self) -> Direction {
        Direction::of(self.from, self.to)
    }

    /// From rest to rest.
    #[must_use]
    pub fn total(&self) -> Time {
        Time::from_s(self.pieces.last().map_or(0.0, |piece| piece.starts_when + piece.lasts))
    }

    /// When the carriage passes a place, counted from its start; zero for a place behind the
    /// start, the whole time for one beyond the end.
    #[must_use]
    pub fn time_at(&self, position: Length) -> Time {
        let x = self.distance_to(position);
        let piece = self.pieces.iter().find(|piece| x <= piece.ends_at);
        piece.map_or_else(
            || self.total(),
            |piece| Time::from_s(piece.starts_when + piece.time_to(x, self.ramp, self.length)),
        )
    }

    /// Where the carriage is so long after its start: at the start before, at the end after.
    #[must_use]
    pub fn position_at(&self, time: Time) -> Length {
        let t = time.s();
        let x = if t <= 0.0 {
            0.0
        } else {
            self.pieces
                .iter()
                .find(|piece| t < piece.starts_when + piece.lasts)
                .map_or(self.length, |piece| {
                    piece.place_after(t - piece.starts_when, self.ramp, self.length)
                })
        };
        self.from + Length::from_mm(x * self.direction().sign())
    }

    /// How fast the carriage passes a place, without sign; zero outside the leg.
    #[must_use]
    pub fn speed_at(&self, position: Length) -> Speed {
        let x = self.distance_to(position);
        let piece = self.pieces.iter().find(|piece| x <= piece.ends_at);
        Speed::from_mm_per_s(piece.map_or(0.0, |piece| piece.speed(x, self.ramp, self.length)))
    }

    fn distance_to(&self, position: Length) -> f64 {
        ((position - self.from).mm() * self.direction().sign()).clamp(0.0, self.length)
    }
}

impl Piece {
    fn time_to(&self, x: f64, ramp: f64, length: f64) -> f64 {
        let x = x.clamp(self.starts_at, self.ends_at);
        match self.course {
            Course::RampUp => (2.0 * x / ramp).sqrt() - (2.0 * self.starts_at / ramp).sqrt(),
            Course::RampDown => {
                (2.0 * (length - self.starts_at).max(0.0) / ramp).sqrt()
                    - (2.0 * (length - x).max(0.0) / ramp).sqrt()
            }
            Course::Feed { speed, slope } => {
                let way = x - self.starts_at;
                let u = slope * way / speed;
                if u.abs() < 1e-12 { way / speed } else { way / speed * (u.ln_1p() / u) }
            }
        }
    }

    fn place_after(&self, time: f64, ramp: f64, length: f64) -> f64 {
        let x = match self.course {
            Course::RampUp => {
                let t = time + (2.0 * self.starts_at / ramp).sqrt();
                0.5 * ramp * t * t
            }
            Course::RampDown => {
                let left = (2.0 * (length - self.starts_at).max(0.0) / ramp).sqrt() - time;
                length - 0.5 * ramp * left * left
            }
            Course::Feed { speed, slope } => {
                let u = slope * time;
                let stretch = if u.abs() < 1e-12 { 1.0 } else { u.exp_m1() / u };
                self.starts_at + speed * time * stretch
            }
        };
        x.clamp(self.starts_at, self.ends_at)
    }

    fn speed(&self, x: f64, ramp: f64, length: f64) -> f64 {
        match self.course {
            Course::RampUp => (2.0 * ramp * x).sqrt(),
            Course::RampDown => (2.0 * ramp * (length - x).max(0.0)).sqrt(),
            Course::Feed { speed, slope } => speed + slope * (x - self.starts_at),
        }
    }
}

/// A stretch over which the wanted feed is linear in the distance from the start.
#[derive(Debug, Clone, Copy)]
struct Segment {
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
    fn cut_where_the_law_changes(&self, ramp: f64, length: f64) -> Vec<(f64, f64)> {
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
    fn course_within(&self, low: f64, high: f64, ramp: f64, length: f64) -> Course {
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
fn segments(pass: &Pass, direction: Direction, length: f64) -> Vec<Segment> {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn leg(from: f64, to: f64, feed: &[(f64, f64)]) -> Pass {
        Pass {
            from: Length::from_mm(from),
            to: Length::from_mm(to),
            feed: feed
                .iter()
                .map(|(at, v)| FeedPoint {
                    at: Length::from_mm(*at),
                    feed: Speed::from_mm_per_s(*v),
                })
                .collect(),
            powder: Vec::new(),
        }
    }

    fn ramp(value: f64) -> Acceleration {
        Acceleration::from_mm_per_s2(value)
    }

    /// Handbook formula t = s/v + v/a; triangle t = 2 sqrt(s/a).
    #[test]
    fn a_constant_feed_gives_the_trapezoid_and_a_short_leg_the_triangle() {
        for (way, feed, a, total) in [
            (150.0, 625.0 / 60.0, 100.0, 14.504_17),
            (300.0, 100.0, 200.0, 3.5),
            (20.0, 100.0, 200.0, 0.632_456),
        ] {
            let found = LegMotion::new(&leg(85.0, 85.0 + way, &[(0.0, feed)]), ramp(a)).total().s();
            assert!((found - total).abs() < 5e-6, "{way}: {found}");
        }
        let triangle = LegMotion::new(&leg(0.0, 20.0, &[(0.0, 100.0)]), ramp(200.0));
        let peak = triangle.speed_at(Length::from_mm(10.0)).mm_per_s();
        assert!((peak - 63.2456).abs() < 5e-5, "{peak}");
    }

    #[test]
    fn nine_crossings_of_the_powder_span_take_half_a_second_more_than_their_feed_says() {
        let one = LegMotion::new(&leg(85.0, 235.0, &[(0.0, 625.0 / 60.0)]), ramp(100.0));
        let all = one.total().s() * 9.0;
        assert!((all - 130.5).abs() < 0.05, "{all}");
    }

    #[test]
    fn position_and_time_are_each_others_inverse_in_both_directions() {
        let profile = [(20.0, 4.0), (60.0, 12.0), (61.0, 9.0), (90.0, 9.0)];
        for (from, to) in [(0.0, 100.0), (100.0, 0.0)] {
            let motion = LegMotion::new(&leg(from, to, &profile), ramp(50.0));
            for step in 0..=200 {
                let time = motion.total() * (f64::from(step) / 200.0);
                let place = motion.position_at(time);
                let back = motion.time_at(place);
                assert!((back - time).s().abs() < 1e-6, "{from} {step}: {back} for {time}");
            }
            assert_eq!(motion.position_at(Time::from_s(-1.0)).mm(), from);
            assert_eq!(motion.position_at(motion.total() + Time::from_s(1.0)).mm(), to);
        }
    }

    /// Integral of dx / v over a linear feed: ln(v1/v0) / slope.
    #[test]
    fn a_feed_that_rises_linearly_takes_the_logarithm_of_its_ratio() {
        let motion = LegMotion::new(&leg(0.0, 100.0, &[(20.0, 5.0), (80.0, 10.0)]), ramp(1e6));
        let found = motion.time_at(Length::from_mm(80.0)) - motion.time_at(Length::from_mm(20.0));
        let exact = 60.0 / 5.0 * 2.0_f64.ln();
        assert!((found.s() - exact).abs() < 1e-9, "{found}");
        assert_eq!(motion.speed_at(Length::from_mm(50.0)).mm_per_s(), 7.5);
    }

    #[test]
    fn a_pass_without_a_feed_stays_a_number() {
        let motion = LegMotion::new(&leg(0.0, 1.0, &[]), ramp(0.0));
        assert!(motion.total().s().is_finite());
        let nowhere = LegMotion::new(&leg(5.0, 5.0, &[(0.0, 1.0)]), ramp(100.0));
        assert_eq!(nowhere.total(), Time::ZERO);
    }

    /// Against the speed law itself, summed over a fine grid: for profiles that cross the ramps
    /// several times, up and down.
    #[test]
    fn times_agree_with_the_sum_of_way_over_speed_for_any_profile() {
        for (length, a, profile) in [
            (60.0, 20.0, vec![(0.0, 2.0), (10.0, 30.0), (20.0, 5.0), (55.0, 40.0)]),
            (60.0, 20.0, vec![(5.0, 40.0), (30.0, 3.0), (58.0, 40.0)]),
            (8.0, 100.0, vec![(0.0, 15.0), (4.0, 60.0), (8.0, 15.0)]),
            (100.0, 50.0, vec![(-20.0, 4.0), (130.0, 16.0)]),
        ] {
            let motion = LegMotion::new(&leg(0.0, length, &profile), ramp(a));
            let feed = |x: f64| {
                let after = profile.iter().position(|knot| knot.0 > x);
                match after {
                    None => profile[profile.len() - 1].1,
                    Some(0) => profile[0].1,
                    Some(i) => {
                        let (p, q) = (profile[i - 1], profile[i]);
                        p.1 + (q.1 - p.1) * (x - p.0) / (q.0 - p.0)
                    }
                }
            };
            let law =
                |x: f64| feed(x).min((2.0 * a * x).sqrt()).min((2.0 * a * (length - x)).sqrt());
            let count = 200_000;
            let step = length / f64::from(count);
            let mut sum = 0.0;
            for index in 0..count {
                let x = (f64::from(index) + 0.5) * step;
                sum += step / law(x);
                if index % 20_000 == 19_999 {
                    let found = motion.time_at(Length::from_mm(x + 0.5 * step)).s();
                    // The grid itself is this far off near rest.
                    let grid = 2.0 * (step / a).sqrt();
                    assert!((found - sum).abs() < grid, "{length} at {x}: {found} for {sum}");
                    let speed = motion.speed_at(Length::from_mm(x)).mm_per_s();
                    assert!((speed - law(x)).abs() < 1e-9, "{length} at {x}: {speed}");
                }
            }
        }
    }
}
