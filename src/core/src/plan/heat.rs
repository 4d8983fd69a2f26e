//! A first estimate of temperatures and times: the heated stretch as one lump, and a stalled
//! carriage as a ring of heat on a thick body.
//!
//! The lump has no gradient and no conduction into the rest of the part, so heating times are
//! lower bounds on a long part, and so are cooling times of a short zone on one. Radiation by
//! Stefan and Boltzmann, specific heat by EN 1993-1-2.

use core::f64::consts::PI;

use super::material::{HeatProperties, density, specific_heat};
use crate::quantity::{HeatRate, Length, Mass, Power, Range, Temperature, TemperatureStep, Time};
use crate::recipe::{Part, Substrate};

/// Stefan-Boltzmann constant, W/(m2 K4) (CODATA 2018).
const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// Emissivity of oxidised steel (tables give 0.8 to 0.9).
pub const EMISSIVITY: f64 = 0.8;
/// Still air on a slowly turning bar, W/(m2 K): 8 to 9 by the correlation for rotating
/// cylinders (from memory).
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

/// A flame that stands over one place of a turning part.
#[derive(Debug, Clone, Copy, PartialEq)]
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
    pub over: HeatProperties,
}

impl StandingFlame {
    /// How much hotter the surface is after this long: `2 q sqrt(a t / pi) / k` for a thick
    /// body under the peak of the Gaussian ring (handbook formula), or the ring heated through,
    /// whichever is more.
    #[must_use]
    pub fn rise(&self, after: Time) -> TemperatureStep {
        let conductivity = self.over.conductivity;
        let diffusivity = conductivity / self.over.capacity();
        let thick = 2.0 * self.flux() / conductivity * (diffusivity * after.s() / PI).sqrt();
        let thin = self.ring_rate().kelvin_per_s() * after.s();
        TemperatureStep::from_kelvin(thick.max(thin))
    }

    /// How long it may stand until the surface is this much hotter.
    #[must_use]
    pub fn time_to(&self, rise: TemperatureStep) -> Time {
        let diffusivity = self.over.conductivity / self.over.capacity();
        let root = self.over.conductivity * rise.kelvin() / (2.0 * self.flux());
        let thick = PI * root * root / diffusivity;
        let thin = rise.kelvin() / self.ring_rate().kelvin_per_s();
        Time::from_s(thick.min(thin))
    }

    /// Rate of the ring under the flame, heated through: `Q / (sqrt(2 pi) sigma rho c A)`.
    #[must_use]
    pub fn ring_rate(&self) -> HeatRate {
        let (radius, bore) = (self.diameter.mm() * 5e-4, self.bore.mm() * 5e-4);
        let section = PI * (radius * radius - bore * bore);
        HeatRate::from_kelvin_per_s(
            self.net.kw() * 1000.0 / (self.width() * self.over.capacity() * section),
        )
    }

    /// Peak of the flux into the surface, W/m2.
    fn flux(&self) -> f64 {
        self.net.kw() * 1000.0 / (PI * self.diameter.mm() * 1e-3 * self.width())
    }

    /// Width of a ring with the peak's flux and the same heat, m.
    fn width(&self) -> f64 {
        (2.0 * PI).sqrt() * self.flame.mm() * 1e-3
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

    /// Handbook formula for a thick body; 3 kW on a ring 40 mm wide of D 50: 8.11 K/s through,
    /// +39 K after 1 s and +88 K after 5 s at the surface.
    #[test]
    fn a_stalled_flame_heats_the_surface_long_before_the_ring() {
        let flame = StandingFlame {
            diameter: Length::from_mm(50.0),
            bore: Length::ZERO,
            net: Power::from_kw(3.0),
            flame: Length::from_mm(40.0 / (2.0 * PI).sqrt()),
            over: HeatProperties { conductivity: 40.0, specific_heat: 600.0, density: 7850.0 },
        };
        let rate = flame.ring_rate().kelvin_per_s();
        assert!((rate - 8.11).abs() < 0.005, "{rate}");
        let rise = flame.rise(Time::from_s(1.0)).kelvin();
        assert!((rise - 39.2).abs() < 0.1, "{rise}");
        let rise = flame.rise(Time::from_s(5.0)).kelvin();
        assert!((rise - 87.8).abs() < 0.1, "{rise}");
        let back = flame.time_to(TemperatureStep::from_kelvin(rise)).s();
        assert!((back - 5.0).abs() < 1e-9, "{back}");
    }

    /// The handbook formula's time goes with k rho c: 19.68 x 7900 x 524 against 40.68 x 7850 x
    /// 605.9 at 400 degC (EN 1993-1-2, 3.4.1 and annex C), so 0.421 of that of plain steel.
    #[test]
    fn stainless_steel_bears_a_stalled_flame_less_than_half_as_long_as_plain_steel() {
        let over = |substrate| StandingFlame {
            diameter: Length::from_mm(60.0),
            bore: Length::ZERO,
            net: Power::from_kw(3.0),
            flame: Length::from_mm(12.0),
            over: HeatProperties::of(substrate, celsius(400.0)),
        };
        let time = |substrate| over(substrate).time_to(TemperatureStep::from_kelvin(50.0)).s();
        let share = time(Substrate::StainlessSteel) / time(Substrate::PlainSteel);
        assert!((share - 0.4211).abs() < 1e-4, "{share}");
    }
}
