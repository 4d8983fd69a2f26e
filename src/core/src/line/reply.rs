//! Replies: what only the right answer to a request can look like, and what it says.
//!
//! RTU carries no transaction number, so a reply is believed only when everything agrees: unit,
//! function, byte count for the quantity asked (or the echoed address and value), length, CRC.

use super::frame::Frame;
use super::request::{Request, mask};

/// Bit that marks an exception in a reply's function code (MODBUS Application Protocol V1.1b3, 7).
const EXCEPTION_BIT: u8 = 0x80;
/// Bytes of an exception reply.
const EXCEPTION_LENGTH: usize = 5;
/// Longest head that is known in advance: unit, function and the echo of a write.
const HEAD_MAX: usize = 6;

/// The reply that a request expects.
#[derive(Debug, Clone, Copy)]
pub(super) struct Expected {
    /// The bytes it must begin with.
    head: [u8; HEAD_MAX],
    /// How many of them count.
    known: usize,
    /// Its length with the CRC.
    length: usize,
}

/// How far the bytes so far are a reply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Progress {
    /// All well so far; more must come.
    More,
    /// The whole reply is there and sound.
    Whole,
    /// The device refused, in a whole and sound frame.
    Refused(ExceptionCode),
    /// These bytes are no reply to this request.
    Foreign,
    /// It looks like the reply, but the CRC is wrong.
    Corrupt,
}

impl Expected {
    /// The reply that `request`, put to `unit`, expects; `frame` is the request's own frame.
    pub(super) fn of(request: &Request, unit: u8, frame: &Frame) -> Self {
        let length = request.reply_length();
        let mut head = [0; HEAD_MAX];
        let known = match request {
            Request::ReadCoils { .. }
            | Request::ReadDiscreteInputs { .. }
            | Request::ReadHoldingRegisters { .. }
            | Request::ReadInputRegisters { .. } => {
                let count = u8::try_from(length - 5).unwrap_or(u8::MAX);
                for (slot, octet) in head.iter_mut().zip([unit, request.function(), count]) {
                    *slot = octet;
                }
                3
            }
            _ => {
                for (slot, octet) in head.iter_mut().zip(frame.bytes()) {
                    *slot = *octet;
                }
                HEAD_MAX
            }
        };
        Self { head, known, length }
    }

    /// Judges the bytes so far, of which those before `from` were judged before.
    pub(super) fn judge(&self, frame: &Frame, from: usize) -> Progress {
        let [unit, function, ..] = self.head;
        let refusal = frame.at(1) == Some(function | EXCEPTION_BIT) && frame.at(0) == Some(unit);
        if refusal {
            return match (frame.len(), frame.at(2)) {
                (..EXCEPTION_LENGTH, _) => Progress::More,
                (EXCEPTION_LENGTH, Some(code)) if frame.is_sound() => {
                    Progress::Refused(ExceptionCode(code))
                }
                (EXCEPTION_LENGTH, _) => Progress::Corrupt,
                _ => Progress::Foreign,
            };
        }
        let heard = frame.bytes().iter().zip(&self.head).take(self.known).skip(from);
        for (heard, known) in heard {
            if heard != known {
                return Progress::Foreign;
            }
        }
        match frame.len() {
            length if length < self.length => Progress::More,
            length if length == self.length && frame.is_sound() => Progress::Whole,
            _ => Progress::Corrupt,
        }
    }

    /// How many bytes may still be taken for this reply.
    pub(super) fn missing(&self, frame: &Frame) -> usize {
        let [_, function, ..] = self.head;
        let length = if frame.at(1) == Some(function | EXCEPTION_BIT) {
            EXCEPTION_LENGTH
        } else {
            self.length
        };
        // Until the function code is there nobody knows which of the two it will be.
        if frame.len() < 2 { 2 - frame.len() } else { length.saturating_sub(frame.len()) }
    }
}

/// Why a device refused (MODBUS Application Protocol V1.1b3, 7): it is there, and says no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ExceptionCode(pub u8);

impl core::fmt::Display for ExceptionCode {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let meaning = match self.0 {
            0x01 => "the device does not know this function",
            0x02 => "the device has no such address",
            0x03 => "the device does not take this value or quantity",
            0x04 => "the device failed while it tried",
            0x05 => "the device needs more time",
            0x06 => "the device is busy",
            0x08 => "the device found a memory fault",
            0x0A => "the gateway has no path",
            0x0B => "no device answered the gateway",
            _ => "the device gives no reason that the protocol names",
        };
        write!(f, "exception {:02}: {meaning}", self.0)
    }
}

/// Levels read from coils or discrete inputs, the first in the lowest bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bits(pub u64);

/// Values read from registers.
#[derive(Debug, Clone, Copy)]
pub struct Registers<'frame>(&'frame [u8]);

impl Registers<'_> {
    /// The value at a place, counted from the first register asked.
    #[must_use]
    pub fn word(&self, place: usize) -> Option<u16> {
        let high = self.0.get(2 * place)?;
        let low = self.0.get(2 * place + 1)?;
        Some(u16::from_be_bytes([*high, *low]))
    }

    /// The 32-bit value in two registers from a place on.
    #[must_use]
    pub fn long(&self, place: usize, order: crate::rig::WordOrder) -> Option<u32> {
        let (first, second) = (self.word(place)?, self.word(place + 1)?);
        let (high, low) = match order {
            crate::rig::WordOrder::HighFirst => (first, second),
            crate::rig::WordOrder::LowFirst => (second, first),
        };
        Some(u32::from(high) << 16 | u32::from(low))
    }

    /// All values in order.
    pub fn iter(&self) -> impl Iterator<Item = u16> + '_ {
        self.0.chunks_exact(2).filter_map(|pair| match pair {
            [high, low] => Some(u16::from_be_bytes([*high, *low])),
            _ => None,
        })
    }
}

/// What a whole, sound reply says.
#[derive(Debug, Clone, Copy)]
pub enum Reply<'frame> {
    /// Levels that were asked for.
    Bits(Bits),
    /// Registers that were asked for.
    Registers(Registers<'frame>),
    /// The device echoed a write: it took it. That it acted on it is another matter.
    Written,
}

/// Reads a frame that was judged whole.
pub(super) fn read<'frame>(request: &Request, frame: &'frame Frame) -> Reply<'frame> {
    let body = frame.len().saturating_sub(2);
    let data = frame.bytes().get(3..body).unwrap_or_default();
    match request {
        Request::ReadCoils { count, .. } | Request::ReadDiscreteInputs { count, .. } => {
            let mut word = 0_u64;
            for octet in data.iter().take(8).rev() {
                word = word << 8 | u64::from(*octet);
            }
            Reply::Bits(Bits(word & mask(*count)))
        }
        Request::ReadHoldingRegisters { .. } | Request::ReadInputRegisters { .. } => {
            Reply::Registers(Registers(data))
        }
        _ => Reply::Written,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(text: &str) -> Frame {
        let mut frame = Frame::new();
        for octet in text.split(' ') {
            frame.push(u8::from_str_radix(octet, 16).unwrap());
        }
        frame
    }

    fn judged(request: Request, unit: u8, text: &str) -> Progress {
        Expected::of(&request, unit, &request.frame(unit)).judge(&heard(text), 0)
    }

    const THREE: Request = Request::ReadHoldingRegisters { address: 0x6B, count: 3 };

    /// Example of the MODBUS Application Protocol Specification V1.1b3, 6.3, CRC recomputed.
    #[test]
    fn the_specification_s_example_reply_reads_as_printed() {
        let frame = heard("11 03 06 AE 41 56 52 43 40 49 AD");
        assert_eq!(judged(THREE, 0x11, "11 03 06 AE 41 56 52 43 40 49 AD"), Progress::Whole);
        let Reply::Registers(registers) = read(&THREE, &frame) else { panic!("no registers") };
        assert_eq!(registers.iter().collect::<Vec<_>>(), [0xAE41, 0x5652, 0x4340]);
    }

    /// Exception example of the same specification, 7, CRC recomputed.
    #[test]
    fn an_exception_is_a_refusal_and_not_a_silence() {
        assert_eq!(judged(THREE, 0x11, "11 83 02 C1 34"), Progress::Refused(ExceptionCode(2)));
        let ten = Request::ReadHoldingRegisters { address: 0, count: 10 };
        assert_eq!(judged(ten, 1, "01 83 02 C0 F1"), Progress::Refused(ExceptionCode(2)));
        assert_eq!(judged(ten, 1, "01 83 02 C0 F0"), Progress::Corrupt);
    }

    #[test]
    fn a_reply_from_another_unit_function_or_quantity_is_foreign() {
        assert_eq!(judged(THREE, 0x12, "11 03 06"), Progress::Foreign);
        assert_eq!(judged(THREE, 0x11, "11 04 06"), Progress::Foreign);
        assert_eq!(judged(THREE, 0x11, "11 03 04"), Progress::Foreign);
        assert_eq!(judged(THREE, 0x11, "11 84"), Progress::Foreign);
    }

    #[test]
    fn a_write_is_acknowledged_only_by_its_own_address_and_value() {
        let write = Request::WriteRegister { address: 1, value: 3 };
        assert_eq!(judged(write, 0x11, "11 06 00 01 00 03 9A 9B"), Progress::Whole);
        assert_eq!(judged(write, 0x11, "11 06 00 02"), Progress::Foreign);
        assert_eq!(judged(write, 0x11, "11 06 00 01 00 04"), Progress::Foreign);
    }

    #[test]
    fn a_bit_reply_is_read_lowest_bit_first_and_cut_at_the_quantity_asked() {
        let request = Request::ReadDiscreteInputs { address: 0, count: 10 };
        let mut frame = heard("01 02 02 05 FF");
        frame.seal();
        let Reply::Bits(bits) = read(&request, &frame) else { panic!("no bits") };
        assert_eq!(bits.0, 0b11_0000_0101);
    }
}
