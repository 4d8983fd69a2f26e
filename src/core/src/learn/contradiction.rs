//! Readings of one place that cannot both be right: they teach nothing until the odd one is out.

use super::basis::RunBasis;
use super::evidence::{Catch, DiameterReading, FeederMeasured, PartMeasured, StripeMeasured};
use super::fit::DOUBTED;
use super::rows::{DAY_TO_DAY, MODEL, STRIPE_MODEL, cold};
use crate::quantity::Length;

/// Places that agree to this are the same: nobody measures finer along a part.
const SAME_PLACE: Length = Length::from_mm(0.5);

/// Two readings of one place that are further apart than their instrument and the known spread of
/// a coat can make them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contradiction {
    /// The place.
    pub at: Length,
    /// Both readings.
    pub readings: (Length, Length),
    /// How far apart they may be: four standard deviations of their difference.
    pub allowed: Length,
}

/// Whether two places are one to whoever measures there.
#[must_use]
pub fn is_same_place(a: Length, b: Length) -> bool {
    (a - b).abs() < SAME_PLACE
}

/// The first two of `readings`, each a place and what was read there, that contradict each other;
/// `within` is one standard deviation of one of them.
#[must_use]
pub fn contradiction(readings: &[(Length, Length)], within: Length) -> Option<Contradiction> {
    let allowed = within * (DOUBTED * core::f64::consts::SQRT_2);
    readings.iter().enumerate().find_map(|(index, (at, first))| {
        let others = readings.iter().skip(index + 1);
        let mut same = others.filter(|(place, _)| is_same_place(*at, *place));
        let odd = same.find(|(_, other)| (*first - *other).abs() > allowed)?;
        Some(Contradiction { at: *at, readings: (*first, odd.1), allowed })
    })
}

impl PartMeasured {
    /// A diameter as it is when the part is cold.
    #[must_use]
    pub fn cold(&self, reading: &DiameterReading, basis: &RunBasis) -> Length {
        cold(self, basis, reading.found)
    }

    /// By how much a coat made this diameter larger, cold; below zero where it became smaller.
    #[must_use]
    pub fn growth(&self, reading: &DiameterReading, basis: &RunBasis) -> Length {
        let before = reading.before.unwrap_or(basis.part.diameter_at(reading.at));
        self.cold(reading, basis) - before
    }

    /// Diameters at one place that contradict each other.
    #[must_use]
    pub fn contradiction(&self, basis: &RunBasis) -> Option<Contradiction> {
        let readings: Vec<(Length, Length)> =
            self.diameters.iter().map(|reading| (reading.at, reading.found)).collect();
        let coat = self
            .diameters
            .iter()
            .map(|reading| self.growth(reading, basis).abs())
            .fold(Length::ZERO, Length::max);
        contradiction(&readings, either(self.micrometer, coat * MODEL))
    }
}

impl StripeMeasured {
    /// Thicknesses at one place that contradict each other.
    #[must_use]
    pub fn contradiction(&self) -> Option<Contradiction> {
        let readings: Vec<(Length, Length)> =
            self.readings.iter().map(|reading| (reading.at, reading.thickness)).collect();
        let highest = readings.iter().map(|reading| reading.1).fold(Length::ZERO, Length::max);
        contradiction(&readings, either(self.gauge, highest * STRIPE_MODEL))
    }
}

impl FeederMeasured {
    /// Two catches whose flows contradict each other, by more than balance, clock and what a
    /// feeder differs by from one day to the next can make of one flow.
    #[must_use]
    pub fn contradiction(&self) -> Option<(Catch, Catch)> {
        let flow = |catch: &Catch| catch.mass.g() / catch.time.s();
        let within = |catch: &Catch| {
            let share = (self.balance / catch.mass).hypot(self.clock / catch.time);
            flow(catch) * share.hypot(DAY_TO_DAY)
        };
        self.catches.iter().enumerate().find_map(|(index, first)| {
            let odd = self.catches.iter().skip(index + 1).find(|other| {
                let apart = (flow(first) - flow(other)).abs();
                apart > DOUBTED * within(first).hypot(within(other))
            })?;
            Some((*first, *odd))
        })
    }
}

/// One standard deviation of what two things independently do.
fn either(one: Length, other: Length) -> Length {
    Length::from_mm(one.mm().hypot(other.mm()))
}
