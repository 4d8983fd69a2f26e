//! Rounding of real quantities to the whole counts of registers and clocks.
//!
//! A float-to-integer `as` saturates and turns NaN into 0, which is what a converter at the end of
//! its range does; it is allowed here and nowhere else.

/// `x` rounded to the nearest count of an unsigned 16-bit register, limited at both ends.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates by design")]
pub(crate) fn register(x: f64) -> u16 {
    x.round() as u16
}

/// `x` rounded to the nearest unsigned 32-bit count, limited at both ends.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates by design")]
pub(crate) fn long_register(x: f64) -> u32 {
    x.round() as u32
}

/// `x` rounded to the nearest signed 32-bit count, limited at both ends.
#[expect(clippy::cast_possible_truncation, reason = "saturates by design")]
pub(crate) fn signed_register(x: f64) -> i32 {
    x.round() as i32
}

/// The whole part of a non-negative `x`, as an index or number of things.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates by design")]
pub(crate) fn whole(x: f64) -> usize {
    x as usize
}

/// The low sixteen bits of a free-running counter.
#[expect(clippy::cast_possible_truncation, reason = "a counter register wraps by design")]
pub(crate) fn wrapping(x: u64) -> u16 {
    x as u16
}

/// High and low word of a 32-bit value, in the order they stand in the registers.
pub(crate) fn words(x: u32) -> [u16; 2] {
    let [a, b, c, d] = x.to_be_bytes();
    [u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d])]
}

/// Whole microseconds as seconds.
pub(crate) fn seconds(us: u64) -> f64 {
    us as f64 * 1e-6
}

/// The first whole microsecond not earlier than `s` seconds.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "saturates by design")]
pub(crate) fn microseconds(s: f64) -> u64 {
    (s * 1e6 - 1e-4).ceil() as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_stop_at_the_end_of_their_register() {
        assert_eq!(register(-3.0), 0);
        assert_eq!(register(70_000.0), u16::MAX);
        assert_eq!(register(f64::NAN), 0);
        assert_eq!(signed_register(-1.6), -2);
        assert_eq!(words(0x0001_86A0), [0x0001, 0x86A0]);
        assert_eq!(microseconds(0.3), 300_000);
        assert_eq!(microseconds(0.300_000_2), 300_001);
    }
}
