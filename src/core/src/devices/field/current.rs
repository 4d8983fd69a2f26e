//! A 4-20 mA signal judged by NAMUR NE 43.
//!
//! ```text
//!   0 ... 3.6 | ... | 3.8 ............ 20.5 | ... | 21.0 ...  mA
//!   broken    | un- | measured              | un- | short
//!   wire      | certain                     | certain
//! ```
//!
//! Failure currents count at once. In the uncertain bands the last good value is held for 0.3 s,
//! then the signal is failed. A broken wire never reads as a value below the scale.

use core::time::Duration;

use crate::image::{Failure, Kind, Signal};
use crate::moment::Moment;
use crate::rig::AnalogueSpec;

/// At or under this, mA: broken wire (NAMUR NE 43).
const BROKEN_MA: f64 = 3.6;
/// From here, mA, it is a measurement (NAMUR NE 43).
const VALID_FROM_MA: f64 = 3.8;
/// Up to here, mA, it is a measurement (NAMUR NE 43).
const VALID_TO_MA: f64 = 20.5;
/// At or over this, mA: short circuit (NAMUR NE 43).
const SHORT_MA: f64 = 21.0;
/// How long the last good value stands in the uncertain bands. Chosen: well under the 1 s that
/// a trip may wait for a transmitter fault by common practice.
const HOLD: Duration = Duration::from_millis(300);

/// One current input.
#[derive(Debug, Clone, Copy)]
pub(super) struct CurrentInput {
    microampere_per_count: f64,
    at_4_ma: f64,
    per_ma: f64,
    last_good: Option<Signal<f64>>,
    signal: Signal<f64>,
}

impl CurrentInput {
    pub(super) fn new(spec: &AnalogueSpec) -> Self {
        Self {
            microampere_per_count: spec.microampere_per_count,
            at_4_ma: spec.at_4_ma,
            per_ma: (spec.at_20_ma - spec.at_4_ma) / 16.0,
            last_good: None,
            signal: Signal::default(),
        }
    }

    pub(super) const fn signal(&self) -> Signal<f64> {
        self.signal
    }

    /// A count sampled at a moment.
    pub(super) fn handle_count(&mut self, count: u16, at: Moment) {
        let ma = f64::from(count) * self.microampere_per_count / 1_000.0;
        let last = self.last_good.map_or(0.0, |good| good.value);
        self.signal = if ma <= BROKEN_MA {
            Signal::failed(last, at, Failure::BrokenWire)
        } else if ma >= SHORT_MA {
            Signal::failed(last, at, Failure::ShortCircuit)
        } else if (VALID_FROM_MA..=VALID_TO_MA).contains(&ma) {
            let good = Signal::measured(self.at_4_ma + (ma - 4.0) * self.per_ma, at);
            self.last_good = Some(good);
            good
        } else {
            match self.last_good {
                // The transmitter has just been heard, so the signal is as old as this sample;
                // the value in it is older by at most the hold.
                Some(good) if at.since(good.at) < HOLD => {
                    Signal { value: good.value, at, kind: Kind::Held }
                }
                _ => Signal::failed(last, at, Failure::Uncertain),
            }
        };
        if matches!(self.signal.kind, Kind::Failed(_)) {
            // A value from before a failure is never held after it.
            self.last_good = None;
        }
    }

    /// The module cannot say, or does not move any more.
    pub(super) fn fail(&mut self, at: Moment, why: Failure) {
        self.last_good = None;
        self.signal = Signal::failed(self.signal.value, at, why);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::Analogue;

    fn pressure() -> CurrentInput {
        CurrentInput::new(&AnalogueSpec {
            tag: Analogue::OxygenPressure,
            register: Some(1),
            microampere_per_count: 1.0,
            at_4_ma: 0.0,
            at_20_ma: 10.0,
        })
    }

    const fn at(ms: u64) -> Moment {
        Moment::from_micros(ms * 1_000)
    }

    fn kind_of(count: u16) -> Kind {
        let mut input = pressure();
        input.handle_count(12_000, at(0));
        input.handle_count(count, at(40));
        input.signal().kind
    }

    /// Limits of NAMUR NE 43, each side of each.
    #[test]
    fn each_band_begins_and_ends_where_ne_43_says() {
        for (count, kind) in [
            (0, Kind::Failed(Failure::BrokenWire)),
            (3_600, Kind::Failed(Failure::BrokenWire)),
            (3_601, Kind::Held),
            (3_799, Kind::Held),
            (3_800, Kind::Measured),
            (20_500, Kind::Measured),
            (20_501, Kind::Held),
            (20_999, Kind::Held),
            (21_000, Kind::Failed(Failure::ShortCircuit)),
            (24_000, Kind::Failed(Failure::ShortCircuit)),
        ] {
            assert_eq!(kind_of(count), kind, "{count} uA");
        }
    }

    /// Computed here: 0-10 bar over 16 mA.
    #[test]
    fn counts_become_values_along_the_line_from_4_to_20_ma() {
        for (count, bar) in [(3_800, -0.125), (4_000, 0.0), (12_000, 5.0), (20_500, 10.3125)] {
            let mut input = pressure();
            input.handle_count(count, at(0));
            assert!((input.signal().value - bar).abs() < 1e-12, "{count} uA");
        }
    }

    #[test]
    fn the_uncertain_band_holds_the_last_good_value_for_three_tenths_and_then_fails() {
        let mut input = pressure();
        input.handle_count(12_000, at(0));
        input.handle_count(3_700, at(280));
        assert_eq!(input.signal(), Signal { value: 5.0, at: at(280), kind: Kind::Held });
        input.handle_count(3_700, at(300));
        assert_eq!(input.signal().kind, Kind::Failed(Failure::Uncertain));
        input.handle_count(12_000, at(320));
        assert_eq!(input.signal().kind, Kind::Measured);
    }

    #[test]
    fn a_current_that_was_never_good_is_not_held() {
        let mut input = pressure();
        input.handle_count(3_700, at(0));
        assert_eq!(input.signal().kind, Kind::Failed(Failure::Uncertain));
    }

    #[test]
    fn a_value_from_before_a_broken_wire_is_not_held_after_it() {
        let mut input = pressure();
        input.handle_count(12_000, at(0));
        input.handle_count(1_000, at(40));
        input.handle_count(3_700, at(80));
        assert_eq!(input.signal().kind, Kind::Failed(Failure::Uncertain));
    }
}
