//! Quantities read as people write them, refused when they are not clear, and stored exactly.
//!
//! Conversion factors are those of NIST Special Publication 811 (2008), appendix B: 1 in =
//! 25.4 mm, 1 ft = 304.8 mm, 1 lb = 453.592 37 g and 1 oz = 28.349 523 125 g exactly, 1 psi =
//! 6.894 757 kPa, 1 ft3 = 28.316 85 L, t/degC = (t/degF - 32)/1.8, t/degC = T/K - 273.15.

#![expect(clippy::panic, clippy::expect_used, reason = "a test fails with the text it is about")]

use core::fmt::{Debug, Display};

use evenpass_core::quantity::{
    Acceleration, Angle, Density, Fraction, HeatRate, Length, Mass, MassFlow, Pitch, Power,
    Pressure, Quantity, Speed, SpindleSpeed, Temperature, TemperatureStep, Time, Turns, Volume,
    VolumeFlow,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Relative error below which two figures are the same to a printed source's last digit.
const PRINTED: f64 = 1e-6;

fn reads<Q: Quantity + Debug>(text: &str, base: f64) {
    let read = Q::parse(text).unwrap_or_else(|error| panic!("{text}: {error}")).base();
    let off = (read - base).abs() / base.abs().max(1.0);
    assert!(off < PRINTED, "{text} is {read} in the base unit, not {base}");
}

fn refused<Q: Quantity + Debug>(text: &str) -> String {
    Q::parse(text).expect_err(text).to_string()
}

#[test]
fn every_documented_spelling_is_read() {
    reads::<Length>("250 mm", 250.0);
    reads::<Length>("250mm", 250.0);
    reads::<Length>("  250 mm ", 250.0);
    reads::<Length>("10 in", 254.0);
    reads::<Length>("3 ft", 914.4);
    reads::<Length>("25 cm", 250.0);
    reads::<Length>("0.25 m", 250.0);
    reads::<Length>("80 um", 0.08);
    reads::<Length>("80 µm", 0.08);
    reads::<Speed>("20 m/min", 333.333_333);
    reads::<Speed>("66 ft/min", 335.28);
    reads::<Speed>("1200 mm/min", 20.0);
    reads::<Speed>("100 in/min", 42.333_333);
    reads::<MassFlow>("3 kg/h", 50.0);
    reads::<MassFlow>("6.6 lb/h", 49.895_161);
    reads::<MassFlow>("60 g/min", 60.0);
    reads::<Pressure>("2.5 bar", 2.5);
    reads::<Pressure>("36 psi", 2.482_113);
    reads::<Pressure>("250 kPa", 2.5);
    reads::<Pressure>("2500 mbar", 2.5);
    reads::<Temperature>("250 degC", 250.0);
    reads::<Temperature>("250 °C", 250.0);
    reads::<Temperature>("480 degF", 248.888_889);
    reads::<Temperature>("-40 degF", -40.0);
    reads::<Temperature>("523.15 K", 250.0);
    reads::<SpindleSpeed>("800 rpm", 800.0);
    reads::<SpindleSpeed>("800 r/min", 800.0);
    reads::<SpindleSpeed>("13.5 rps", 810.0);
    reads::<Pitch>("4 mm/turn", 4.0);
    reads::<Pitch>("4 mm/rev", 4.0);
    reads::<Pitch>("0.2 in/turn", 5.08);
    reads::<Time>("1.5 s", 1.5);
    reads::<Time>("1500 ms", 1.5);
    reads::<Time>("2 h", 7200.0);
    reads::<Turns>("3 turns", 3.0);
    reads::<Turns>("1 turn", 1.0);
    reads::<Density>("6.6 g/cm3", 6.6);
    reads::<Density>("6600 kg/m3", 6.6);
    reads::<Density>("0.2384 lb/in3", 6.598_889);
    reads::<VolumeFlow>("18 L/min", 18.0);
    reads::<VolumeFlow>("38 ft3/h", 17.934_003);
    reads::<Volume>("1 m3", 1000.0);
    reads::<Mass>("1 lb", 453.592_37);
    reads::<Mass>("1 oz", 28.349_523_125);
    reads::<Fraction>("85 %", 0.85);
    reads::<Power>("3 kW", 3.0);
    reads::<Acceleration>("0.1 m/s2", 100.0);
    reads::<HeatRate>("60 K/min", 1.0);
    reads::<TemperatureStep>("50 K", 50.0);
    reads::<Angle>("45 deg", 45.0);
    reads::<Length>("2.5e2 mm", 250.0);
    reads::<Length>("-40 mm", -40.0);
    reads::<Length>(".5 mm", 0.5);
}

#[test]
fn a_bare_number_is_refused_with_the_units_that_are_accepted() {
    let said = refused::<Length>("250");
    assert!(said.contains("has no unit"), "{said}");
    assert!(said.contains("write \"250 mm\""), "{said}");
    assert!(said.contains("mm, cm, m, um, in, ft"), "{said}");
}

#[test]
fn an_unknown_unit_is_refused_with_the_one_that_was_probably_meant() {
    let said = refused::<Speed>("20 m/mni");
    assert!(said.contains("`m/mni` is not a unit of speed"), "{said}");
    assert!(said.contains("did you mean \"20 m/min\"?"), "{said}");
    let said = refused::<Length>("20 parsec");
    assert!(!said.contains("did you mean"), "{said}");
}

#[test]
fn a_unit_of_another_kind_is_named_as_such() {
    let said = refused::<Length>("250 degC");
    assert!(said.contains("`degC` is a unit of temperature, not of length"), "{said}");
    let said = refused::<Pressure>("2 kg/h");
    assert!(said.contains("is a unit of mass flow, not of pressure"), "{said}");
}

#[test]
fn what_is_no_finite_number_is_refused() {
    for text in ["NaN mm", "nan mm", "-nan mm", "inf mm", "-inf mm", "infinity mm"] {
        let said = refused::<Length>(text);
        assert!(said.contains("not a finite number"), "{text}: {said}");
    }
    for text in ["1e999 mm", "-1e999 mm", "1e306 m"] {
        assert!(refused::<Length>(text).contains("too large"), "{text}");
    }
}

#[test]
fn a_decimal_comma_is_refused_with_the_point_in_its_place() {
    assert!(refused::<Length>("0,35 mm").contains("write a decimal point: \"0.35 mm\""));
}

#[test]
fn torn_text_is_refused() {
    for text in
        ["", " ", "mm", "- mm", ". mm", "e5 mm", "1 2 mm", "1.2.3 mm", "0x10 mm", "µ", "1 mm mm"]
    {
        refused::<Length>(text);
    }
}

/// The text a value is stored as, and the value it reads back as.
fn stored<Q: Serialize + DeserializeOwned>(value: Q) -> Q {
    let text = toml::Value::try_from(value).expect("stored as text");
    assert!(text.is_str(), "{text} is no text");
    text.try_into().expect("read back")
}

/// Numbers of every size from a fixed seed (xorshift64, Marsaglia 2003).
fn numbers() -> impl Iterator<Item = f64> {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    core::iter::repeat_with(move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        f64::from_bits(state)
    })
    .filter(|number| number.is_finite())
    .take(2000)
    .chain([0.0, -0.0, 0.1, 1.0 / 3.0, f64::MIN_POSITIVE, f64::MAX, 250.0])
}

fn survives<Q>(what: &str)
where
    Q: Quantity + Debug + Display + PartialEq + Serialize + DeserializeOwned,
{
    for number in numbers() {
        let value = Q::from_base(number);
        let back = stored(value);
        assert_eq!(back, value, "a {what} of {number}");
    }
    for number in [250.0, 0.5, -40.0, 0.0] {
        let value = Q::from_base(number);
        let shown = value.to_string();
        assert_eq!(Q::parse(&shown).expect(&shown), value, "{shown}");
    }
}

#[test]
fn what_is_stored_reads_back_exactly_and_what_is_shown_reads_back() {
    survives::<Length>("length");
    survives::<Speed>("speed");
    survives::<Acceleration>("acceleration");
    survives::<SpindleSpeed>("spindle speed");
    survives::<Pitch>("pitch");
    survives::<Turns>("number of turns");
    survives::<Temperature>("temperature");
    survives::<TemperatureStep>("temperature difference");
    survives::<HeatRate>("heating rate");
    survives::<Pressure>("pressure");
    survives::<Mass>("mass");
    survives::<MassFlow>("mass flow");
    survives::<VolumeFlow>("gas flow");
    survives::<Volume>("volume");
    survives::<Density>("density");
    survives::<Time>("time");
    survives::<Fraction>("share");
    survives::<Power>("power");
    survives::<Angle>("angle");
}

#[test]
fn a_value_shown_to_people_has_its_unit_and_no_needless_digits() {
    assert_eq!(Length::from_mm(250.0).to_string(), "250 mm");
    assert_eq!(Length::from_mm(0.078_709_4).to_string(), "0.079 mm");
    assert_eq!(format!("{:.1}", Temperature::from_celsius(250.04)), "250.0 degC");
    assert_eq!(Length::from_mm(-0.000_01).to_string(), "0 mm");
}
