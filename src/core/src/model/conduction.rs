//! Transient heat along the part: mean over the section, conduction along, flame in, convection
//! and radiation out. Finite volumes, implicit in time.

use core::f64::consts::PI;

use super::metal::Metal;
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
/// A flame that goes farther than this in a step is taken at several places of its way, standard
/// deviations: the mean of two such places is that of the way but for 0.3 % of the peak.
const STRIDE: f64 = 0.5;

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
    /// No heat to the surroundings.
    pub const NONE: Self = Self { convection: 0.0, emissivity: 0.0, ambient: 0.0 };

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

/// A flame over the part for the time of one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flame<'a> {
    /// The flame.
    pub source: &'a Source,
    /// Where the torch is at the step's begin and end, m; it goes evenly from the one to the other.
    pub way: (f64, f64),
}

/// Whether the end faces lose heat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EndFaces {
    /// As the rest of the surface does.
    Open,
    /// They lose none: what stands there, chuck or centre, is as hot as the part.
    Insulated,
}

/// What a bar is made from.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Radius of a concentric bore, m; it loses no heat.
    pub bore: f64,
    /// What it is made of.
    pub metal: Metal,
    /// Heat to the surroundings.
    pub loss: Loss,
    /// Whether the end faces lose heat.
    pub ends: EndFaces,
    /// Widest cell, m.
    pub cell: f64,
}

/// The part as heat sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    cells: Vec<Cell>,
    metal: Metal,
    loss: Loss,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Cell {
    /// Middle and width, m.
    at: f64,
    width: f64,
    radius: f64,
    /// Section, m2, and surface, m2.
    section: f64,
    surface: f64,
    /// Section over distance to the next cell, m.
    onward: f64,
    /// Degrees Celsius.
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
        let metal = Metal::constant(conductivity, capacity);
        Self::of(shape, Body { bore, metal, loss, ends: EndFaces::Insulated, cell: CELL }, initial)
    }

    /// A part at one temperature (degrees Celsius).
    #[must_use]
    pub fn of(shape: &Shape, body: Body, initial: f64) -> Self {
        let mut cells: Vec<Cell> = shape
            .slices(body.cell)
            .into_iter()
            .map(|(at, width)| {
                let (radius, slope) = shape.at(at);
                Cell {
                    at,
                    width,
                    radius,
                    section: PI * (radius * radius - body.bore * body.bore),
                    surface: 2.0 * PI * radius * slope.hypot(1.0) * width,
                    onward: 0.0,
                    temperature: initial,
                }
            })
            .collect();
        if body.ends == EndFaces::Open {
            if let Some(first) = cells.first_mut() {
                first.surface += first.section;
            }
            if let Some(last) = cells.last_mut() {
                last.surface += last.section;
            }
        }
        Self::joined(cells, body.metal, body.loss)
    }

    /// A ring one metre long from its bore outward, at one temperature (degrees Celsius): places
    /// are radii (m), and heat goes through the outermost cell alone.
    #[must_use]
    pub fn across(
        (bore, radius): (f64, f64),
        cell: f64,
        metal: Metal,
        loss: Loss,
        initial: f64,
    ) -> Self {
        let count = ((radius - bore) / cell).ceil().max(1.0);
        let width = (radius - bore) / count;
        let mut cells = Vec::new();
        let mut done = 0.0;
        while done < count {
            let at = bore + (done + 0.5) * width;
            let section = 2.0 * PI * at;
            let own = Cell { at, width, radius: at, section, ..Cell::cold(initial) };
            cells.push(own);
            done += 1.0;
        }
        if let Some(last) = cells.last_mut() {
            last.surface = 2.0 * PI * radius;
        }
        Self::joined(cells, metal, loss)
    }

    fn joined(mut cells: Vec<Cell>, metal: Metal, loss: Loss) -> Self {
        let next: Vec<Cell> = cells.iter().skip(1).copied().collect();
        for (cell, next) in cells.iter_mut().zip(next) {
            cell.onward = 2.0 / (cell.width / cell.section + next.width / next.section);
        }
        Self { cells, metal, loss }
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

    /// Lets a time (s) pass, with the flame over one place (m) or none.
    pub fn step(&mut self, time: f64, flame: Option<(&Source, f64)>) {
        self.advance(time, |cell| flame.map_or(0.0, |(source, at)| source.reaching(cell, at)));
    }

    /// Lets a time (s) pass, with a flame on its way or none.
    pub fn step_along(&mut self, time: f64, flame: Option<Flame<'_>>) {
        let Some(Flame { source, way: (from, to) }) = flame else { return self.step(time, None) };
        let places = ((to - from).abs() / (STRIDE * source.sigma_axial)).ceil().max(1.0);
        let stride = (to - from) / places;
        let reach = REACH * source.sigma_axial;
        let (low, high) = (from.min(to) - reach, from.max(to) + reach);
        self.advance(time, |cell| {
            if cell.at < low || cell.at > high {
                return 0.0;
            }
            let caught = source.caught(cell);
            let mut given = 0.0;
            let mut place = 0.5;
            while place < places {
                given += source.share(cell, from + place * stride);
                place += 1.0;
            }
            source.power * caught * given / places * cell.width
        });
    }

    /// Lets a time (s) pass while heat (W) enters the last cell alone.
    pub fn step_at_end(&mut self, time: f64, heat: f64) {
        let last = self.cells.last().map(|cell| cell.at);
        self.advance(time, |cell| if Some(cell.at) == last { heat } else { 0.0 });
    }

    /// Temperature (degrees Celsius) of the outer face of the last cell, through which `heat` (W)
    /// enters.
    #[must_use]
    pub fn face(&self, heat: f64) -> f64 {
        self.cells.last().map_or(0.0, |cell| {
            let across =
                0.5 * cell.width / (self.metal.conductivity(cell.temperature) * cell.section);
            cell.temperature + heat * across
        })
    }

    /// Crank and Nicolson for conduction and for the losses, which are linearised about the
    /// temperature before; conductivity and heat capacity are those of the temperature before,
    /// and what a cell is given then raises its heat content, so that none is lost to a specific
    /// heat that changes within the step.
    fn advance(&mut self, time: f64, given: impl Fn(&Cell) -> f64) {
        let metal = &self.metal;
        let mut ratios: Vec<(f64, f64)> = Vec::with_capacity(self.cells.len());
        let (mut behind, mut flow_in, mut before) = (0.0, 0.0, (0.0, 0.0));
        let mut cells = self.cells.iter().peekable();
        while let Some(cell) = cells.next() {
            let ahead = cells.peek().map_or(cell.temperature, |next| next.temperature);
            let between = f64::midpoint(cell.temperature, ahead);
            let onward = metal.conductivity(between) * cell.onward;
            let flow_out = onward * (cell.temperature - ahead);
            let stored = metal.capacity(cell.temperature) * cell.volume() / time;
            // Solved for the change of temperature of each cell, from the first to the last.
            let lost = cell.surface * self.loss.flux(cell.temperature);
            let heat = given(cell) - lost + flow_in - flow_out;
            let cooling = cell.surface * self.loss.slope(cell.temperature);
            let own = stored + 0.5 * (cooling + behind + onward);
            let rest = own - 0.5 * behind * before.0;
            before = (0.5 * onward / rest, (heat + 0.5 * behind * before.1) / rest);
            ratios.push(before);
            behind = onward;
            flow_in = flow_out;
        }
        let mut change = 0.0;
        for (cell, (ratio, part)) in self.cells.iter_mut().zip(ratios).rev() {
            change = part + ratio * change;
            cell.temperature = metal.warmed(cell.temperature, change);
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

    /// What a law of the temperature (degrees Celsius) sums up to from the first cell to z (m):
    /// its integral, in its own unit times m.
    #[must_use]
    pub fn integral(&self, z: f64, law: impl Fn(f64) -> f64) -> f64 {
        self.cells
            .iter()
            .map(|cell| {
                let covered = (z - (cell.at - 0.5 * cell.width)).clamp(0.0, cell.width);
                if covered > 0.0 { covered * law(cell.temperature) } else { 0.0 }
            })
            .sum()
    }

    /// Mean over the volume, degrees Celsius.
    #[must_use]
    pub fn mean(&self) -> f64 {
        let (sum, volume) = self.cells.iter().fold((0.0, 0.0), |(sum, volume), cell| {
            (sum + cell.volume() * cell.temperature, volume + cell.volume())
        });
        sum / volume
    }

    /// Heat above a temperature (degrees Celsius), J.
    #[must_use]
    pub fn stored_above(&self, initial: f64) -> f64 {
        let cold = self.metal.content(initial);
        let content = |cell: &Cell| self.metal.content(cell.temperature) - cold;
        self.cells.iter().map(|cell| cell.volume() * content(cell)).sum()
    }
}

impl Cell {
    const fn cold(temperature: f64) -> Self {
        let (at, width, radius) = (0.0, 0.0, 0.0);
        Self { at, width, radius, section: 0.0, surface: 0.0, onward: 0.0, temperature }
    }

    /// m3.
    fn volume(&self) -> f64 {
        self.section * self.width
    }
}

impl Source {
    /// Heat into a cell from over one place (m), W.
    fn reaching(&self, cell: &Cell, torch: f64) -> f64 {
        self.power * self.caught(cell) * self.share(cell, torch) * cell.width
    }

    /// Share of the flame's width that meets a cell.
    fn caught(&self, cell: &Cell) -> f64 {
        libm::erf(cell.radius / (core::f64::consts::SQRT_2 * self.sigma_lateral))
    }

    /// Share of the flame's length at a cell, with the torch over one place (m), 1/m.
    fn share(&self, cell: &Cell, torch: f64) -> f64 {
        let away = (cell.at - torch) / self.sigma_axial;
        if away.abs() > REACH {
            return 0.0;
        }
        (-0.5 * away * away).exp() / ((2.0 * PI).sqrt() * self.sigma_axial)
    }
}
