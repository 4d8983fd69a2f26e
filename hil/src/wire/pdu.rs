//! Requests and replies of the functions that the bench's devices know: 01, 02, 03, 04, 05, 06, 0F, 10.

use super::{Frame, crc};

/// Why a device answers with an exception (Modbus Application Protocol V1.1b3, section 7).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Refusal {
    /// The device does not know this function.
    Function = 1,
    /// An address in the range does not exist.
    Address = 2,
    /// A value or count is outside what is allowed.
    Value = 3,
    /// The device has failed.
    Failure = 4,
}

/// Which table of bits or registers a read is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Table {
    /// Function 01.
    Coils,
    /// Function 02.
    DiscreteInputs,
    /// Function 03.
    HoldingRegisters,
    /// Function 04.
    InputRegisters,
}

/// A request whose lengths agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Request<'a> {
    /// Functions 01 and 02.
    ReadBits { table: Table, start: u16, count: u16 },
    /// Functions 03 and 04.
    ReadRegisters { table: Table, start: u16, count: u16 },
    /// Function 05: one coil, 1 = energise.
    WriteCoil { at: u16, level: u16 },
    /// Function 0F: `count` coils, eight a byte, lowest first.
    WriteCoils { start: u16, count: u16, bits: &'a [u8] },
    /// Functions 06 and 10: registers, high byte first.
    WriteRegisters { start: u16, values: &'a [[u8; 2]] },
}

/// Decodes the protocol data of a request: function code and what follows, without the check sum.
pub(crate) fn decode(pdu: &[u8]) -> Result<Request<'_>, Refusal> {
    let (&function, body) = pdu.split_first().ok_or(Refusal::Function)?;
    let (head, rest) = body.split_first_chunk::<4>().ok_or(Refusal::Value)?;
    let [a, b, c, d] = *head;
    let (start, second) = (u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]));
    let exact =
        |request: Request<'static>| if rest.is_empty() { Ok(request) } else { Err(Refusal::Value) };
    let within = |limit: u16| (1..=limit).contains(&second);
    match function {
        1 | 2 if within(2000) => {
            let table = if function == 1 { Table::Coils } else { Table::DiscreteInputs };
            exact(Request::ReadBits { table, start, count: second })
        }
        3 | 4 if within(125) => {
            let table = if function == 3 { Table::HoldingRegisters } else { Table::InputRegisters };
            exact(Request::ReadRegisters { table, start, count: second })
        }
        5 => match second {
            0x0000 => exact(Request::WriteCoil { at: start, level: 0 }),
            0xFF00 => exact(Request::WriteCoil { at: start, level: 1 }),
            _ => Err(Refusal::Value),
        },
        6 => {
            let (values, _) = body.get(2..).unwrap_or_default().as_chunks::<2>();
            if rest.is_empty() {
                Ok(Request::WriteRegisters { start, values })
            } else {
                Err(Refusal::Value)
            }
        }
        0x0F if within(1968) => match rest.split_first() {
            Some((&length, bits))
                if usize::from(length) == bits.len() && u16::from(length) == second.div_ceil(8) =>
            {
                Ok(Request::WriteCoils { start, count: second, bits })
            }
            _ => Err(Refusal::Value),
        },
        0x10 if within(123) => match rest.split_first() {
            Some((&length, bytes))
                if usize::from(length) == bytes.len() && u16::from(length) == second * 2 =>
            {
                let (values, _) = bytes.as_chunks::<2>();
                Ok(Request::WriteRegisters { start, values })
            }
            _ => Err(Refusal::Value),
        },
        1..=4 | 0x0F | 0x10 => Err(Refusal::Value),
        _ => Err(Refusal::Function),
    }
}

/// Appends a byte if the frame has room; a frame built here never comes near the limit.
fn push(frame: &mut Frame, byte: u8) {
    let _ = frame.try_push(byte);
}

/// Starts a reply.
pub(crate) fn begin(frame: &mut Frame, unit: u8, function: u8) {
    frame.clear();
    push(frame, unit);
    push(frame, function);
}

/// Puts `count` bits, lowest first, as the body of a reply to 01 or 02.
pub(crate) fn put_bits(frame: &mut Frame, bits: u32, count: u16) {
    let length = count.div_ceil(8);
    push(frame, u8::try_from(length).unwrap_or(u8::MAX));
    for byte in bits.to_le_bytes().iter().take(usize::from(length)) {
        push(frame, *byte);
    }
}

/// Puts registers as the body of a reply to 03 or 04.
pub(crate) fn put_registers(frame: &mut Frame, values: &[u16]) {
    push(frame, u8::try_from(values.len() * 2).unwrap_or(u8::MAX));
    for value in values {
        let _ = frame.try_extend_from_slice(&value.to_be_bytes());
    }
}

/// Puts the four bytes that a reply to a write repeats from its request.
pub(crate) fn put_echo(frame: &mut Frame, pdu: &[u8]) {
    let _ = frame.try_extend_from_slice(pdu.get(1..5).unwrap_or_default());
}

/// Turns a reply into an exception.
pub(crate) fn refuse(frame: &mut Frame, unit: u8, function: u8, refusal: Refusal) {
    begin(frame, unit, function | 0x80);
    push(frame, refusal as u8);
}

/// Closes a reply with its check sum.
pub(crate) fn seal(frame: &mut Frame) {
    let sum = crc::crc(frame);
    let _ = frame.try_extend_from_slice(&sum.to_le_bytes());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sample_requests_are_understood() {
        // Sample requests of the Modbus Application Protocol V1.1b3, without unit and check sum.
        assert_eq!(
            decode(&[0x01, 0x00, 0x13, 0x00, 0x25]),
            Ok(Request::ReadBits { table: Table::Coils, start: 0x13, count: 0x25 })
        );
        assert_eq!(
            decode(&[0x0F, 0x00, 0x13, 0x00, 0x0A, 0x02, 0xCD, 0x01]),
            Ok(Request::WriteCoils { start: 0x13, count: 10, bits: &[0xCD, 0x01] })
        );
        assert_eq!(
            decode(&[0x10, 0x00, 0x01, 0x00, 0x02, 0x04, 0x00, 0x0A, 0x01, 0x02]),
            Ok(Request::WriteRegisters { start: 1, values: &[[0x00, 0x0A], [0x01, 0x02]] })
        );
        assert_eq!(
            decode(&[0x06, 0x00, 0x01, 0x00, 0x03]),
            Ok(Request::WriteRegisters { start: 1, values: &[[0x00, 0x03]] })
        );
    }

    #[test]
    fn lengths_that_disagree_are_refused_by_value_and_unknown_functions_by_function() {
        assert_eq!(decode(&[0x03, 0, 0, 0, 126]), Err(Refusal::Value));
        assert_eq!(decode(&[0x03, 0, 0, 0]), Err(Refusal::Value));
        assert_eq!(decode(&[0x05, 0, 0, 0x12, 0x34]), Err(Refusal::Value));
        assert_eq!(decode(&[0x10, 0, 1, 0, 2, 3, 0, 10, 1]), Err(Refusal::Value));
        assert_eq!(decode(&[0x2B, 0, 0, 0, 0]), Err(Refusal::Function));
    }

    #[test]
    fn an_exception_is_sealed_like_the_sample() {
        let mut frame = Frame::new();
        refuse(&mut frame, 0x11, 3, Refusal::Address);
        seal(&mut frame);
        assert_eq!(frame.as_slice(), [0x11, 0x83, 0x02, 0xC1, 0x34]);
    }
}
