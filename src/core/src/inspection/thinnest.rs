//! The thinnest coat that a hardness can be read on: below it the part underneath is read as well.

use core::f64::consts::PI;

use super::conversion::convert;
use crate::quantity::{Hardness, Length, Scale};

/// Newtons in a kilogram-force (standard gravity).
const NEWTONS: f64 = 9.806_65;
/// `HV = 0.1891 F / d^2`, F in N and d in mm (ISO 6507-1).
const VICKERS: f64 = 0.1891;
/// A coat is at least so many diagonals thick (ISO 6507-1).
const DIAGONALS: f64 = 1.5;
/// A coat is at least so many times as thick as the cone goes in (ISO 6508-1).
const CONE_DEPTHS: f64 = 10.0;
/// A coat is at least so many times as thick as the ball goes in (ISO 6506-1).
const BALL_DEPTHS: f64 = 8.0;
/// What a point of the Rockwell scales is, mm (ISO 6508-1): HRC = 100 - depth / 0.002 mm.
const ROCKWELL_POINT: f64 = 0.002;
/// The same of the superficial ones.
const SUPERFICIAL_POINT: f64 = 0.001;

/// Scales that are tried where another needs more coat, the heaviest first: what rests on more
/// of the coat scatters less.
const INSTEAD: [Scale; 8] = [
    Scale::RockwellC,
    Scale::Vickers(30.0),
    Scale::Rockwell30N,
    Scale::Vickers(10.0),
    Scale::Rockwell15N,
    Scale::Vickers(5.0),
    Scale::Vickers(1.0),
    Scale::Vickers(0.3),
];

/// A coat is too thin for what was read on it.
#[derive(Debug, Clone, PartialEq)]
pub struct TooThin {
    /// The reading.
    pub read: Hardness,
    /// The coat.
    pub coat: Length,
    /// The thinnest that this reading can be of.
    pub needs: Length,
    /// Scales that the coat is thick enough for, the heaviest first.
    pub instead: Vec<Scale>,
}

impl core::fmt::Display for TooThin {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(
            f,
            "{} needs a coat of {:.2} at the least ({}), and there are {:.2}: the part under it \
             was read as well",
            self.read,
            self.needs,
            rule(self.read.scale()),
            self.coat
        )
    }
}

/// The rule in words.
const fn rule(scale: Scale) -> &'static str {
    match scale {
        Scale::Vickers(_) => "1.5 diagonals, ISO 6507-1",
        Scale::Brinell { .. } => "8 depths, ISO 6506-1",
        Scale::RockwellC | Scale::RockwellA | Scale::Rockwell15N | Scale::Rockwell30N => {
            "10 depths, ISO 6508-1"
        }
    }
}

/// The thinnest coat that this can be read on.
#[must_use]
pub fn thinnest_coat(read: Hardness) -> Length {
    let value = read.value();
    Length::from_mm(match read.scale() {
        Scale::Vickers(force) => DIAGONALS * (VICKERS * force * NEWTONS / value).sqrt(),
        // The depth of a ball's mark: force over pi, ball and number, by the definition of HBW.
        Scale::Brinell { ball, force } => BALL_DEPTHS * force / (PI * ball * value),
        Scale::RockwellC | Scale::RockwellA => CONE_DEPTHS * (100.0 - value) * ROCKWELL_POINT,
        Scale::Rockwell15N | Scale::Rockwell30N => {
            CONE_DEPTHS * (100.0 - value) * SUPERFICIAL_POINT
        }
    })
}

/// Whether a coat is thick enough for what was read on it.
///
/// # Errors
/// [`TooThin`] says what it needs, and which scales would do.
pub fn suits(read: Hardness, coat: Length) -> Result<(), TooThin> {
    let needs = thinnest_coat(read);
    if coat >= needs {
        return Ok(());
    }
    let would_do = |scale: &Scale| {
        convert(read, *scale).is_some_and(|about| thinnest_coat(about.about) <= coat)
    };
    let instead = INSTEAD.into_iter().filter(would_do).collect();
    Err(TooThin { read, coat, needs, instead })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Hardness {
        Hardness::parse(text).expect("a hardness")
    }

    fn mm(value: f64) -> Length {
        Length::from_mm(value)
    }

    /// ISO 6508-1: 55 HRC go in 45 x 0.002 = 0.09 mm, ten times that is 0.9 mm. ISO 6507-1: HV30
    /// with a diagonal of 0.300 mm is 618.1, and 1.5 times 0.3 is 0.45 mm. ISO 6506-1: 560 HBW
    /// with 187.5 kgf on 2.5 mm go in 187.5 / (pi 2.5 560) = 0.0426 mm. Worked out here.
    #[test]
    fn each_scale_needs_the_coat_of_its_standard() {
        for (text, needs) in [
            ("55 HRC", 0.9),
            ("618.1 HV30", 0.45),
            ("88 HR15N", 0.12),
            ("560 HBW2.5/187.5", 0.341),
            ("80 HRA", 0.4),
        ] {
            let found = thinnest_coat(read(text)).mm();
            assert!((found - needs).abs() < 1e-3, "{text}: {found}");
        }
    }

    #[test]
    fn a_coat_of_a_third_of_a_millimetre_takes_no_hrc_and_is_told_what_it_takes() {
        assert!(suits(read("55 HRC"), mm(0.9)).is_ok());
        let thin = suits(read("55 HRC"), mm(0.35)).expect_err("too thin");
        assert_eq!(thin.needs.mm().to_bits(), thinnest_coat(read("55 HRC")).mm().to_bits());
        let instead: Vec<String> = thin.instead.iter().map(Scale::to_string).collect();
        // 10 x 27 x 0.001 = 0.27 mm of 73.0 HR30N; 1.5 diagonals of 595 HV10 are 0.265 mm.
        assert_eq!(instead, ["HR30N", "HV10", "HR15N", "HV5", "HV1", "HV0.3"]);
        let told = thin.to_string();
        assert!(told.contains("0.90 mm at the least (10 depths, ISO 6508-1)"), "{told}");
    }
}
