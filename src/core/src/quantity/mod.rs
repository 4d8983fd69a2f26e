//! Typed quantities: a number that knows what it measures, read and shown with its unit.
//!
//! Each type holds its value in the unit the trade works in (the first unit of its table) and
//! is made and read by methods that name the unit. Text always carries a unit: a bare number is
//! refused, because a file that says `250` has not said whether it means millimetres or inches.

mod hardness;
mod kinds;
mod measure;
mod parse;
mod range;

pub use hardness::{Hardness, Scale};
pub use kinds::{
    Acceleration, Angle, Density, Fraction, HeatRate, Length, Mass, MassFlow, Pitch, Power,
    Pressure, Speed, SpindleSpeed, Temperature, TemperatureStep, Time, Turns, Volume, VolumeFlow,
};
pub use kinds::{fixed, is_same_figure};
pub use measure::Measure;
pub use parse::{QuantityError, Unit};
pub use range::Range;

/// What every quantity can do: name itself, list its units, and be made from its base unit.
pub trait Quantity: Copy + PartialOrd + Sized {
    /// What it is, as a sentence would call it: "length", "pressure".
    const NAME: &'static str;
    /// The units it is written in; the first is the base unit.
    const UNITS: &'static [Unit];

    /// From a value in the base unit.
    fn from_base(value: f64) -> Self;
    /// The value in the base unit.
    fn base(self) -> f64;

    /// Reads text such as `"250 mm"`.
    ///
    /// # Errors
    /// [`QuantityError`] says what was found and which units are accepted.
    fn parse(text: &str) -> Result<Self, QuantityError> {
        parse::parse(text, Self::NAME, Self::UNITS, &|unit| kinds::owner_of(unit))
            .map(Self::from_base)
    }

    /// The value in another of its units, by the unit's symbol; `None` when it has no such unit.
    fn in_unit(self, symbol: &str) -> Option<f64> {
        Self::UNITS
            .iter()
            .find(|unit| unit.is_called(symbol))
            .map(|unit| unit.from_base(self.base()))
    }
}
