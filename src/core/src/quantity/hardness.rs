//! A hardness with the scale it was read on: without the scale the number says nothing.

use core::fmt;
use core::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::parse::QuantityError;

/// A scale of hardness, with the test force where the scale has several.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// Vickers with so many kilogram-force (ISO 6507-1).
    Vickers(f64),
    /// Brinell with a carbide ball of so many mm and so many kilogram-force (ISO 6506-1).
    Brinell {
        /// Diameter of the ball, mm.
        ball: f64,
        /// Test force, kgf.
        force: f64,
    },
    /// Rockwell with the cone and 150 kgf (ISO 6508-1).
    RockwellC,
    /// Rockwell with the cone and 60 kgf (ISO 6508-1).
    RockwellA,
    /// Superficial Rockwell with the cone and 15 kgf (ISO 6508-1).
    Rockwell15N,
    /// Superficial Rockwell with the cone and 30 kgf (ISO 6508-1).
    Rockwell30N,
}

/// Test forces of the Vickers scale, kgf (ISO 6507-1, table 3, from memory).
const VICKERS_FORCES: [f64; 18] = [
    0.01, 0.015, 0.02, 0.025, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 30.0, 50.0,
    100.0,
];
/// Balls of the Brinell scale, mm, and their largest force, kgf (ISO 6506-1, table 3, from
/// memory): 30 times the square of the ball.
const BRINELL_BALLS: [f64; 4] = [1.0, 2.5, 5.0, 10.0];

impl Scale {
    /// The scales that have no choice of force, with how they are written.
    const PLAIN: [(&'static str, Self); 4] = [
        ("HRC", Self::RockwellC),
        ("HRA", Self::RockwellA),
        ("HR15N", Self::Rockwell15N),
        ("HR30N", Self::Rockwell30N),
    ];

    /// What a reading can be on this scale: the Rockwell scales by ISO 6508-1, table 1, Brinell up
    /// to 650 by ISO 6506-1 (both from memory); Vickers from soft metal to diamond-like coats
    /// (arbitrary).
    #[must_use]
    pub const fn range(self) -> (f64, f64) {
        match self {
            Self::Vickers(_) => (5.0, 3000.0),
            Self::Brinell { .. } => (5.0, 650.0),
            Self::RockwellC => (20.0, 70.0),
            Self::RockwellA => (20.0, 95.0),
            Self::Rockwell15N => (70.0, 94.0),
            Self::Rockwell30N => (42.0, 86.0),
        }
    }

    /// Reads how a scale is written, such as `HV0.5` or `HBW2.5/187.5`.
    fn of_word(word: &str) -> Result<Self, String> {
        if let Some((_, scale)) = Self::PLAIN.iter().find(|(plain, _)| *plain == word) {
            return Ok(*scale);
        }
        let figure = |text: &str| text.parse::<f64>().ok();
        if let Some(force) = word.strip_prefix("HV") {
            return match figure(force) {
                Some(force) if VICKERS_FORCES.contains(&force) => Ok(Self::Vickers(force)),
                _ if force.is_empty() => {
                    Err("`HV` does not say with which force: HV0.5, HV10".to_owned())
                }
                _ => Err(format!("`{force}` is no test force of the Vickers scale")),
            };
        }
        if let Some(test) = word.strip_prefix("HBW") {
            let parts = test.split_once('/').map(|(ball, force)| (figure(ball), figure(force)));
            return match parts {
                Some((Some(ball), Some(force)))
                    if BRINELL_BALLS.contains(&ball)
                        && force > 0.0
                        && force <= 30.0 * ball * ball =>
                {
                    Ok(Self::Brinell { ball, force })
                }
                Some(_) => Err(format!("`{test}` is no ball and force of the Brinell scale")),
                None => {
                    Err("`HBW` does not say with which ball and force: HBW2.5/187.5".to_owned())
                }
            };
        }
        Err(format!("`{word}` is not a scale of hardness"))
    }
}

impl fmt::Display for Scale {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Vickers(force) => write!(f, "HV{force}"),
            Self::Brinell { ball, force } => write!(f, "HBW{ball}/{force}"),
            plain => {
                let known = Self::PLAIN.iter().find(|(_, scale)| scale == plain);
                f.write_str(known.map_or("", |(word, _)| word))
            }
        }
    }
}

/// A hardness: a number on a scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hardness {
    value: f64,
    scale: Scale,
}

/// Only what was read on one scale has an order.
impl PartialOrd for Hardness {
    fn partial_cmp(&self, other: &Self) -> Option<core::cmp::Ordering> {
        if self.scale == other.scale { self.value.partial_cmp(&other.value) } else { None }
    }
}

/// How a hardness is written.
const ACCEPTED: &str = "a number and its scale with the test force: HV0.5 to HV100, HRC, HRA, \
                        HR15N, HR30N, HBW2.5/187.5";

impl Hardness {
    /// A number on a scale; `None` where the scale has no such number.
    #[must_use]
    pub fn new(value: f64, scale: Scale) -> Option<Self> {
        let (low, high) = scale.range();
        (low <= value && value <= high).then_some(Self { value, scale })
    }

    /// The number.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.value
    }

    /// The scale.
    #[must_use]
    pub const fn scale(self) -> Scale {
        self.scale
    }

    /// Reads text such as `"655 HV0.5"` or `"58 HRC"`.
    ///
    /// # Errors
    /// [`QuantityError`] says what was found and how a hardness is written.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        let fail = |what: String, hint: Option<String>| {
            Err(QuantityError { what, accepted: ACCEPTED.to_owned(), hint })
        };
        let trimmed = text.trim();
        let split = trimmed.find(|letter: char| letter.is_alphabetic() && letter != 'e');
        let (number, word) = match split.and_then(|at| trimmed.split_at_checked(at)) {
            Some((number, word)) => (number.trim(), word.trim()),
            None if trimmed.parse::<f64>().is_ok() => {
                return fail(format!("`{text}` has no scale"), None);
            }
            None => return fail(format!("`{text}` is not a hardness"), None),
        };
        if number.contains(',') {
            let point = number.replacen(',', ".", 1);
            let hint = Some(format!("write a decimal point: \"{point} {word}\""));
            return fail(format!("`{text}` has a decimal comma"), hint);
        }
        let Ok(value) = number.parse::<f64>() else {
            return fail(format!("`{text}` does not start with a number"), None);
        };
        let scale = match Scale::of_word(word) {
            Ok(scale) => scale,
            Err(what) => return fail(what, None),
        };
        let (low, high) = scale.range();
        match Self::new(value, scale) {
            Some(hardness) => Ok(hardness),
            None => Err(QuantityError {
                what: format!("`{text}` is outside its scale"),
                accepted: format!("{low} to {high} {scale}"),
                hint: None,
            }),
        }
    }
}

/// With one decimal at the most, or with as many as asked.
impl fmt::Display for Hardness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = f.precision().unwrap_or(1);
        let text = super::fixed(self.value, places);
        let short = match text.split_once('.') {
            Some(_) => text.trim_end_matches('0').trim_end_matches('.'),
            None => &text,
        };
        write!(f, "{short} {}", self.scale)
    }
}

impl FromStr for Hardness {
    type Err = QuantityError;
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        Self::parse(text)
    }
}

/// As text with every digit.
impl Serialize for Hardness {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(&format_args!("{} {}", self.value, self.scale))
    }
}

impl<'de> Deserialize<'de> for Hardness {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = <std::borrow::Cow<'de, str>>::deserialize(from)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hardness_is_read_and_shown_with_its_scale_and_force() {
        for (text, shown) in [
            ("655 HV0.5", "655 HV0.5"),
            ("58HRC", "58 HRC"),
            ("88.4 HR15N", "88.4 HR15N"),
            ("560 HBW2.5/187.5", "560 HBW2.5/187.5"),
        ] {
            let read = Hardness::parse(text).expect(text);
            assert_eq!(read.to_string(), shown);
            let stored = serde_json::to_string(&read).expect("text");
            assert_eq!(serde_json::from_str::<Hardness>(&stored).expect("it reads back"), read);
        }
    }

    #[test]
    fn a_hardness_without_scale_or_force_or_outside_its_scale_is_refused() {
        for (text, told) in [
            ("58", "`58` has no scale"),
            ("655 HV", "does not say with which force"),
            ("655 HV7", "no test force of the Vickers scale"),
            ("560 HBW", "does not say with which ball"),
            ("75 HRC", "accepted: 20 to 70 HRC"),
            ("58 mm", "`mm` is not a scale of hardness"),
            ("58,5 HRC", "write a decimal point: \"58.5 HRC\""),
            ("hard", "`hard` does not start with a number"),
            ("", "`` is not a hardness"),
            ("nan HRC", "does not start with a number"),
        ] {
            let found = Hardness::parse(text).expect_err(text).to_string();
            assert!(found.contains(told), "{text}: {found}");
        }
    }
}
