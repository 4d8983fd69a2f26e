//! The flame: lit by a spark when both gases flow, out a moment after one of them is missing.

/// Whether it burns, and since when a gas has been missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Flame {
    lit: bool,
    starved_since_us: Option<u64>,
    out_after_us: u64,
}

/// Whether fuel and oxygen both flow at the torch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Gases {
    /// Both flow.
    Flowing,
    /// At least one is missing.
    Missing,
}

impl Flame {
    pub(crate) fn new(out_after_us: u64) -> Self {
        Self { lit: false, starved_since_us: None, out_after_us }
    }

    pub(crate) fn is_lit(&self) -> bool {
        self.lit
    }

    /// A spark at the torch.
    pub(crate) fn spark(&mut self, gases: Gases) {
        if gases == Gases::Flowing {
            self.lit = true;
            self.starved_since_us = None;
        }
    }

    /// Blown out, whatever flows.
    pub(crate) fn blow_out(&mut self) {
        self.lit = false;
        self.starved_since_us = None;
    }

    /// Takes note of the gases now; returns when the flame will be out if nothing changes.
    pub(crate) fn feed(&mut self, now_us: u64, gases: Gases) -> Option<u64> {
        if !self.lit || gases == Gases::Flowing {
            self.starved_since_us = None;
            return None;
        }
        let since = *self.starved_since_us.get_or_insert(now_us);
        let out_us = since.saturating_add(self.out_after_us);
        if now_us >= out_us {
            self.blow_out();
            return None;
        }
        Some(out_us)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spark_lights_only_when_both_gases_flow() {
        let mut flame = Flame::new(100_000);
        flame.spark(Gases::Missing);
        assert!(!flame.is_lit());
        flame.spark(Gases::Flowing);
        assert!(flame.is_lit());
    }

    #[test]
    fn the_flame_is_out_a_tenth_of_a_second_after_a_gas_stops() {
        let mut flame = Flame::new(100_000);
        flame.spark(Gases::Flowing);
        assert_eq!(flame.feed(5_000, Gases::Missing), Some(105_000));
        assert_eq!(flame.feed(50_000, Gases::Missing), Some(105_000));
        assert!(flame.is_lit());
        assert_eq!(flame.feed(105_000, Gases::Missing), None);
        assert!(!flame.is_lit());
    }
}
