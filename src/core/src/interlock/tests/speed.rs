//! What a scan's judgement costs.

#![expect(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "a measurement of the program needs a clock"
)]

use std::time::Instant;

use super::bench::Bench;
use crate::interlock::enforce;

#[test]
#[ignore = "a measurement, meaningful only in a release build"]
fn a_scan_is_judged_within_a_microsecond_and_a_half() {
    for (name, mut bench) in [("idle", Bench::idle()), ("spraying", Bench::spraying())] {
        let scans = 1_000_000_u32;
        let began = Instant::now();
        for _ in 0..scans {
            bench.interlocks.step(&bench.inputs, &bench.outputs, &bench.limits);
        }
        let step = began.elapsed() / scans;
        let began = Instant::now();
        for _ in 0..scans {
            let written = enforce(
                bench.interlocks.verdict(),
                &bench.inputs,
                std::hint::black_box(bench.outputs),
            );
            std::hint::black_box(written);
        }
        println!("{name}: step {step:?}, enforce {:?}", began.elapsed() / scans);
        assert!(step.as_nanos() < 1_500);
    }
}
