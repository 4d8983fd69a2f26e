//! How long a scan takes; measured on demand, in a release build.

#![expect(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "a measurement of the program needs a clock"
)]

use super::reach::reach;
use crate::sequence::Leaf;

/// `cargo test --release -p evenpass-core pace -- --ignored --nocapture`
#[test]
#[ignore = "measures; says nothing about behaviour"]
fn a_scan_takes_little_time_in_every_state() {
    for leaf in Leaf::ALL {
        let plant = reach(*leaf);
        let mut sequence = plant.sequence.clone();
        let inputs = plant.inputs.clone();
        let rounds = 200_000_u32;
        let begun = std::time::Instant::now();
        for _ in 0..rounds {
            std::hint::black_box(sequence.step(std::hint::black_box(&inputs), &plant.verdict, &[]));
        }
        let each = begun.elapsed() / rounds;
        println!("{:<24} {each:?}", leaf.name());
    }
}
