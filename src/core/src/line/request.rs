//! Requests, and the shape that only their own reply can have.
//!
//! Source of functions, fields and limits: MODBUS Application Protocol Specification V1.1b3,
//! sections 6.1 to 6.6, 6.11 and 6.12.

use super::frame::Frame;
use crate::image::Level;
use crate::rig;

/// Most coils a request of ours writes at once: what a rig may have.
pub const COILS_MAX: u16 = rig::COILS;
/// Most coils or discrete inputs read at once: what a rig may have.
pub const BITS_MAX: u16 = rig::INPUTS;
/// Most registers a request of ours writes at once: the longest block a device here takes is 12.
pub const WORDS_MAX: usize = 16;
/// Most registers read at once: what a rig may have.
pub const REGISTERS_MAX: u16 = rig::REGISTERS;

/// What a coil's on is called on the wire (MODBUS Application Protocol V1.1b3, 6.5).
const COIL_ON: u16 = 0xFF00;

/// A few register values, without a heap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Words {
    count: usize,
    words: [u16; WORDS_MAX],
}

impl Words {
    /// No values yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { count: 0, words: [0; WORDS_MAX] }
    }

    /// The same with one value more; unchanged when there is no room.
    #[must_use]
    pub fn with(mut self, word: u16) -> Self {
        if let Some(slot) = self.words.get_mut(self.count) {
            *slot = word;
            self.count += 1;
        }
        self
    }

    /// The same with a 32-bit value more, in the device's order of words.
    #[must_use]
    pub fn with_long(self, value: u32, order: crate::rig::WordOrder) -> Self {
        let [a, b, c, d] = value.to_be_bytes();
        let (high, low) = (u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]));
        match order {
            crate::rig::WordOrder::HighFirst => self.with(high).with(low),
            crate::rig::WordOrder::LowFirst => self.with(low).with(high),
        }
    }

    /// The values.
    #[must_use]
    pub fn as_slice(&self) -> &[u16] {
        self.words.get(..self.count).unwrap_or_default()
    }
}

impl Default for Words {
    fn default() -> Self {
        Self::new()
    }
}

/// What is asked of a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Request {
    /// Function 01.
    ReadCoils {
        /// First coil.
        address: u16,
        /// How many, at most [`BITS_MAX`].
        count: u16,
    },
    /// Function 02.
    ReadDiscreteInputs {
        /// First input.
        address: u16,
        /// How many, at most [`BITS_MAX`].
        count: u16,
    },
    /// Function 03.
    ReadHoldingRegisters {
        /// First register.
        address: u16,
        /// How many, at most [`REGISTERS_MAX`].
        count: u16,
    },
    /// Function 04.
    ReadInputRegisters {
        /// First register.
        address: u16,
        /// How many, at most [`REGISTERS_MAX`].
        count: u16,
    },
    /// Function 05.
    WriteCoil {
        /// The coil.
        address: u16,
        /// Its level.
        level: Level,
    },
    /// Function 06.
    WriteRegister {
        /// The register.
        address: u16,
        /// Its value.
        value: u16,
    },
    /// Function 15.
    WriteCoils {
        /// First coil.
        address: u16,
        /// How many, at most [`COILS_MAX`].
        count: u16,
        /// Their levels, the first in the lowest bit.
        levels: u64,
    },
    /// Function 16.
    WriteRegisters {
        /// First register.
        address: u16,
        /// Their values.
        words: Words,
    },
}

/// Bytes that a number of bits fills.
fn octets_of(bits: u16) -> u8 {
    u8::try_from(bits.div_ceil(8)).unwrap_or(u8::MAX)
}

/// Bytes that a number of registers fills.
fn octets_of_registers(count: u16) -> u8 {
    u8::try_from(count.saturating_mul(2)).unwrap_or(u8::MAX)
}

impl Request {
    /// The function code.
    #[must_use]
    pub const fn function(&self) -> u8 {
        match self {
            Self::ReadCoils { .. } => 0x01,
            Self::ReadDiscreteInputs { .. } => 0x02,
            Self::ReadHoldingRegisters { .. } => 0x03,
            Self::ReadInputRegisters { .. } => 0x04,
            Self::WriteCoil { .. } => 0x05,
            Self::WriteRegister { .. } => 0x06,
            Self::WriteCoils { .. } => 0x0F,
            Self::WriteRegisters { .. } => 0x10,
        }
    }

    /// The frame that asks it of a unit.
    #[must_use]
    pub fn frame(&self, unit: u8) -> Frame {
        let mut frame = Frame::new();
        frame.push(unit);
        frame.push(self.function());
        match *self {
            Self::ReadCoils { address, count }
            | Self::ReadDiscreteInputs { address, count }
            | Self::ReadHoldingRegisters { address, count }
            | Self::ReadInputRegisters { address, count } => {
                frame.push_word(address);
                frame.push_word(count);
            }
            Self::WriteCoil { address, level } => {
                frame.push_word(address);
                frame.push_word(if level.is_on() { COIL_ON } else { 0 });
            }
            Self::WriteRegister { address, value } => {
                frame.push_word(address);
                frame.push_word(value);
            }
            Self::WriteCoils { address, count, levels } => {
                frame.push_word(address);
                frame.push_word(count);
                frame.push(octets_of(count));
                let used = levels & mask(count);
                for octet in used.to_le_bytes().iter().take(usize::from(octets_of(count))) {
                    frame.push(*octet);
                }
            }
            Self::WriteRegisters { address, words } => {
                let words = words.as_slice();
                let count = u16::try_from(words.len()).unwrap_or(0);
                frame.push_word(address);
                frame.push_word(count);
                frame.push(octets_of_registers(count));
                for word in words {
                    frame.push_word(*word);
                }
            }
        }
        frame.seal();
        frame
    }

    /// Bytes of the frame that asks it.
    #[must_use]
    pub fn request_length(&self) -> usize {
        match self {
            Self::WriteCoils { count, .. } => 9 + usize::from(octets_of(*count)),
            Self::WriteRegisters { words, .. } => 9 + 2 * words.as_slice().len(),
            _ => 8,
        }
    }

    /// Bytes of the frame that answers it.
    #[must_use]
    pub fn reply_length(&self) -> usize {
        match self {
            Self::ReadCoils { count, .. } | Self::ReadDiscreteInputs { count, .. } => {
                5 + usize::from(octets_of(*count))
            }
            Self::ReadHoldingRegisters { count, .. } | Self::ReadInputRegisters { count, .. } => {
                5 + usize::from(octets_of_registers(*count))
            }
            _ => 8,
        }
    }
}

/// A word with as many of its lowest bits set.
pub(crate) const fn mask(bits: u16) -> u64 {
    if bits >= 64 { u64::MAX } else { (1 << bits) - 1 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::WordOrder;

    fn hex(text: &str) -> Vec<u8> {
        text.split(' ').map(|octet| u8::from_str_radix(octet, 16).unwrap()).collect()
    }

    /// Example frames of the MODBUS Application Protocol Specification V1.1b3 (sections 6.1 to
    /// 6.12), addressed to unit 11h as they are widely reprinted; each CRC recomputed.
    #[test]
    fn the_specification_s_example_requests_are_made_byte_for_byte() {
        let words = Words::new().with(0x000A).with(0x0102);
        for (request, unit, frame) in [
            (Request::ReadCoils { address: 0x13, count: 0x25 }, 0x11, "11 01 00 13 00 25 0E 84"),
            (
                Request::ReadDiscreteInputs { address: 0xC4, count: 0x16 },
                0x11,
                "11 02 00 C4 00 16 BA A9",
            ),
            (
                Request::ReadHoldingRegisters { address: 0x6B, count: 3 },
                0x11,
                "11 03 00 6B 00 03 76 87",
            ),
            (Request::ReadInputRegisters { address: 8, count: 1 }, 0x11, "11 04 00 08 00 01 B2 98"),
            (
                Request::WriteCoil { address: 0xAC, level: Level::On },
                0x11,
                "11 05 00 AC FF 00 4E 8B",
            ),
            (Request::WriteRegister { address: 1, value: 3 }, 0x11, "11 06 00 01 00 03 9A 9B"),
            (
                Request::WriteCoils { address: 0x13, count: 10, levels: 0x01CD },
                0x11,
                "11 0F 00 13 00 0A 02 CD 01 BF 0B",
            ),
            (
                Request::WriteRegisters { address: 1, words },
                0x11,
                "11 10 00 01 00 02 04 00 0A 01 02 C6 F0",
            ),
            (
                Request::ReadHoldingRegisters { address: 0, count: 10 },
                0x01,
                "01 03 00 00 00 0A C5 CD",
            ),
            (
                Request::WriteRegister { address: 0x2000, value: 0x000F },
                0x01,
                "01 06 20 00 00 0F C2 0E",
            ),
        ] {
            assert_eq!(request.frame(unit).bytes(), hex(frame), "{request:?}");
            assert_eq!(request.request_length(), hex(frame).len(), "{request:?}");
        }
    }

    /// Computed here: 100,000 as two registers, high word first.
    #[test]
    fn a_long_value_goes_out_in_the_device_s_order_of_words() {
        let high_first = Words::new().with_long(100_000, WordOrder::HighFirst);
        assert_eq!(
            Request::WriteRegisters { address: 0x2000, words: high_first }.frame(1).bytes(),
            hex("01 10 20 00 00 02 04 00 01 86 A0 59 B6")
        );
        let low_first = Words::new().with_long(100_000, WordOrder::LowFirst);
        assert_eq!(low_first.as_slice(), [0x86A0, 0x0001]);
    }

    #[test]
    fn bits_beyond_the_count_never_reach_the_wire() {
        let request = Request::WriteCoils { address: 0, count: 3, levels: u64::MAX };
        assert_eq!(request.frame(1).bytes().get(7), Some(&0x07));
    }
}
