//! Damaged copies of the shipped files are read without a panic, and what is said about them has
//! a place in the text.

#![expect(
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a test may fail, and says how much it has damaged"
)]

use evenpass_core::catalogue::Catalogue;
use evenpass_core::document::Problems;
use evenpass_core::recipe::Recipe;
use evenpass_core::rig::{Rig, check_together};

const POWDERS: &str = include_str!("../../../config/powders.toml");
const TORCHES: &str = include_str!("../../../config/torches.toml");
const BENCH: &str = include_str!("../../../config/rigs/bench.toml");
const GEARBOX: &str = include_str!("../../../config/rigs/gearbox-lathe.toml");
const STEPPED: &str = include_str!("../../../config/recipes/stepped-shaft.toml");
const TAPER: &str = include_str!("../../../config/recipes/taper-spindle.toml");

/// Damaged copies of each file and kind of damage.
const COPIES: u32 = 300;

/// Numbers from a seed (xorshift64, Marsaglia 2003).
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 11).unwrap_or(0) % end.max(1)
    }
}

/// Up to four bytes overwritten, inserted or taken away.
fn bytes_damaged(text: &str, dice: &mut Dice) -> String {
    let mut bytes = text.as_bytes().to_vec();
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len());
        let byte = u8::try_from(dice.below(256)).expect("a byte");
        match dice.below(3) {
            0 => bytes[at] = byte,
            1 => bytes.insert(at, byte),
            _ => drop(bytes.remove(at)),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// A quoted text replaced by another of the same file: still TOML, mostly nonsense.
fn values_exchanged(text: &str, dice: &mut Dice) -> String {
    let parts: Vec<&str> = text.split('"').collect();
    let quoted = parts.len() / 2;
    let mut parts: Vec<String> = parts.into_iter().map(str::to_owned).collect();
    for _ in 0..=dice.below(3) {
        let from = 2 * dice.below(quoted) + 1;
        let to = 2 * dice.below(quoted) + 1;
        parts[to] = parts[from].clone();
    }
    parts.join("\"")
}

/// Lines taken away or doubled.
fn lines_damaged(text: &str, dice: &mut Dice) -> String {
    let mut lines: Vec<&str> = text.lines().collect();
    for _ in 0..=dice.below(3) {
        let at = dice.below(lines.len());
        if dice.below(2) == 0 {
            lines.remove(at);
        } else {
            let line = lines[at];
            lines.insert(dice.below(lines.len()), line);
        }
    }
    lines.join("\n")
}

fn placed(problems: &Problems, text: &str) {
    let rendered = problems.render("file.toml", text);
    for problem in problems.clone().placed(text).iter() {
        let span = problem.span.clone().expect("placed");
        assert!(span.start <= span.end && span.end <= text.len(), "{problem:?}");
        let place = problem.place(text);
        let arrow = format!("--> file.toml:{}:{}\n", place.line, place.column);
        assert!(rendered.contains(&arrow), "{arrow}{rendered}");
    }
}

/// Reads damaged copies of `text` with `read`, which says whether the copy was refused.
fn damage(text: &str, seed: u64, read: impl Fn(&str) -> bool) {
    let mut dice = Dice(seed);
    let kinds = [bytes_damaged, values_exchanged, lines_damaged];
    for (kind, spoil) in kinds.into_iter().enumerate() {
        let refused = (0..COPIES).filter(|_| read(&spoil(text, &mut dice))).count();
        println!("kind {kind}: {refused} of {COPIES} refused");
        assert!(refused > 0, "no copy was damaged enough to be refused");
    }
}

#[test]
fn damaged_recipes_never_panic() {
    let catalogue = Catalogue::read(&[("p", POWDERS), ("t", TORCHES)]).expect("shipped");
    let bench = Rig::read(BENCH).expect("shipped");
    for (seed, text) in [(1, STEPPED), (2, TAPER)] {
        damage(text, seed, |text| match Recipe::read(text, &catalogue) {
            Ok(recipe) => {
                placed(&recipe.warnings(&catalogue), text);
                placed(&check_together(&recipe, &bench, &catalogue), text);
                false
            }
            Err(problems) => {
                assert!(problems.forbid(), "refused without a reason");
                placed(&problems, text);
                true
            }
        });
    }
}

#[test]
fn damaged_rigs_never_panic() {
    for (seed, text) in [(3, BENCH), (4, GEARBOX)] {
        damage(text, seed, |text| match Rig::read(text) {
            Ok(rig) => {
                placed(&rig.warnings(), text);
                false
            }
            Err(problems) => {
                assert!(problems.forbid(), "refused without a reason");
                placed(&problems, text);
                true
            }
        });
    }
}

#[test]
fn damaged_catalogues_never_panic() {
    for (seed, text) in [(5, POWDERS), (6, TORCHES)] {
        damage(text, seed, |text| match Catalogue::read(&[("file.toml", text)]) {
            Ok(_) => false,
            Err(problems) => {
                assert!(problems.forbid(), "refused without a reason");
                problems.iter().for_each(|(_, problems)| placed(problems, text));
                true
            }
        });
    }
}
