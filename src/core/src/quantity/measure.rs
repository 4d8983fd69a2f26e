//! A figure whose dimension the field does not know: read with the unit that was written, for
//! whoever knows what is to be measured.

use core::fmt;

use super::kinds;
use super::parse::{QuantityError, Unit, parse};
use super::{Length, Mass, Pressure, Quantity, TemperatureStep, Time};

/// A number in the base unit of one of several dimensions.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Measure {
    /// The number, in `unit`.
    pub value: f64,
    /// The base unit of its dimension, as it is printed.
    pub unit: &'static str,
}

/// Every dimension, by the units it may be written in; the first is the base unit.
const DIMENSIONS: [&[Unit]; 8] = [
    &[Unit::new("%", &["percent"], 1.0)],
    &[Unit::new("% LEL", &["%LEL"], 1.0)],
    &[Unit::new("pulses", &["pulse"], 1.0)],
    Pressure::UNITS,
    Time::UNITS,
    Length::UNITS,
    TemperatureStep::UNITS,
    Mass::UNITS,
];

impl Measure {
    /// From a number in a base unit.
    #[must_use]
    pub const fn new(value: f64, unit: &'static str) -> Self {
        Self { value, unit }
    }

    /// Reads text such as `"75 %"`, `"14 psi"` or `"-30 K"`.
    ///
    /// # Errors
    /// [`QuantityError`] when there is no number, no unit, or none of the units above.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        let read = |units: &'static [Unit]| {
            let value = parse(text, "figure", units, &|_| None).ok()?;
            Some(Self { value, unit: units.first()?.symbol })
        };
        DIMENSIONS.into_iter().find_map(read).map_or_else(|| Err(wrong(text)), Ok)
    }

    /// The units of the dimension with that base unit, for a message.
    #[must_use]
    pub fn units_like(base: &str) -> String {
        let like = |units: &&[Unit]| units.first().is_some_and(|first| first.symbol == base);
        let units = DIMENSIONS.into_iter().find(like).unwrap_or_default();
        units.iter().map(|unit| unit.symbol).collect::<Vec<_>>().join(", ")
    }
}

impl fmt::Display for Measure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match kinds::in_powers_of_ten(self.value) {
            Some(short) => write!(f, "{short} {}", self.unit),
            None => write!(f, "{} {}", self.value, self.unit),
        }
    }
}

/// What is wrong with a text that no dimension reads.
fn wrong(text: &str) -> QuantityError {
    let every: Vec<Unit> = DIMENSIONS.into_iter().flatten().copied().collect();
    match parse(text, "figure", &every, &|unit| kinds::owner_of(unit)) {
        // Which unit a bare number was meant in, nobody knows here.
        Err(error) if text.trim().parse::<f64>().is_ok() => QuantityError { hint: None, ..error },
        Err(error) => error,
        Ok(_) => QuantityError {
            what: format!("`{text}` is too large"),
            accepted: "a smaller figure".to_owned(),
            hint: None,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::Measure;

    #[test]
    fn a_figure_is_read_in_the_base_unit_of_whatever_was_written() {
        let read = |text: &str| Measure::parse(text).expect(text).to_string();
        for (text, found) in [
            ("75 %", "75 %"),
            ("15 % LEL", "15 % LEL"),
            ("2 pulses", "2 pulses"),
            ("250 ms", "0.25 s"),
            ("-30 K", "-30 K"),
            ("1 in", "25.4 mm"),
            ("0.5 kg", "500 g"),
            ("900 mbar", "0.9 bar"),
        ] {
            assert_eq!(read(text), found);
        }
        // 1 psi = 6 894.757 293 168 Pa (NIST SP 811, from memory).
        let psi = Measure::parse("14 psi").expect("a pressure");
        assert!((psi.value - 0.965_266).abs() < 1e-6 && psi.unit == "bar");
    }

    #[test]
    fn a_figure_beyond_all_measure_is_told_in_powers_of_ten() {
        use crate::quantity::{Length, fixed};
        let huge = Length::from_mm(1e308);
        assert_eq!(
            (huge.to_string(), format!("{huge:.2}")),
            ("1e308 mm".into(), "1e308 mm".into())
        );
        assert_eq!(fixed(-1.2345e15, 2), "-1.234e15");
        assert_eq!(Measure::new(2.5e20, "bar").to_string(), "2.5e20 bar");
        assert_eq!(Length::from_mm(1e11).to_string(), "100000000000 mm");
        assert_eq!(Length::from_mm(f64::INFINITY).to_string(), "inf mm");
        let exact = Length::from_mm(1.234_567_890_123_456_7e300);
        let stored = serde_json::to_string(&exact).expect("text");
        assert_eq!(stored, "\"1.2345678901234567e300 mm\"");
        assert_eq!(serde_json::from_str::<Length>(&stored).expect("it reads back"), exact);
    }

    #[test]
    fn a_bare_or_foreign_figure_is_refused_in_words() {
        for (text, words) in [
            ("75", "`75` has no unit"),
            ("", "`` does not start with a number"),
            ("nan %", "`nan %` is not a finite number"),
            ("3 rpm", "`rpm` is a unit of spindle speed, not of figure"),
            ("1,5 bar", "`1,5 bar` has a decimal comma"),
        ] {
            let found = Measure::parse(text).expect_err(text);
            assert_eq!(found.what, words);
            assert!(found.hint.is_none_or(|hint| hint.starts_with("write a decimal point")));
        }
        assert_eq!(Measure::units_like("bar"), "bar, mbar, kPa, MPa, Pa, psi");
    }
}
