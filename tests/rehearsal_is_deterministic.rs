//! One seed, one rehearsal: every burst on the lines and every entry of the ledger is the same.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;

use std::time::Instant;

use evenpass_hil::{Fault, LineFault, LineIndex};
use support::jobs::Texts;
use support::{Rehearsal, near};

/// Runs the short job to its end. The line loses some replies, so that the seed has a say.
fn rehearse(seed: u64, losses: f64) -> Rehearsal {
    let mut run = Rehearsal::traced(Texts::of("short-job").job(), seed);
    for line in [LineIndex::Field, LineIndex::Motion] {
        run.bench().inject(Fault::Line { line, fault: LineFault::BitError, chance: losses });
    }
    run.complete();
    run
}

#[track_caller]
fn same(one: &Rehearsal, other: &Rehearsal) {
    let of = format!("seed {}", one.seed);
    for (index, (a, b)) in one.bus().trace.iter().zip(&other.bus().trace).enumerate() {
        assert_eq!(a, b, "burst {index}, {of}");
    }
    assert_eq!(one.bus().trace.len(), other.bus().trace.len(), "{of}");
    for (a, b) in one.entries.iter().zip(&other.entries) {
        assert_eq!(a, b, "{of}");
    }
    assert_eq!(one.entries.len(), other.entries.len(), "{of}");
    assert_eq!(one.switches, other.switches, "{of}");
}

#[test]
fn two_rehearsals_with_one_seed_are_the_same_to_the_byte_and_the_microsecond() {
    let began = Instant::now();
    let one = rehearse(1, 0.0);
    let took = began.elapsed().as_secs_f64();
    let other = rehearse(1, 0.0);
    same(&one, &other);
    println!(
        "{} transactions, {} bursts, {} bytes, {} entries in {:.1} s of the job: {:.0} times as \
         fast as it happens, looks of the test and all",
        one.bus().requests,
        one.bus().trace.len(),
        one.bus().bytes,
        one.entries.len(),
        one.now().as_seconds(),
        one.now().as_seconds() / took
    );
    assert!(one.bus().bytes > 100_000, "a trace of something: {}", one.bus().bytes);
}

#[test]
fn on_a_bad_line_the_seed_decides_and_nothing_else_does() {
    let (one, other, another) = (rehearse(7, 0.002), rehearse(7, 0.002), rehearse(8, 0.002));
    same(&one, &other);
    assert_ne!(one.bus().trace, another.bus().trace, "another seed spoils other replies");
}

#[test]
fn bytes_take_the_time_that_the_line_gives_them() {
    let run = rehearse(1, 0.0);
    for line in [0, 1] {
        let mut free_at = 0.0_f64;
        for burst in run.bus().trace.iter().filter(|burst| burst.line == line) {
            let start = burst.start.as_seconds();
            // 8E1 at 115,200 baud: 11 bits a character, and 1.75 ms of silence between frames
            // (Modbus over Serial Line V1.02, from memory); the queue counts whole microseconds.
            let silence = start - free_at;
            assert!(silence >= 0.001_75 - 2e-6, "line {line}: {silence} s before {burst:?}");
            free_at = start + burst.bytes.len() as f64 * 11.0 / 115_200.0;
        }
        near("last burst of the line", free_at, run.now().as_seconds(), 1.0);
    }
}
