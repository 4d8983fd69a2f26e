//! What a signal says, in words: of a contact what its level means by its polarity, of a value its
//! figure in the reader's units, of either why it is not to be believed.

use core::time::Duration;

use evenpass_core::image::{Analogue, Contact, Failure, Kind, Level, Signal};
use evenpass_core::moment::Moment;
use evenpass_core::quantity::{Pressure, Temperature, fixed};

use crate::people::Units;

/// What is said of a signal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Said {
    /// How it stands.
    pub(super) standing: Standing,
    /// In words.
    pub(super) words: String,
}

/// How a signal stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Standing {
    /// As it is on a healthy machine, or one of two levels that are equally usual.
    Usual,
    /// Otherwise.
    Unusual,
    /// Not to be believed.
    NotBelieved,
}

impl Said {
    /// What a style sheet shows it by.
    pub(super) const fn mark(&self) -> Option<&'static str> {
        match self.standing {
            Standing::Usual => None,
            Standing::Unusual => Some("unusual"),
            Standing::NotBelieved => Some("failed"),
        }
    }

    /// A sign for whoever tells no colours.
    pub(super) const fn sign(&self) -> &'static str {
        match self.standing {
            Standing::Usual => "",
            Standing::Unusual => "\u{25b2}",
            Standing::NotBelieved => "\u{2715}",
        }
    }
}

/// Which level of a contact a healthy machine at rest has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Healthy {
    /// Closed.
    Closed,
    /// Either: both are usual.
    Either,
}

/// What a contact's levels mean: which one is healthy, closed, open.
#[rustfmt::skip]
const fn meaning(tag: Contact) -> (Healthy, &'static str, &'static str) {
    use Contact as C;
    use Healthy::{Closed, Either};
    match tag {
        C::EmergencyStop => (Closed, "closed: healthy", "open: emergency stop, or broken wire"),
        C::Guard => (Closed, "closed: guard shut", "open: guard open, or broken wire"),
        C::Clamp => (Closed, "closed: part clamped", "open: not clamped, or broken wire"),
        C::LimitMinus | C::LimitPlus => (Closed, "closed: limit free", "open: carriage on the limit, or broken wire"),
        C::Flame => (Either, "closed: flame seen", "open: no flame"),
        C::Arrestor => (Closed, "closed: healthy", "open: flashback, or broken wire"),
        C::Extraction => (Closed, "closed: flow proved", "open: no extraction, or broken wire"),
        C::PlantAir => (Closed, "closed: air present", "open: no plant air, or broken wire"),
        C::GasDetector | C::OxygenMonitor | C::FireDetection => (Closed, "closed: healthy", "open: alarm, fault, or broken wire"),
        C::EnablingKey => (Either, "closed: key on", "open: key off"),
        C::StartButton | C::ResetButton | C::AcceptButton | C::WetButton | C::BadFlameButton
        | C::CoatLiftingButton | C::HoldToRun => (Either, "closed: pressed", "open: at rest"),
        C::HoldButtonRest | C::StopButtonRest | C::AbortButtonRest => (Closed, "closed: at rest", "open: pressed, or broken wire"),
        C::Standoff => (Closed, "closed: torch free", "open: torch bumped, or broken wire"),
        C::WatchdogRelay => (Closed, "closed: picked up", "open: dropped, gas and powder off"),
        C::FuelShut | C::OxygenShut => (Either, "closed: valve proved shut", "open: valve not proved shut"),
        C::TorqueAllowed => (Either, "closed: torque allowed", "open: no torque allowed"),
        C::HopperLevel => (Closed, "closed: above the low mark", "open: hopper low, or broken wire"),
        C::ParkSwitch => (Either, "closed: torch at the park", "open: torch not at the park"),
        C::PartTurning => (Either, "closed: part seen turning", "open: part not seen turning"),
    }
}

/// What a contact says.
pub(super) fn contact(tag: Contact, signal: &Signal<Level>, now: Moment, budget: Duration) -> Said {
    if let Some(doubt) = doubt(signal, now, budget) {
        return doubt;
    }
    let (healthy, closed, open) = meaning(tag);
    let (standing, words) = match (signal.value, healthy) {
        (Level::On, _) => (Standing::Usual, closed),
        (Level::Off, Healthy::Either) => (Standing::Usual, open),
        (Level::Off, Healthy::Closed) => (Standing::Unusual, open),
    };
    Said { standing, words: words.to_owned() }
}

/// What an analogue input says.
pub(super) fn analogue(
    tag: Analogue,
    signal: &Signal<f64>,
    now: Moment,
    budget: Duration,
    units: Units,
) -> Said {
    if let Some(doubt) = doubt(signal, now, budget) {
        return doubt;
    }
    let words = value(tag, signal.value, units);
    match signal.kind {
        Kind::Held => Said {
            standing: Standing::Unusual,
            words: format!("{words}, held: the current is between measured and failed"),
        },
        _ => Said { standing: Standing::Usual, words },
    }
}

/// A value in the reader's units.
fn value(tag: Analogue, value: f64, units: Units) -> String {
    match tag.unit() {
        "bar" => units.pressure(Pressure::from_bar(value)),
        "degC" => units.temperature(Temperature::from_celsius(value)),
        "g" => format!("{} g", fixed(value, 0)),
        unit => format!("{} {unit}", fixed(value, 1)),
    }
}

/// Why a signal is not to be believed; `None` when it is.
pub(super) fn doubt<T: Copy + Default>(
    signal: &Signal<T>,
    now: Moment,
    budget: Duration,
) -> Option<Said> {
    let words = match signal.kind {
        Kind::Failed(why) => failure(why).to_owned(),
        _ if signal.age(now) > budget => format!(
            "too old: {} s, and {} s is what may be",
            fixed(signal.age(now).as_secs_f64(), 1),
            fixed(budget.as_secs_f64(), 1)
        ),
        _ => return None,
    };
    Some(Said { standing: Standing::NotBelieved, words })
}

/// Why there is no measurement.
const fn failure(why: Failure) -> &'static str {
    match why {
        Failure::NeverRead => "never read since the program began, or since the module came back",
        Failure::BrokenWire => "broken wire: 3.6 mA or less",
        Failure::ShortCircuit => "short circuit: 21 mA or more",
        Failure::Uncertain => "no measurement: between 3.6 and 3.8 mA, or 20.5 and 21 mA",
        Failure::Frozen => "the module answers, but its cycle counter stands still",
        Failure::Refused => "the module answered that it cannot say",
        Failure::Implausible => "no real process jumps like that",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::people::{PressureUnit, TemperatureUnit};

    const BUDGET: Duration = Duration::from_millis(200);

    const fn at(ms: u64) -> Moment {
        Moment::from_micros(ms * 1_000)
    }

    fn level(tag: Contact, level: Level) -> Said {
        contact(tag, &Signal::measured(level, at(900)), at(1_000), BUDGET)
    }

    /// The polarity of each contact as `image::tags` says it: healthy, normally closed ones are
    /// unusual when open, and say that a broken wire would read so.
    #[test]
    fn an_open_contact_is_unusual_where_a_healthy_one_is_closed_and_names_the_broken_wire() {
        use Contact as C;
        let either = [
            C::Flame,
            C::EnablingKey,
            C::StartButton,
            C::ResetButton,
            C::AcceptButton,
            C::WetButton,
            C::BadFlameButton,
            C::CoatLiftingButton,
            C::HoldToRun,
            C::FuelShut,
            C::OxygenShut,
            C::TorqueAllowed,
            C::ParkSwitch,
            C::PartTurning,
        ];
        for tag in Contact::ALL.iter().copied() {
            let (closed, open) = (level(tag, Level::On), level(tag, Level::Off));
            assert!(closed.words.starts_with("closed: ") && open.words.starts_with("open: "));
            assert_eq!(closed.standing, Standing::Usual, "{tag:?}");
            let unusual = !either.contains(&tag);
            assert_eq!(open.standing == Standing::Unusual, unusual, "{tag:?}");
            assert_eq!(open.sign() == "\u{25b2}", unusual, "a sign beside the colour: {tag:?}");
            let wire = open.words.contains("broken wire") || tag == C::WatchdogRelay;
            assert_eq!(wire, unusual, "{tag:?}: {}", open.words);
        }
    }

    #[test]
    fn what_is_old_or_failed_is_told_by_its_reason_and_never_by_its_last_level() {
        let old = contact(Contact::Guard, &Signal::measured(Level::On, at(0)), at(1_500), BUDGET);
        assert_eq!(old.words, "too old: 1.5 s, and 0.2 s is what may be");
        assert_eq!(old.mark(), Some("failed"));
        for why in [Failure::NeverRead, Failure::Frozen, Failure::Refused] {
            let signal = Signal::failed(Level::On, at(1_000), why);
            let said = contact(Contact::Guard, &signal, at(1_000), BUDGET);
            assert_eq!((said.words.as_str(), said.sign()), (failure(why), "\u{2715}"));
        }
    }

    #[test]
    fn a_value_is_told_in_the_reader_s_units_and_a_broken_wire_as_one() {
        let inch = Units {
            pressure: PressureUnit::Psi,
            temperature: TemperatureUnit::Fahrenheit,
            ..Units::default()
        };
        let told = |tag, value, units| {
            analogue(tag, &Signal::measured(value, at(1_000)), at(1_000), BUDGET, units).words
        };
        assert_eq!(told(Analogue::FuelPressure, 0.5, Units::default()), "0.50 bar");
        assert_eq!(told(Analogue::FuelPressure, 0.5, inch), "7.3 psi");
        assert_eq!(told(Analogue::PartTemperature, 100.0, inch), "212 \u{b0}F");
        assert_eq!(told(Analogue::HopperWeight, 1834.6, inch), "1835 g");
        assert_eq!(told(Analogue::FlammableGas, 0.0, inch), "0.0 % LEL");
        let broken = Signal::failed(0.5, at(1_000), Failure::BrokenWire);
        let said = analogue(Analogue::FuelPressure, &broken, at(1_000), BUDGET, inch);
        assert_eq!(said.words, "broken wire: 3.6 mA or less");
        let held = Signal { kind: Kind::Held, ..Signal::measured(0.5, at(1_000)) };
        let said = analogue(Analogue::FuelPressure, &held, at(1_000), BUDGET, Units::default());
        assert!(said.words.starts_with("0.50 bar, held") && said.mark() == Some("unusual"));
    }
}
