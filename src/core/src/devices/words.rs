//! Physical values as register values: rounded, and held at the register's limits.

use crate::quantity::Time;

/// Whole counts of a positive value, 0 to 65,535.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between the limits just before; not-a-number becomes 0"
)]
pub(super) fn unsigned(counts: f64) -> u16 {
    counts.round().clamp(0.0, f64::from(u16::MAX)) as u16
}

/// Whole counts of a positive value, 0 to 4,294,967,295.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between the limits just before; not-a-number becomes 0"
)]
pub(super) fn unsigned_long(counts: f64) -> u32 {
    counts.round().clamp(0.0, f64::from(u32::MAX)) as u32
}

/// Whole counts of a value with a sign, in 32 bits; `None` when it does not fit or is no number:
/// a position must not be bent into range.
#[expect(clippy::cast_possible_truncation, reason = "checked against the limits just before")]
pub(super) fn signed_long(counts: f64) -> Option<i32> {
    let rounded = counts.round();
    (f64::from(i32::MIN)..=f64::from(i32::MAX)).contains(&rounded).then_some(rounded as i32)
}

/// Whole milliseconds.
pub(super) fn milliseconds(time: Time) -> u16 {
    unsigned(time.s() * 1_000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_position_that_does_not_fit_is_refused_and_not_bent_into_range() {
        assert_eq!(signed_long(2_147_483_647.0), Some(i32::MAX));
        assert_eq!(signed_long(2_147_483_648.0), None);
        assert_eq!(signed_long(f64::NAN), None);
        assert_eq!(signed_long(-1.4), Some(-1));
    }

    #[test]
    fn a_speed_or_time_stops_at_the_register_s_limit() {
        assert_eq!(unsigned(70_000.0), u16::MAX);
        assert_eq!(unsigned(-1.0), 0);
        assert_eq!(unsigned_long(f64::NAN), 0);
        assert_eq!(milliseconds(Time::from_s(0.2)), 200);
    }
}
