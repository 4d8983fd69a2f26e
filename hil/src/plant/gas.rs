//! Fuel and oxygen from the isolation valve to the torch, and carrier air.

use crate::counts::seconds;

/// After so many time constants nothing of the old value is left that a number could hold.
const SETTLED: f64 = 40.0;

/// Pressure in a piece of pipe that fills or vents by a first-order law.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pipe {
    start_s: f64,
    from: f64,
    to: f64,
    time_constant_s: f64,
}

impl Pipe {
    /// At rest with a value.
    pub(crate) fn at(value: f64) -> Self {
        Self { start_s: 0.0, from: value, to: value, time_constant_s: 1.0 }
    }

    /// The value now.
    pub(crate) fn value(&self, now_us: u64) -> f64 {
        let gap = self.from - self.to;
        if gap == 0.0 {
            return self.to;
        }
        let constants = (seconds(now_us) - self.start_s) / self.time_constant_s;
        if constants > SETTLED { self.to } else { self.to + gap * (-constants).exp() }
    }

    /// Goes to another value from now on.
    pub(crate) fn go(&mut self, now_us: u64, to: f64, time_constant_s: f64) {
        *self = Self { from: self.value(now_us), start_s: seconds(now_us), to, time_constant_s };
    }
}

/// Below this pressure nothing burns at the torch, bar.
pub(crate) const LEAST_BURNING_BAR: f64 = 0.05;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_vented_pipe_loses_all_but_one_hundredth_in_4_6_time_constants() {
        let mut pipe = Pipe::at(0.0);
        pipe.go(0, 0.5, 0.2);
        assert!((pipe.value(2_000_000) - 0.5).abs() < 1e-4);
        pipe.go(2_000_000, 0.0, 0.6);
        assert!((pipe.value(2_000_000 + 2_763_000) / 0.5 - 0.01).abs() < 1e-4);
    }
}
