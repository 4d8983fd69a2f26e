//! A bus master for tests: frames of its own, time in whole microseconds.

#![allow(dead_code, missing_docs, unreachable_pub, clippy::unwrap_used, clippy::indexing_slicing)]
#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::panic)]

use evenpass_hil::{Bench, BenchSpec, Coil, LineIndex, PartInChuck};

pub const CHARACTER_NS: u64 = 95_486;

/// CRC-16 of Modbus, bit by bit.
pub fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |sum, byte| {
        (0..8).fold(
            sum ^ u16::from(*byte),
            |s, _| {
                if s & 1 == 1 { (s >> 1) ^ 0xA001 } else { s >> 1 }
            },
        )
    })
}

pub fn frame(unit: u8, pdu: &[u8]) -> Vec<u8> {
    let mut bytes = vec![unit];
    bytes.extend(pdu);
    let sum = crc(&bytes);
    bytes.extend(sum.to_le_bytes());
    bytes
}

pub struct Master {
    pub bench: Bench,
    pub now_us: u64,
    coils: u16,
}

impl Master {
    pub fn new(seed: u64) -> Self {
        Self::with(&BenchSpec::default_bench().unwrap(), &PartInChuck::plain_shaft(), seed)
    }

    pub fn with(spec: &BenchSpec, part: &PartInChuck, seed: u64) -> Self {
        let bench = Bench::new(spec, part, seed).unwrap();
        let mut master = Self { bench, now_us: 0, coils: 0 };
        master.wait(0.2);
        master
    }

    /// Sends a request and returns its reply's protocol data, waiting up to 50 ms.
    pub fn ask(&mut self, line: LineIndex, unit: u8, pdu: &[u8]) -> Option<Vec<u8>> {
        let request = frame(unit, pdu);
        self.now_us += request.len() as u64 * CHARACTER_NS / 1_000 + 1;
        self.bench.receive(line, self.now_us, &request);
        let end = self.now_us + 50_000;
        while self.bench.next_wake_us() <= end {
            let at = self.bench.next_wake_us();
            self.bench.advance(at);
            if let Some(burst) = self.bench.poll_transmit() {
                let bytes = burst.bytes;
                self.now_us = burst.start_us + bytes.len() as u64 * CHARACTER_NS / 1_000 + 1_750;
                let body = &bytes[..bytes.len() - 2];
                if crc(body).to_le_bytes() != bytes[bytes.len() - 2..] || bytes[0] != unit {
                    return None;
                }
                return Some(body[1..].to_vec());
            }
        }
        self.now_us = end;
        self.bench.advance(end);
        None
    }

    pub fn read(&mut self, line: LineIndex, unit: u8, start: u16, count: u16) -> Vec<u16> {
        let mut pdu = vec![3];
        pdu.extend(start.to_be_bytes());
        pdu.extend(count.to_be_bytes());
        let reply = self.ask(line, unit, &pdu).unwrap();
        reply[2..].chunks(2).map(|c| u16::from_be_bytes([c[0], c[1]])).collect()
    }

    pub fn write(&mut self, unit: u8, start: u16, values: &[u16]) {
        let mut pdu = vec![0x10];
        pdu.extend(start.to_be_bytes());
        pdu.extend((values.len() as u16).to_be_bytes());
        pdu.push(values.len() as u8 * 2);
        values.iter().for_each(|v| pdu.extend(v.to_be_bytes()));
        let reply = self.ask(LineIndex::Motion, unit, &pdu).unwrap();
        assert_eq!(reply[0], 0x10, "{reply:02X?}");
    }

    pub fn inputs(&mut self) -> u32 {
        let reply = self.ask(LineIndex::Field, 1, &[2, 0, 0, 0, 32]).unwrap();
        u32::from_le_bytes([reply[2], reply[3], reply[4], reply[5]])
    }

    pub fn registers(&mut self) -> Vec<u16> {
        let reply = self.ask(LineIndex::Field, 1, &[4, 0, 0, 0, 15]).unwrap();
        reply[2..].chunks(2).map(|c| u16::from_be_bytes([c[0], c[1]])).collect()
    }

    fn send_coils(&mut self) {
        let [low, high] = self.coils.to_le_bytes();
        let reply = self.ask(LineIndex::Field, 1, &[0x0F, 0, 0, 0, 16, 2, low, high]).unwrap();
        assert_eq!(reply, [0x0F, 0, 0, 0, 16]);
    }

    pub fn on(&mut self, coils: &[Coil]) {
        coils.iter().for_each(|&coil| self.coils |= 1 << coil as u16);
        self.send_coils();
    }

    pub fn off(&mut self, coils: &[Coil]) {
        coils.iter().for_each(|&coil| self.coils &= !(1 << coil as u16));
        self.send_coils();
    }

    /// Lets time go by with nothing on the lines.
    pub fn wait(&mut self, seconds: f64) {
        self.now_us += (seconds * 1e6) as u64;
        self.bench.advance(self.now_us);
    }

    /// Lets time go by with a beat and a poll of everything every 50 ms.
    pub fn beat(&mut self, seconds: f64) {
        let end = self.now_us + (seconds * 1e6) as u64;
        while self.now_us < end {
            let next = self.now_us + 50_000;
            self.coils ^= 1 << Coil::WatchdogBeat as u16;
            self.send_coils();
            self.read(LineIndex::Motion, 1, 0x0100, 12);
            self.read(LineIndex::Motion, 2, 0x0020, 4);
            if self.now_us < next.min(end) {
                self.now_us = next.min(end);
                self.bench.advance(self.now_us);
            }
        }
    }

    pub fn enable_drive(&mut self) {
        for control in [0x0006, 0x0007, 0x000F] {
            self.write(1, 0x0200, &[control]);
        }
    }

    pub fn home(&mut self) {
        self.enable_drive();
        let [high, low] = words(20 * 400);
        self.write(1, 0x020E, &[high, low]);
        self.write(1, 0x0200, &[0x000F, 6]);
        self.write(1, 0x0200, &[0x001F]);
        self.beat(60.0);
        assert_eq!(self.read(LineIndex::Motion, 1, 0x0100, 12)[11], 1);
        self.write(1, 0x0200, &[0x000F, 1]);
    }

    /// Starts a move to a true z, mm, at a speed, mm/s.
    pub fn go(&mut self, z_mm: f64, speed_mm_s: f64) {
        let target = ((z_mm + 50.0) * 400.0).round() as i32;
        let [high, low] = words(target);
        let [fast, slow] = words((speed_mm_s * 400.0).round() as i32);
        self.write(1, 0x0200, &[0x000F, 1, high, low, fast, slow]);
        self.write(1, 0x0200, &[0x003F]);
    }
}

pub fn words(value: i32) -> [u16; 2] {
    [(value as u32 >> 16) as u16, value as u32 as u16]
}
