//! The units in which a person reads figures. Files keep what was written.
//!
//! Everything is shown in the spelling that a field reads, with decimals enough for the trade and
//! always the same number of them, so that a figure that changes stands still.

use evenpass_core::quantity::{
    Length, MassFlow, Pressure, Quantity, Speed, Temperature, TemperatureStep, fixed,
};
use serde::{Deserialize, Serialize};

/// What lengths and feeds are read in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum LengthUnit {
    /// Millimetres; feed in mm/s, surface speed in m/min.
    #[default]
    #[serde(rename = "mm")]
    Millimetre,
    /// Inches; feed in in/min, surface speed in ft/min.
    #[serde(rename = "in")]
    Inch,
}

/// What temperatures are read in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum TemperatureUnit {
    /// Degrees Celsius; differences in kelvin.
    #[default]
    #[serde(rename = "degC")]
    Celsius,
    /// Degrees Fahrenheit, differences too.
    #[serde(rename = "degF")]
    Fahrenheit,
}

/// What pressures are read in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub enum PressureUnit {
    /// Bar.
    #[default]
    #[serde(rename = "bar")]
    Bar,
    /// Pounds per square inch.
    #[serde(rename = "psi")]
    Psi,
}

impl LengthUnit {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Millimetre, Self::Inch];

    /// As it is written.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Inch => "in",
        }
    }
}

impl TemperatureUnit {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Celsius, Self::Fahrenheit];

    /// As it is written.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Celsius => "degC",
            Self::Fahrenheit => "degF",
        }
    }

    /// As a screen shows it; fields read it too.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Celsius => "\u{b0}C",
            Self::Fahrenheit => "\u{b0}F",
        }
    }
}

impl PressureUnit {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Bar, Self::Psi];

    /// As it is written.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Bar => "bar",
            Self::Psi => "psi",
        }
    }
}

/// The units of one person; metric when nothing was chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Units {
    /// Of lengths and feeds.
    #[serde(default)]
    pub length: LengthUnit,
    /// Of temperatures.
    #[serde(default)]
    pub temperature: TemperatureUnit,
    /// Of pressures.
    #[serde(default)]
    pub pressure: PressureUnit,
}

/// A unit with the decimals that the trade reads in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scale {
    /// The unit, as it is shown.
    pub symbol: &'static str,
    /// Decimals, always as many.
    pub places: usize,
}

impl Scale {
    const fn of(symbol: &'static str, places: usize) -> Self {
        Self { symbol, places }
    }

    /// The figure alone, for a column whose heading has the unit.
    #[must_use]
    pub fn figure<Q: Quantity>(self, value: Q) -> String {
        fixed(value.in_unit(self.symbol).unwrap_or(f64::NAN), self.places)
    }

    /// The figure with its unit.
    #[must_use]
    pub fn shown<Q: Quantity>(self, value: Q) -> String {
        format!("{} {}", self.figure(value), self.symbol)
    }
}

impl Units {
    /// Positions and sizes, to 0.01 mm or 0.001 in: what the carriage can do.
    #[must_use]
    pub const fn of_lengths(self) -> Scale {
        match self.length {
            LengthUnit::Millimetre => Scale::of("mm", 2),
            LengthUnit::Inch => Scale::of("in", 3),
        }
    }

    /// Coats, and what a micrometer reads, to 0.001 mm or 0.0001 in.
    #[must_use]
    pub const fn of_thicknesses(self) -> Scale {
        match self.length {
            LengthUnit::Millimetre => Scale::of("mm", 3),
            LengthUnit::Inch => Scale::of("in", 4),
        }
    }

    /// Temperatures, to a degree.
    #[must_use]
    pub const fn of_temperatures(self) -> Scale {
        Scale::of(self.temperature.sign(), 0)
    }

    /// Gauge pressures, to 0.01 bar or 0.1 psi.
    #[must_use]
    pub const fn of_pressures(self) -> Scale {
        match self.pressure {
            PressureUnit::Bar => Scale::of("bar", 2),
            PressureUnit::Psi => Scale::of("psi", 1),
        }
    }

    /// Speeds of the carriage, to 0.01 mm/s or 0.1 in/min.
    #[must_use]
    pub const fn of_feeds(self) -> Scale {
        match self.length {
            LengthUnit::Millimetre => Scale::of("mm/s", 2),
            LengthUnit::Inch => Scale::of("in/min", 1),
        }
    }

    /// A position or a size.
    #[must_use]
    pub fn length(self, value: Length) -> String {
        self.of_lengths().shown(value)
    }

    /// The thickness of a coat, or what a micrometer reads.
    #[must_use]
    pub fn thickness(self, value: Length) -> String {
        self.of_thicknesses().shown(value)
    }

    /// A temperature.
    #[must_use]
    pub fn temperature(self, value: Temperature) -> String {
        self.of_temperatures().shown(value)
    }

    /// A difference of temperatures, to a degree.
    #[must_use]
    pub fn temperature_step(self, value: TemperatureStep) -> String {
        match self.temperature {
            TemperatureUnit::Celsius => Scale::of("K", 0).shown(value),
            TemperatureUnit::Fahrenheit => Scale::of("delta_degF", 0).shown(value),
        }
    }

    /// A gauge pressure.
    #[must_use]
    pub fn pressure(self, value: Pressure) -> String {
        self.of_pressures().shown(value)
    }

    /// The speed of the carriage.
    #[must_use]
    pub fn feed(self, value: Speed) -> String {
        self.of_feeds().shown(value)
    }

    /// The speed of the part's surface, to 0.1 m/min or 0.1 ft/min.
    #[must_use]
    pub fn surface_speed(self, value: Speed) -> String {
        match self.length {
            LengthUnit::Millimetre => Scale::of("m/min", 1).shown(value),
            LengthUnit::Inch => Scale::of("ft/min", 1).shown(value),
        }
    }

    /// A flow of powder, to 0.1 g/min: feeders are set in grams whatever else is in inches.
    #[must_use]
    pub fn powder(self, value: MassFlow) -> String {
        Scale::of("g/min", 1).shown(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INCH: Units = Units {
        length: LengthUnit::Inch,
        temperature: TemperatureUnit::Fahrenheit,
        pressure: PressureUnit::Psi,
    };

    /// Figures by hand from 1 in = 25.4 mm, degF = 1.8 degC + 32, 1 psi = 0.0689476 bar.
    #[test]
    fn each_figure_is_shown_in_the_units_that_a_person_chose() {
        let metric = Units::default();
        for (shown, wanted) in [
            (metric.length(Length::from_mm(50.0)), "50.00 mm"),
            (INCH.length(Length::from_mm(50.0)), "1.969 in"),
            (metric.thickness(Length::from_mm(0.35)), "0.350 mm"),
            (INCH.thickness(Length::from_mm(0.35)), "0.0138 in"),
            (metric.temperature(Temperature::from_celsius(250.0)), "250 \u{b0}C"),
            (INCH.temperature(Temperature::from_celsius(250.0)), "482 \u{b0}F"),
            (metric.temperature_step(TemperatureStep::from_kelvin(30.0)), "30 K"),
            (INCH.temperature_step(TemperatureStep::from_kelvin(30.0)), "54 delta_degF"),
            (metric.pressure(Pressure::from_bar(2.5)), "2.50 bar"),
            (INCH.pressure(Pressure::from_bar(2.5)), "36.3 psi"),
            (metric.feed(Speed::from_mm_per_s(40.0)), "40.00 mm/s"),
            (INCH.feed(Speed::from_mm_per_s(40.0)), "94.5 in/min"),
            (metric.surface_speed(Speed::from_mm_per_s(300.0)), "18.0 m/min"),
            (INCH.surface_speed(Speed::from_mm_per_s(300.0)), "59.1 ft/min"),
            (INCH.powder(MassFlow::from_g_per_min(60.0)), "60.0 g/min"),
            (metric.length(Length::from_mm(-0.001)), "0.00 mm"),
        ] {
            assert_eq!(shown, wanted);
        }
    }

    #[test]
    fn what_is_shown_can_be_typed_back_to_half_its_last_figure() {
        for units in [Units::default(), INCH] {
            for size in [0.0, 0.123_4, 7.77, 249.9, 1_000.5] {
                let length = Length::from_mm(size);
                let back = |text: &str| Length::parse(text).expect(text);
                assert!((back(&units.length(length)) - length).abs().mm() < 0.012_8);
                assert!((back(&units.thickness(length)) - length).abs().mm() < 0.001_28);
                let pressure = Pressure::from_bar(size);
                let back = Pressure::parse(&units.pressure(pressure)).expect("pressure");
                assert!((back - pressure).abs().bar() < 0.005_01);
                let hot = Temperature::from_celsius(size);
                let back = Temperature::parse(&units.temperature(hot)).expect("temperature");
                assert!((back - hot).abs().celsius() < 0.501);
                let step = TemperatureStep::from_kelvin(size);
                let back = TemperatureStep::parse(&units.temperature_step(step)).expect("step");
                assert!((back - step).abs().kelvin() < 0.501);
                let speed = Speed::from_mm_per_s(size);
                for text in [units.feed(speed), units.surface_speed(speed)] {
                    let back = Speed::parse(&text).expect("speed");
                    assert!((back - speed).abs().mm_per_s() < 0.84, "{text}");
                }
                let flow = MassFlow::from_g_per_min(size);
                assert!(MassFlow::parse(&units.powder(flow)).is_ok());
            }
        }
    }

    #[test]
    fn units_are_stored_by_their_symbols_and_are_metric_where_nothing_is_said() {
        let stored = serde_json::to_value(INCH).expect("words");
        let wanted = serde_json::json!({"length": "in", "temperature": "degF", "pressure": "psi"});
        assert_eq!(stored, wanted);
        assert_eq!(serde_json::from_value::<Units>(stored).expect("read"), INCH);
        let nothing = serde_json::from_str::<Units>("{}").expect("read");
        assert_eq!(nothing, Units::default());
        let symbols = [LengthUnit::Millimetre.symbol(), LengthUnit::Inch.symbol()];
        assert_eq!(symbols, ["mm", "in"]);
    }
}
