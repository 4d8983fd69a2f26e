//! Spindle speeds: from a surface speed to what the inverter or the lever of the lathe has.

use core::f64::consts::PI;

use serde::Serialize;

use crate::quantity::{Fraction, Length, Quantity, Range, Speed, SpindleSpeed};
use crate::rig::SpindleSpec;

/// The spindle speed that gives a surface speed: `n = 1000 v / (pi D)` in rpm, m/min and mm.
#[must_use]
pub fn spindle_for(surface: Speed, diameter: Length) -> SpindleSpeed {
    SpindleSpeed::from_rpm(surface.mm_per_s() * 60.0 / (PI * diameter.mm()))
}

/// The surface speed of a diameter at a spindle speed.
#[must_use]
pub fn surface_speed(spindle: SpindleSpeed, diameter: Length) -> Speed {
    Speed::from_mm_per_s(spindle.rpm() / 60.0 * PI * diameter.mm())
}

/// A surface speed as the trade says it.
pub(crate) fn metres_per_minute(speed: Speed) -> String {
    format!("{:.2} m/min", speed.in_unit("m/min").unwrap_or_default())
}

/// The speed chosen for a stretch of the part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ChosenSpeed {
    /// What the surface speed asks for at the mean diameter.
    pub wanted: SpindleSpeed,
    /// What the spindle will turn at.
    pub spindle: SpindleSpeed,
    /// How far that is from what is wanted.
    pub mismatch: Fraction,
    /// Surface speeds at the thinnest and the thickest place.
    pub surface: Range<Speed>,
}

/// Why no speed fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoSpeedFits {
    /// The nearest the spindle has, window or not.
    pub nearest: SpindleSpeed,
    /// Surface speeds it would give at the thinnest and the thickest place.
    pub surface: Range<Speed>,
    /// Spindle speeds that would keep the whole stretch in the window; the low end above the
    /// high end when its diameters differ too much for any.
    pub needed: Range<SpindleSpeed>,
}

/// Chooses the spindle speed for a stretch whose diameters lie in a range: the inverter's
/// nearest, or the lever's nearest in log ratio, among those that keep both the thinnest and
/// the thickest place inside the torch's window.
///
/// # Errors
/// [`NoSpeedFits`] when none does.
pub fn choose(
    spec: &SpindleSpec,
    surface: Speed,
    diameters: Range<Length>,
    window: Range<Speed>,
) -> Result<ChosenSpeed, NoSpeedFits> {
    let mean = (diameters.low + diameters.high) / 2.0;
    let wanted = spindle_for(surface, mean);
    let needed = Range {
        low: spindle_for(window.low, diameters.low),
        high: spindle_for(window.high, diameters.high),
    };
    // What lies on the edge of the window is inside it, rounding or not.
    let slack = 1e-9;
    let fits = |speed: SpindleSpeed| {
        needed.low.rpm() * (1.0 - slack) <= speed.rpm()
            && speed.rpm() <= needed.high.rpm() * (1.0 + slack)
    };
    let distance = |speed: SpindleSpeed| (speed / wanted).ln().abs();
    let nearest_of = |speeds: &mut dyn Iterator<Item = SpindleSpeed>| {
        speeds.min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
    };
    let (chosen, nearest) = match spec {
        SpindleSpec::Inverter(inverter) => {
            let nearest = wanted.max(inverter.speeds.low).min(inverter.speeds.high);
            let inside = nearest.max(needed.low).min(needed.high);
            let reachable = inverter.speeds.contains(inside) && fits(inside);
            (reachable.then_some(inside), nearest)
        }
        SpindleSpec::Gears(table) => {
            let chosen = nearest_of(&mut table.speeds.iter().copied().filter(|s| fits(*s)));
            let nearest = nearest_of(&mut table.speeds.iter().copied());
            (chosen, nearest.unwrap_or(SpindleSpeed::ZERO))
        }
    };
    let at = |speed| Range {
        low: surface_speed(speed, diameters.low),
        high: surface_speed(speed, diameters.high),
    };
    match chosen {
        Some(spindle) => Ok(ChosenSpeed {
            wanted,
            spindle,
            mismatch: Fraction::from_ratio(spindle / wanted - 1.0),
            surface: at(spindle),
        }),
        None => Err(NoSpeedFits { nearest, surface: at(nearest), needed }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::support;
    use super::*;

    fn same(diameter: f64) -> Range<Length> {
        Range { low: Length::from_mm(diameter), high: Length::from_mm(diameter) }
    }

    fn metres(value: f64) -> Speed {
        Speed::from_mm_per_s(value * 1000.0 / 60.0)
    }

    /// n = 1000 v / (pi D).
    #[test]
    fn surface_speed_and_diameter_give_the_spindle_speed() {
        for (diameter, v, rpm) in
            [(50.0, 20.0, 127.3240), (80.0, 18.0, 71.6197), (50.8, 19.812, 124.141)]
        {
            let found = spindle_for(metres(v), Length::from_mm(diameter)).rpm();
            assert!((found - rpm).abs() < 5e-4, "{diameter}: {found}");
        }
        let back = surface_speed(SpindleSpeed::from_rpm(112.0), Length::from_mm(63.0));
        assert!((back.mm_per_s() * 0.06 - 22.1671).abs() < 5e-5);
    }

    /// Computed here, on the gear table 31.5 ... 1400 (every third of R20, ISO 3).
    #[test]
    fn the_lever_gets_the_gear_nearest_in_ratio() {
        let lever = support::gears();
        let window = Range { low: metres(15.0), high: metres(30.0) };
        for (diameter, v, wanted, gear, got, error) in [
            (12.0, 20.0, 530.52, 500.0, 18.850, -5.75),
            (30.0, 20.0, 212.21, 250.0, 23.562, 17.81),
            (50.0, 20.0, 127.32, 125.0, 19.635, -1.83),
            (80.0, 18.0, 71.62, 63.0, 15.834, -12.04),
            (120.0, 20.0, 53.05, 45.0, 16.965, -15.18),
            (200.0, 20.0, 31.83, 31.5, 19.792, -1.04),
        ] {
            let chosen = choose(&lever, metres(v), same(diameter), window).expect("a gear fits");
            assert!((chosen.wanted.rpm() - wanted).abs() < 0.006, "{diameter}");
            assert_eq!(chosen.spindle.rpm(), gear, "{diameter}");
            assert!((chosen.surface.low.mm_per_s() * 0.06 - got).abs() < 6e-4, "{diameter}");
            assert!((chosen.mismatch.percent() - error).abs() < 0.006, "{diameter}");
        }
    }

    #[test]
    fn the_window_overrules_the_nearest_gear_and_a_taper_is_checked_at_both_ends() {
        let lever = support::gears();
        let narrow = Range { low: metres(19.8), high: metres(30.0) };
        let chosen = choose(&lever, metres(20.0), same(50.0), narrow).expect("180 rpm fits");
        assert_eq!(chosen.spindle.rpm(), 180.0);
        let taper = Range { low: Length::from_mm(50.0), high: Length::from_mm(100.0) };
        let window = Range { low: metres(15.0), high: metres(29.0) };
        let none = choose(&lever, metres(20.0), taper, window).expect_err("2:1 needs 2:1");
        assert_eq!(none.nearest.rpm(), 90.0);
        assert!(none.needed.low > none.needed.high);
    }

    #[test]
    fn an_inverter_gives_what_is_wanted_inside_its_range() {
        let spec = support::inverter(20.0, 400.0);
        let window = Range { low: metres(15.0), high: metres(30.0) };
        let chosen = choose(&spec, metres(20.0), same(50.0), window).expect("inside");
        assert!((chosen.spindle.rpm() - 127.3240).abs() < 5e-5);
        let slow = support::inverter(20.0, 90.0);
        let none = choose(&slow, metres(20.0), same(50.0), window).expect_err("too slow");
        assert_eq!(none.nearest.rpm(), 90.0);
    }
}
