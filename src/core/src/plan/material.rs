//! What a part is made of, against temperature: elongation, specific heat, conductivity, density.
//!
//! Carbon steel by EN 1993-1-2:2005, 3.4.1.1 (elongation), 3.4.1.2 (specific heat) and 3.4.1.3
//! (conductivity); stainless steel by its annex C (from memory). Steel that hardens in air is
//! taken as carbon steel, except that it leads heat worse: see [`conductivity`].
//! Cast iron: a constant 10.5e-6 per kelvin (handbooks, from memory), specific heat as carbon
//! steel.

use crate::model::Metal;
use crate::quantity::{Length, Temperature};
use crate::recipe::Substrate;

/// Density, kg/m3, taken as independent of temperature: carbon steel by EN 1993-1-2, 3.2.2;
/// austenitic stainless steel by EN 10088-1 (grade 1.4301); cast iron by EN 1561 and EN 1563 (7100
/// to 7300), all but the first from memory.
#[must_use]
pub const fn density(substrate: Substrate) -> f64 {
    match substrate {
        Substrate::PlainSteel | Substrate::AirHardeningSteel => 7850.0,
        Substrate::StainlessSteel => 7900.0,
        Substrate::CastIron => 7200.0,
    }
}

/// How well the members of a substrate's class lead heat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Leads {
    /// As the usual ones do: what is expected.
    Usually,
    /// As the worst of the class: it is burnt first under a flame that stands still.
    Worst,
}

/// Thermal conductivity, W/(m K), between 20 and 1200 degC; outside as at the nearer of the two.
///
/// Two classes are wide. Steel that hardens in air: alloyed shaft steels lead 36 (34CrNiMo6),
/// hot-work steel 25 (X40CrMoV5-1). Cast iron: grey 45 (EN 1561), with nodules and pearlitic 31
/// (EN 1563, at 300 degC). All from memory.
#[must_use]
pub fn conductivity(substrate: Substrate, leads: Leads, temperature: Temperature) -> f64 {
    let t = temperature.celsius().clamp(20.0, 1200.0);
    let carbon = if t < 800.0 { 54.0 - 3.33e-2 * t } else { 27.3 };
    match (substrate, leads) {
        (Substrate::PlainSteel, _) => carbon,
        (Substrate::AirHardeningSteel, Leads::Usually) => carbon.min(36.0),
        (Substrate::AirHardeningSteel, Leads::Worst) => carbon.min(25.0),
        (Substrate::StainlessSteel, _) => 14.6 + 1.27e-2 * t,
        (Substrate::CastIron, Leads::Usually) => carbon.min(45.0),
        (Substrate::CastIron, Leads::Worst) => carbon.min(31.0),
    }
}

/// What the heat model needs of a substrate: a table from 0 to 1300 degC, 5 K apart.
#[must_use]
pub fn metal(substrate: Substrate, leads: Leads) -> Metal {
    Metal::tabulated((0.0, 5.0), 261, |celsius| {
        let at = Temperature::from_celsius(celsius);
        let capacity = density(substrate) * specific_heat(substrate, at);
        (conductivity(substrate, leads, at), capacity)
    })
}

/// Thermal elongation since 20 degC, relative. Below 20 degC that of 20 degC, above 1200 degC
/// that of 1200 degC: the standard gives no more.
#[must_use]
pub fn elongation(substrate: Substrate, temperature: Temperature) -> f64 {
    let t = temperature.celsius().clamp(20.0, 1200.0);
    match substrate {
        Substrate::PlainSteel | Substrate::AirHardeningSteel => {
            if t < 750.0 {
                1.2e-5 * t + 0.4e-8 * t * t - 2.416e-4
            } else if t <= 860.0 {
                1.1e-2
            } else {
                2e-5 * t - 6.2e-3
            }
        }
        Substrate::StainlessSteel => (16.0 + 4.79e-3 * t - 1.243e-6 * t * t) * (t - 20.0) * 1e-6,
        Substrate::CastIron => 10.5e-6 * (t - 20.0),
    }
}

/// Specific heat, J/(kg K).
#[must_use]
pub fn specific_heat(substrate: Substrate, temperature: Temperature) -> f64 {
    let t = temperature.celsius().clamp(20.0, 1200.0);
    match substrate {
        Substrate::StainlessSteel => 450.0 + 0.280 * t - 2.91e-4 * t * t + 1.34e-7 * t * t * t,
        Substrate::PlainSteel | Substrate::AirHardeningSteel | Substrate::CastIron => {
            if t < 600.0 {
                425.0 + 0.773 * t - 1.69e-3 * t * t + 2.22e-6 * t * t * t
            } else if t < 735.0 {
                666.0 + 13002.0 / (738.0 - t)
            } else if t < 900.0 {
                545.0 + 17820.0 / (t - 731.0)
            } else {
                650.0
            }
        }
    }
}

/// Where a place of the part lies when the whole part is hot from the chuck face on: the worst
/// case, since a part heated over its zone alone grows less.
#[must_use]
pub fn grown(cold: Length, substrate: Substrate, temperature: Temperature) -> Length {
    cold * (1.0 + elongation(substrate, temperature))
}

/// The same backwards: what a length of the whole hot part is when the part is cold.
#[must_use]
pub fn cooled(hot: Length, substrate: Substrate, temperature: Temperature) -> Length {
    hot / (1.0 + elongation(substrate, temperature))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn celsius(value: f64) -> Temperature {
        Temperature::from_celsius(value)
    }

    /// EN 1993-1-2, 3.4.1.1 and 3.4.1.2, evaluated at the temperatures of the trade.
    #[test]
    fn carbon_steel_follows_the_standard() {
        for (t, strain, heat) in [
            (20.0, 0.0, 439.80),
            (100.0, 0.9984e-3, 487.62),
            (250.0, 3.0084e-3, 547.31),
            (300.0, 3.7184e-3, 564.74),
            (500.0, 6.7584e-3, 666.50),
            (700.0, 10.1184e-3, 1008.16),
            (900.0, 11.8e-3, 650.0),
            (1050.0, 14.8e-3, 650.0),
        ] {
            let found = elongation(Substrate::PlainSteel, celsius(t));
            assert!((found - strain).abs() < 1e-9, "{t}: {found}");
            let found = specific_heat(Substrate::PlainSteel, celsius(t));
            assert!((found - heat).abs() < 0.005, "{t}: {found}");
        }
    }

    /// EN 1993-1-2, 3.4.1.3 and annex C.2, evaluated at the temperatures of the trade.
    #[test]
    fn conductivity_follows_the_standard_and_stainless_steel_leads_heat_worst() {
        for (t, carbon) in [(20.0, 53.33), (250.0, 45.68), (500.0, 37.35), (900.0, 27.3)] {
            let found = conductivity(Substrate::PlainSteel, Leads::Usually, celsius(t));
            assert!((found - carbon).abs() < 0.01, "{t}: {found}");
        }
        let stainless = conductivity(Substrate::StainlessSteel, Leads::Usually, celsius(400.0));
        assert!((stainless - 19.68).abs() < 1e-9, "{stainless}");
        let heat = specific_heat(Substrate::StainlessSteel, celsius(400.0));
        assert!((heat - 524.02).abs() < 0.01, "{heat}");
        for other in [Substrate::PlainSteel, Substrate::AirHardeningSteel, Substrate::CastIron] {
            let [usual, worst] = [Leads::Usually, Leads::Worst]
                .map(|leads| conductivity(other, leads, celsius(400.0)));
            assert!(usual >= worst && worst > stainless, "{other:?}: {usual}, {worst}");
        }
    }

    /// EN 1993-1-2, 3.4.1.1, from the chuck face.
    #[test]
    fn edges_move_away_from_the_chuck_as_the_part_gets_hot() {
        for (t, low, high) in
            [(250.0, 100.3008, 220.6618), (300.0, 100.3718, 220.8180), (1050.0, 101.480, 223.256)]
        {
            let at = |z| grown(Length::from_mm(z), Substrate::PlainSteel, celsius(t)).mm();
            assert!((at(100.0) - low).abs() < 6e-5, "{t}: {}", at(100.0));
            assert!((at(220.0) - high).abs() < 6e-5, "{t}: {}", at(220.0));
        }
    }
}
