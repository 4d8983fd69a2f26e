//! How much computer time a simulated second of the bench costs: 300 transactions a second on two
//! lines, flame lit, carriage moving, spindle turning, powder flowing.

use std::io::{self, Write};
use std::time::Instant;

use evenpass_hil::{Bench, BenchSpec, LineIndex, PartInChuck, SpecError};

/// Simulated time, s.
const SPAN_S: u64 = 2_000;
/// One transaction on each line every so often: 300 a second on both together, us.
const STEP_US: u64 = 6_667;

fn framed(unit: u8, pdu: &[u8]) -> Vec<u8> {
    let mut bytes = vec![unit];
    bytes.extend(pdu);
    let sum = bytes.iter().fold(0xFFFF_u16, |sum, byte| {
        (0..8).fold(
            sum ^ u16::from(*byte),
            |s, _| {
                if s & 1 == 1 { (s >> 1) ^ 0xA001 } else { s >> 1 }
            },
        )
    });
    bytes.extend(sum.to_le_bytes());
    bytes
}

struct Load {
    bench: Bench,
    now_us: u64,
    bytes_out: usize,
}

impl Load {
    fn run_to(&mut self, end_us: u64) {
        while self.bench.next_wake_us() <= end_us {
            self.bench.advance(self.bench.next_wake_us());
            while let Some(burst) = self.bench.poll_transmit() {
                self.bytes_out += burst.bytes.len();
            }
        }
        self.now_us = end_us;
        self.bench.advance(end_us);
    }

    fn send(&mut self, line: LineIndex, bytes: &[u8]) {
        self.bench.receive(line, self.now_us + 1_000, bytes);
    }

    fn command(&mut self, pdu: &[u8]) {
        self.send(LineIndex::Motion, &framed(1, pdu));
        self.run_to(self.now_us + 10_000);
    }
}

fn main() -> Result<(), SpecError> {
    let bench = Bench::new(&BenchSpec::default_bench()?, &PartInChuck::plain_shaft(), 1)?;
    let mut load = Load { bench, now_us: 0, bytes_out: 0 };
    load.run_to(200_000);
    load.command(&[0x06, 0x02, 0x00, 0x00, 0x06]);
    load.command(&[0x06, 0x02, 0x00, 0x00, 0x07]);
    load.command(&[0x06, 0x02, 0x00, 0x00, 0x0F]);
    load.send(LineIndex::Motion, &framed(2, &[0x10, 0, 0x10, 0, 2, 4, 0, 1, 0x04, 0xE2]));
    load.run_to(load.now_us + 10_000);
    let reads = [
        framed(1, &[2, 0, 0, 0, 32]),
        framed(1, &[4, 0, 0, 0, 15]),
        framed(1, &[0x0F, 0, 0, 0, 16, 2, 0x4F, 0x40]),
        framed(1, &[0x0F, 0, 0, 0, 16, 2, 0xCF, 0x40]),
    ];
    let drive = framed(1, &[3, 1, 0, 0, 12]);
    let inverter = framed(2, &[3, 0, 0x20, 0, 4]);
    // There and back between the two ends, 288 000 pulses apart.
    let targets = [
        framed(1, &[0x10, 2, 0, 0, 6, 12, 0, 0x0F, 0, 1, 0xFF, 0xFB, 0x9B, 0x00, 0, 0, 0x4E, 0x20]),
        framed(1, &[0x10, 2, 0, 0, 6, 12, 0, 0x0F, 0, 1, 0, 0, 0, 0, 0, 0, 0x4E, 0x20]),
    ];
    let go = framed(1, &[0x06, 2, 0, 0, 0x3F]);
    let start_us = load.now_us;
    let steps = SPAN_S * 1_000_000 / STEP_US;
    let clock = Instant::now();
    for (step, field) in (0..steps).zip(reads.iter().cycle()) {
        load.send(LineIndex::Field, field);
        let motion = match step % 4_000 {
            0 => targets.first().unwrap_or(&go),
            2_000 => targets.last().unwrap_or(&go),
            1 | 2_001 => &go,
            n if n % 10 == 9 => &inverter,
            _ => &drive,
        };
        load.send(LineIndex::Motion, motion);
        if step % 300 == 200 {
            load.bench.spark_by_hand();
        }
        load.run_to(start_us + (step + 1) * STEP_US);
    }
    let spent = clock.elapsed().as_secs_f64();
    let each = spent * 1e6 / (steps * STEP_US) as f64 * 1e6;
    let truth = load.bench.truth();
    let _ = writeln!(
        io::stdout(),
        "{each:.1} us for each simulated second ({:.0} times real time), {} bytes out, {:?}",
        1e6 / each,
        load.bytes_out,
        truth
    );
    let clock = Instant::now();
    let mean = load.bench.mean_thickness_mm(100.0, 220.0);
    let _ = writeln!(
        io::stdout(),
        "mean {mean:.3} mm in {:.1} ms",
        clock.elapsed().as_secs_f64() * 1e3
    );
    let clock = Instant::now();
    let _ = Bench::new(&BenchSpec::default_bench()?, &PartInChuck::plain_shaft(), 1)?;
    let _ = writeln!(io::stdout(), "new bench in {:.2} ms", clock.elapsed().as_secs_f64() * 1e3);
    Ok(())
}
