//! The kinds of quantity and their units.
//!
//! Conversion factors are exact by definition (SI brochure and the international yard and pound
//! agreement: 1 in = 25.4 mm, 1 lb = 453.59237 g), except the psi, which follows from the pound,
//! the inch and standard gravity 9.80665 m/s2.

use core::fmt;
use core::iter::Sum;
use core::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};
use core::str::FromStr;
use core::time::Duration;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::Quantity;
use super::parse::{QuantityError, Unit};

macro_rules! quantities {
    ($($(#[$doc:meta])* $kind:ident, $name:literal, $make:ident, $get:ident, $places:literal, [$($unit:expr),+ $(,)?];)+) => {
        $(
            $(#[$doc])*
            #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
            pub struct $kind(f64);

            impl $kind {
                /// Zero of the base unit.
                pub const ZERO: Self = Self(0.0);

                /// From a value in the unit of the method's name.
                #[must_use]
                pub const fn $make(value: f64) -> Self {
                    Self(value)
                }

                /// The value in the unit of the method's name.
                #[must_use]
                pub const fn $get(self) -> f64 {
                    self.0
                }

                /// The larger of the two.
                #[must_use]
                pub const fn max(self, other: Self) -> Self {
                    Self(self.0.max(other.0))
                }

                /// The smaller of the two.
                #[must_use]
                pub const fn min(self, other: Self) -> Self {
                    Self(self.0.min(other.0))
                }

                /// Without its sign.
                #[must_use]
                pub const fn abs(self) -> Self {
                    Self(self.0.abs())
                }
            }

            impl Quantity for $kind {
                const NAME: &'static str = $name;
                const UNITS: &'static [Unit] = &[$($unit),+];
                fn from_base(value: f64) -> Self {
                    Self(value)
                }
                fn base(self) -> f64 {
                    self.0
                }
            }

            /// Rounded for people, in the base unit; `{:.N}` chooses the decimals.
            impl fmt::Display for $kind {
                fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                    let symbol = Self::UNITS.first().map_or("", |unit| unit.symbol);
                    match f.precision() {
                        Some(places) => write!(f, "{} {symbol}", fixed(self.0, places)),
                        None => write!(f, "{} {symbol}", rounded(self.0, $places)),
                    }
                }
            }

            impl FromStr for $kind {
                type Err = QuantityError;
                fn from_str(text: &str) -> Result<Self, QuantityError> {
                    Self::parse(text)
                }
            }

            /// As text with every digit, so that what is stored reads back exactly.
            impl Serialize for $kind {
                fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                    let symbol = Self::UNITS.first().map_or("", |unit| unit.symbol);
                    if self.0.abs() >= TOO_LONG_TO_WRITE_OUT {
                        return to.collect_str(&format_args!("{:e} {symbol}", self.0));
                    }
                    to.collect_str(&format_args!("{} {symbol}", self.0))
                }
            }

            impl<'de> Deserialize<'de> for $kind {
                fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                    let text = <std::borrow::Cow<'de, str>>::deserialize(from)?;
                    Self::parse(&text).map_err(serde::de::Error::custom)
                }
            }

            impl Add for $kind {
                type Output = Self;
                fn add(self, other: Self) -> Self {
                    Self(self.0 + other.0)
                }
            }
            impl Sub for $kind {
                type Output = Self;
                fn sub(self, other: Self) -> Self {
                    Self(self.0 - other.0)
                }
            }
            impl AddAssign for $kind {
                fn add_assign(&mut self, other: Self) {
                    self.0 += other.0;
                }
            }
            impl SubAssign for $kind {
                fn sub_assign(&mut self, other: Self) {
                    self.0 -= other.0;
                }
            }
            impl Neg for $kind {
                type Output = Self;
                fn neg(self) -> Self {
                    Self(-self.0)
                }
            }
            impl Mul<f64> for $kind {
                type Output = Self;
                fn mul(self, factor: f64) -> Self {
                    Self(self.0 * factor)
                }
            }
            impl Div<f64> for $kind {
                type Output = Self;
                fn div(self, divisor: f64) -> Self {
                    Self(self.0 / divisor)
                }
            }
            impl Div for $kind {
                type Output = f64;
                fn div(self, other: Self) -> f64 {
                    self.0 / other.0
                }
            }
            impl Sum for $kind {
                fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
                    all.fold(Self::ZERO, Self::add)
                }
            }
        )+

        /// Which kind of quantity a unit belongs to, in a sentence; `None` when nobody knows it.
        pub(super) fn owner_of(unit: &str) -> Option<&'static str> {
            $(
                if $kind::UNITS.iter().any(|known| known.is_called(unit)) {
                    return Some($name);
                }
            )+
            None
        }

        /// Whether two texts are the same figure of one kind, in whatever units: "1 in" and
        /// "25.4 mm", to a billionth.
        #[must_use]
        pub fn is_same_figure(one: &str, other: &str) -> bool {
            $(
                if let (Ok(one), Ok(other)) = ($kind::parse(one), $kind::parse(other)) {
                    let size = one.base().abs().max(other.base().abs());
                    return (one.base() - other.base()).abs() <= size * 1e-9;
                }
            )+
            false
        }
    };
}

/// From here on a figure is told in powers of ten: no figure of a job is anywhere near it, and its
/// digits would fill a page (arbitrary).
const TOO_LONG_TO_WRITE_OUT: f64 = 1e12;

/// A figure too long to be written out, with four digits; `None` for any other.
pub(super) fn in_powers_of_ten(figure: f64) -> Option<String> {
    (figure.is_finite() && figure.abs() >= TOO_LONG_TO_WRITE_OUT).then(|| {
        let text = format!("{figure:.3e}");
        let (digits, power) = text.split_once('e').unwrap_or((&text, "0"));
        format!("{}e{power}", digits.trim_end_matches('0').trim_end_matches('.'))
    })
}

/// A figure with so many decimals, or in powers of ten where it is beyond all measure; what rounds
/// to nothing has no sign.
#[must_use]
pub fn fixed(figure: f64, places: usize) -> String {
    if let Some(short) = in_powers_of_ten(figure) {
        return short;
    }
    let text = format!("{figure:.places$}");
    match text.strip_prefix('-') {
        Some(size) if size.bytes().all(|byte| matches!(byte, b'0' | b'.')) => size.to_owned(),
        _ => text,
    }
}

/// `value` with at most `places` decimals and no trailing zeros; as [`fixed`] where it is huge.
fn rounded(value: f64, places: usize) -> String {
    if let Some(short) = in_powers_of_ten(value) {
        return short;
    }
    let text = format!("{value:.places$}");
    if !text.contains('.') {
        return text;
    }
    let trimmed = text.trim_end_matches('0').trim_end_matches('.');
    if trimmed == "-0" { "0".to_owned() } else { trimmed.to_owned() }
}

quantities! {
    /// A length or a position along the spindle axis; base unit mm.
    Length, "length", from_mm, mm, 3, [
        Unit::new("mm", &[], 1.0),
        Unit::new("cm", &[], 10.0),
        Unit::new("m", &[], 1000.0),
        Unit::new("um", &["µm", "μm"], 1e-3),
        Unit::new("in", &["inch", "inches", "\""], 25.4),
        Unit::new("ft", &[], 304.8),
    ];
    /// A speed along a line or of a surface; base unit mm/s.
    Speed, "speed", from_mm_per_s, mm_per_s, 3, [
        Unit::new("mm/s", &[], 1.0),
        Unit::new("mm/min", &[], 1.0 / 60.0),
        Unit::new("m/min", &[], 1000.0 / 60.0),
        Unit::new("m/s", &[], 1000.0),
        Unit::new("in/min", &[], 25.4 / 60.0),
        Unit::new("in/s", &[], 25.4),
        Unit::new("ft/min", &[], 304.8 / 60.0),
    ];
    /// A change of speed; base unit mm/s2.
    Acceleration, "acceleration", from_mm_per_s2, mm_per_s2, 3, [
        Unit::new("mm/s2", &["mm/s²"], 1.0),
        Unit::new("m/s2", &["m/s²"], 1000.0),
        Unit::new("in/s2", &["in/s²"], 25.4),
    ];
    /// How fast the spindle turns; base unit rpm.
    SpindleSpeed, "spindle speed", from_rpm, rpm, 2, [
        Unit::new("rpm", &["r/min", "rev/min", "1/min", "turn/min", "turns/min"], 1.0),
        Unit::new("rps", &["r/s", "rev/s", "turn/s", "turns/s"], 60.0),
    ];
    /// Travel of the torch for each turn of the part; base unit mm/turn.
    Pitch, "pitch", from_mm_per_turn, mm_per_turn, 3, [
        Unit::new("mm/turn", &["mm/rev"], 1.0),
        Unit::new("in/turn", &["in/rev"], 25.4),
    ];
    /// A number of turns of the part.
    Turns, "number of turns", from_turns, turns, 2, [
        Unit::new("turns", &["turn"], 1.0),
    ];
    /// A temperature; base unit degC.
    Temperature, "temperature", from_celsius, celsius, 1, [
        Unit::new("degC", &["°C", "℃"], 1.0),
        Unit::shifted("degF", &["°F", "℉"], 5.0 / 9.0, -160.0 / 9.0),
        Unit::shifted("K", &[], 1.0, -273.15),
    ];
    /// A difference of temperatures; base unit K.
    TemperatureStep, "temperature difference", from_kelvin, kelvin, 1, [
        Unit::new("K", &["kelvin"], 1.0),
        Unit::new("delta_degF", &["Δ°F"], 5.0 / 9.0),
    ];
    /// How fast a temperature rises; base unit K/s.
    HeatRate, "heating rate", from_kelvin_per_s, kelvin_per_s, 3, [
        Unit::new("K/s", &[], 1.0),
        Unit::new("K/min", &[], 1.0 / 60.0),
    ];
    /// A gauge pressure; base unit bar.
    Pressure, "pressure", from_bar, bar, 3, [
        Unit::new("bar", &[], 1.0),
        Unit::new("mbar", &[], 1e-3),
        Unit::new("kPa", &[], 1e-2),
        Unit::new("MPa", &[], 10.0),
        Unit::new("Pa", &[], 1e-5),
        Unit::new("psi", &["psig"], 0.068_947_572_931_683_6),
    ];
    /// A mass; base unit g.
    Mass, "mass", from_g, g, 2, [
        Unit::new("g", &[], 1.0),
        Unit::new("kg", &[], 1000.0),
        Unit::new("mg", &[], 1e-3),
        Unit::new("lb", &[], 453.592_37),
        Unit::new("oz", &[], 28.349_523_125),
    ];
    /// A flow of powder; base unit g/min.
    MassFlow, "mass flow", from_g_per_min, g_per_min, 2, [
        Unit::new("g/min", &[], 1.0),
        Unit::new("kg/h", &[], 1000.0 / 60.0),
        Unit::new("g/s", &[], 60.0),
        Unit::new("lb/h", &[], 453.592_37 / 60.0),
    ];
    /// A flow of gas at normal conditions; base unit L/min.
    VolumeFlow, "gas flow", from_l_per_min, l_per_min, 2, [
        Unit::new("L/min", &["l/min", "NL/min"], 1.0),
        Unit::new("m3/h", &["m³/h"], 1000.0 / 60.0),
        Unit::new("ft3/h", &["ft³/h"], 28.316_846_592 / 60.0),
    ];
    /// A volume of gas at normal conditions; base unit L.
    Volume, "volume", from_l, l, 2, [
        Unit::new("L", &["l"], 1.0),
        Unit::new("m3", &["m³"], 1000.0),
        Unit::new("ft3", &["ft³"], 28.316_846_592),
    ];
    /// A density; base unit g/cm3.
    Density, "density", from_g_per_cm3, g_per_cm3, 3, [
        Unit::new("g/cm3", &["g/cm³"], 1.0),
        Unit::new("kg/m3", &["kg/m³"], 1e-3),
        Unit::new("lb/in3", &["lb/in³"], 27.679_904_710_203_125),
    ];
    /// A span of time; base unit s.
    Time, "time", from_s, s, 3, [
        Unit::new("s", &["sec"], 1.0),
        Unit::new("ms", &[], 1e-3),
        Unit::new("us", &["µs", "μs"], 1e-6),
        Unit::new("min", &[], 60.0),
        Unit::new("h", &[], 3600.0),
        Unit::new("d", &["day", "days"], 86_400.0),
    ];
    /// A share of a whole; base unit 1, printed in percent by [`Fraction::percent`].
    Fraction, "share", from_ratio, ratio, 4, [
        Unit::new("of 1", &[], 1.0),
        Unit::new("%", &["percent"], 1e-2),
    ];
    /// A heat flow; base unit kW.
    Power, "power", from_kw, kw, 3, [
        Unit::new("kW", &[], 1.0),
        Unit::new("W", &[], 1e-3),
    ];
    /// An angle; base unit degree.
    Angle, "angle", from_degrees, degrees, 2, [
        Unit::new("deg", &["°", "degree", "degrees"], 1.0),
    ];
}

impl Time {
    /// As a span the core counts with, rounded to the microsecond; zero when negative.
    #[must_use]
    pub fn to_duration(self) -> Duration {
        Duration::try_from_secs_f64((self.0 * 1e6).round() * 1e-6).unwrap_or(Duration::ZERO)
    }

    /// From a counted span.
    #[must_use]
    pub fn from_duration(span: Duration) -> Self {
        Self(span.as_secs_f64())
    }
}

impl Fraction {
    /// In percent.
    #[must_use]
    pub fn percent(self) -> f64 {
        self.0 * 100.0
    }
}

impl Temperature {
    /// In kelvin, absolute.
    #[must_use]
    pub fn kelvin(self) -> f64 {
        self.0 + 273.15
    }

    /// How far above `other` this is.
    #[must_use]
    pub fn above(self, other: Self) -> TemperatureStep {
        TemperatureStep::from_kelvin(self.0 - other.0)
    }
}
