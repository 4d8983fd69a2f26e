//! What the record understands of a run's program and forecast: what was to be done.
//!
//! Both are kept as JSON that the planner wrote. What a field is missing from, as in the record of
//! an earlier version, is left out.

use evenpass_core::program::{FeedPoint, feed_at};
use evenpass_core::quantity::{
    Length, Mass, MassFlow, Quantity as _, Range, Speed, SpindleSpeed, Temperature, Time, Volume,
};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer};
use serde_json::Value;

use super::RunRecord;

/// A job as it was planned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Planned {
    /// Preheating, in the order of the steps.
    pub preheats: Vec<Preheat>,
    /// Spraying, zone by zone.
    pub zones: Vec<PlannedZone>,
    /// Fusing, zone by zone.
    pub fusing: Vec<PlannedFusing>,
    /// Cooling.
    pub cooling: Option<PlannedCooling>,
    /// Longest time between blasting and spraying.
    pub blasted_within: Option<Time>,
    /// The powders.
    pub powders: Vec<PlannedPowder>,
    /// The torches with their gases.
    pub gases: Vec<PlannedGas>,
    /// The part's temperature over time, from the job's beginning.
    pub temperatures: Vec<PlannedTemperature>,
    /// How long the whole job takes at the least.
    pub total: Option<Time>,
}

/// A step of preheating.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct Preheat {
    /// The temperature aimed at.
    pub aim: Temperature,
    /// What it has to be in before spraying.
    #[serde(deserialize_with = "range")]
    pub window: Range<Temperature>,
    /// How long it stays there.
    pub soak: Time,
    /// Spindle speed.
    pub spindle: SpindleSpeed,
}

/// A zone with its passes, as planned.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct PlannedZone {
    /// Its step of the program.
    pub step: PlannedSpray,
    /// What it was to come to; `None` where the forecast does not have it.
    pub coat: Option<PlannedCoat>,
}

/// A step of spraying.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedSpray {
    /// The zone.
    pub zone: String,
    /// Where it lies.
    #[serde(deserialize_with = "range")]
    pub edges: Range<Length>,
    /// Spindle speed.
    pub spindle: SpindleSpeed,
    /// Powder set at the feeder.
    pub powder_rate: MassFlow,
    /// Powder for all its passes.
    pub powder: Mass,
    /// From the feeder's start to the first powder.
    #[serde(default)]
    pub lead_on: Time,
    /// From its stop to the last powder.
    #[serde(default)]
    pub lead_off: Time,
    /// Temperature window of the part.
    #[serde(deserialize_with = "range")]
    pub window: Range<Temperature>,
    /// The part has to be below it before the next pass.
    pub resume_below: Temperature,
    /// The passes.
    pub passes: Vec<PlannedPass>,
}

/// A pass.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedPass {
    /// Where the carriage starts from.
    pub from: Length,
    /// Where it comes to rest.
    pub to: Length,
    /// The feed along the way, by rising position whatever the direction.
    pub feed: Vec<FeedPoint>,
    /// Where powder arrives.
    #[serde(default)]
    pub powder: Vec<PlannedPowderSpan>,
}

/// Where powder arrives at the part, with the torch there.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedPowderSpan {
    /// Where it begins.
    pub on: Length,
    /// Where it ends.
    pub off: Length,
}

/// What a zone was to come to.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedCoat {
    /// The zone.
    pub zone: String,
    /// The coat along it after all passes, as sprayed; radial.
    #[serde(default)]
    pub along: Vec<PlannedThickness>,
    /// Its mean, as sprayed; radial.
    pub sprayed: Length,
    /// One standard deviation of the plume.
    pub plume: Length,
    /// Sizes where it is thinnest and thickest.
    #[serde(default)]
    pub sizes: Vec<PlannedSize>,
}

/// The coat at one place.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedThickness {
    /// Where, from the chuck face.
    pub at: Length,
    /// As sprayed; radial.
    pub sprayed: Length,
}

/// Diameters at one place.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedSize {
    /// Where, from the chuck face.
    pub at: Length,
    /// Before coating.
    pub bare: Length,
    /// As sprayed, cold.
    pub sprayed: Length,
    /// After fusing, cold; `None` where nothing is fused.
    pub fused: Option<Length>,
    /// After machining.
    pub machined: Option<Length>,
}

/// A step of fusing.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedFusing {
    /// Its number among the steps, from 1.
    #[serde(skip)]
    pub number: u64,
    /// The zone.
    pub zone: String,
    /// Temperature window of the coat.
    #[serde(deserialize_with = "range")]
    pub window: Range<Temperature>,
    /// Not to be passed.
    pub ceiling: Temperature,
    /// Spindle speed.
    pub spindle: SpindleSpeed,
    /// How fast the flame goes over a band, to and fro.
    pub oscillation: Speed,
    /// The bands, in their order.
    pub bands: Vec<PlannedBand>,
}

/// A band of fusing.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedBand {
    /// The coat that is called wet.
    #[serde(deserialize_with = "range")]
    pub coat: Range<Length>,
}

/// The step of cooling.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedCooling {
    /// The spindle turns until then.
    pub turn_until: Temperature,
    /// For how long at the least.
    pub at_least: Time,
    /// Whether the part needs slow cooling, as the recipe says.
    pub slow: String,
}

/// A powder.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedPowder {
    /// Its key in the catalogue.
    pub key: String,
    /// Its title.
    pub title: String,
    /// How much is fed.
    pub fed: Mass,
}

/// What a torch burns.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedGas {
    /// The torch.
    pub torch: String,
    /// The fuel gas.
    pub fuel_gas: String,
    /// How long it is alight.
    pub burning: Time,
    /// Fuel gas in all.
    pub fuel: Volume,
    /// Oxygen in all.
    pub oxygen: Volume,
}

/// The part's temperature at one time.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[non_exhaustive]
pub struct PlannedTemperature {
    /// When, from the job's beginning.
    pub at: Time,
    /// Where the part sensor looks.
    pub seen: Temperature,
}

impl Planned {
    /// What a run was to do.
    #[must_use]
    pub fn of(record: &RunRecord) -> Self {
        let (program, forecast) = (&record.program, &record.forecast);
        let mut planned = Self {
            blasted_within: read(program.get("blasted_within")),
            powders: list(forecast.get("powder")),
            gases: list(forecast.get("gas")),
            temperatures: list(forecast.get("temperatures")),
            total: read(forecast.get("total")),
            ..Self::default()
        };
        let coats: Vec<PlannedCoat> = list(forecast.get("zones"));
        let steps = program.get("steps").and_then(Value::as_array);
        for (number, step) in (1..).zip(steps.into_iter().flatten()) {
            planned.preheats.extend(read(step.get("preheat")));
            planned.cooling = planned.cooling.take().or_else(|| read(step.get("cool")));
            let fuse: Option<PlannedFusing> = read(step.get("fuse"));
            planned.fusing.extend(fuse.map(|fuse| PlannedFusing { number, ..fuse }));
            if let Some(step) = read::<PlannedSpray>(step.get("spray")) {
                let coat = coats.iter().find(|coat| coat.zone == step.zone).cloned();
                planned.zones.push(PlannedZone { step, coat });
            }
        }
        planned
    }

    /// A zone by its name.
    #[must_use]
    pub fn zone(&self, name: &str) -> Option<&PlannedZone> {
        self.zones.iter().find(|zone| zone.step.zone == name)
    }
}

impl PlannedZone {
    /// A pass by its number, from 1; one that a person added goes as the last of its way planned.
    #[must_use]
    pub fn pass(&self, number: u32) -> Option<&PlannedPass> {
        let passes = &self.step.passes;
        let wanted = usize::try_from(number).ok()?.checked_sub(1)?;
        passes.get(wanted).or_else(|| {
            let other_way = (wanted - passes.len()).is_multiple_of(2);
            passes.iter().nth_back(usize::from(other_way)).or_else(|| passes.last())
        })
    }
}

impl PlannedPass {
    /// The feed at a place of the part.
    #[must_use]
    pub fn feed_at(&self, place: Length) -> Option<Speed> {
        (!self.feed.is_empty()).then(|| feed_at(&self.feed, place))
    }

    /// The mean feed over a stretch, as the time for it says.
    #[must_use]
    pub fn mean_feed(&self, over: Range<Length>) -> Option<Speed> {
        /// Places it is taken at.
        const PLACES: u32 = 64;
        let length = over.high - over.low;
        let slowness: f64 = (0..PLACES)
            .map(|step| {
                let place = over.low + length * ((f64::from(step) + 0.5) / f64::from(PLACES));
                self.feed_at(place).map_or(f64::NAN, |feed| 1.0 / feed.base())
            })
            .sum();
        let mean = f64::from(PLACES) / slowness;
        mean.is_finite().then(|| Speed::from_base(mean))
    }
}

fn read<T: DeserializeOwned>(value: Option<&Value>) -> Option<T> {
    T::deserialize(value?).ok()
}

fn list<T: DeserializeOwned>(value: Option<&Value>) -> Vec<T> {
    let all = value.and_then(Value::as_array).into_iter().flatten();
    all.filter_map(|one| T::deserialize(one).ok()).collect()
}

fn range<'de, D: Deserializer<'de>, Q: Deserialize<'de>>(from: D) -> Result<Range<Q>, D::Error> {
    #[derive(Deserialize)]
    struct Ends<Q> {
        low: Q,
        high: Q,
    }
    let Ends { low, high } = Ends::deserialize(from)?;
    Ok(Range { low, high })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pass(from: f64, to: f64) -> PlannedPass {
        let point =
            |at, feed| FeedPoint { at: Length::from_mm(at), feed: Speed::from_mm_per_s(feed) };
        PlannedPass {
            from: Length::from_mm(from),
            to: Length::from_mm(to),
            // The drawing's, by rising position: a part that is thin at its low end.
            feed: vec![point(0.0, 20.0), point(50.0, 10.0), point(100.0, 5.0)],
            powder: Vec::new(),
        }
    }

    #[test]
    fn the_feed_at_a_place_lies_between_its_points_whichever_way_the_pass_goes() {
        for pass in [pass(-20.0, 120.0), pass(120.0, -20.0)] {
            for (at, feed) in [(-5.0, 20.0), (25.0, 15.0), (50.0, 10.0), (75.0, 7.5), (130.0, 5.0)]
            {
                let found = pass.feed_at(Length::from_mm(at)).expect("a feed").mm_per_s();
                assert!((found - feed).abs() < 1e-9, "at {at} mm {found} mm/s");
            }
        }
    }

    /// 50 mm at a feed that falls linearly from 20 to 10 mm/s take 50 ln 2 / 10 s.
    #[test]
    fn the_mean_feed_is_way_by_time() {
        let over = Range { low: Length::ZERO, high: Length::from_mm(50.0) };
        let wanted = 10.0 / core::f64::consts::LN_2;
        for pass in [pass(-20.0, 120.0), pass(120.0, -20.0)] {
            let found = pass.mean_feed(over).expect("a feed").mm_per_s();
            assert!((found / wanted - 1.0).abs() < 1e-3, "{found}, wanted {wanted}");
        }
    }
}
