//! Frame timing at a device's receiver: what belongs together, what is discarded, when a frame ends.

use super::{FRAME_LIMIT, Frame};

/// Timing of one serial line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LineTiming {
    /// Length of one character on the line, ns.
    pub(crate) character_ns: u64,
    /// Longest silence inside a frame (t1.5), us.
    pub(crate) inter_character_us: u64,
    /// Silence that ends a frame (t3.5), us.
    pub(crate) frame_gap_us: u64,
}

/// Collects bytes until silence ends the frame.
#[derive(Clone, Debug)]
pub(crate) struct Receiver {
    timing: LineTiming,
    bytes: Frame,
    last_byte_us: Option<u64>,
    spoilt: bool,
}

impl Receiver {
    pub(crate) fn new(timing: LineTiming) -> Self {
        Self { timing, bytes: Frame::new(), last_byte_us: None, spoilt: false }
    }

    /// Another limit for the silence inside a frame.
    pub(crate) fn set_inter_character_us(&mut self, limit_us: u64) {
        self.timing.inter_character_us = limit_us;
    }

    /// When the first byte of a burst that ends at `last_byte_us` started to arrive.
    pub(crate) fn start_of(&self, last_byte_us: u64, length: usize) -> u64 {
        let length = u64::try_from(length).unwrap_or(u64::MAX);
        last_byte_us.saturating_sub(length.saturating_mul(self.timing.character_ns) / 1000)
    }

    /// Takes a burst of bytes without gaps; returns when silence will have ended the frame.
    pub(crate) fn receive(&mut self, last_byte_us: u64, burst: &[u8]) -> u64 {
        if let Some(previous) = self.last_byte_us {
            let gap = self.start_of(last_byte_us, burst.len()).saturating_sub(previous);
            if gap > self.timing.inter_character_us {
                self.spoilt = true;
            }
        }
        if self.bytes.len() + burst.len() > FRAME_LIMIT {
            self.spoilt = true;
        }
        if !self.spoilt {
            self.bytes.extend(burst.iter().copied());
        }
        self.last_byte_us = Some(last_byte_us);
        last_byte_us.saturating_add(self.timing.frame_gap_us)
    }

    /// Silence has ended the frame: hands it out unless its timing or length spoilt it.
    pub(crate) fn end_of_frame(&mut self) -> Option<Frame> {
        let whole = !self.spoilt && !self.bytes.is_empty();
        let frame = whole.then(|| self.bytes.clone());
        self.bytes.clear();
        self.spoilt = false;
        self.last_byte_us = None;
        frame
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn receiver() -> Receiver {
        Receiver::new(LineTiming {
            character_ns: 95_486,
            inter_character_us: 750,
            frame_gap_us: 1_750,
        })
    }

    #[test]
    fn a_short_pause_continues_the_frame() {
        let mut receiver = receiver();
        receiver.receive(1_000, &[1, 2]);
        // Two characters take 191 us: they started 700 us after the first burst ended.
        assert_eq!(receiver.receive(1_891, &[3, 4]), 3_641);
        assert_eq!(receiver.end_of_frame().unwrap().as_slice(), [1, 2, 3, 4]);
    }

    #[test]
    fn a_pause_beyond_t1_5_discards_the_whole_frame_and_only_that() {
        let mut receiver = receiver();
        receiver.receive(1_000, &[1, 2]);
        receiver.receive(2_000, &[3, 4]);
        assert_eq!(receiver.end_of_frame(), None);
        receiver.receive(9_000, &[5]);
        assert_eq!(receiver.end_of_frame().unwrap().as_slice(), [5]);
    }

    #[test]
    fn a_frame_beyond_256_bytes_is_discarded() {
        let mut receiver = receiver();
        receiver.receive(40_000, &[0; 200]);
        receiver.receive(50_000, &[0; 100]);
        assert_eq!(receiver.end_of_frame(), None);
    }
}
