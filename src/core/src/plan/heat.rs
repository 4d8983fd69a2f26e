//! The part as heat sees it: the bar that the forecast warms and cools, the heated stretch as one
//! lump for what can be said beforehand, and a ring of it under a stalled carriage.
//!
//! The lump has no gradient and no conduction into the rest of the part, so its heating times are
//! lower bounds on a long part, and so are its cooling times of a short zone on one. Radiation by
//! Stefan and Boltzmann, specific heat by EN 1993-1-2.

use core::f64::consts::PI;

use super::material::{Leads, density, metal, specific_heat};
use crate::catalogue::{GasSetting, Torch};
use crate::coat::plume::capture;
use crate::model::{Bar, Body, EndFaces, Loss, Metal, Shape, Source};
use crate::quantity::{Fraction, Length, Mass, Power, Range, Temperature, TemperatureStep, Time};
use crate::recipe::{Part, Substrate};

/// Stefan-Boltzmann constant, W/(m2 K4) (CODATA 2018).
const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// Emissivity of oxidised steel (tables give 0.8 to 0.9).
pub const EMISSIVITY: f64 = 0.8;
/// Still air on a slowly turning bar, W/(m2 K). By the correlations for a long horizontal cylinder
/// (Churchill and Chu 1975) and for a rotating one (Becker 1963), of which the greater holds
/// (Anderson and Saunders 1953), 7 to 11 for the shafts of the trade; the tests work it out. All
/// three from memory.
pub const STILL_AIR: f64 = 9.0;
/// Air of the room, degC (arbitrary).
pub const ROOM: Temperature = Temperature::from_celsius(20.0);
/// Widest step of temperature in the sums, K: the specific heat has a narrow peak at 735 degC.
const SUMMING_STEP: f64 = 0.25;

/// A body at one temperature that loses heat to the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lump {
    /// What it is made of.
    pub substrate: Substrate,
    /// Its mass.
    pub mass: Mass,
    /// Its surface, mm2.
    pub surface: f64,
    /// Convection, W/(m2 K).
    pub convection: f64,
    /// Emissivity of its surface.
    pub emissivity: f64,
    /// Temperature of the room.
    pub room: Temperature,
}

impl Lump {
    /// The stretch of a part between two places, with both cut faces counted as surface.
    #[must_use]
    pub fn of(part: &Part, stretch: Range<Length>) -> Self {
        let extent = part.extent();
        let low = stretch.low.max(extent.low);
        let high = stretch.high.min(extent.high).max(low);
        let (mut volume, mut surface) = (0.0, 0.0);
        for (a, b) in slices(part, low, high) {
            let width = (b - a).mm();
            let radius =
                part.diameter_at(Length::from_mm(f64::midpoint(a.mm(), b.mm()))).mm() / 2.0;
            let bore = part.bore.mm() / 2.0;
            volume += PI * (radius * radius - bore * bore).max(0.0) * width;
            surface += 2.0 * PI * radius * width;
        }
        for face in [low, high] {
            let (radius, bore) = (part.diameter_at(face).mm() / 2.0, part.bore.mm() / 2.0);
            surface += PI * (radius * radius - bore * bore).max(0.0);
        }
        Self {
            substrate: part.substrate,
            mass: Mass::from_g(volume * density(part.substrate) * 1e-6),
            surface,
            convection: STILL_AIR,
            emissivity: EMISSIVITY,
            room: ROOM,
        }
    }

    /// What it loses to the room at a temperature.
    #[must_use]
    pub fn loss(&self, at: Temperature) -> Power {
        let area = self.surface * 1e-6;
        let convected = self.convection * at.above(self.room).kelvin();
        let radiated =
            self.emissivity * STEFAN_BOLTZMANN * (at.kelvin().powi(4) - self.room.kelvin().powi(4));
        Power::from_kw(area * (convected + radiated) * 1e-3)
    }

    /// Time from one temperature to another under a net heat flow; `None` when that flow can
    /// never bring it there.
    #[must_use]
    pub fn time(&self, from: Temperature, to: Temperature, net: Power) -> Option<Time> {
        let difference = to.above(from).kelvin();
        let count = (difference.abs() / SUMMING_STEP).ceil().max(1.0);
        let step = difference / count;
        let mut total = 0.0;
        let mut done = 0.0;
        while done < count {
            let at = Temperature::from_celsius(from.celsius() + (done + 0.5) * step);
            let flow = (net - self.loss(at)).kw() * 1000.0;
            if flow * step < 0.0 || flow == 0.0 {
                return None;
            }
            total += self.heat_capacity(at) * step / flow;
            done += 1.0;
        }
        Some(Time::from_s(total))
    }

    /// Its temperature after a time under a net heat flow (fourth-order Runge-Kutta, steps of at
    /// most a second).
    #[must_use]
    pub fn after(&self, from: Temperature, net: Power, time: Time) -> Temperature {
        let count = time.s().ceil().max(1.0);
        let step = time.s() / count;
        let rate = |celsius: f64| {
            let at = Temperature::from_celsius(celsius);
            (net - self.loss(at)).kw() * 1000.0 / self.heat_capacity(at)
        };
        let mut now = from.celsius();
        let mut done = 0.0;
        while done < count {
            let a = rate(now);
            let b = rate(now + 0.5 * step * a);
            let c = rate(now + 0.5 * step * b);
            let d = rate(now + step * c);
            now += step / 6.0 * (a + 2.0 * b + 2.0 * c + d);
            done += 1.0;
        }
        Temperature::from_celsius(now)
    }

    /// The temperature at which it loses all of a net heat flow: it gets no hotter.
    #[must_use]
    pub fn hottest(&self, net: Power) -> Temperature {
        let (mut low, mut high) = (self.room.celsius(), 4000.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if self.loss(Temperature::from_celsius(middle)) < net {
                low = middle;
            } else {
                high = middle;
            }
        }
        Temperature::from_celsius(low)
    }

    /// J/K.
    fn heat_capacity(&self, at: Temperature) -> f64 {
        self.mass.g() * 1e-3 * specific_heat(self.substrate, at)
    }
}

/// Share of a flame that the part catches in the mean of a stretch that the torch goes along
/// evenly.
pub(crate) fn captured_over(part: &Part, stretch: Range<Length>, flame: Length) -> Fraction {
    let extent = part.extent();
    let low = stretch.low.max(extent.low);
    let high = stretch.high.min(extent.high).max(low);
    let (mut caught, mut whole) = (0.0, 0.0);
    for (a, b) in slices(part, low, high) {
        let diameter = part.diameter_at(Length::from_mm(f64::midpoint(a.mm(), b.mm())));
        caught += capture(diameter, flame).ratio() * (b - a).mm();
        whole += (b - a).mm();
    }
    Fraction::from_ratio(if whole > 0.0 { caught / whole } else { 0.0 })
}

/// The stretch cut at the outline's points and into slices of at most 5 mm, so that the middle
/// of each stands for it.
fn slices(part: &Part, low: Length, high: Length) -> Vec<(Length, Length)> {
    let mut cuts = vec![low.mm(), high.mm()];
    cuts.extend(part.profile.iter().map(|point| point.at.mm()));
    let mut at = low.mm();
    while at < high.mm() {
        cuts.push(at);
        at += 5.0;
    }
    cuts.retain(|cut| (low.mm()..=high.mm()).contains(cut));
    cuts.sort_by(f64::total_cmp);
    cuts.iter()
        .zip(cuts.iter().skip(1))
        .filter(|(a, b)| a < b)
        .map(|(a, b)| (Length::from_mm(*a), Length::from_mm(*b)))
        .collect()
}

/// Most cells of a bar: more tell nothing, and a plan is made while somebody waits.
const MOST_CELLS: f64 = 400.0;

/// The whole part at the temperature of the room, in cells of half the flame's standard deviation;
/// its end faces lose heat, chuck and centre draw none. `None` for a part without length or wall.
#[must_use]
pub fn bar(part: &Part, flame: Length) -> Option<Bar> {
    let metres = |length: Length| length.mm() * 1e-3;
    let bore = metres(part.bore) / 2.0;
    let points = part.profile.iter().map(|point| (metres(point.at), metres(point.diameter) / 2.0));
    let shape = Shape::new(points.collect())?;
    let cell = (metres(flame) / 2.0).max((shape.high() - shape.low()) / MOST_CELLS);
    let has_wall = shape.slices(cell).iter().all(|(at, _)| shape.at(*at).0 > bore);
    let loss = Loss { convection: STILL_AIR, emissivity: EMISSIVITY, ambient: ROOM.celsius() };
    let body = Body {
        bore,
        metal: metal(part.substrate, Leads::Usually),
        loss,
        ends: EndFaces::Open,
        cell,
    };
    has_wall.then(|| Bar::of(&shape, body, ROOM.celsius()))
}

/// A torch at a gas setting as the heat model sees it; its flame is as wide across the part as
/// along it.
#[must_use]
pub fn source(torch: &Torch, gas: &GasSetting) -> Source {
    let sigma = torch.flame.mm() * 1e-3;
    let power = gas.net_power.kw() * 1000.0;
    Source { power, sigma_axial: sigma, sigma_lateral: sigma, lit_in_dwell: true }
}

/// How much hotter than the mean of its section the surface of a ring (bore and radius, m) stays
/// while a flux (W/m2) enters it steadily and nothing leaves: `q R / (4 k)` on a solid bar, a third
/// of `q w / k` on a thin wall (integrated here from the steady rise of a ring).
#[must_use]
pub fn surface_over_mean((bore, radius): (f64, f64), flux: f64, conductivity: f64) -> f64 {
    let (inner, outer) = (bore * bore, radius * radius);
    let wall = outer - inner;
    let swirl = if bore > 0.0 { 0.5 * inner * inner * (radius / bore).ln() } else { 0.0 };
    let area = wall * wall / 8.0 - inner * wall / 4.0 + swirl;
    2.0 * flux * radius / (conductivity * wall) * area / wall
}

/// Cells of the ring under a stalled flame, m: heat goes 1 mm deep into stainless steel in 0.2 s.
const RING: f64 = 0.2e-3;
/// How deep that ring is counted, m: heat takes ten seconds to get there, and a shallower ring only
/// gets hotter.
const DEPTH: f64 = 50e-3;
/// A flame that has done no harm after this time does none, s.
const HARMLESS: f64 = 3600.0;

/// A flame that stands over one place of a turning part: the ring under its peak as if all of its
/// heat stayed there, which errs on the side of too hot; loss to the room is left out.
#[derive(Debug, Clone, PartialEq)]
pub struct StandingFlame {
    /// Diameter of the part there.
    pub diameter: Length,
    /// Diameter of its bore.
    pub bore: Length,
    /// Net heat that enters it, after what passes a narrow part.
    pub net: Power,
    /// Standard deviation of the flame along the part.
    pub flame: Length,
    /// What it stands over.
    pub over: Metal,
    /// Temperature of the ring before.
    pub from: Temperature,
}

impl StandingFlame {
    /// How much hotter the surface is after this long, an hour at most.
    #[must_use]
    pub fn rise(&self, after: Time) -> TemperatureStep {
        let (before, found) = self.until(|time, _| time >= after.s());
        let share = (after.s() - before.0) / (found.0 - before.0);
        TemperatureStep::from_kelvin(before.1 + (found.1 - before.1) * share.min(1.0))
    }

    /// How long it may stand until the surface is this much hotter; an hour if it gets no hotter
    /// by then.
    #[must_use]
    pub fn time_to(&self, rise: TemperatureStep) -> Time {
        let (before, found) = self.until(|_, risen| risen >= rise.kelvin());
        let share = (rise.kelvin() - before.1) / (found.1 - before.1);
        Time::from_s(if share < 1.0 { before.0 + (found.0 - before.0) * share } else { found.0 })
    }

    /// The last two of the times (s) and rises of the surface (K) until something is so.
    fn until(&self, so: impl Fn(f64, f64) -> bool) -> ((f64, f64), (f64, f64)) {
        let (radius, bore) = (self.diameter.mm() * 5e-4, self.bore.mm() * 5e-4);
        let from = self.from.celsius();
        let wall = (bore.max(radius - DEPTH), radius);
        let mut ring = Bar::across(wall, RING, self.over.clone(), Loss::NONE, from);
        // Into one metre of ring, at the peak of the flame.
        let heat = self.net.kw() * 1000.0 / ((2.0 * PI).sqrt() * self.flame.mm() * 1e-3);
        let (mut before, mut now) = ((0.0, 0.0), (0.0, 0.0));
        while !so(now.0, now.1) && now.0 < HARMLESS {
            before = now;
            // Fine while the surface rises steeply, coarser as it settles down.
            let step = (now.0 / 50.0).max(0.002);
            ring.step_at_end(step, heat);
            now = (now.0 + step, ring.face(heat) - from);
        }
        (before, now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn celsius(value: f64) -> Temperature {
        Temperature::from_celsius(value)
    }

    /// A steel bar D 50 x 150 mm with h 25: m 2.31202 kg, A 0.0274889 m2.
    fn bar() -> Lump {
        Lump {
            substrate: Substrate::PlainSteel,
            mass: Mass::from_g(2312.02),
            surface: 27_488.9,
            convection: 25.0,
            emissivity: 0.8,
            room: ROOM,
        }
    }

    fn part() -> Part {
        let point = |at, diameter| crate::recipe::ProfilePoint {
            at: Length::from_mm(at),
            diameter: Length::from_mm(diameter),
        };
        Part {
            name: "bar".to_owned(),
            substrate: Substrate::PlainSteel,
            profile: vec![point(0.0, 50.0), point(300.0, 50.0)],
            bore: Length::ZERO,
        }
    }

    /// Computed here from the geometry and 7850 kg/m3.
    #[test]
    fn a_stretch_of_bar_has_its_mass_and_its_surface_with_both_faces() {
        let span = Range { low: Length::from_mm(85.0), high: Length::from_mm(235.0) };
        let lump = Lump::of(&part(), span);
        assert!((lump.mass.g() - 2312.02).abs() < 0.01, "{}", lump.mass);
        assert!((lump.surface - 27_488.9).abs() < 0.1, "{}", lump.surface);
    }

    /// Stefan and Boltzmann, and Newton's cooling, on the bar.
    #[test]
    fn a_hot_bar_loses_what_convection_and_radiation_say() {
        for (t, watt) in [(100.0, 69.95), (250.0, 242.25), (1000.0, 3940.53), (1050.0, 4520.68)] {
            let found = bar().loss(celsius(t)).kw() * 1000.0;
            assert!((found - watt).abs() < 0.02, "{t}: {found}");
        }
    }

    /// Computed here with the specific heat of EN 1993-1-2, 3.4.1.2.
    #[test]
    fn heating_and_cooling_times_of_the_bar_follow_the_heat_balance() {
        let kw = Power::from_kw;
        let time = |from, to, net| bar().time(celsius(from), celsius(to), net).map(Time::s);
        let near = |found: Option<f64>, wanted: f64, within: f64| {
            assert!(found.is_some_and(|t| (t - wanted).abs() < within), "{found:?} for {wanted}");
        };
        near(time(20.0, 250.0, kw(3.0)), 92.29, 0.02);
        near(time(250.0, 1050.0, kw(8.0)), 234.5, 0.1);
        near(time(350.0, 250.0, Power::ZERO), 416.4, 0.1);
        near(time(250.0, 200.0, Power::ZERO), 300.3, 0.1);
        near(time(1050.0, 500.0, Power::ZERO), 630.0, 0.5);
        assert_eq!(time(20.0, 1050.0, kw(3.0)), None);
        let hottest = bar().hottest(kw(3.0)).celsius();
        assert!((hottest - 904.8).abs() < 0.1, "{hottest}");
        let slow = Lump { convection: STILL_AIR, ..bar() };
        near(slow.time(celsius(350.0), celsius(250.0), Power::ZERO).map(Time::s), 683.0, 1.0);
    }

    #[test]
    fn temperature_after_a_time_agrees_with_the_time_to_a_temperature() {
        let time = bar().time(celsius(20.0), celsius(250.0), Power::from_kw(3.0));
        let found = bar().after(celsius(20.0), Power::from_kw(3.0), time.unwrap_or(Time::ZERO));
        assert!((found.celsius() - 250.0).abs() < 0.01, "{found}");
    }

    /// 3 kW on a ring 40 mm wide of D 50, k 40, c 600: 8.11 K/s through; +39 K after 1 s and +88 K
    /// after 5 s at the surface of a thick body by the handbook's 2 q sqrt(a t / pi) / k, and more
    /// on a round one, of which less lies under each piece of surface: 99.7 K after 5 s by the series
    /// of Carslaw and Jaeger 7.8.
    #[test]
    fn a_stalled_flame_heats_the_surface_long_before_the_ring_and_a_round_part_most() {
        let flame = |diameter: f64, net: f64| StandingFlame {
            diameter: Length::from_mm(diameter),
            bore: Length::ZERO,
            net: Power::from_kw(net),
            flame: Length::from_mm(40.0 / (2.0 * PI).sqrt()),
            over: Metal::constant(40.0, 7850.0 * 600.0),
            from: celsius(250.0),
        };
        let after = |flame: &StandingFlame, s| flame.rise(Time::from_s(s)).kelvin();
        // The same heat on each piece of a surface that is all but flat.
        let thick = flame(1000.0, 60.0);
        for (time, wanted) in [(1.0, 39.2), (5.0, 87.8)] {
            let found = after(&thick, time);
            assert!((found / wanted - 1.0).abs() < 0.015, "{time} s: {found} for {wanted}");
        }
        let round = flame(50.0, 3.0);
        let (early, late) = (after(&round, 1.0), after(&round, 5.0));
        assert!(early > 40.0 && early < 44.0, "{early}");
        assert!((late - 99.7).abs() < 0.3, "{late}");
        let rate = after(&round, 61.0) - after(&round, 60.0);
        assert!((rate - 8.11).abs() < 0.02, "{rate}");
        let back = round.time_to(TemperatureStep::from_kelvin(late)).s();
        assert!((back - 5.0).abs() < 1e-6, "{back}");
        assert!((flame(50.0, 0.0).time_to(TemperatureStep::from_kelvin(50.0)).s() - 3600.0) < 80.0);
    }

    /// A study with a finer model, which lets heat spread along the part too, and 15 W/m2K of loss:
    /// k 45, c 490, 5 kW with a flame of 15 mm on bars of D 50 (of which it catches 0.90) and D 100,
    /// from 200 degC: surface after 1, 3 and 10 s.
    #[test]
    fn a_stalled_flame_is_never_told_gentler_than_a_finer_model_finds_it() {
        for (diameter, caught, risen) in
            [(50.0, 0.90, [68.0, 120.0, 222.0]), (100.0, 1.0, [36.0, 62.0, 108.0])]
        {
            let flame = StandingFlame {
                diameter: Length::from_mm(diameter),
                bore: Length::ZERO,
                net: Power::from_kw(5.0 * caught),
                flame: Length::from_mm(15.0),
                over: Metal::constant(45.0, 7850.0 * 490.0),
                from: celsius(200.0),
            };
            for (time, finer) in [1.0, 3.0, 10.0].into_iter().zip(risen) {
                let found = flame.rise(Time::from_s(time)).kelvin();
                println!("D {diameter}, {time} s: {found:.1} K, finer {finer}");
                assert!((1.0..1.35).contains(&(found / finer)), "{found} for {finer}");
            }
        }
    }

    /// By the handbook's formula the time goes with k rho c: 19.68 x 7900 x 524 against 40.68 x
    /// 7850 x 605.9 at 400 degC (EN 1993-1-2, 3.4.1 and annex C), so 0.421 of that of plain steel.
    #[test]
    fn stainless_steel_bears_a_stalled_flame_less_than_half_as_long_as_plain_steel() {
        let over = |substrate| StandingFlame {
            diameter: Length::from_mm(1000.0),
            bore: Length::ZERO,
            net: Power::from_kw(75.0),
            flame: Length::from_mm(12.0),
            over: metal(substrate, Leads::Worst),
            from: celsius(375.0),
        };
        let time = |substrate| over(substrate).time_to(TemperatureStep::from_kelvin(50.0)).s();
        let share = time(Substrate::StainlessSteel) / time(Substrate::PlainSteel);
        assert!((share - 0.421).abs() < 0.01, "{share}");
    }

    /// Closed forms: q R / (4 k) (Carslaw and Jaeger 7.8), q w / (3 k) (3.8), and what a ring of
    /// the model settles down to.
    #[test]
    fn a_heated_surface_stays_hotter_than_its_section_by_the_closed_forms() {
        let near = |found: f64, wanted: f64, within: f64| {
            assert!((found / wanted - 1.0).abs() < within, "{found} for {wanted}");
        };
        near(surface_over_mean((0.0, 0.025), 1e6, 30.0), 1e6 * 0.025 / 120.0, 1e-12);
        near(surface_over_mean((0.99, 1.0), 1e6, 30.0), 1e6 * 0.01 / 90.0, 0.01);
        let heat = 1e5;
        let metal = Metal::constant(30.0, 5e6);
        let mut ring = Bar::across((0.012, 0.03), 0.1e-3, metal, Loss::NONE, 0.0);
        for _ in 0..4000 {
            ring.step_at_end(0.05, heat);
        }
        let wanted = surface_over_mean((0.012, 0.03), heat / (2.0 * PI * 0.03), 30.0);
        near(ring.face(heat) - ring.mean(), wanted, 0.002);
    }

    /// Churchill and Chu 1975 for a horizontal cylinder, Becker 1963 for one that turns (both from
    /// memory), the greater by Anderson and Saunders 1953; air at the mean of surface and room: its
    /// conductivity and viscosity by Sutherland's law (handbook constants, from memory), Pr 0.69.
    #[test]
    fn still_air_is_what_the_correlations_for_turning_shafts_say() {
        for (diameter, rpm, surface) in
            [(0.05, 127.0, 300.0), (0.06, 106.0, 300.0), (0.1, 64.0, 300.0), (0.05, 127.0, 200.0)]
        {
            let (room, film) = (293.15, f64::midpoint(surface + 273.15, 293.15));
            let viscosity: f64 = 1.458e-6 * film.powf(1.5) / (film + 110.4) / (353.0 / film);
            let conductivity =
                2.64e-3 * film.powf(1.5) / (film + 245.4 * 10_f64.powf(-12.0 / film));
            let prandtl: f64 = 0.69;
            let over = surface + 273.15 - room;
            let rayleigh =
                9.81 * over / film * f64::powi(diameter, 3) / (viscosity * viscosity) * prandtl;
            let spread = (1.0 + (0.559 / prandtl).powf(9.0 / 16.0)).powf(8.0 / 27.0);
            let still = (0.60 + 0.387 * rayleigh.powf(1.0 / 6.0) / spread).powi(2);
            let around = rpm / 60.0 * 2.0 * PI * diameter * diameter / viscosity;
            let turning = 0.133 * around.powf(2.0 / 3.0) * prandtl.cbrt();
            let found = still.max(turning) * conductivity / diameter;
            println!("D {diameter}, {rpm} rpm, {surface} degC: {found:.2} W/m2K");
            assert!((found - STILL_AIR).abs() < 2.0, "{found}");
        }
    }
}
