//! What powder makes of the part: a record of how much left the nozzle at each place of the carriage,
//! spread by the plume when somebody asks.
//!
//! Plume: a Gaussian mass flux that widens with distance from the nozzle, its rays spreading from one
//! point, so that all that leaves the nozzle passes every distance. Sticking falls with the cosine of
//! the angle to the surface, to a power. Thickness is averaged over the circumference, which holds
//! while the spindle makes several turns within a plume's width. First principles, computed here; the
//! cosine law is an assumption without a source.

use super::surface::{Place, Surface};
use crate::counts::whole;
use crate::spec::PlumeSpec;

/// Width of a class of carriage positions, m.
const CLASS_M: f64 = 0.25e-3;
/// Classes reach this many standard deviations to both sides when thickness is worked out.
const REACH: f64 = 6.5;
/// Offsets of the table from which thickness is interpolated, m.
const TABLE_STEP_M: f64 = 0.125e-3;
/// Distance of the supporting points of the capture table, m.
const CAPTURE_STEP_M: f64 = 2e-3;

/// The plume, in SI units.
#[derive(Clone, Debug)]
struct Plume {
    nozzle_m: f64,
    stand_off_m: f64,
    sigma_axial_m: f64,
    sigma_lateral_m: f64,
    growth: f64,
    exponent: f64,
    efficiency: f64,
    density_kg_m3: f64,
}

/// Powder of one kilogram from the nozzle that meets one metre of z, kg/m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Share {
    meets: f64,
    sticks: f64,
}

impl Plume {
    fn new(spec: &PlumeSpec) -> Self {
        Self {
            nozzle_m: (spec.reference_radius_mm + spec.stand_off_mm) * 1e-3,
            stand_off_m: spec.stand_off_mm * 1e-3,
            sigma_axial_m: spec.sigma_axial_mm * 1e-3,
            sigma_lateral_m: spec.sigma_lateral_mm * 1e-3,
            growth: spec.sigma_growth_half_angle_deg.to_radians().tan(),
            exponent: spec.angle_exponent,
            efficiency: spec.efficiency,
            density_kg_m3: spec.as_sprayed_density_kg_m3,
        }
    }

    /// Greatest axial standard deviation on a part of the stand-off's radius and below, m.
    fn widest_m(&self) -> f64 {
        self.sigma_axial_m + self.growth * (self.nozzle_m - self.stand_off_m).max(0.0)
    }

    /// What one metre of z at `offset_m` from the torch gets, summed over the half that it sees.
    fn share(&self, place: Place, offset_m: f64) -> Share {
        let r = place.radius_m;
        let spread = std::f64::consts::PI * r / self.sigma_lateral_m.max(1e-6);
        let slices = (2.0 * spread).ceil().clamp(64.0, 400.0);
        let step = std::f64::consts::PI / slices;
        let mut share = Share::default();
        // Both sides of the torch are alike: half of the slices, twice the weight.
        for i in 0..whole(slices / 2.0) {
            let angle = (i as f64 + 0.5) * step;
            let (sin, cos) = angle.sin_cos();
            let far = self.growth * (self.nozzle_m - r * cos - self.stand_off_m);
            let sx = (self.sigma_axial_m + far).max(0.2 * self.sigma_axial_m);
            let sy = (self.sigma_lateral_m + far).max(0.2 * self.sigma_lateral_m);
            let y = r * sin;
            let exponent = -0.5 * ((offset_m / sx).powi(2) + (y / sy).powi(2));
            if exponent < -40.0 {
                continue;
            }
            let flux = exponent.exp() / (std::f64::consts::TAU * sx * sy);
            let px = self.growth * offset_m / sx;
            let py = self.growth * y / sy;
            let facing = (cos - py * sin + px * place.slope).max(0.0);
            let ray = (1.0 + px * px + py * py).sqrt();
            let cosine = facing / (place.stretch() * ray);
            let sticking = if self.exponent == 0.0 { 1.0 } else { cosine.powf(self.exponent) };
            share.meets += 2.0 * flux * facing;
            share.sticks += 2.0 * flux * facing * self.efficiency * sticking;
        }
        share.meets *= r * step;
        share.sticks *= r * step;
        share
    }
}

/// How powder landed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Landing {
    /// Through the flame onto a turning part: it makes coat.
    Hot,
    /// Without flame: it makes dirt.
    Cold,
    /// Through the flame onto a part that stands still: a lump on one side.
    OneSided,
}

/// All powder so far.
#[derive(Clone, Debug)]
pub(crate) struct Deposit {
    plume: Plume,
    surface: Surface,
    first_m: f64,
    classes_kg: Vec<f64>,
    /// Supporting points of the share of the whole part, from `capture_first_m` on.
    capture: Vec<Share>,
    capture_first_m: f64,
    stuck_kg: f64,
    cold_kg: f64,
    one_sided_kg: f64,
    /// Greatest z of the carriage over which powder has landed hot, and smallest, m.
    touched_m: Option<(f64, f64)>,
}

impl Deposit {
    /// A bare part; the carriage may be anywhere in `travel_mm`.
    pub(crate) fn new(spec: &PlumeSpec, surface: Surface, travel_mm: (f64, f64)) -> Self {
        let plume = Plume::new(spec);
        let reach = REACH * plume.widest_m();
        let (start, end) = surface.span_m();
        let capture_first_m = start - reach;
        let count = whole((end - start + 2.0 * reach) / CAPTURE_STEP_M) + 2;
        let capture = capture_table(&plume, &surface, capture_first_m, count);
        let first_m = travel_mm.0 * 1e-3;
        let classes = whole((travel_mm.1 - travel_mm.0) * 1e-3 / CLASS_M) + 2;
        Self {
            plume,
            surface,
            first_m,
            classes_kg: vec![0.0; classes],
            capture,
            capture_first_m,
            stuck_kg: 0.0,
            cold_kg: 0.0,
            one_sided_kg: 0.0,
            touched_m: None,
        }
    }

    fn captured(&self, torch_m: f64) -> Share {
        let at = (torch_m - self.capture_first_m) / CAPTURE_STEP_M;
        if at < 0.0 {
            return Share::default();
        }
        between(&self.capture, at)
    }

    /// Share of the powder that meets the part with the torch there.
    #[cfg(test)]
    pub(crate) fn meets(&self, torch_mm: f64) -> f64 {
        self.captured(torch_mm * 1e-3).meets
    }

    /// Powder that left the nozzle while the torch went from one place to another at an even speed.
    pub(crate) fn release(&mut self, from_mm: f64, to_mm: f64, mass_g: f64, landing: Landing) {
        let (kg, a, b) = (mass_g * 1e-3, from_mm.min(to_mm) * 1e-3, from_mm.max(to_mm) * 1e-3);
        let share = self.captured(0.5 * (a + b));
        match landing {
            Landing::Cold => self.cold_kg += kg * share.meets,
            Landing::OneSided => self.one_sided_kg += kg * share.meets,
            Landing::Hot => {
                self.stuck_kg += kg * share.sticks;
                self.spread(a, b, kg);
                let touched = self.touched_m.get_or_insert((a, b));
                *touched = (touched.0.min(a), touched.1.max(b));
            }
        }
    }

    /// Shares a mass between the classes that the stretch from `a` to `b` covers.
    fn spread(&mut self, a: f64, b: f64, kg: f64) {
        let (low, high) = ((a - self.first_m) / CLASS_M, (b - self.first_m) / CLASS_M);
        if high - low < 1e-6 {
            // A point: shared between the two nearest class centres, which keeps its place exact.
            let at = (low - 0.5).max(0.0);
            let part = at - at.floor();
            for (index, share) in [(whole(at), 1.0 - part), (whole(at) + 1, part)] {
                if let Some(class) = self.classes_kg.get_mut(index) {
                    *class += kg * share;
                }
            }
            return;
        }
        let each = kg / (high - low);
        let first = whole(low.max(0.0));
        let last = whole(high.max(0.0));
        for (index, class) in self.classes_kg.iter_mut().enumerate().take(last + 1).skip(first) {
            let edge = index as f64;
            let covered = high.min(edge + 1.0) - low.max(edge);
            if covered > 0.0 {
                *class += each * covered;
            }
        }
    }

    /// Thickness at right angles to the surface at `z_mm`, mm, as a thin film on the bare contour.
    pub(crate) fn thickness_mm(&self, z_mm: f64) -> f64 {
        self.thickness_list_mm(&[z_mm]).first().copied().unwrap_or_default()
    }

    /// Thickness at many places; neighbours on a straight stretch share their work.
    pub(crate) fn thickness_list_mm(&self, z_mm: &[f64]) -> Vec<f64> {
        let mut table = None;
        z_mm.iter().map(|z| self.thickness_with(&mut table, z * 1e-3)).collect()
    }

    fn thickness_with(&self, table: &mut Option<ShareTable>, z: f64) -> f64 {
        let (Some(place), Some((low, high))) = (self.surface.at(z), self.touched_m) else {
            return 0.0;
        };
        let table = match table {
            Some(known) if known.place == place => known,
            other => other.insert(ShareTable::new(&self.plume, place, TABLE_STEP_M)),
        };
        let reach = table.reach_m;
        let first = whole(((z - reach).max(low - CLASS_M) - self.first_m).max(0.0) / CLASS_M);
        let last = whole(((z + reach).min(high + CLASS_M) - self.first_m).max(0.0) / CLASS_M) + 1;
        let mut per_metre = 0.0;
        for (index, kg) in self.classes_kg.iter().enumerate().take(last + 1).skip(first) {
            if *kg > 0.0 {
                let torch = self.first_m + (index as f64 + 0.5) * CLASS_M;
                per_metre += kg * table.at(z - torch).sticks;
            }
        }
        let around = std::f64::consts::TAU * place.radius_m * place.stretch();
        per_metre / (around * self.plume.density_kg_m3) * 1e3
    }

    /// What a thin film of this thickness adds to the radius of a round part, mm: the same volume on
    /// a growing circumference.
    pub(crate) fn build_mm(&self, z_mm: f64, thin_mm: f64) -> f64 {
        match self.surface.at(z_mm * 1e-3) {
            Some(place) => {
                let r = place.radius_m * 1e3;
                (r * r + 2.0 * r * thin_mm).sqrt() - r
            }
            None => 0.0,
        }
    }

    /// Coat on the part, g.
    pub(crate) fn stuck_g(&self) -> f64 {
        self.stuck_kg * 1e3
    }

    /// Powder that met the part without flame, g.
    pub(crate) fn cold_g(&self) -> f64 {
        self.cold_kg * 1e3
    }

    /// Powder that met the part through the flame while it stood still, g.
    pub(crate) fn one_sided_g(&self) -> f64 {
        self.one_sided_kg * 1e3
    }
}

/// Shares of one place of the contour by offset from the torch, for straight interpolation.
struct ShareTable {
    place: Place,
    reach_m: f64,
    step_m: f64,
    shares: Vec<Share>,
}

impl ShareTable {
    fn new(plume: &Plume, place: Place, step_m: f64) -> Self {
        let reach_m = REACH * plume.widest_m();
        let count = whole(2.0 * reach_m / step_m) + 2;
        let shares = (0..count).map(|i| plume.share(place, i as f64 * step_m - reach_m)).collect();
        Self { place, reach_m, step_m, shares }
    }

    fn at(&self, offset_m: f64) -> Share {
        let at = (offset_m + self.reach_m) / self.step_m;
        if at < 0.0 {
            return Share::default();
        }
        between(&self.shares, at)
    }
}

/// Straight interpolation at a place counted in steps from the first; nothing beyond the last.
fn between(shares: &[Share], at: f64) -> Share {
    let index = whole(at);
    let part = at - at.floor();
    match (shares.get(index), shares.get(index + 1)) {
        (Some(a), Some(b)) => Share {
            meets: a.meets + part * (b.meets - a.meets),
            sticks: a.sticks + part * (b.sticks - a.sticks),
        },
        _ => Share::default(),
    }
}

fn capture_table(plume: &Plume, surface: &Surface, first_m: f64, count: usize) -> Vec<Share> {
    let (start, end) = surface.span_m();
    let strips = whole((end - start) / (plume.sigma_axial_m / 4.0)) + 8;
    let width = (end - start) / strips as f64;
    let mut totals = vec![Share::default(); count];
    let mut table: Option<ShareTable> = None;
    for strip in 0..strips {
        let z = start + (strip as f64 + 0.5) * width;
        let Some(place) = surface.at(z) else { continue };
        // The share depends on radius, slope and offset only: straight stretches work it out once.
        let table = match &mut table {
            Some(known) if known.place == place => known,
            other => other.insert(ShareTable::new(plume, place, plume.sigma_axial_m / 32.0)),
        };
        for (index, total) in totals.iter_mut().enumerate() {
            let torch = first_m + index as f64 * CAPTURE_STEP_M;
            let share = table.at(z - torch);
            total.meets += width * share.meets;
            total.sticks += width * share.sticks;
        }
    }
    totals
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::PartInChuck;
    use crate::spec::BenchSpec;

    const TRAVEL: (f64, f64) = (-70.0, 910.0);

    fn deposit(part: &PartInChuck, change: impl FnOnce(&mut PlumeSpec)) -> Deposit {
        let mut spec = BenchSpec::default_bench().unwrap().plume;
        change(&mut spec);
        Deposit::new(&spec, Surface::new(part), TRAVEL)
    }

    #[test]
    fn one_pass_over_a_50_mm_shaft_gives_0_0787_mm() {
        // h = eta m / (rho pi D F): 0.85 60 / (0.0066 pi 50 625) = 0.0787094 mm, computed by hand.
        let mut deposit = deposit(&PartInChuck::plain_shaft(), |_| {});
        deposit.release(85.0, 235.0, 14.4, Landing::Hot);
        let middle = deposit.thickness_mm(160.0);
        assert!((middle / 0.078_709_4 - 1.0).abs() < 1e-3, "{middle}");
        // Powder gated 15 mm = 2.5 sigma beyond the edge: Phi(2.5) = 0.99379.
        let edge = deposit.thickness_mm(100.0) / middle;
        assert!((edge - 0.993_79).abs() < 3e-4, "{edge}");
    }

    #[test]
    fn nine_passes_build_the_same_volume_on_a_growing_radius() {
        // R_N^2 = R_0^2 + N k with k = 3.9354676 mm2: 0.69862 mm after 9 passes, computed by hand.
        let mut deposit = deposit(&PartInChuck::plain_shaft(), |_| {});
        for _ in 0..9 {
            deposit.release(85.0, 235.0, 14.4, Landing::Hot);
        }
        let build = deposit.build_mm(160.0, deposit.thickness_mm(160.0));
        assert!((build - 0.698_62).abs() < 1e-3, "{build}");
    }

    #[test]
    fn a_dwell_of_one_second_makes_a_lump_of_0_0545_mm() {
        // eta m / (rho pi D sigma sqrt(2 pi)) = 0.05451 mm per second, computed by hand.
        let mut deposit = deposit(&PartInChuck::plain_shaft(), |_| {});
        deposit.release(150.1, 150.1, 1.0, Landing::Hot);
        let peak = deposit.thickness_mm(150.1);
        assert!((peak / 0.054_51 - 1.0).abs() < 3e-3, "{peak}");
    }

    #[test]
    fn thin_parts_catch_less_as_the_error_function_says() {
        // erf(R/(sigma sqrt 2)), sigma 6: R 6 mm 0.68269, R 12 mm 0.95450.
        for (radius_m, capture) in [(0.006, 0.682_69), (0.012, 0.954_50)] {
            let part = PartInChuck::cylinder(2.0 * radius_m, 0.3);
            let deposit = deposit(&part, |plume| plume.reference_radius_mm = radius_m * 1e3);
            let share = deposit.captured(0.15);
            assert!((share.meets - capture).abs() < 1e-4, "{radius_m}: {}", share.meets);
            assert!((share.sticks - 0.85 * capture).abs() < 1e-4);
        }
    }

    #[test]
    fn coat_weighs_what_its_thickness_says() {
        let mut deposit = deposit(&PartInChuck::plain_shaft(), |plume| {
            plume.sigma_growth_half_angle_deg = 3.0;
            plume.angle_exponent = 1.0;
        });
        deposit.release(-20.0, 320.0, 100.0, Landing::Hot);
        let mut volume_mm3 = 0.0;
        for i in 0..600 {
            let z = 0.25 + 0.5 * f64::from(i);
            volume_mm3 += deposit.thickness_mm(z) * 0.5 * std::f64::consts::PI * 50.0;
        }
        // Every place of the torch is looked up in the table for a whole pass in small pieces.
        let mut by_table = super::tests::deposit(&PartInChuck::plain_shaft(), |plume| {
            plume.sigma_growth_half_angle_deg = 3.0;
            plume.angle_exponent = 1.0;
        });
        for i in 0..1360 {
            let a = -20.0 + 0.25 * f64::from(i);
            by_table.release(a, a + 0.25, 100.0 / 1360.0, Landing::Hot);
        }
        let ratio = volume_mm3 * 6.6e-3 / by_table.stuck_g();
        assert!((ratio - 1.0).abs() < 2e-3, "{ratio}");
    }

    #[test]
    fn powder_without_flame_makes_no_coat_and_is_counted_apart() {
        let mut deposit = deposit(&PartInChuck::plain_shaft(), |_| {});
        deposit.release(150.0, 150.0, 0.5, Landing::Cold);
        deposit.release(600.0, 600.0, 0.5, Landing::Cold);
        assert_eq!(deposit.thickness_mm(150.0), 0.0);
        assert_eq!(deposit.stuck_g(), 0.0);
        assert!((deposit.cold_g() - 0.5).abs() < 1e-3);
    }
}
