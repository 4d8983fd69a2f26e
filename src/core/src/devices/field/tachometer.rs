//! The spindle's speed from the time between two pulses.
//!
//! At 31.5 rpm and 8 pulses a turn there are four pulses a second: counting them could not tell
//! 5 % within a second, timing them can. While the next pulse has not come, the speed is at most
//! what it would be if it came now; once three are missing, the part counts as standing.

use core::time::Duration;

use crate::image::{Failure, SpindleReading};
use crate::quantity::SpindleSpeed;

/// Period register when no two pulses were seen yet.
const NO_PERIOD: u32 = u32::MAX;
/// Pulses that may be missing before the speed is zero. Chosen: the permitted duration of flame
/// on a part that does not turn is three missed pulses.
const MISSED_MAX: f64 = 3.0;
/// Missed pulses of a spindle that never gave two: more than any limit.
const NEVER_TURNED: f64 = 65_535.0;

/// Reads the tachometer's registers.
///
/// # Errors
/// A period of zero is no spindle's: the reading is implausible.
pub(super) fn reading(
    pulses_per_turn: u32,
    period_us: u32,
    since_ms: u16,
) -> Result<SpindleReading, Failure> {
    let since_pulse = Duration::from_millis(u64::from(since_ms));
    if period_us == 0 || pulses_per_turn == 0 {
        return Err(Failure::Implausible);
    }
    if period_us == NO_PERIOD {
        return Ok(SpindleReading {
            measured: SpindleSpeed::ZERO,
            missed_pulses: NEVER_TURNED,
            since_pulse,
        });
    }
    let period = f64::from(period_us);
    let since = f64::from(since_ms) * 1_000.0;
    let missed_pulses = since / period;
    let measured = if missed_pulses >= MISSED_MAX {
        SpindleSpeed::ZERO
    } else {
        SpindleSpeed::from_rpm(60.0e6 / (period.max(since) * f64::from(pulses_per_turn)))
    };
    Ok(SpindleReading { measured, missed_pulses, since_pulse })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Computed here: 60e6 / (238,095 us * 8) = 31.5 rpm.
    #[test]
    fn the_speed_is_sixty_million_over_period_and_pulses() {
        let spindle = reading(8, 238_095, 100).unwrap();
        assert!((spindle.measured.rpm() - 31.5).abs() < 1e-4);
        assert!((spindle.missed_pulses - 0.42).abs() < 0.001);
    }

    #[test]
    fn a_pulse_that_is_late_lowers_the_speed_before_it_comes() {
        let spindle = reading(8, 238_095, 476).unwrap();
        assert!((spindle.measured.rpm() - 60.0e6 / (476_000.0 * 8.0)).abs() < 1e-9);
    }

    #[test]
    fn after_three_missed_pulses_the_spindle_stands() {
        assert!(reading(8, 100_000, 299).unwrap().measured > SpindleSpeed::ZERO);
        assert_eq!(reading(8, 100_000, 300).unwrap().measured, SpindleSpeed::ZERO);
    }

    #[test]
    fn a_spindle_that_never_gave_two_pulses_stands() {
        let spindle = reading(8, NO_PERIOD, u16::MAX).unwrap();
        assert_eq!(spindle.measured, SpindleSpeed::ZERO);
        assert!(spindle.missed_pulses > MISSED_MAX);
    }

    #[test]
    fn a_period_of_zero_is_no_measurement() {
        assert_eq!(reading(8, 0, 0), Err(Failure::Implausible));
    }
}
