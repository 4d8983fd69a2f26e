//! The running estimate of the coat along the part: how much powder arrived where.
//!
//! Powder that arrives is kept in bins of a sixth of the plume's standard deviation by the
//! carriage's place, split between the two nearest so that its centre of mass stays. The
//! thickness anywhere is that mass spread by the plume, on a radius that grows with it:
//! `R^2 = R_0^2 + A / pi`.
//!
//! How to call it: [`Coat::select`] when a spraying step begins, [`Coat::step`] once a scan with
//! the place at its end, [`Coat::miss`] instead while no flame carries the powder, [`Coat::cut`] when
//! carrier and feeder are shut together; the questions at any time. [`Coat::deposit_between`] is the
//! plan's own way in, without a clock. What a step has so far goes out as [`Bins`] and comes in again
//! by [`Coat::set`]; a coat that an earlier run has left lies under all of it ([`Lying`]).

mod arrival;
mod bins;
pub mod deposit;
pub mod plume;

pub use bins::{Bins, Lying};

use core::f64::consts::PI;
use core::time::Duration;

use serde::Serialize;

use self::arrival::Arrival;
use self::plume::capture;
use crate::image::Level;
use crate::quantity::{Density, Fraction, Length, Mass, MassFlow, Range, Speed, Time};
use crate::recipe::Part;

/// Bins in one standard deviation of the plume: splitting between two adds 0.5 % to its
/// variance.
const BINS_IN_A_PLUME: f64 = 6.0;
/// Most bins of a layer, whatever the zone and the plume.
const MOST_BINS: usize = 100_000;
/// How far a plume reaches in standard deviations: beyond, less than 6e-7 of it lands.
const REACH: f64 = 5.0;

/// What is needed to tell the deposit of one spraying step.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct LayerBasis {
    /// The step, by its place in the program.
    pub step: usize,
    /// Where the carriage goes in it.
    pub travel: Range<Length>,
    /// Standard deviation of the plume.
    pub plume: Length,
    /// Share of the powder fed that stays on a wide part.
    pub efficiency: Fraction,
    /// Density of the coat as sprayed.
    pub density: Density,
    /// Powder fed.
    pub rate: MassFlow,
    /// From the coil's on until powder arrives at full flow.
    pub lead_on: Time,
    /// From the coil's off until no more powder arrives.
    pub lead_off: Time,
}

/// What is needed to tell the deposit of a job; made with the plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct CoatBasis {
    /// The part before coating.
    pub part: Part,
    /// One for each spraying step.
    pub layers: Vec<LayerBasis>,
    /// What earlier runs have left on the part; nothing on a bare one.
    pub lies: Vec<Lying>,
}

/// Powder that arrived in one spraying step, by place.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Layer {
    basis: LayerBasis,
    low: Length,
    width: Length,
    grams: Vec<f64>,
}

/// The coat so far.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Coat {
    part: Part,
    layers: Vec<Layer>,
    lies: Vec<Layer>,
    current: Option<usize>,
    arrival: Arrival,
    arrived: Mass,
}

impl Coat {
    /// The coat before anything is sprayed: nothing, or what lies there already.
    #[must_use]
    pub fn new(basis: &CoatBasis) -> Self {
        Self {
            part: basis.part.clone(),
            layers: basis.layers.iter().map(Layer::new).collect(),
            lies: basis.lies.iter().map(Layer::of).collect(),
            current: None,
            arrival: Arrival::default(),
            arrived: Mass::ZERO,
        }
    }

    /// The program's step that runs now. A step that sprays nothing ends the arriving.
    pub fn select(&mut self, step: usize) {
        let chosen = self.layers.iter().position(|layer| layer.basis.step == step);
        if chosen != self.current {
            self.current = chosen;
            self.arrival.cut();
        }
    }

    /// One scan: `span` has passed since the last, the carriage is at `position` and came there
    /// at `velocity` (negative toward the chuck), the powder coil was at `coil` since the
    /// beginning of the span.
    pub fn step(&mut self, span: Duration, position: Length, velocity: Speed, coil: Level) {
        let Some(layer) = self.current.and_then(|index| self.layers.get_mut(index)) else {
            return;
        };
        let lead = match coil {
            Level::On => layer.basis.lead_on,
            Level::Off => layer.basis.lead_off,
        };
        self.arrival.coil(coil, lead.to_duration());
        for (from, to) in self.arrival.pass(span) {
            let place = |at: Duration| {
                let left = Time::from_duration(span - at).s();
                position - Length::from_mm(velocity.mm_per_s() * left)
            };
            let mass = layer.mass_in(Time::from_duration(to - from));
            layer.spread(place(from), place(to), mass);
            self.arrived += mass;
        }
    }

    /// One scan in which what arrives makes no coat: no flame carries it.
    pub fn miss(&mut self, span: Duration, coil: Level) {
        let Some(layer) = self.current.and_then(|index| self.layers.get(index)) else { return };
        let lead = match coil {
            Level::On => layer.basis.lead_on,
            Level::Off => layer.basis.lead_off,
        };
        self.arrival.coil(coil, lead.to_duration());
        self.arrival.pass(span);
    }

    /// Carrier and feeder are shut together: nothing more arrives.
    pub fn cut(&mut self) {
        self.arrival.cut();
    }

    /// Whether powder arrives or is on its way.
    #[must_use]
    pub fn is_arriving(&self) -> bool {
        self.arrival.is_under_way()
    }

    /// Counts powder that arrives for a time, spread evenly between two places; in the step
    /// last selected.
    pub fn deposit_between(&mut self, from: Length, to: Length, time: Time) {
        if let Some(layer) = self.current.and_then(|index| self.layers.get_mut(index)) {
            let mass = layer.mass_in(time);
            layer.spread(from, to, mass);
            self.arrived += mass;
        }
    }

    /// The step that sprays, by its place in the program; `None` while none does.
    #[must_use]
    pub fn sprays(&self) -> Option<usize> {
        let layer = self.current.and_then(|index| self.layers.get(index));
        layer.map(|layer| layer.basis.step)
    }

    /// All powder that arrived, on the part or beside it.
    #[must_use]
    pub const fn arrived(&self) -> Mass {
        self.arrived
    }

    /// Thickness as sprayed at a place, normal to the surface; zero beside the part.
    #[must_use]
    pub fn thickness_at(&self, at: Length) -> Length {
        if !self.part.extent().contains(at) {
            return Length::ZERO;
        }
        let diameter = self.part.diameter_at(at);
        deposit::build_of(diameter, self.area_at(at) / slant_at(&self.part, at))
    }

    /// Cross-section of all coat at a place, mm2, whether the part is there or not.
    #[must_use]
    pub fn area_at(&self, at: Length) -> f64 {
        let diameter = self.part.diameter_at(at);
        self.layers.iter().chain(&self.lies).map(|layer| layer.area_at(at, diameter)).sum()
    }

    /// The part under the coat.
    #[must_use]
    pub const fn part(&self) -> &Part {
        &self.part
    }
}

impl Layer {
    fn new(basis: &LayerBasis) -> Self {
        // A plume that is no plume gets bins of a millimetre: the figures stay figures.
        let plume = if basis.plume.mm() > 0.0 { basis.plume.mm() } else { BINS_IN_A_PLUME };
        let width = Length::from_mm(plume / BINS_IN_A_PLUME);
        let low = basis.travel.low - width;
        let high = basis.travel.high + width;
        let count = steps_between(low, high, width).saturating_add(1).min(MOST_BINS);
        Self { basis: basis.clone(), low, width, grams: vec![0.0; count] }
    }

    fn mass_in(&self, time: Time) -> Mass {
        Mass::from_g(self.basis.rate.g_per_min() / 60.0 * time.s())
    }

    /// Spreads a mass evenly between two places, in pieces no wider than a bin.
    fn spread(&mut self, from: Length, to: Length, mass: Mass) {
        let way = to - from;
        let pieces = steps_between(Length::ZERO, way.abs(), self.width).clamp(1, MOST_BINS);
        let share = 1.0 / f64::from(u32::try_from(pieces).unwrap_or(u32::MAX));
        let mut middle = 0.5 * share;
        for _ in 0..pieces {
            self.put(from + way * middle, mass.g() * share);
            middle += share;
        }
    }

    /// Puts grams at a place, split between the two nearest bins; what lies outside the travel
    /// of the step is beside everything that is coated.
    fn put(&mut self, at: Length, grams: f64) {
        let place = (at - self.low) / self.width;
        let Some(index) = index_of(place, self.grams.len()) else { return };
        let upper = place.fract();
        if let Some(bin) = self.grams.get_mut(index) {
            *bin += grams * (1.0 - upper);
        }
        if let Some(bin) = self.grams.get_mut(index + 1) {
            *bin += grams * upper;
        }
    }

    /// Cross-section of coat at a place, mm2.
    fn area_at(&self, at: Length, diameter: Length) -> f64 {
        let plume = self.basis.plume.mm();
        let mut sum = 0.0;
        let mut centre = self.low;
        for grams in &self.grams {
            let u = (at - centre).mm() / plume;
            if *grams > 0.0 && u.abs() <= REACH {
                sum += grams * (-0.5 * u * u).exp();
            }
            centre += self.width;
        }
        sum * self.basis.peak_of_a_gram(diameter)
    }
}

impl LayerBasis {
    /// Cross-section of coat (mm2) in the middle of the plume when a gram has arrived there.
    fn peak_of_a_gram(&self, diameter: Length) -> f64 {
        let share = self.efficiency.ratio() * capture(diameter, self.plume).ratio();
        let per_gram = share / (self.density.g_per_cm3() * 1e-3);
        per_gram / (self.plume.mm() * (2.0 * PI).sqrt())
    }

    /// Cross-section of coat (mm2) at a place when a gram has arrived at another one.
    pub(crate) fn area_of_a_gram(&self, at: Length, arrived: Length, diameter: Length) -> f64 {
        let u = (at - arrived) / self.plume;
        if u.abs() > REACH { 0.0 } else { self.peak_of_a_gram(diameter) * (-0.5 * u * u).exp() }
    }
}

/// Length of the surface over the way along the axis at a place.
pub(crate) fn slant_at(part: &Part, at: Length) -> f64 {
    let after = part.profile.iter().position(|point| point.at > at);
    let pair = after.and_then(|index| {
        Some((part.profile.get(index.checked_sub(1)?)?, part.profile.get(index)?))
    });
    pair.map_or(1.0, |(a, b)| {
        let slope = (b.diameter - a.diameter).mm() / 2.0 / (b.at - a.at).mm();
        1.0_f64.hypot(slope)
    })
}

/// How many steps of a width lie between two places, rounded up.
fn steps_between(low: Length, high: Length, width: Length) -> usize {
    index_of(((high - low) / width).ceil(), MOST_BINS).unwrap_or(MOST_BINS)
}

/// The whole part of a place counted in bins; `None` beyond the last or for no number.
pub(crate) fn index_of(place: f64, count: usize) -> Option<usize> {
    let limit = f64::from(u32::try_from(count).unwrap_or(u32::MAX));
    if !(0.0..limit).contains(&place) {
        return None;
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked above: not negative, below a count that fits"
    )]
    Some(place as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::support;

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    fn basis() -> CoatBasis {
        CoatBasis {
            part: support::part(&[(0.0, 50.0), (300.0, 50.0)]),
            layers: vec![LayerBasis {
                step: 1,
                travel: Range { low: mm(78.0), high: mm(242.0) },
                plume: mm(6.0),
                efficiency: Fraction::from_ratio(0.85),
                density: Density::from_g_per_cm3(6.6),
                rate: MassFlow::from_g_per_min(60.0),
                lead_on: Time::from_s(0.6),
                lead_off: Time::from_s(0.8),
            }],
            lies: Vec::new(),
        }
    }

    const FEED: f64 = 625.0 / 60.0;

    /// Runs one pass from 78.75 mm on, scan by scan of 10 ms, powder commanded at 78.75 and
    /// 226.667 mm.
    fn one_pass(coat: &mut Coat) {
        let scan = Duration::from_millis(10);
        for count in 0..1560 {
            let time = f64::from(count) * 0.01;
            let from = 78.75 + FEED * time;
            let coil = if from < 226.667 { Level::On } else { Level::Off };
            coat.step(scan, mm(from + FEED * 0.01), Speed::from_mm_per_s(FEED), coil);
        }
    }

    /// Computed here from the mass balance: 0.07859 mm after one pass, 0.69862 after nine; the
    /// edge has the normal distribution's 0.99379 of it 15 mm inside.
    #[test]
    fn passes_driven_scan_by_scan_build_what_the_mass_balance_says() {
        let mut coat = Coat::new(&basis());
        coat.select(1);
        one_pass(&mut coat);
        let one = coat.thickness_at(mm(160.0)).mm();
        assert!((one - 0.07859).abs() < 2e-5, "{one}");
        let edge = coat.thickness_at(mm(100.0)).mm() / one;
        assert!((edge - 0.99379).abs() < 1e-3, "{edge}");
        let end = coat.thickness_at(mm(220.0)).mm() / one;
        assert!((end - 0.99379).abs() < 1e-3, "{end}");
        assert!((coat.arrived().g() - 14.4).abs() < 0.02, "{}", coat.arrived());
        for _ in 1..9 {
            coat.cut();
            one_pass(&mut coat);
        }
        let nine = coat.thickness_at(mm(160.0)).mm();
        assert!((nine - 0.69862).abs() < 2e-4, "{nine}");
    }

    /// Computed here: the peak of the Gaussian, 0.05451 mm in a second.
    #[test]
    fn a_standing_carriage_builds_the_lump_of_the_plumes_peak() {
        let mut coat = Coat::new(&basis());
        coat.select(1);
        coat.deposit_between(mm(170.0), mm(170.0), Time::from_s(1.0));
        let peak = coat.thickness_at(mm(170.0)).mm();
        assert!((peak / 0.05451 - 1.0).abs() < 5e-3, "{peak}");
        assert_eq!(coat.thickness_at(mm(250.0)).mm(), 0.0);
    }

    #[test]
    fn a_step_that_sprays_nothing_adds_nothing() {
        let mut coat = Coat::new(&basis());
        coat.select(0);
        one_pass(&mut coat);
        assert_eq!(coat.arrived(), Mass::ZERO);
        assert_eq!(coat.thickness_at(mm(160.0)), Length::ZERO);
        assert_eq!(coat.thickness_at(mm(-5.0)), Length::ZERO);
    }

    #[test]
    fn a_place_that_is_no_number_is_counted_as_beside_the_part() {
        let mut coat = Coat::new(&basis());
        coat.select(1);
        coat.deposit_between(mm(f64::NAN), mm(f64::NAN), Time::from_s(1.0));
        assert_eq!(coat.thickness_at(mm(160.0)), Length::ZERO);
    }
}
