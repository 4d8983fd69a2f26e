//! The ranges the figures of the catalogue may lie in.
//!
//! They catch slips of the pen and of the unit; the handbook of the torch and the sheet of the
//! powder decide what is right inside them.

use crate::document::Bounds;
use crate::quantity::{
    Density, Fraction, Length, MassFlow, Power, Pressure, Speed, Temperature, Time, VolumeFlow,
};

const PRACTICE: &str = "common practice, no source";

/// Density of a self-fluxing coat as sprayed; 6.3 to 6.9 g/cm3 is usual.
pub(super) const DENSITY_AS_SPRAYED: Bounds<Density> =
    Bounds::new(Density::from_g_per_cm3(5.0), Density::from_g_per_cm3(8.5), PRACTICE);
/// Density of a fused coat; 7.7 to 8.0 g/cm3 is usual, with carbide up to 10.
pub(super) const DENSITY_FUSED: Bounds<Density> =
    Bounds::new(Density::from_g_per_cm3(6.5), Density::from_g_per_cm3(12.0), PRACTICE);
/// Share of the powder that stays on the part; 0.85 to 0.95 is usual by flame.
pub(super) const EFFICIENCY: Bounds<Fraction> =
    Bounds::new(Fraction::from_ratio(0.2), Fraction::from_ratio(1.0), PRACTICE);
/// Part temperature while spraying.
pub(crate) const SPRAY_TEMPERATURE: Bounds<Temperature> =
    Bounds::new(Temperature::from_celsius(60.0), Temperature::from_celsius(600.0), PRACTICE);
/// Melting range of the brazing alloys these powders are made of: 971 to 1038 degC for the
/// nickel alloys with chromium, boron and silicon (AWS A5.8), wider with cobalt or copper.
pub(super) const MELTING: Bounds<Temperature> = Bounds::new(
    Temperature::from_celsius(850.0),
    Temperature::from_celsius(1250.0),
    "AWS A5.8 filler metals, widened",
);
/// Fusing of self-fluxing coats: 1900 to 2200 degF.
pub(crate) const FUSING: Bounds<Temperature> = Bounds::new(
    Temperature::from_celsius(1038.0),
    Temperature::from_celsius(1204.0),
    "a job shop's range for self-fluxing alloys, 1900 to 2200 degF",
);
/// Radial thickness as sprayed; above 4 mm flame-sprayed and fused coats are not made.
pub(crate) const THICKNESS: Bounds<Length> = Bounds::new(
    Length::from_mm(0.05),
    Length::from_mm(4.0),
    "the limit of a trade text on flame spraying with fusing",
);
/// Standard deviation of a plume or of a flame's heat along the part.
pub(super) const SPREAD: Bounds<Length> =
    Bounds::new(Length::from_mm(1.0), Length::from_mm(50.0), PRACTICE);
/// Distance nozzle to surface: 25 to 75 mm while fusing, 150 to 180 mm while spraying.
pub(crate) const STANDOFF: Bounds<Length> =
    Bounds::new(Length::from_mm(10.0), Length::from_mm(400.0), PRACTICE);
/// Surface speed; 15 to 30 m/min is usual for spraying.
pub(crate) const SURFACE_SPEED: Bounds<Speed> = Bounds::new(
    Speed::from_mm_per_s(1000.0 / 60.0),
    Speed::from_mm_per_s(120_000.0 / 60.0),
    PRACTICE,
);
/// Powder fed.
pub(crate) const POWDER_RATE: Bounds<MassFlow> =
    Bounds::new(MassFlow::from_g_per_min(5.0), MassFlow::from_g_per_min(500.0), PRACTICE);
/// Feed of the torch along the part.
pub(crate) const FEED: Bounds<Speed> =
    Bounds::new(Speed::from_mm_per_s(0.2), Speed::from_mm_per_s(100.0), PRACTICE);
/// Transport delay of the powder from feeder to part, and the rise of its flow.
pub(crate) const POWDER_DELAY: Bounds<Time> =
    Bounds::new(Time::from_s(0.0), Time::from_s(5.0), PRACTICE);
/// Flow of one gas.
pub(super) const GAS: Bounds<VolumeFlow> =
    Bounds::new(VolumeFlow::from_l_per_min(1.0), VolumeFlow::from_l_per_min(500.0), PRACTICE);
/// Net heat into the part.
pub(super) const NET_POWER: Bounds<Power> =
    Bounds::new(Power::from_kw(0.1), Power::from_kw(70.0), PRACTICE);
/// Pressure of a gas at the torch.
pub(super) const GAS_PRESSURE: Bounds<Pressure> =
    Bounds::new(Pressure::from_bar(0.05), Pressure::from_bar(16.0), PRACTICE);
/// Gauge pressure acetylene may be used at anywhere: 103 kPa, 15 psig.
pub(super) const ACETYLENE: Pressure = Pressure::from_bar(1.03);
/// Heating value of a fuel gas, kJ/L: hydrogen 10.8, acetylene 56, propane 93, butane 124.
pub(super) const HEATING_VALUE: Bounds<f64> =
    Bounds::new(5.0, 150.0, "lower heating values of fuel gases, from memory");
/// Share of a cylinder's contents drawn in an hour: 1/7 is the lenient rule for acetylene.
pub(super) const DRAW: Bounds<Fraction> = Bounds::new(
    Fraction::from_ratio(0.01),
    Fraction::from_ratio(1.0),
    "gas suppliers' rules for acetylene are 1/15 to 1/7 of the contents an hour",
);
/// Purge of hoses and torch before gas, or after it is shut.
pub(super) const PURGE: Bounds<Time> =
    Bounds::new(Time::from_s(0.5), Time::from_s(120.0), PRACTICE);
/// Gas flowing unlit while lighting.
pub(super) const TRIAL: Bounds<Time> =
    Bounds::new(Time::from_s(1.0), Time::from_s(10.0), "usual trial times, 5 s being common");
/// Wait between two tries of lighting.
pub(super) const WAIT: Bounds<Time> = Bounds::new(Time::from_s(5.0), Time::from_s(600.0), PRACTICE);
/// How long a new flame is watched.
pub(super) const PROVING: Bounds<Time> =
    Bounds::new(Time::from_s(0.3), Time::from_s(30.0), PRACTICE);
/// Lag between the two gases at an ordinary stop.
pub(super) const SHUT_LAG: Bounds<Time> =
    Bounds::new(Time::from_s(0.0), Time::from_s(2.0), "torch handbooks differ; 2 s is the most");
/// Dwell under flame at a turn.
pub(super) const DWELL: Bounds<Time> = Bounds::new(Time::from_s(0.0), Time::from_s(10.0), PRACTICE);
/// Thermal power above which an open burner needs automatic burner control.
pub(crate) const WATCHED_POWER: Power = Power::from_kw(70.0);
