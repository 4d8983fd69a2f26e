//! Seeded chance.

/// Draws for one power cut. A seed draws the chances too: some cuts lose all that was not synced,
/// some nothing, most a part.
#[derive(Debug)]
pub struct Dice {
    random: fastrand::Rng,
    kept: f64,
}

/// What becomes of a write that was not synced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fate {
    Kept,
    Lost,
}

impl Dice {
    /// The dice of a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let mut random = fastrand::Rng::with_seed(seed);
        let kept = random.choice([0.0, 0.3, 0.5, 0.7, 1.0]).unwrap_or(0.5);
        Self { random, kept }
    }

    /// A whole number below a bound; zero where the bound is.
    pub fn below(&mut self, bound: u64) -> u64 {
        if bound == 0 { 0 } else { self.random.u64(..bound) }
    }

    /// Heads or tails.
    pub fn coin(&mut self) -> bool {
        self.random.bool()
    }

    pub(crate) fn fate(&mut self) -> Fate {
        if self.random.f64() < self.kept { Fate::Kept } else { Fate::Lost }
    }
}
