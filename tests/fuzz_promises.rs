//! What the fuzzer tries for minutes, tried for a moment: the promises about frames, rigs, recipes
//! and catalogues, kept by every seed, by every file of bad input, and by a few damaged copies.

#![expect(
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a broken promise is a panic; a test says how much it has tried"
)]
#![allow(unreachable_pub, reason = "what is tried here belongs to the fuzzer's own crate")]

#[path = "fuzz/src/checksum.rs"]
mod checksum;
#[path = "fuzz/src/dice.rs"]
mod dice;
#[path = "fuzz/src/frames.rs"]
mod frames;
#[path = "fuzz/src/shipped.rs"]
mod shipped;
#[path = "fuzz/src/texts.rs"]
mod texts;

use std::fs;
use std::path::Path;

use dice::{Dice, damaged};
use frames::frames;
use shipped::{SHIPPED, Shipped, TARGETS};
use texts::{catalogue, recipe, rig};

/// Damaged copies of each target's seeds; arbitrary, a few seconds in all.
const COPIES: u64 = 300;

/// The files of bad input of a target.
fn bad_input(target: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad_input");
    let entries = fs::read_dir(folder).expect("the folder of bad input is there");
    let mut paths: Vec<_> = entries.map(|entry| entry.expect("readable").path()).collect();
    paths.sort();
    let of_target = |path: &&std::path::PathBuf| {
        let name = path.file_name().and_then(|name| name.to_str()).expect("a plain name");
        name.starts_with(target) && name.ends_with(".toml")
    };
    paths.iter().filter(of_target).map(|path| fs::read(path).expect("a file")).collect()
}

#[test]
fn seeds_bad_input_and_damaged_copies_keep_every_promise_about_input() {
    for (seed, (target, keep)) in (1..).zip(TARGETS) {
        let mut seeds = Shipped::seeds(target);
        seeds.extend(bad_input(target));
        seeds.iter().for_each(|bytes| keep(bytes));
        let mut dice = Dice::new(seed);
        for copy in 0..COPIES {
            let bytes = damaged(&seeds, &mut dice);
            let kept = std::panic::catch_unwind(|| keep(&bytes));
            assert!(kept.is_ok(), "{target}, seed {seed}, copy {copy}: {}", bytes.escape_ascii());
        }
        println!("{target}: {} seeds, {COPIES} damaged copies", seeds.len());
    }
    assert!(!SHIPPED.recipes.is_empty());
}
