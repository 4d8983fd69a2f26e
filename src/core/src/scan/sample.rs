//! Samples for the record: a few figures at a set rate while something is going on.

use core::time::Duration;

use serde_json::{Map, Value};

use crate::image::{Analogue, Inputs, Level, Outputs, Referenced};
use crate::ledger::{EntryKind, Ledger};
use crate::moment::Moment;
use crate::quantity::{Mass, Pressure, Temperature};
use crate::sequence::Phase;

/// How often a running job is sampled.
const EVERY: Duration = Duration::from_millis(500);
/// How often place, feed and powder are written down while powder is commanded or arrives: a job that
/// is cut off there is taken up at the place where it lost its powder, and the record is all that is
/// known of it. Two tenths of a second of a usual feed are a third of a plume (arbitrary within that).
const EVERY_SPRAYING: Duration = Duration::from_millis(200);
/// How old a value may be to be written down as measured.
const FRESH: Duration = Duration::from_millis(500);

/// Samples at a set rate.
#[derive(Debug, Clone, Default)]
pub(super) struct Sampler {
    next: Moment,
    /// When place, feed and powder are due at the latest.
    next_place: Moment,
}

impl Sampler {
    /// Writes a sample down if one is due; `arriving` is whether powder arrives or is on its way.
    /// What is no measurement is left out.
    pub(super) fn sample(
        &mut self,
        inputs: &Inputs,
        outputs: &Outputs,
        phase: Phase,
        arriving: Level,
        ledger: &mut Ledger,
    ) {
        let now = inputs.now;
        if matches!(phase, Phase::Idle | Phase::Complete | Phase::Stopped) {
            return;
        }
        let sprays = arriving.is_on() || outputs.powder.now.is_on();
        let whole = now >= self.next;
        let place = sprays && now >= self.next_place;
        if !(whole || place) {
            return;
        }
        self.next_place = now + EVERY_SPRAYING;
        if whole {
            self.next = now + EVERY;
        }
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
        put("powder", Value::Bool(outputs.powder.now.is_on()));
        if !whole {
            let data = Value::Object(data);
            ledger.write(now, EntryKind::Sample, String::new(), String::new(), data);
            return;
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
        ledger.write(now, EntryKind::Sample, String::new(), String::new(), Value::Object(data));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image::{Failure, Kind, Signal};

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
        sampler.sample(&inputs, &outputs, phase, Level::Off, &mut ledger);
        let first = ledger.take();
        sampler.sample(&inputs, &outputs, phase, Level::Off, &mut ledger);
        assert_eq!(ledger.take(), None, "one sample at a time");
        first.map(|entry| entry.data)
    }

    #[test]
    fn place_feed_and_powder_are_written_down_five_times_a_second_while_powder_is_out() {
        let mut inputs = Inputs::unknown();
        let mut outputs = Outputs::default();
        let mut sampler = Sampler::default();
        let mut ledger = Ledger::with_capacity(64);
        let mut count = |powder, arriving| {
            outputs.powder.now = powder;
            for _ in 0..100 {
                inputs.now = inputs.now + Duration::from_millis(20);
                sampler.sample(&inputs, &outputs, Phase::Spraying, arriving, &mut ledger);
            }
            let mut taken = 0;
            while ledger.take().is_some() {
                taken += 1;
            }
            taken
        };
        assert_eq!(count(Level::Off, Level::Off), 4, "in two seconds");
        assert!((10..=14).contains(&count(Level::On, Level::On)), "those of either rate");
        assert!((10..=14).contains(&count(Level::Off, Level::On)), "the hose empties");
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
