//! The checksum of Modbus RTU, bit by bit as the specification draws it (MODBUS over Serial Line
//! V1.02, 6.2.2), so that it shares nothing with the tables it is held against.

/// The checksum of some bytes.
pub(crate) fn of(bytes: &[u8]) -> u16 {
    let mut sum = 0xFFFF_u16;
    for byte in bytes {
        sum ^= u16::from(*byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { sum >> 1 ^ 0xA001 } else { sum >> 1 };
        }
    }
    sum
}

/// Whether a frame ends with the checksum of what stands before it.
pub(crate) fn holds(frame: &[u8]) -> bool {
    frame.len() > 2 && of(frame) == 0
}

/// The bytes with their checksum behind them.
pub(crate) fn sealed(mut bytes: Vec<u8>) -> Vec<u8> {
    let sum = of(&bytes);
    bytes.extend(sum.to_le_bytes());
    bytes
}
