//! The part's temperature along z: averaged over section and circumference, with conduction, loss to
//! the air and by radiation, and the flame as a Gaussian source.
//!
//! Finite volumes with explicit steps. Specific heat and conductivity of carbon steel: EN 1993-1-2,
//! 3.4.1; of stainless steel: its annex C (both from memory).

use super::surface::Surface;
use crate::counts::whole;
use crate::part::PartInChuck;
use crate::spec::{EndFaces, HeatSpec, Steel, TorchSpec};

/// Wanted length of a cell, m.
const CELL_M: f64 = 5e-3;
/// Below this length an explicit step of 50 ms would become unstable, m.
const LEAST_CELL_M: f64 = 2.5e-3;
/// Stefan-Boltzmann constant, W/(m2 K4), CODATA 2018.
const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// Conductivity of an alloyed shaft steel such as 34CrNiMo6, W/(m K) (handbooks, from memory).
const ALLOYED_W_MK: f64 = 36.0;
/// Kelvin at 0 degC.
const ICE_K: f64 = 273.15;

/// What does not change in a cell.
#[derive(Clone, Copy, Debug)]
struct Cell {
    z_m: f64,
    width_m: f64,
    /// rho A dx, kg.
    mass_kg: f64,
    /// Surface that loses heat, m2.
    wall_m2: f64,
    radius_m: f64,
    /// Section over the way to the next cell's middle, both cells in a row, m.
    to_next_m: f64,
}

/// A flame over the part.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Heating<'a> {
    pub(crate) torch: &'a TorchSpec,
    pub(crate) at_mm: f64,
}

/// The part's temperature.
#[derive(Clone, Debug)]
pub(crate) struct Bar {
    cells: Vec<Cell>,
    temperature_c: Vec<f64>,
    peak_c: Vec<f64>,
    flow_w: Vec<f64>,
    lateral: Vec<f64>,
    lateral_of_mm: f64,
    span_m: (f64, f64),
    spec: HeatSpec,
    still: bool,
}

/// Specific heat of carbon steel, J/(kg K): EN 1993-1-2, 3.4.1.2.
fn specific_heat(c: f64) -> f64 {
    if c < 600.0 {
        425.0 + c * (0.773 + c * (-1.69e-3 + c * 2.22e-6))
    } else if c < 735.0 {
        666.0 + 13_002.0 / (738.0 - c)
    } else if c < 900.0 {
        545.0 + 17_820.0 / (c - 731.0)
    } else {
        650.0
    }
}

/// Conductivity of carbon steel, W/(m K): EN 1993-1-2, 3.4.1.3.
fn conductivity(c: f64) -> f64 {
    if c < 800.0 { 54.0 - 0.0333 * c } else { 27.3 }
}

/// Middles and widths of the cells, m. None of them lies across a step, where the section would be
/// neither side's; but a collar too short for a cell is one with its neighbour.
fn slices(surface: &Surface) -> impl Iterator<Item = (f64, f64)> {
    let (start, end) = surface.span_m();
    let mut cuts = vec![start];
    for step in surface.steps_m() {
        let long = |cut: &f64| step - cut >= LEAST_CELL_M;
        if cuts.last().is_some_and(long) && end - step >= LEAST_CELL_M {
            cuts.push(step);
        }
    }
    cuts.push(end);
    let runs: Vec<(f64, f64)> =
        cuts.iter().zip(cuts.iter().skip(1)).map(|(from, to)| (*from, *to)).collect();
    runs.into_iter().flat_map(|(from, to)| {
        let length = to - from;
        let count = whole((length / CELL_M).ceil()).clamp(1, whole(length / LEAST_CELL_M).max(1));
        let width = length / count as f64;
        (0..count).map(move |index| (from + (index as f64 + 0.5) * width, width))
    })
}

/// Specific heat of stainless steel, J/(kg K): EN 1993-1-2, annex C.
fn stainless_heat(c: f64) -> f64 {
    450.0 + c * (0.28 + c * (-2.91e-4 + c * 1.34e-7))
}

/// Conductivity of stainless steel, W/(m K): EN 1993-1-2, annex C.
fn stainless_conductivity(c: f64) -> f64 {
    14.6 + 0.0127 * c
}

/// The error function (Abramowitz and Stegun 7.1.26, error below 1.5e-7).
fn erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let sum = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    x.signum() * (1.0 - sum * (-x * x).exp())
}

impl Bar {
    pub(crate) fn new(spec: &HeatSpec, part: &PartInChuck, surface: &Surface) -> Self {
        let bore2 = part.bore_radius_m * part.bore_radius_m;
        let section = |r: f64| std::f64::consts::PI * (r * r - bore2);
        let mut cells: Vec<Cell> = slices(surface)
            .filter_map(|(z_m, width_m)| {
                let here = surface.at(z_m)?;
                Some(Cell {
                    z_m,
                    width_m,
                    mass_kg: spec.density_kg_m3 * section(here.radius_m) * width_m,
                    wall_m2: std::f64::consts::TAU * here.radius_m * here.stretch() * width_m,
                    radius_m: here.radius_m,
                    to_next_m: 0.0,
                })
            })
            .collect();
        let after: Vec<Cell> = cells.iter().skip(1).copied().collect();
        for (cell, next) in cells.iter_mut().zip(after) {
            let resistance =
                cell.width_m / section(cell.radius_m) + next.width_m / section(next.radius_m);
            cell.to_next_m = 2.0 / resistance;
        }
        let mut bar = Self {
            temperature_c: vec![part.initial_c; cells.len()],
            peak_c: vec![part.initial_c; cells.len()],
            flow_w: vec![0.0; cells.len()],
            lateral: vec![0.0; cells.len()],
            lateral_of_mm: f64::NAN,
            cells,
            span_m: surface.span_m(),
            still: (part.initial_c - spec.ambient_c).abs() < 1e-3,
            spec: spec.clone(),
        };
        if bar.spec.end_faces == EndFaces::Open {
            let faces =
                [bar.cells.first().map(|c| c.radius_m), bar.cells.last().map(|c| c.radius_m)];
            let [first, last] = faces.map(|r| section(r.unwrap_or_default()));
            if let Some(cell) = bar.cells.first_mut() {
                cell.wall_m2 += first;
            }
            if let Some(cell) = bar.cells.last_mut() {
                cell.wall_m2 += last;
            }
        }
        bar
    }

    /// Share of the flame's width that meets each cell, worked out once for a torch.
    fn prepare(&mut self, torch: &TorchSpec) {
        if torch.heat_sigma_lateral_mm == self.lateral_of_mm {
            return;
        }
        self.lateral_of_mm = torch.heat_sigma_lateral_mm;
        let width = std::f64::consts::SQRT_2 * torch.heat_sigma_lateral_mm * 1e-3;
        for (share, cell) in self.lateral.iter_mut().zip(&self.cells) {
            *share = erf(cell.radius_m / width.max(1e-9));
        }
    }

    /// One step of `dt_s` with the flame where it was in the middle of the step.
    pub(crate) fn step(&mut self, dt_s: f64, heating: Option<Heating<'_>>) {
        if heating.is_none() && self.still {
            return;
        }
        self.flow_w.fill(0.0);
        if let Some(heating) = heating {
            self.prepare(heating.torch);
            self.heat(heating);
        }
        self.conduct();
        self.lose(dt_s);
        for (peak, now) in self.peak_c.iter_mut().zip(&self.temperature_c) {
            *peak = peak.max(*now);
        }
    }

    fn heat(&mut self, heating: Heating<'_>) {
        let sigma = heating.torch.heat_sigma_axial_mm * 1e-3;
        let peak = heating.torch.net_power_w / (sigma * std::f64::consts::TAU.sqrt());
        let at = heating.at_mm * 1e-3;
        let first = self.cells.partition_point(|cell| cell.z_m < at - 5.0 * sigma);
        let last = self.cells.partition_point(|cell| cell.z_m <= at + 5.0 * sigma);
        let reached = self.flow_w.iter_mut().zip(self.cells.iter().zip(&self.lateral));
        for (flow, (cell, lateral)) in reached.take(last).skip(first) {
            let u = (cell.z_m - at) / sigma;
            *flow += peak * cell.width_m * lateral * (-0.5 * u * u).exp();
        }
    }

    fn conduct(&mut self) {
        let given = self.spec.conductivity_w_mk;
        let steel = self.spec.steel;
        let led = |c: f64| match steel {
            Steel::Constant => given,
            Steel::En1993 => conductivity(c),
            Steel::Alloyed => conductivity(c).min(ALLOYED_W_MK),
            Steel::Stainless => stainless_conductivity(c),
        };
        let mut carry = 0.0;
        let mut cells = self.flow_w.iter_mut().zip(self.cells.iter().zip(&self.temperature_c));
        let Some((mut flow, (mut cell, mut here))) = cells.next() else { return };
        for (next_flow, (next_cell, next)) in cells {
            let k = led(0.5 * (*here + *next));
            let across = k * cell.to_next_m * (next - here);
            *flow += across + carry;
            carry = -across;
            (flow, cell, here) = (next_flow, next_cell, next);
        }
        *flow += carry;
    }

    fn lose(&mut self, dt_s: f64) {
        let spec = &self.spec;
        let ambient4 = (spec.ambient_c + ICE_K).powi(4);
        let radiation = spec.emissivity * STEFAN_BOLTZMANN;
        let mut warmest = 0.0_f64;
        let state = self.temperature_c.iter_mut().zip(self.flow_w.iter().zip(&self.cells));
        for (here, (flow, cell)) in state {
            let over = *here - spec.ambient_c;
            let kelvin = *here + ICE_K;
            let square = kelvin * kelvin;
            let loss = spec.convection_w_m2k * over + radiation * (square * square - ambient4);
            let heat = match spec.steel {
                Steel::Constant => spec.specific_heat_j_kgk,
                Steel::En1993 | Steel::Alloyed => specific_heat(*here),
                Steel::Stainless => stainless_heat(*here),
            };
            *here += dt_s * (flow - cell.wall_m2 * loss) / (cell.mass_kg * heat);
            warmest = warmest.max(over.abs());
        }
        self.still = warmest < 1e-3;
    }

    /// Temperature at `z_mm`, degC; nothing off the part.
    pub(crate) fn at(&self, z_mm: f64) -> Option<f64> {
        self.between(&self.temperature_c, z_mm)
    }

    /// What the cells hold at `z_mm`, straight between their middles; nothing off the part.
    fn between(&self, held: &[f64], z_mm: f64) -> Option<f64> {
        let z = z_mm * 1e-3;
        if z < self.span_m.0 || z > self.span_m.1 {
            return None;
        }
        let next = self.cells.partition_point(|cell| cell.z_m <= z);
        let known = |index: usize| Some((self.cells.get(index)?.z_m, *held.get(index)?));
        match (next.checked_sub(1).and_then(known), known(next)) {
            (Some(a), Some(b)) => Some(a.1 + (b.1 - a.1) * (z - a.0) / (b.0 - a.0)),
            (end, other) => end.or(other).map(|end| end.1),
        }
    }

    /// Mean over the part by mass, degC.
    pub(crate) fn mean_c(&self) -> f64 {
        let (mut sum, mut mass) = (0.0, 0.0);
        for (t, cell) in self.temperature_c.iter().zip(&self.cells) {
            sum += t * cell.mass_kg;
            mass += cell.mass_kg;
        }
        sum / mass
    }

    /// Highest along the part, degC.
    pub(crate) fn highest_c(&self) -> f64 {
        self.temperature_c.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Nobody remembers how hot it has been.
    pub(crate) fn forget_peaks(&mut self) {
        self.peak_c.clone_from(&self.temperature_c);
    }

    /// How hot the place between two others that has been least hot has been, degC.
    pub(crate) fn lowest_peak_c(&self, low_mm: f64, high_mm: f64) -> f64 {
        let within = |cell: &Cell| (low_mm..=high_mm).contains(&(cell.z_m * 1e3));
        let inside = self.cells.iter().zip(&self.peak_c).filter(|(cell, _)| within(cell));
        let ends = [low_mm, high_mm].map(|z_mm| self.between(&self.peak_c, z_mm));
        inside
            .map(|(_, peak)| *peak)
            .chain(ends.into_iter().flatten())
            .fold(f64::INFINITY, f64::min)
    }

    /// Highest within `reach_mm` of a place, degC.
    pub(crate) fn highest_near_c(&self, z_mm: f64, reach_mm: f64) -> f64 {
        let near = |cell: &Cell| (cell.z_m * 1e3 - z_mm).abs() <= reach_mm;
        self.temperature_c
            .iter()
            .zip(&self.cells)
            .filter_map(|(t, cell)| near(cell).then_some(*t))
            .fold(f64::NEG_INFINITY, f64::max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::BenchSpec;

    fn bar(length_m: f64, change: impl FnOnce(&mut HeatSpec)) -> Bar {
        let mut spec = BenchSpec::default_bench().unwrap().heat;
        change(&mut spec);
        let part = PartInChuck::cylinder(0.050, length_m);
        Bar::new(&spec, &part, &Surface::new(&part))
    }

    /// A flame so wide along z that it heats a short bar evenly, with `net_w` into the bar.
    fn even(net_w: f64, length_m: f64) -> TorchSpec {
        let sigma_mm = 5_000.0;
        TorchSpec {
            name: "even".to_owned(),
            net_power_w: net_w * sigma_mm * 1e-3 * std::f64::consts::TAU.sqrt() / length_m,
            heat_sigma_axial_mm: sigma_mm,
            heat_sigma_lateral_mm: 1.0,
            fuel_bar: None,
            oxygen_bar: None,
            takes_powder: false,
        }
    }

    fn seconds_until(
        bar: &mut Bar,
        torch: Option<&TorchSpec>,
        reached: impl Fn(f64) -> bool,
    ) -> f64 {
        for n in 0..200_000 {
            if reached(bar.mean_c()) {
                return f64::from(n) * 0.05;
            }
            bar.step(0.05, torch.map(|torch| Heating { torch, at_mm: 75.0 }));
        }
        f64::INFINITY
    }

    #[test]
    fn a_50_mm_bar_of_150_mm_warms_and_cools_in_the_times_of_the_lumped_calculation() {
        // D 50 x 150, A 0.0274889 m2 with its ends, eps 0.8, h 25, EN 1993-1-2 c(T); computed apart:
        // 20 -> 250 at 3 kW 92.29 s, 250 -> 1050 at 8 kW 234.5 s, 1050 -> 500 in free air 630.0 s.
        let mut bar = bar(0.150, |spec| spec.convection_w_m2k = 25.0);
        let warm = seconds_until(&mut bar, Some(&even(3_000.0, 0.150)), |t| t >= 250.0);
        assert!((warm / 92.29 - 1.0).abs() < 0.01, "{warm}");
        let fuse = seconds_until(&mut bar, Some(&even(8_000.0, 0.150)), |t| t >= 1050.0);
        assert!((fuse / 234.5 - 1.0).abs() < 0.02, "{fuse}");
        let cool = seconds_until(&mut bar, None, |t| t <= 500.0);
        assert!((cool / 630.0 - 1.0).abs() < 0.02, "{cool}");
    }

    #[test]
    fn conduction_moves_heat_and_keeps_it() {
        let mut bar = bar(0.150, |spec| {
            spec.convection_w_m2k = 0.0;
            spec.emissivity = 0.0;
            spec.steel = Steel::Constant;
            spec.end_faces = EndFaces::Insulated;
        });
        let torch = BenchSpec::default_bench().unwrap().torch.remove(0);
        for _ in 0..200 {
            bar.step(0.05, Some(Heating { torch: &torch, at_mm: 75.0 }));
        }
        // 10 s of 3 kW, erf(25/(8 sqrt 2)) of it, into 2.312 kg of 500 J/(kg K), all of it on the bar.
        let mass = 7850.0 * std::f64::consts::PI * 0.025 * 0.025 * 0.150;
        let expected = 20.0 + 30_000.0 * erf(25.0 / (8.0 * 2.0_f64.sqrt())) / (mass * 500.0);
        assert!((bar.mean_c() - expected).abs() < 0.01, "{} {expected}", bar.mean_c());
        let peak = bar.highest_c();
        for _ in 0..200 {
            bar.step(0.05, None);
        }
        assert!(bar.highest_c() < peak);
        assert!((bar.mean_c() - expected).abs() < 0.01);
    }

    #[test]
    fn a_flame_off_the_part_heats_nothing() {
        let mut bar = bar(0.300, |_| {});
        let torch = BenchSpec::default_bench().unwrap().torch.remove(0);
        for at_mm in [-120.0, 720.0] {
            bar.step(0.05, Some(Heating { torch: &torch, at_mm }));
        }
        assert_eq!(bar.highest_c(), 20.0);
        assert_eq!(bar.at(301.0), None);
    }

    #[test]
    fn a_groove_too_narrow_for_a_cell_does_not_upset_the_bar() {
        let spec = BenchSpec::default_bench().unwrap().heat;
        let profile_m = vec![
            (0.0, 0.025),
            (0.1, 0.025),
            (0.1, 0.010),
            (0.101, 0.010),
            (0.101, 0.025),
            (0.2, 0.025),
        ];
        let part = PartInChuck { profile_m, ..PartInChuck::plain_shaft() };
        let mut bar = Bar::new(&spec, &part, &Surface::new(&part));
        let torch = TorchSpec { heat_sigma_axial_mm: 15.0, ..even(0.0, 0.2) };
        let torch = TorchSpec { net_power_w: 3_000.0, ..torch };
        let mut before = 20.0;
        for _ in 0..400 {
            bar.step(0.05, Some(Heating { torch: &torch, at_mm: 100.5 }));
            let now = bar.highest_c();
            assert!(now > before && now - before < 5.0, "{before} then {now}");
            before = now;
        }
        let (left, right) = (bar.at(70.0).unwrap(), bar.at(131.0).unwrap());
        assert!((left - right).abs() < 2.0, "both sides are alike: {left} {right}");
    }

    #[test]
    fn specific_heat_of_steel_has_the_standards_values() {
        // EN 1993-1-2: 20 degC 439.80, 300 degC 564.74, 700 degC 1008.16, 900 degC 650.
        for (c, expected) in [(20.0, 439.80), (300.0, 564.74), (700.0, 1008.16), (900.0, 650.0)] {
            assert!((specific_heat(c) - expected).abs() < 0.01, "{c}: {}", specific_heat(c));
        }
        // Its annex C at 400 degC: 450 + 112 - 46.56 + 8.576 and 14.6 + 5.08.
        assert!((stainless_heat(400.0) - 524.016).abs() < 1e-9);
        assert!((stainless_conductivity(400.0) - 19.68).abs() < 1e-9);
    }
}
