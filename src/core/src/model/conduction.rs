//! Transient heat along the part: mean over the section, conduction along, flame in, convection
//! and radiation out. Finite volumes, implicit in time.

use core::f64::consts::PI;

use super::shape::Shape;
use super::travel::{Leg, Travel};

/// Stefan and Boltzmann's constant, W/(m2 K4): CODATA 2018.
const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// 0 degrees Celsius in kelvin.
const ICE: f64 = 273.15;
/// Widest cell, m, and longest step, s: half and 0.08 s of the reference's coarse grid erred by
/// 0.25 K.
const CELL: f64 = 1e-3;
const STEP: f64 = 0.05;
/// Beyond this many standard deviations the flame gives nothing.
const REACH: f64 = 7.0;

/// Heat to the surroundings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    /// Convection, W/(m2 K).
    pub convection: f64,
    /// Emissivity, 0 to 1.
    pub emissivity: f64,
    /// Surroundings, degrees Celsius.
    pub ambient: f64,
}

impl Loss {
    /// Flux at a surface temperature (degrees Celsius), W/m2.
    #[must_use]
    pub fn flux(&self, at: f64) -> f64 {
        let radiated = (at + ICE).powi(4) - (self.ambient + ICE).powi(4);
        self.convection * (at - self.ambient) + self.emissivity * STEFAN_BOLTZMANN * radiated
    }

    fn slope(&self, at: f64) -> f64 {
        self.convection + 4.0 * self.emissivity * STEFAN_BOLTZMANN * (at + ICE).powi(3)
    }
}

/// The flame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Net heat into a wide part, W.
    pub power: f64,
    /// Standard deviation along the part, m.
    pub sigma_axial: f64,
    /// Standard deviation across it, m.
    pub sigma_lateral: f64,
    /// Whether it burns over the part during the dwells.
    pub lit_in_dwell: bool,
}

/// The part as heat sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    cells: Vec<Cell>,
    /// Heat capacity per volume, J/(m3 K).
    capacity: f64,
    loss: Loss,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Cell {
    /// Middle and width, m.
    at: f64,
    width: f64,
    radius: f64,
    /// Section, m2, and surface per length, m.
    section: f64,
    around: f64,
    /// Conductance to the next cell, W/K.
    onward: f64,
    temperature: f64,
}

/// What the heating gave, degrees Celsius.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heated {
    /// Hottest of all places and times.
    pub peak: f64,
    /// At the middle of the part at the end of each pass.
    pub mid_after_passes: Vec<f64>,
}

impl Bar {
    /// A part at one temperature (degrees Celsius); `bore` in m, `conductivity` in W/(m K),
    /// `capacity` in J/(m3 K).
    #[must_use]
    pub fn new(
        shape: &Shape,
        bore: f64,
        (conductivity, capacity): (f64, f64),
        loss: Loss,
        initial: f64,
    ) -> Self {
        let mut cells: Vec<Cell> = shape
            .slices(CELL)
            .into_iter()
            .map(|(at, width)| {
                let (radius, slope) = shape.at(at);
                Cell {
                    at,
                    width,
                    radius,
                    section: PI * (radius * radius - bore * bore),
                    around: 2.0 * PI * radius * slope.hypot(1.0),
                    onward: 0.0,
                    temperature: initial,
                }
            })
            .collect();
        let next: Vec<Cell> = cells.iter().skip(1).copied().collect();
        for (cell, next) in cells.iter_mut().zip(next) {
            let resistance = cell.width / cell.section + next.width / next.section;
            cell.onward = 2.0 * conductivity / resistance;
        }
        Self { cells, capacity, loss }
    }

    /// Heats it through the whole motion.
    pub fn heat(&mut self, travel: &Travel, source: &Source) -> Heated {
        let mut heated = Heated { peak: self.hottest(), ..Heated::default() };
        let middle = self
            .cells
            .first()
            .zip(self.cells.last())
            .map_or(0.0, |(a, b)| f64::midpoint(a.at - a.width / 2.0, b.at + b.width / 2.0));
        for leg in travel.legs() {
            let (from, to) = leg.span();
            let lit = source.lit_in_dwell || !matches!(leg, Leg::Dwell { .. });
            let count = ((to - from) / STEP).ceil();
            let step = (to - from) / count;
            let mut done = 0.0;
            while done < count {
                let torch = travel.place_in(leg, from + (done + 0.5) * step);
                self.step(step, lit.then_some((source, torch)));
                heated.peak = heated.peak.max(self.hottest());
                done += 1.0;
            }
            if matches!(leg, Leg::Pass { .. }) {
                heated.mid_after_passes.push(self.at(middle));
            }
        }
        heated
    }

    /// Lets a time (s) pass, with the flame over one place (m) or none: Crank and Nicolson for
    /// conduction and for the losses, which are linearised about the temperature before.
    pub fn step(&mut self, time: f64, flame: Option<(&Source, f64)>) {
        let mut ratios: Vec<(f64, f64)> = Vec::with_capacity(self.cells.len());
        let (mut behind, mut flow_in, mut before) = (0.0, 0.0, (0.0, 0.0));
        let mut cells = self.cells.iter().peekable();
        while let Some(cell) = cells.next() {
            let ahead = cells.peek().map_or(cell.temperature, |next| next.temperature);
            let flow_out = cell.onward * (cell.temperature - ahead);
            let surface = cell.around * cell.width;
            let stored = self.capacity * cell.section * cell.width / time;
            let given = flame.map_or(0.0, |(source, at)| source.reaching(cell, at));
            // Solved for the change of temperature of each cell, from the first to the last.
            let heat = given - surface * self.loss.flux(cell.temperature) + flow_in - flow_out;
            let cooling = surface * self.loss.slope(cell.temperature);
            let own = stored + 0.5 * (cooling + behind + cell.onward);
            let rest = own - 0.5 * behind * before.0;
            before = (0.5 * cell.onward / rest, (heat + 0.5 * behind * before.1) / rest);
            ratios.push(before);
            behind = cell.onward;
            flow_in = flow_out;
        }
        let mut change = 0.0;
        for (cell, (ratio, part)) in self.cells.iter_mut().zip(ratios).rev() {
            change = part + ratio * change;
            cell.temperature += change;
        }
    }

    /// Temperature at z (m), degrees Celsius.
    #[must_use]
    pub fn at(&self, z: f64) -> f64 {
        let next = self.cells.partition_point(|cell| cell.at <= z);
        let before = next.checked_sub(1).and_then(|index| self.cells.get(index));
        match (before, self.cells.get(next)) {
            (Some(a), Some(b)) => {
                a.temperature + (b.temperature - a.temperature) * (z - a.at) / (b.at - a.at)
            }
            (Some(end), None) | (None, Some(end)) => end.temperature,
            (None, None) => 0.0,
        }
    }

    /// Hottest place, degrees Celsius.
    #[must_use]
    pub fn hottest(&self) -> f64 {
        self.cells.iter().fold(-ICE, |hottest, cell| cell.temperature.max(hottest))
    }

    /// Mean over the volume, degrees Celsius.
    #[must_use]
    pub fn mean(&self) -> f64 {
        let (sum, volume) = self.cells.iter().fold((0.0, 0.0), |(sum, volume), cell| {
            let own = cell.section * cell.width;
            (sum + own * cell.temperature, volume + own)
        });
        sum / volume
    }

    /// Heat above a temperature (degrees Celsius), J.
    #[must_use]
    pub fn stored_above(&self, initial: f64) -> f64 {
        let volume: f64 = self.cells.iter().map(|cell| cell.section * cell.width).sum();
        self.capacity * volume * (self.mean() - initial)
    }
}

impl Source {
    fn reaching(&self, cell: &Cell, torch: f64) -> f64 {
        let away = (cell.at - torch) / self.sigma_axial;
        if away.abs() > REACH {
            return 0.0;
        }
        let caught = libm::erf(cell.radius / (core::f64::consts::SQRT_2 * self.sigma_lateral));
        let width = (2.0 * PI).sqrt() * self.sigma_axial;
        self.power * caught * (-0.5 * away * away).exp() / width * cell.width
    }
}
