//! The check sum of Modbus RTU: CRC-16, polynomial 8005 reflected (A001), start FFFF.

const TABLES: [[u16; 256]; 2] = tables();

#[expect(
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    reason = "evaluated at build time, where a wrong index fails the build"
)]
const fn tables() -> [[u16; 256]; 2] {
    let mut tables = [[0; 256]; 2];
    let mut i = 0;
    while i < 256 {
        let mut value = i as u16;
        let mut bit = 0;
        while bit < 8 {
            value = if value & 1 == 1 { (value >> 1) ^ 0xA001 } else { value >> 1 };
            bit += 1;
        }
        tables[0][i] = value;
        i += 1;
    }
    i = 0;
    while i < 256 {
        let one = tables[0][i];
        tables[1][i] = (one >> 8) ^ tables[0][(one & 0xFF) as usize];
        i += 1;
    }
    tables
}

/// The check sum of `bytes`; on the line its low byte goes first.
pub(crate) fn crc(bytes: &[u8]) -> u16 {
    let [near, far] = &TABLES;
    let entry = |table: &[u16; 256], at: u16| {
        table.get(usize::from(at & 0xFF)).copied().unwrap_or_default()
    };
    // Two bytes a turn: the look-ups of a pair do not wait for each other.
    let (pairs, rest) = bytes.as_chunks::<2>();
    let mut sum = 0xFFFF_u16;
    for pair in pairs {
        let mixed = sum ^ u16::from_le_bytes(*pair);
        sum = entry(far, mixed) ^ entry(near, mixed >> 8);
    }
    for &byte in rest {
        sum = (sum >> 8) ^ entry(near, sum ^ u16::from(byte));
    }
    sum
}

/// Whether a frame of at least four bytes ends in its own check sum.
pub(crate) fn holds(frame: &[u8]) -> bool {
    match frame.split_last_chunk::<2>() {
        Some((body, sum)) if body.len() >= 2 => crc(body) == u16::from_le_bytes(*sum),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_value_of_the_catalogue_of_crc_algorithms() {
        // CRC-16/MODBUS: check value of "123456789" is 4B37.
        assert_eq!(crc(b"123456789"), 0x4B37);
    }

    #[test]
    fn sample_frames_of_the_serial_line_text_hold() {
        let frames: [&[u8]; 6] = [
            &[0x02, 0x07, 0x41, 0x12],
            &[0x11, 0x01, 0x00, 0x13, 0x00, 0x25, 0x0E, 0x84],
            &[0x11, 0x03, 0x06, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40, 0x49, 0xAD],
            &[0x11, 0x0F, 0x00, 0x13, 0x00, 0x0A, 0x02, 0xCD, 0x01, 0xBF, 0x0B],
            &[0x11, 0x10, 0x00, 0x01, 0x00, 0x02, 0x04, 0x00, 0x0A, 0x01, 0x02, 0xC6, 0xF0],
            &[0x11, 0x83, 0x02, 0xC1, 0x34],
        ];
        for frame in frames {
            assert!(holds(frame), "{frame:02X?}");
        }
        assert!(!holds(&[0x02, 0x07, 0x41, 0x13]));
        assert!(!holds(&[0x41]));
    }
}
