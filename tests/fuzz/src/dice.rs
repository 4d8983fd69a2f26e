//! Damage by dice: reproducible from a seed, on any toolchain.

/// Numbers from a seed (xorshift64, Marsaglia 2003).
pub struct Dice(u64);

impl Dice {
    /// Dice of a seed; zero counts as one.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(seed.max(1))
    }

    fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 >> 11).unwrap_or(0) % end.max(1)
    }
}

/// A seed with a few bytes overwritten, inserted, taken away or copied from elsewhere.
#[must_use]
pub fn damaged(seeds: &[Vec<u8>], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = seeds[dice.below(seeds.len())].clone();
    let other = &seeds[dice.below(seeds.len())];
    for _ in 0..=dice.below(6) {
        if bytes.is_empty() {
            break;
        }
        let at = dice.below(bytes.len());
        let byte = u8::try_from(dice.below(256)).unwrap_or(0);
        match dice.below(5) {
            0 => bytes[at] = byte,
            1 => bytes.insert(at, byte),
            2 => drop(bytes.remove(at)),
            3 => bytes.truncate(at),
            _ => {
                let from = dice.below(other.len());
                let to = (from + dice.below(60)).min(other.len());
                let end = (at + dice.below(60)).min(bytes.len());
                bytes.splice(at..end, other[from..to].iter().copied());
            }
        }
    }
    bytes
}
