//! `--defect SIGNAL=WORD`: what is wrong with the embedded twin.

use std::str::FromStr;

use evenpass_hil::{Fault, Target, Word};
use serde::de::DeserializeOwned;
use serde_json::Value;

/// One defect.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Defect {
    target: Target,
    word: Word,
}

impl Defect {
    /// As the bench takes it.
    pub(super) const fn fault(&self) -> Fault {
        Fault::Signal { target: self.target, word: self.word }
    }
}

impl FromStr for Defect {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form = "a defect is SIGNAL=WORD, such as guard_closed=stuck or clamp_ok=slow:2";
        let (signal, word) = text.split_once('=').ok_or(form)?;
        let target = named(signal)
            .map(Target::Discrete)
            .or_else(|| named(signal).map(Target::Coil))
            .or_else(|| named(signal).map(Target::Analogue))
            .ok_or_else(|| {
                format!(
                    "\"{signal}\" is no contact, coil or transmitter of the twin, such as \
                     guard_closed, fuel_valve or flammable_gas"
                )
            })?;
        let word = match word.split_once(':') {
            None if word == "off" => Word::Off,
            None if word == "stuck" => Word::Stuck,
            Some(("slow", seconds)) => match seconds.parse::<f64>() {
                Ok(seconds) if (0.0..=60.0).contains(&seconds) => Word::Slow(seconds),
                _ => return Err(format!("\"{seconds}\" is no time of 0 to 60 s")),
            },
            _ => return Err(format!("\"{word}\" is none of off, stuck and slow:SECONDS")),
        };
        Ok(Self { target, word })
    }
}

/// The terminal of that name.
fn named<T: DeserializeOwned>(name: &str) -> Option<T> {
    serde_json::from_value(Value::String(name.to_owned())).ok()
}

#[cfg(test)]
mod tests {
    use evenpass_hil::{Coil, Discrete};

    use super::*;

    #[test]
    fn a_defect_is_a_signal_and_a_word_and_anything_else_is_explained() {
        let defect: Defect = "guard_closed=stuck".parse().expect("a contact");
        let expected =
            Defect { target: Target::Discrete(Discrete::GuardClosed), word: Word::Stuck };
        assert_eq!(defect, expected);
        let defect: Defect = "fuel_valve=slow:5".parse().expect("a coil");
        assert_eq!(defect.target, Target::Coil(Coil::FuelValve));
        assert_eq!(defect.word, Word::Slow(5.0));
        for (wrong, says) in [
            ("guard_closed", "SIGNAL=WORD"),
            ("gate=stuck", "no contact, coil or transmitter"),
            ("guard_closed=odd", "none of off, stuck"),
            ("guard_closed=slow:900", "0 to 60 s"),
        ] {
            let problem = wrong.parse::<Defect>().expect_err(wrong);
            assert!(problem.contains(says), "{problem}");
        }
    }
}
