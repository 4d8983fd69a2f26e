//! A frame of Modbus RTU: at most 256 bytes, the last two of which are the CRC, low byte first
//! (MODBUS over Serial Line, specification and implementation guide V1.02, 2.5.1).
//!
//! The buffer is fixed, so that no transaction allocates.

use core::fmt;

use crc::{CRC_16_MODBUS, Crc, Table};

/// Longest frame on the line, CRC included (MODBUS over Serial Line V1.02, 2.5.1).
pub const FRAME_MAX: usize = 256;

/// Bytes of the CRC.
const CRC_BYTES: usize = 2;

/// The checksum's tables, made when the program is built.
static CHECKSUM: Crc<u16, Table<16>> = Crc::<u16, Table<16>>::new(&CRC_16_MODBUS);

/// Bytes of one frame, in the order of the wire.
#[derive(Clone)]
pub struct Frame {
    length: usize,
    octets: [u8; FRAME_MAX],
}

impl Frame {
    /// No bytes yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { length: 0, octets: [0; FRAME_MAX] }
    }

    /// The bytes so far.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.octets.get(..self.length).unwrap_or_default()
    }

    /// How many bytes there are.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.length
    }

    /// Whether there are none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.length == 0
    }

    /// The byte at a place, if there is one.
    #[must_use]
    pub(super) fn at(&self, place: usize) -> Option<u8> {
        self.bytes().get(place).copied()
    }

    /// Adds a byte. What would not fit is dropped: no request of ours can be that long, and a
    /// reply is cut at the length expected of it.
    pub(super) fn push(&mut self, octet: u8) {
        if let Some(slot) = self.octets.get_mut(self.length) {
            *slot = octet;
            self.length += 1;
        }
    }

    /// Adds a 16-bit value, high byte first.
    pub(super) fn push_word(&mut self, word: u16) {
        for octet in word.to_be_bytes() {
            self.push(octet);
        }
    }

    /// Forgets all bytes.
    pub(super) fn clear(&mut self) {
        self.length = 0;
    }

    /// Forgets the first bytes and moves the others to the front.
    pub(super) fn drop_front(&mut self, count: usize) {
        let count = count.min(self.length);
        self.octets.copy_within(count..self.length, 0);
        self.length -= count;
    }

    /// Adds the CRC of everything so far.
    pub(super) fn seal(&mut self) {
        for octet in CHECKSUM.checksum(self.bytes()).to_le_bytes() {
            self.push(octet);
        }
    }

    /// Whether the last two bytes are the CRC of the others.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let Some(body) = self.length.checked_sub(CRC_BYTES) else { return false };
        let Some((body, seal)) = self.bytes().split_at_checked(body) else { return false };
        seal == CHECKSUM.checksum(body).to_le_bytes()
    }
}

impl Default for Frame {
    fn default() -> Self {
        Self::new()
    }
}

/// Two frames are the same when their bytes are.
impl PartialEq for Frame {
    fn eq(&self, other: &Self) -> bool {
        self.bytes() == other.bytes()
    }
}

impl Eq for Frame {}

/// The bytes in hexadecimal, as every book on the protocol prints them.
impl fmt::Debug for Frame {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, octet) in self.bytes().iter().enumerate() {
            if place > 0 {
                f.write_str(" ")?;
            }
            write!(f, "{octet:02X}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of CRC-16/MODBUS in the published catalogue of CRC algorithms.
    #[test]
    fn the_checksum_of_the_nine_digits_is_4b37() {
        assert_eq!(CHECKSUM.checksum(b"123456789"), 0x4B37);
    }

    /// Worked example of MODBUS over Serial Line V1.02, 6.2.2: function 07 of unit 2.
    #[test]
    fn the_checksum_goes_on_the_wire_low_byte_first() {
        let mut frame = Frame::new();
        frame.push(0x02);
        frame.push(0x07);
        frame.seal();
        assert_eq!(frame.bytes(), [0x02, 0x07, 0x41, 0x12]);
        assert!(frame.is_sound());
    }

    #[test]
    fn one_wrong_bit_anywhere_makes_a_frame_unsound() {
        let mut frame = Frame::new();
        for octet in [0x11, 0x03, 0x06, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40] {
            frame.push(octet);
        }
        frame.seal();
        for bit in 0..frame.len() * 8 {
            let mut spoiled = frame.clone();
            spoiled.octets[bit / 8] ^= 1 << (bit % 8);
            assert!(!spoiled.is_sound(), "bit {bit}");
        }
    }

    #[test]
    fn a_frame_never_grows_over_its_limit() {
        let mut frame = Frame::new();
        for _ in 0..300 {
            frame.push(7);
        }
        assert_eq!(frame.len(), FRAME_MAX);
    }
}
