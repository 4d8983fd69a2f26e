//! How far a part went off the first good one of its batch.

use core::fmt;

use serde::Serialize;

use crate::quantity::{Fraction, Pressure, Temperature, Time, fixed};

/// Beyond this share either way a drift is told (the trade's own figure: ±3 %).
pub const LIMIT: Fraction = Fraction::from_ratio(0.03);

/// What a part's course is held against the first good one's by; each is a mean over its passes,
/// pressures while powder was on, and `None` where it was not measured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Course {
    /// Time of a pass.
    pub pass_time: Option<Time>,
    /// Fuel pressure.
    pub fuel: Option<Pressure>,
    /// Oxygen pressure.
    pub oxygen: Option<Pressure>,
    /// Carrier pressure.
    pub carrier: Option<Pressure>,
    /// Part temperature.
    pub part: Option<Temperature>,
}

/// One of its figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Figure {
    /// Time of a pass.
    PassTime,
    /// Fuel pressure.
    Fuel,
    /// Oxygen pressure.
    Oxygen,
    /// Carrier pressure.
    Carrier,
    /// Part temperature while sprayed.
    Part,
}

impl Figure {
    const ALL: [Self; 5] = [Self::PassTime, Self::Fuel, Self::Oxygen, Self::Carrier, Self::Part];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::PassTime => "pass time",
            Self::Fuel => "fuel pressure",
            Self::Oxygen => "oxygen pressure",
            Self::Carrier => "carrier pressure",
            Self::Part => "part temperature",
        }
    }

    const fn unit(self) -> &'static str {
        match self {
            Self::PassTime => "s",
            Self::Fuel | Self::Oxygen | Self::Carrier => "bar",
            Self::Part => "degC",
        }
    }

    const fn places(self) -> usize {
        match self {
            Self::PassTime => 2,
            Self::Fuel | Self::Oxygen | Self::Carrier => 3,
            Self::Part => 0,
        }
    }

    /// Its value in its unit. A temperature counts in degrees Celsius, as it is read: of a kelvin
    /// scale 3 % would be twice as wide at 250 degC.
    fn of(self, course: &Course) -> Option<f64> {
        match self {
            Self::PassTime => course.pass_time.map(Time::s),
            Self::Fuel => course.fuel.map(Pressure::bar),
            Self::Oxygen => course.oxygen.map(Pressure::bar),
            Self::Carrier => course.carrier.map(Pressure::bar),
            Self::Part => course.part.map(Temperature::celsius),
        }
    }
}

/// A figure that left its band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Drift {
    /// Which.
    pub figure: Figure,
    /// What it was in the first good part, in its unit: s, bar or degC.
    pub first: f64,
    /// What it was in this part, in the same unit.
    pub now: f64,
    /// How far off that is, as a share of the first.
    pub by: Fraction,
}

impl fmt::Display for Drift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = self.figure.places();
        write!(
            f,
            "{} {} {unit}, first good part {} {unit} ({:+.1} %)",
            self.figure.words(),
            fixed(self.now, places),
            fixed(self.first, places),
            self.by.percent(),
            unit = self.figure.unit()
        )
    }
}

/// What of a part is off the first good one by more than [`LIMIT`].
#[must_use]
pub fn drifts(first: &Course, now: &Course) -> Vec<Drift> {
    let beyond = |figure: &Figure| {
        let (first, now) = (figure.of(first)?, figure.of(now)?);
        // Of nothing there is no share: a pressure that read zero in the first part was none.
        let by = Fraction::from_ratio((first > 0.0).then(|| now / first - 1.0)?);
        (by.ratio().abs() > LIMIT.ratio()).then_some(Drift { figure: *figure, first, now, by })
    };
    Figure::ALL.iter().filter_map(beyond).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIRST: Course = Course {
        pass_time: Some(Time::from_s(14.504)),
        fuel: Some(Pressure::from_bar(0.6)),
        oxygen: Some(Pressure::from_bar(3.0)),
        carrier: Some(Pressure::from_bar(2.0)),
        part: Some(Temperature::from_celsius(250.0)),
    };

    #[test]
    fn what_stays_within_three_percent_is_no_drift() {
        let now = Course {
            pass_time: Some(Time::from_s(14.504 * 1.029)),
            fuel: Some(Pressure::from_bar(0.6 * 0.971)),
            part: Some(Temperature::from_celsius(257.0)),
            ..FIRST
        };
        assert_eq!(drifts(&FIRST, &now), []);
    }

    #[test]
    fn each_figure_beyond_it_is_told_with_both_values() {
        let now = Course {
            pass_time: Some(Time::from_s(14.504 * 1.031)),
            oxygen: Some(Pressure::from_bar(2.9)),
            carrier: Some(Pressure::from_bar(2.07)),
            part: Some(Temperature::from_celsius(242.0)),
            ..FIRST
        };
        let told: Vec<String> = drifts(&FIRST, &now).iter().map(Drift::to_string).collect();
        assert_eq!(
            told,
            [
                "pass time 14.95 s, first good part 14.50 s (+3.1 %)",
                "oxygen pressure 2.900 bar, first good part 3.000 bar (-3.3 %)",
                "carrier pressure 2.070 bar, first good part 2.000 bar (+3.5 %)",
                "part temperature 242 degC, first good part 250 degC (-3.2 %)",
            ]
        );
    }

    #[test]
    fn what_was_not_measured_has_not_drifted() {
        let now = Course { carrier: None, ..Course::default() };
        assert_eq!(drifts(&FIRST, &now), []);
        let nothing = Course { carrier: Some(Pressure::ZERO), ..Course::default() };
        assert_eq!(drifts(&nothing, &FIRST), []);
    }
}
