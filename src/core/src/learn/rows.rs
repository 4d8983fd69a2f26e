//! What was measured as rows of the fit, each with its uncertainty.

use core::f64::consts::PI;

use super::basis::{Finish, RunBasis};
use super::evidence::{
    DiameterReading, FeederMeasured, PartMeasured, StripeMeasured, Weights, Witness,
};
use super::figures::{COUNT, Figures, Pair};
use super::fit::{Group, Row, Scale, Swings};
use super::response::{Landings, Response};
use crate::plan::material::cooled;
use crate::quantity::Length;

/// How much the deposit of one part differs from the next with nothing changed that anybody
/// knows of: pressures, powder lot, who lit the torch (arbitrary, of the order of the 2 % that
/// careful shops report, from memory).
pub(super) const PART_TO_PART: f64 = 0.02;
/// The same of a feeder from one day to the next (arbitrary).
pub(super) const DAY_TO_DAY: f64 = 0.01;
/// How well the model's coat fits a real one at a place, as a share (arbitrary).
pub(super) const MODEL: f64 = 0.01;
/// The same of a stripe, of its highest place: real plumes have wider feet than a Gaussian
/// (arbitrary).
pub(super) const STRIPE_MODEL: f64 = 0.02;
/// How well a part that nobody measured before coating has the diameter of the drawing, one standard
/// deviation (arbitrary: a ground surface).
pub const AS_DRAWN: Length = Length::from_mm(0.02);
/// How well the time for which powder leaves is known from the plan, as a share (arbitrary).
const RUNNING_TIME: f64 = 0.005;

/// Powers of efficiency, rate, footprint and the two densities in a cross-section of coat.
pub(super) const fn build_weights(finish: Finish) -> [f64; COUNT] {
    match finish {
        Finish::AsSprayed => [1.0, 1.0, 0.0, -1.0, 0.0],
        Finish::Fused => [1.0, 1.0, 0.0, 0.0, -1.0],
    }
}

const GAIN_WEIGHTS: [f64; COUNT] = [1.0, 1.0, 0.0, 0.0, 0.0];
const RATE_WEIGHTS: [f64; COUNT] = [0.0, 1.0, 0.0, 0.0, 0.0];

/// Density in kg/m3 of what was measured.
fn density(figures: &Figures, finish: Finish) -> f64 {
    match finish {
        Finish::AsSprayed => figures.density_as_sprayed.g_per_cm3() * 1e3,
        Finish::Fused => figures.density_fused.g_per_cm3() * 1e3,
    }
}

/// The rows of one piece of evidence; `near` is the footprint (m) the tables are made around.
pub(super) fn group(witness: &Witness<'_>, pair: &Pair, figures: &Figures, near: f64) -> Group {
    match witness {
        Witness::Part(part, basis) => part_group(part, basis, pair, figures, near),
        Witness::Feeder(feeder) => feeder_group(feeder),
        Witness::Stripe(stripe) => stripe_group(stripe, figures),
    }
}

/// Diameters that lie in zones of this pair's powder.
pub(super) fn readings_of<'a>(
    part: &'a PartMeasured,
    basis: &'a RunBasis,
    pair: &'a Pair,
) -> impl Iterator<Item = &'a DiameterReading> {
    part.diameters.iter().filter(move |reading| {
        basis.zone_at(reading.at).is_some_and(|zone| zone.powder == pair.powder)
    })
}

/// Whether the weight of a part speaks of one powder alone.
pub(super) fn is_of_one_powder(basis: &RunBasis) -> bool {
    basis.powders().len() == 1
}

fn part_group(
    part: &PartMeasured,
    basis: &RunBasis,
    pair: &Pair,
    figures: &Figures,
    near: f64,
) -> Group {
    let mut rows = Vec::new();
    if let Some(mut landings) = Landings::around(basis, near) {
        for reading in readings_of(part, basis, pair) {
            let landed = landings.at(reading.at.mm() * 1e-3);
            rows.push(diameter_row(part, basis, reading, figures, (landed, near)));
        }
        if is_of_one_powder(basis) {
            let weights = part.weights.as_ref();
            rows.extend(weights.map(|weights| gain_row(weights, figures, landings.on_all(), near)));
            rows.extend(fed_row(part, basis));
        }
    }
    Group { swing: PART_TO_PART, centre: None, rows }
}

/// Cross-section of the coat, m2: `pi/4 (D^2 - D0^2)`, both cold.
fn diameter_row(
    part: &PartMeasured,
    basis: &RunBasis,
    reading: &DiameterReading,
    figures: &Figures,
    (landed, near): (Response, f64),
) -> Row {
    let metres = |length: Length| length.mm() * 1e-3;
    let found = metres(cold(part, basis, reading.found));
    let before = metres(reading.before.unwrap_or(basis.part.diameter_at(reading.at)));
    let response = landed.plus((figures.efficiency.ratio() / density(figures, part.finish)).ln());
    let expected = response.at(near.ln()).0.exp();
    let micrometer = metres(part.micrometer);
    let start = if reading.before.is_some() { micrometer } else { metres(AS_DRAWN) };
    let of_diameters = 0.5 * PI * before * micrometer.hypot(start);
    Row {
        value: 0.25 * PI * (found * found - before * before),
        within: of_diameters.hypot(MODEL * expected),
        weights: build_weights(part.finish),
        scale: Scale::Tabulated(response),
        swings: Swings::WithTheRest,
        at: Some(reading.at),
    }
}

/// A diameter as it is when the part is cold.
pub(super) fn cold(part: &PartMeasured, basis: &RunBasis, found: Length) -> Length {
    part.temperature.map_or(found, |hot| cooled(found, basis.part.substrate, hot))
}

/// What the balance says the part gained, kg.
fn gain_row(weights: &Weights, figures: &Figures, landed: Response, near: f64) -> Row {
    let response = landed.plus(figures.efficiency.ratio().ln());
    let expected = response.at(near.ln()).0.exp();
    let balance = weights.balance.g() * 1e-3 * core::f64::consts::SQRT_2;
    Row {
        value: (weights.after - weights.before).g() * 1e-3,
        within: balance.hypot(MODEL * expected),
        weights: GAIN_WEIGHTS,
        scale: Scale::Tabulated(response),
        swings: Swings::WithTheRest,
        at: None,
    }
}

/// What left the hopper over what the setting says for the time that powder left the nozzle.
fn fed_row(part: &PartMeasured, basis: &RunBasis) -> Option<Row> {
    let fed = part.fed?;
    let set = basis.set_mass() * 1e3;
    (set > 0.0).then(|| Row {
        value: fed.mass.g() / set,
        within: (fed.within.g() / set).hypot(RUNNING_TIME),
        weights: RATE_WEIGHTS,
        scale: Scale::Fixed(0.0),
        swings: Swings::Alone,
        at: None,
    })
}

fn feeder_group(feeder: &FeederMeasured) -> Group {
    let rows = feeder.catches.iter().filter(|catch| catch.time.s() > 0.0).map(|catch| {
        let set = feeder.set.g_per_min() / 60.0 * catch.time.s();
        let share = catch.mass.g() / set;
        Row {
            value: share,
            within: (feeder.balance.g() / set).hypot(share * (feeder.clock / catch.time)),
            weights: RATE_WEIGHTS,
            scale: Scale::Fixed(0.0),
            swings: Swings::WithTheRest,
            at: None,
        }
    });
    Group { swing: DAY_TO_DAY, centre: None, rows: rows.collect() }
}

/// Thickness across a stripe, m: a Gaussian whose area is `eta m' / (rho v)`.
fn stripe_group(stripe: &StripeMeasured, figures: &Figures) -> Group {
    let rate = stripe.set.g_per_min() * 1e-3 / 60.0;
    let feed = stripe.feed.mm_per_s() * 1e-3;
    let area = figures.efficiency.ratio() * rate / (density(figures, Finish::AsSprayed) * feed);
    let highest =
        stripe.readings.iter().map(|reading| reading.thickness).fold(Length::ZERO, Length::max);
    let within = (stripe.gauge.mm() * 1e-3).hypot(STRIPE_MODEL * highest.mm() * 1e-3);
    let all: f64 = stripe.readings.iter().map(|reading| reading.thickness.mm()).sum();
    let moment: f64 =
        stripe.readings.iter().map(|reading| reading.thickness.mm() * reading.at.mm()).sum();
    let rows = stripe.readings.iter().map(|reading| Row {
        value: reading.thickness.mm() * 1e-3,
        within,
        weights: build_weights(Finish::AsSprayed),
        scale: Scale::Across { area: area.ln(), place: reading.at.mm() * 1e-3 },
        swings: Swings::WithTheRest,
        at: Some(reading.at),
    });
    let centre = if all > 0.0 { moment / all * 1e-3 } else { 0.0 };
    Group { swing: PART_TO_PART, centre: Some(centre), rows: rows.collect() }
}
