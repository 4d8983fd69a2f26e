//! Which way the carriage came to where it is: by where it was seen, not by what was asked of it. A
//! key at its bound, a denied nudge, a job and the park all tell by themselves whether it moved.

use crate::image::{AxisReading, Referenced};
use crate::quantity::Length;
use crate::request::Direction;

/// A carriage that has been seen so far from its turning point moves the other way, mm: less than
/// the smallest step of a nudge, more than a pulse of the drive (arbitrary).
const TURNED_MM: f64 = 0.005;

/// The way the carriage was last seen to move.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Came {
    /// The farthest place on its way so far.
    farthest: Option<Length>,
    way: Option<Direction>,
}

/// What of a reading says where the carriage is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Datum {
    /// It stays where it is.
    Kept,
    /// It is being found: places before and after have nothing to do with each other.
    Sought,
}

impl Came {
    /// A reading that can be trusted, or none. Without one, without a datum and while that is
    /// sought nobody knows which way it moves, and what was known is forgotten.
    pub(super) fn see(&mut self, axis: Option<&AxisReading>, datum: Datum) {
        let known = axis.filter(|axis| axis.referenced == Referenced::Yes && datum == Datum::Kept);
        let Some(axis) = known else {
            *self = Self::default();
            return;
        };
        let by = axis.position - *self.farthest.get_or_insert(axis.position);
        if by == Length::ZERO {
            return;
        }
        let way = if by > Length::ZERO { Direction::TowardTail } else { Direction::TowardChuck };
        if self.way == Some(way) || by.abs() >= Length::from_mm(TURNED_MM) {
            *self = Self { farthest: Some(axis.position), way: Some(way) };
        }
    }

    /// Which way; `None` when nobody knows.
    pub(super) const fn way(self) -> Option<Direction> {
        self.way
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(mm: f64) -> AxisReading {
        AxisReading {
            position: Length::from_mm(mm),
            referenced: Referenced::Yes,
            ..AxisReading::default()
        }
    }

    fn after(places: &[f64]) -> Came {
        let mut came = Came::default();
        for place in places {
            came.see(Some(&at(*place)), Datum::Kept);
        }
        came
    }

    #[test]
    fn the_way_is_that_of_the_last_motion_however_slow_and_a_pulse_of_unrest_is_none() {
        assert_eq!(after(&[100.0]).way(), None, "nobody has seen it move");
        assert_eq!(after(&[100.0, 101.0]).way(), Some(Direction::TowardTail));
        assert_eq!(after(&[100.0, 101.0, 100.9]).way(), Some(Direction::TowardChuck));
        let unrest = [100.0, 101.0, 100.9975, 101.0, 100.9975];
        assert_eq!(after(&unrest).way(), Some(Direction::TowardTail));
        let slow = [100.0, 101.0, 100.9975, 100.995, 100.9925];
        assert_eq!(after(&slow).way(), Some(Direction::TowardChuck), "it has turned");
        assert_eq!(after(&[101.0, 100.0, 100.0, 100.0]).way(), Some(Direction::TowardChuck));
    }

    #[test]
    fn without_a_reading_or_a_datum_and_after_it_was_sought_nobody_knows_the_way() {
        let none = AxisReading { referenced: Referenced::No, ..at(102.0) };
        let lost =
            [(None, Datum::Kept), (Some(&none), Datum::Kept), (Some(&at(102.0)), Datum::Sought)];
        for (reading, datum) in lost {
            let mut came = after(&[100.0, 101.0]);
            came.see(reading, datum);
            came.see(Some(&at(720.0)), Datum::Kept);
            assert_eq!(came.way(), None, "{reading:?} {datum:?}");
        }
    }
}
