//! Times of a serial line: characters, silences, frames on the wire.

use core::time::Duration;

use super::request::Request;
use crate::rig::LineSpec;

/// Above this rate the silences are fixed (MODBUS over Serial Line V1.02, 2.5.1.1).
const FIXED_ABOVE_BAUD: u32 = 19_200;
/// The fixed silence between frames above that rate, us (same source).
const FIXED_SILENCE_US: u64 = 1_750;

/// The times of one line, in whole microseconds, each rounded up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timing {
    bits_per_character: u64,
    baud: u64,
    /// Silence that separates frames: 3.5 characters.
    pub silence: Duration,
    /// Longest time from the end of a request to the first byte of its reply.
    pub reply_within: Duration,
    /// Silence after a time-out.
    pub quarantine: Duration,
    /// Turn-round of the devices that plans count with.
    pub turn_round: Duration,
}

impl Timing {
    /// The times of a line as its rig file describes it.
    #[must_use]
    pub fn of(spec: &LineSpec) -> Self {
        let bits = u64::from(spec.bits_per_character());
        let baud = u64::from(spec.baud.max(1));
        let silence_us = if spec.baud > FIXED_ABOVE_BAUD {
            FIXED_SILENCE_US
        } else {
            (7 * bits * 1_000_000).div_ceil(2 * baud)
        };
        let silence = Duration::from_micros(silence_us);
        Self {
            bits_per_character: bits,
            baud,
            silence,
            reply_within: spec.reply_within.to_duration(),
            // A late reply needs at least one silence behind it before the line is clear.
            quarantine: spec.quarantine.to_duration().max(silence),
            turn_round: spec.turn_round.to_duration(),
        }
    }

    /// How long so many bytes take on the wire.
    #[must_use]
    pub fn wire(&self, bytes: usize) -> Duration {
        let bits = self.bits_per_character.saturating_mul(u64::try_from(bytes).unwrap_or(u64::MAX));
        Duration::from_micros(bits.saturating_mul(1_000_000).div_ceil(self.baud))
    }

    /// How long a request keeps the line as planned: itself, the devices' turn-round, its reply,
    /// and the silence behind it.
    #[must_use]
    pub fn exchange(&self, request: &Request) -> Duration {
        self.wire(request.request_length())
            + self.turn_round
            + self.wire(request.reply_length())
            + self.silence
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Time;
    use crate::rig::{Parity, StopBits};

    fn line(baud: u32) -> Timing {
        Timing::of(&LineSpec {
            name: "line".to_owned(),
            port: None,
            baud,
            parity: Parity::Even,
            stop_bits: StopBits::One,
            reply_within: Time::from_s(0.025),
            quarantine: Time::from_s(0.030),
            turn_round: Time::from_s(0.003),
            misses: 3,
            probe_every: Time::from_s(1.0),
        })
    }

    /// MODBUS over Serial Line V1.02, 2.5.1.1: 1.750 ms above 19200; below, 3.5 characters of
    /// 11 bits, computed here and rounded up to the microsecond.
    #[test]
    fn the_silence_is_three_and_a_half_characters_and_fixed_on_fast_lines() {
        for (baud, silence_us) in
            [(1_200, 32_084), (9_600, 4_011), (19_200, 2_006), (38_400, 1_750), (115_200, 1_750)]
        {
            assert_eq!(line(baud).silence, Duration::from_micros(silence_us), "{baud}");
        }
    }

    /// Computed here: 11 bits at 115,200 are 95.486 us.
    #[test]
    fn a_frame_takes_eleven_bits_a_byte_on_the_wire() {
        assert_eq!(line(115_200).wire(8), Duration::from_micros(764));
        assert_eq!(line(115_200).wire(1), Duration::from_micros(96));
        assert_eq!(line(9_600).wire(33), Duration::from_micros(37_813));
    }
}
