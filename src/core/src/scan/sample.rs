//! Samples for the record: a few figures at a set rate while something is going on.

use core::time::Duration;

use serde_json::{Map, Value};

use crate::image::{Analogue, Inputs, Outputs, Referenced};
use crate::ledger::{EntryKind, Ledger};
use crate::moment::Moment;
use crate::quantity::{Mass, Pressure, Temperature};
use crate::sequence::Phase;

/// How often a running job is sampled.
const EVERY: Duration = Duration::from_millis(500);
/// How old a value may be to be written down as measured.
const FRESH: Duration = Duration::from_millis(500);

/// Samples at a set rate.
#[derive(Debug, Clone, Default)]
pub(super) struct Sampler {
    next: Moment,
}

impl Sampler {
    /// Writes a sample down if one is due. What is no measurement is left out.
    pub(super) fn sample(
        &mut self,
        inputs: &Inputs,
        outputs: &Outputs,
        phase: Phase,
        ledger: &mut Ledger,
    ) {
        let now = inputs.now;
        if now < self.next || matches!(phase, Phase::Idle | Phase::Complete | Phase::Stopped) {
            return;
        }
        self.next = now + EVERY;
        let mut data = Map::new();
        let mut put = |name: &str, value: Value| {
            data.insert(name.to_owned(), value);
        };
        let value = |tag| inputs.analogue(tag).trusted(now, FRESH);
        let text = |quantity: &dyn core::fmt::Display| Value::String(quantity.to_string());
        if let Some(axis) = inputs.axis.trusted(now, FRESH)
            && axis.referenced == Referenced::Yes
        {
            put("z", text(&axis.position));
            put("feed", text(&axis.velocity));
        }
        if let Some(spindle) = inputs.spindle.trusted(now, FRESH) {
            put("spindle", text(&spindle.measured));
        }
        let temperatures =
            [("part", Analogue::PartTemperature), ("coat", Analogue::FuseTemperature)];
        for (name, tag) in temperatures {
            if let Some(celsius) = value(tag) {
                put(name, text(&Temperature::from_celsius(celsius)));
            }
        }
        let pressures = [
            ("fuel", Analogue::FuelPressure),
            ("oxygen", Analogue::OxygenPressure),
            ("carrier", Analogue::CarrierPressure),
        ];
        for (name, tag) in pressures {
            if let Some(bar) = value(tag) {
                put(name, text(&Pressure::from_bar(bar)));
            }
        }
        if let Some(grams) = value(Analogue::HopperWeight) {
            put("hopper", text(&Mass::from_g(grams)));
        }
        put("powder", Value::Bool(outputs.powder.now.is_on()));
        ledger.write(now, EntryKind::Sample, String::new(), String::new(), Value::Object(data));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::{Failure, Kind, Level, Signal};

    fn sampled(phase: Phase) -> Option<Value> {
        let mut inputs = Inputs::unknown();
        inputs.now = Moment::from_micros(10_000_000);
        inputs.analogues[Analogue::PartTemperature.index()] = Signal::measured(251.5, inputs.now);
        inputs.analogues[Analogue::FuseTemperature.index()] = Signal::measured(1041.0, inputs.now);
        inputs.analogues[Analogue::FuelPressure.index()] = Signal {
            kind: Kind::Failed(Failure::BrokenWire),
            ..Signal::measured(-0.3, inputs.now)
        };
        let mut outputs = Outputs::default();
        outputs.powder.now = Level::On;
        let mut ledger = Ledger::with_capacity(4);
        let mut sampler = Sampler::default();
        sampler.sample(&inputs, &outputs, phase, &mut ledger);
        let first = ledger.take();
        sampler.sample(&inputs, &outputs, phase, &mut ledger);
        assert_eq!(ledger.take(), None, "one sample in half a second");
        first.map(|entry| entry.data)
    }

    /// The record reads `part` and `coat` as temperatures with their unit.
    #[test]
    fn a_sample_has_what_is_measured_with_its_unit_and_leaves_out_what_is_not() {
        let data = sampled(Phase::Spraying).expect("a sample");
        assert_eq!(
            data,
            serde_json::json!({ "part": "251.5 degC", "coat": "1041 degC", "powder": true })
        );
    }

    #[test]
    fn a_machine_at_rest_is_not_sampled() {
        for phase in [Phase::Idle, Phase::Complete, Phase::Stopped] {
            assert_eq!(sampled(phase), None);
        }
    }
}
