//! What a person measured, weighed or caught.

use serde::{Deserialize, Serialize};

use super::basis::{Finish, RunBasis};
use crate::quantity::{Length, Mass, MassFlow, Speed, Temperature, Time};

/// One diameter at one place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DiameterReading {
    /// Where, from the chuck face.
    pub at: Length,
    /// Before coating, cold; as drawn when `None`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<Length>,
    /// With its coat, as the instrument said.
    pub found: Length,
}

/// The part on the balance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Weights {
    /// Before coating.
    pub before: Mass,
    /// With its coat, before anything was machined off.
    pub after: Mass,
    /// One standard deviation of a weighing.
    pub balance: Mass,
}

/// Powder that left the hopper.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fed {
    /// How much.
    pub mass: Mass,
    /// One standard deviation.
    pub within: Mass,
}

/// A coated part as it was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartMeasured {
    /// What the coat was then.
    pub finish: Finish,
    /// The diameters.
    pub diameters: Vec<DiameterReading>,
    /// One standard deviation of a diameter.
    pub micrometer: Length,
    /// The part's temperature while it was measured; cold when `None`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub temperature: Option<Temperature>,
    /// Its weight; `None` when it was not weighed.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub weights: Option<Weights>,
    /// Powder fed in the run; `None` when nobody knows.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub fed: Option<Fed>,
}

/// Powder caught for a time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Catch {
    /// How much.
    pub mass: Mass,
    /// For how long.
    pub time: Time,
}

/// The feeder, caught and weighed at one setting, in full flow.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FeederMeasured {
    /// What was set.
    pub set: MassFlow,
    /// What was caught.
    pub catches: Vec<Catch>,
    /// One standard deviation of a weighing.
    pub balance: Mass,
    /// One standard deviation of a time.
    pub clock: Time,
}

/// Thickness at one place of a stripe.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ThicknessReading {
    /// Across the stripe, from anywhere.
    pub at: Length,
    /// How thick.
    pub thickness: Length,
}

/// A stripe: one straight pass at a constant feed over a flat plate, measured across.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StripeMeasured {
    /// Powder set at the feeder.
    pub set: MassFlow,
    /// Feed of the torch.
    pub feed: Speed,
    /// The thickness across.
    pub readings: Vec<ThicknessReading>,
    /// One standard deviation of a thickness.
    pub gauge: Length,
}

/// How late powder comes and ceases, each time taken with a watch or off a stripe. It teaches no
/// figure of a coat; it is followed on a chart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PowderDelayMeasured {
    /// From the feeder's start until powder arrives.
    pub on: Vec<Time>,
    /// From its stop until no more does.
    pub off: Vec<Time>,
}

/// Anything that was measured, as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "of", rename_all = "snake_case")]
pub enum Measured {
    /// A coated part.
    Part(PartMeasured),
    /// The feeder.
    Feeder(FeederMeasured),
    /// A stripe.
    Stripe(StripeMeasured),
    /// The powder's delay.
    PowderDelay(PowderDelayMeasured),
}

/// Something measured, with what it is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Witness<'a> {
    /// A coated part and where its powder was released.
    Part(&'a PartMeasured, &'a RunBasis),
    /// The feeder.
    Feeder(&'a FeederMeasured),
    /// A stripe.
    Stripe(&'a StripeMeasured),
}

/// Something measured, and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence<'a> {
    /// Its number in the records, by which it is withdrawn.
    pub number: i64,
    /// A run's name, or what was measured and when.
    pub source: &'a str,
    /// What was measured.
    pub witness: Witness<'a>,
}
