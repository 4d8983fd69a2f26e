//! Reproducible numbers for the tests.

/// Reproducible numbers (splitmix64, public domain algorithm).
pub(super) struct Dice(pub(super) u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// One of so many sides, from zero.
    pub(super) fn of(&mut self, sides: u64) -> u64 {
        self.roll() % sides
    }

    /// Whether one chance in so many came.
    pub(super) fn once_in(&mut self, scans: u64) -> bool {
        self.of(scans) == 0
    }
}
