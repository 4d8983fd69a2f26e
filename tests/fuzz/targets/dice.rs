//! The same promises without a guided fuzzer: seeds damaged by dice, for a while.
//!
//! `dice TARGET SECONDS SEED [FOLDER]`: damaged copies of the target's own seeds and of the files
//! in the folder. The seed and the number of the copy are printed when a promise is broken.

use std::time::{Duration, Instant};

use evenpass_fuzz::{Dice, Shipped, TARGETS, damaged};

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [target, seconds, seed, folder @ ..] = arguments.as_slice() else {
        panic!("dice TARGET SECONDS SEED [FOLDER]");
    };
    let (_, keep) =
        TARGETS.iter().find(|(name, _)| name == target).expect("frames, rig, recipe or catalogue");
    let seconds: u64 = seconds.parse().expect("whole seconds");
    let seed: u64 = seed.parse().expect("a seed");
    let mut seeds = Shipped::seeds(target);
    for folder in folder {
        for entry in std::fs::read_dir(folder).expect("a folder of seeds") {
            seeds.push(std::fs::read(entry.expect("readable").path()).expect("a file"));
        }
    }
    let mut dice = Dice::new(seed);
    let end = Instant::now() + Duration::from_secs(seconds);
    let mut copies = 0_u64;
    while Instant::now() < end {
        let bytes = damaged(&seeds, &mut dice);
        if std::panic::catch_unwind(|| keep(&bytes)).is_err() {
            eprintln!("broken: {target}, seed {seed}, copy {copies}: {}", bytes.escape_ascii());
            std::process::exit(1);
        }
        copies += 1;
    }
    println!("{target}: {copies} damaged copies in {seconds} s, seed {seed}, no promise broken");
}
