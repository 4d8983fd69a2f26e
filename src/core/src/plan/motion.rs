//! The carriage along one leg, exactly: where it is when, and when it is where.
//!
//! From rest to rest under one ramp `a`; in between the feed of the pass. With `x` the distance
//! from the start and `L` the length of the leg the speed is
//! `min(feed(x), sqrt(2 a x), sqrt(2 a (L - x)))`: a trapezoid for a constant feed, a triangle
//! for a leg too short to reach it. Each piece has a closed form in time.

mod feed;

use self::feed::segments;
use crate::program::Pass;
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

#[cfg(test)]
mod tests;
