//! Diameters at several places of one zone, taken together.

use super::cold::{Hot, cold};
use crate::coat::deposit::{area_of, build_of};
use crate::quantity::{Fraction, Length};
use crate::recipe::Substrate;

/// A place where a diameter was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The diameter before coating, cold.
    pub before: Length,
    /// One standard deviation of that.
    pub before_within: Length,
    /// The diameter that all planned passes make, cold.
    pub planned: Length,
    /// What was read.
    pub hot: Hot,
}

/// The places as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Together {
    /// Diameter before coating, in the mean.
    pub before: Length,
    /// Radial build expected of the passes that are done.
    pub expected: Length,
    /// Radial build measured.
    pub measured: Length,
    /// One standard deviation of that.
    pub within: Length,
}

/// The mean of several places by their cross-sections, with a share of the planned passes done;
/// `None` of no place.
#[must_use]
pub fn together(substrate: Substrate, done: Fraction, places: &[Place]) -> Option<Together> {
    let (mut before, mut expected, mut measured) = (Length::ZERO, 0.0, 0.0);
    // What each reading has of its own, squared, and what the temperature does to all alike.
    let (mut alone, mut alike, mut count) = (0.0, 0.0, 0.0);
    for place in places {
        let read = cold(substrate, &place.hot);
        let area = |after: Length| area_of(place.before, (after - place.before) / 2.0);
        before += place.before;
        expected += area(place.planned) * done.ratio();
        measured += area(read.diameter);
        let own = place.hot.gauge.mm().min(read.within.mm());
        alone += own * own + place.before_within.mm() * place.before_within.mm();
        alike += (read.within.mm() * read.within.mm() - own * own).max(0.0);
        count += 1.0;
    }
    if count <= 0.0 {
        return None;
    }
    let before = before / count;
    let diameter = (alone / (count * count) + alike / count).sqrt();
    Some(Together {
        before,
        expected: build_of(before, expected / count),
        measured: build_of(before, measured / count),
        within: Length::from_mm(diameter / 2.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Temperature, TemperatureStep};

    fn place(found: f64, at: f64, temperature_within: f64) -> Place {
        Place {
            before: Length::from_mm(50.0),
            before_within: Length::ZERO,
            planned: Length::from_mm(51.397_25),
            hot: Hot {
                found: Length::from_mm(found),
                gauge: Length::from_mm(0.01),
                temperature: Temperature::from_celsius(at),
                temperature_within: TemperatureStep::from_kelvin(temperature_within),
            },
        }
    }

    /// The reference job: 51.552 mm at 250 degC are 51.397 mm cold, a build of 0.69862 mm after
    /// nine passes and 0.39050 mm expected after five (`R_N^2 = R_0^2 + N k`). Computed here.
    #[test]
    fn hot_diameters_are_brought_to_cold_and_held_against_the_passes_done() {
        let nine = [place(51.5519, 250.0, 5.0)];
        let all = together(Substrate::PlainSteel, Fraction::from_ratio(1.0), &nine).expect("one");
        assert!((all.measured.mm() - 0.69862).abs() < 5e-5, "{all:?}");
        assert!((all.expected.mm() - 0.69862).abs() < 5e-6, "{all:?}");
        let five = Fraction::from_ratio(5.0 / 9.0);
        let some = together(Substrate::PlainSteel, five, &nine).expect("one");
        assert!((some.expected.mm() - 0.39050).abs() < 5e-6, "{some:?}");
        assert_eq!(together(Substrate::PlainSteel, five, &[]), None);
    }

    /// Four readings halve what the gauge does, 10 um to 5 um, of a diameter 2.5 um of a build; a
    /// temperature that is wrong is so for all of them.
    #[test]
    fn more_readings_help_against_the_gauge_and_not_against_the_thermometer() {
        let whole = Fraction::from_ratio(1.0);
        let four = |within: f64| {
            let places = [place(51.5519, 250.0, within); 4];
            together(Substrate::PlainSteel, whole, &places).expect("four").within.mm()
        };
        assert!((four(0.0) - 0.0025).abs() < 2e-5, "{}", four(0.0));
        // 7.17 um of 10 K on the diameter.
        let expected = (0.005_f64.powi(2) + 0.00717_f64.powi(2)).sqrt() / 2.0;
        assert!((four(10.0) - expected).abs() < 1e-4, "{} {expected}", four(10.0));
    }
}
