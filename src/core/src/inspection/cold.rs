//! A diameter read on a hot part, as it is when the part is cold.

use serde::Serialize;

use crate::plan::material::{cooled, elongation};
use crate::quantity::{Length, Temperature, TemperatureStep};
use crate::recipe::Substrate;

/// Step of the slope of the elongation, K.
const STEP: f64 = 0.5;

/// A diameter of a hot part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hot {
    /// As the gauge said.
    pub found: Length,
    /// One standard deviation of a reading of that gauge.
    pub gauge: Length,
    /// The part's temperature then.
    pub temperature: Temperature,
    /// One standard deviation of that.
    pub temperature_within: TemperatureStep,
}

/// The same at 20 degC (ISO 1).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cold {
    /// The diameter.
    pub diameter: Length,
    /// One standard deviation of it, from the gauge and from the temperature.
    pub within: Length,
}

/// A hot diameter at 20 degC, by the elongation of what the part is made of: of carbon steel EN
/// 1993-1-2, 3.4.1.1. The coat is taken to grow as its part does, which on a coat of a millimetre
/// is some 0.5 um wrong at 250 degC (13 to 15e-6 per kelvin of the alloy, common practice, no
/// source).
#[must_use]
pub fn cold(substrate: Substrate, hot: &Hot) -> Cold {
    let shrunk = |at: Temperature| cooled(hot.found, substrate, at);
    let step = Temperature::from_celsius(STEP);
    // Of both sides, so that a corner of the curve is in it.
    let slope =
        (shrunk(hot.temperature - step) - shrunk(hot.temperature + step)).mm() / (2.0 * STEP);
    let of_gauge = hot.gauge.mm() / (1.0 + elongation(substrate, hot.temperature));
    let of_temperature = slope * hot.temperature_within.kelvin();
    Cold {
        diameter: shrunk(hot.temperature),
        within: Length::from_mm(of_gauge.hypot(of_temperature)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hot(found: f64, at: f64) -> Hot {
        Hot {
            found: Length::from_mm(found),
            gauge: Length::from_mm(0.01),
            temperature: Temperature::from_celsius(at),
            temperature_within: TemperatureStep::from_kelvin(10.0),
        }
    }

    /// EN 1993-1-2, 3.4.1.1: 3.0084e-3 at 250 degC; 51.552 mm hot are 51.397 mm cold, computed here.
    #[test]
    fn a_diameter_at_250_degrees_is_smaller_by_what_the_steel_has_grown() {
        let found = cold(Substrate::PlainSteel, &hot(51.552, 250.0));
        assert!((found.diameter.mm() - 51.397).abs() < 5e-4, "{found:?}");
        let grown = 51.552 - found.diameter.mm();
        assert!((grown - 0.155).abs() < 5e-4, "{grown}");
        let still = cold(Substrate::PlainSteel, &hot(51.397, 20.0));
        assert!((still.diameter.mm() - 51.397).abs() < 1e-12, "{still:?}");
    }

    /// The slope of EN 1993-1-2 at 250 degC is 1.2e-5 + 0.8e-8 x 250 = 1.4e-5 per kelvin; 10 K on
    /// 51.552 mm are 7.17 um, beside 9.97 um of the gauge 12.28 um. Computed here.
    #[test]
    fn what_is_not_known_of_the_temperature_is_carried_beside_the_gauge() {
        let found = cold(Substrate::PlainSteel, &hot(51.552, 250.0));
        assert!((found.within.mm() - 0.01228).abs() < 1e-5, "{found:?}");
        let exact = Hot { temperature_within: TemperatureStep::ZERO, ..hot(51.552, 250.0) };
        let found = cold(Substrate::PlainSteel, &exact);
        assert!((found.within.mm() - 0.01 / 1.003_008_4).abs() < 1e-9, "{found:?}");
    }

    /// EN 1993-1-2, annex C.1: austenitic steel grows (16 + 4.79e-3 t - 1.243e-6 t2)(t - 20) 1e-6.
    #[test]
    fn each_material_shrinks_by_its_own_curve() {
        let plain = cold(Substrate::PlainSteel, &hot(50.0, 250.0)).diameter;
        let stainless = cold(Substrate::StainlessSteel, &hot(50.0, 250.0)).diameter;
        let strain: f64 = (16.0 + 4.79e-3 * 250.0 - 1.243e-6 * 62_500.0) * 230.0 * 1e-6;
        assert!((stainless.mm() - 50.0 / (1.0 + strain)).abs() < 1e-9, "{stainless}");
        assert!(stainless < plain);
    }
}
