//! From one scale of hardness to another, by a table that was measured on steel.

use serde::Serialize;

use crate::quantity::{Hardness, Scale};

/// Where the table comes from, and what it is of: a coat of a nickel alloy is no steel, so that
/// every figure is approximate.
pub const CONVERSION_SOURCE: &str =
    "approximate, ASTM E140 table 1, of non-austenitic steels and no coat";

/// Figures of the table that are no reading: Brinell above 650 stands in brackets there.
const NONE: f64 = f64::NAN;

/// ASTM E140, table 1, from 68 to 30 HRC, as printed in published charts (and in ASTM A370-03a from
/// 60 to 39 HRC): Rockwell C, Vickers, Brinell with 3000 kgf on 10 mm, Rockwell A, superficial 15N
/// and 30N.
#[rustfmt::skip]
const TABLE: [[f64; 6]; 39] = [
    // HRC     HV    HBW   HRA   15N   30N
    [68.0, 940.0,  NONE, 85.6, 93.2, 84.4],
    [67.0, 900.0,  NONE, 85.0, 92.9, 83.6],
    [66.0, 865.0,  NONE, 84.5, 92.5, 82.8],
    [65.0, 832.0,  NONE, 83.9, 92.2, 81.9],
    [64.0, 800.0,  NONE, 83.4, 91.8, 81.1],
    [63.0, 772.0,  NONE, 82.8, 91.4, 80.1],
    [62.0, 745.0,  NONE, 82.3, 91.1, 79.3],
    [61.0, 720.0,  NONE, 81.8, 90.7, 78.4],
    [60.0, 697.0,  NONE, 81.2, 90.2, 77.5],
    [59.0, 674.0, 634.0, 80.7, 89.8, 76.6],
    [58.0, 653.0, 615.0, 80.1, 89.3, 75.7],
    [57.0, 633.0, 595.0, 79.6, 88.9, 74.8],
    [56.0, 613.0, 577.0, 79.0, 88.3, 73.9],
    [55.0, 595.0, 560.0, 78.5, 87.9, 73.0],
    [54.0, 577.0, 543.0, 78.0, 87.4, 72.0],
    [53.0, 560.0, 525.0, 77.4, 86.9, 71.2],
    [52.0, 544.0, 512.0, 76.8, 86.4, 70.2],
    [51.0, 528.0, 496.0, 76.3, 85.9, 69.4],
    [50.0, 513.0, 481.0, 75.9, 85.5, 68.5],
    [49.0, 498.0, 469.0, 75.2, 85.0, 67.6],
    [48.0, 484.0, 455.0, 74.7, 84.5, 66.7],
    [47.0, 471.0, 443.0, 74.1, 83.9, 65.8],
    [46.0, 458.0, 432.0, 73.6, 83.5, 64.8],
    [45.0, 446.0, 421.0, 73.1, 83.0, 64.0],
    [44.0, 434.0, 409.0, 72.5, 82.5, 63.1],
    [43.0, 423.0, 400.0, 72.0, 82.0, 62.2],
    [42.0, 412.0, 390.0, 71.5, 81.5, 61.3],
    [41.0, 402.0, 381.0, 70.9, 80.9, 60.4],
    [40.0, 392.0, 371.0, 70.4, 80.4, 59.5],
    [39.0, 382.0, 362.0, 69.9, 79.9, 58.6],
    [38.0, 372.0, 353.0, 69.4, 79.4, 57.7],
    [37.0, 363.0, 344.0, 68.9, 78.8, 56.8],
    [36.0, 354.0, 336.0, 68.4, 78.3, 55.9],
    [35.0, 345.0, 327.0, 67.9, 77.7, 55.0],
    [34.0, 336.0, 319.0, 67.4, 77.2, 54.2],
    [33.0, 327.0, 311.0, 66.8, 76.6, 53.3],
    [32.0, 318.0, 301.0, 66.3, 76.1, 52.1],
    [31.0, 310.0, 294.0, 65.8, 75.6, 51.3],
    [30.0, 302.0, 286.0, 65.3, 75.0, 50.4],
];

/// A hardness that nobody read: worked out from a reading on another scale.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Converted {
    /// What was read.
    pub from: Hardness,
    /// About what that is.
    pub about: Hardness,
}

impl core::fmt::Display for Converted {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        if column(self.from.scale()) == column(self.about.scale()) {
            return write!(f, "taken as {}: another force, no table", self.about);
        }
        // No more digits than a conversion can have, unless it would seem to lie elsewhere.
        let places = f.precision().unwrap_or(0);
        write!(f, "about {:.places$} ({CONVERSION_SOURCE})", self.about)
    }
}

/// The column of a scale. The force of a Vickers or Brinell reading says nothing in the table.
const fn column(scale: Scale) -> usize {
    match scale {
        Scale::RockwellC => 0,
        Scale::Vickers(_) => 1,
        Scale::Brinell { .. } => 2,
        Scale::RockwellA => 3,
        Scale::Rockwell15N => 4,
        Scale::Rockwell30N => 5,
    }
}

/// About what a reading is on another scale; `None` outside the table, where nobody knows.
#[must_use]
pub fn convert(from: Hardness, to: Scale) -> Option<Converted> {
    let (here, there) = (column(from.scale()), column(to));
    let about = if here == there {
        from.value()
    } else {
        TABLE.windows(2).find_map(|pair| {
            let [above, below] = pair else { return None };
            let (high, low) = (above.get(here)?, below.get(here)?);
            let inside = *low <= from.value() && from.value() <= *high;
            let share = (from.value() - low) / (high - low);
            let value = below.get(there)? + (above.get(there)? - below.get(there)?) * share;
            (inside && value.is_finite()).then_some(value)
        })?
    };
    Some(Converted { from, about: Hardness::new(about, to)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn converted(text: &str, to: &str) -> Option<f64> {
        let scale = format!("{} {to}", 80.0);
        let scale = Hardness::parse(&scale).or_else(|_| Hardness::parse(&format!("60 {to}")));
        let scale = scale.expect("a scale").scale();
        convert(Hardness::parse(text).expect("a hardness"), scale).map(|it| it.about.value())
    }

    /// ASTM A370-03a, table of approximate conversion, rows 60, 55 and 39 HRC; the figure between
    /// two rows is worked out here.
    #[test]
    fn readings_are_converted_row_by_row_and_between_the_rows() {
        for (text, to, about) in [
            ("60 HRC", "HV10", 697.0),
            ("55 HRC", "HV0.5", 595.0),
            ("39 HRC", "HV10", 382.0),
            ("697 HV10", "HRC", 60.0),
            ("604 HV10", "HRC", 55.5),
            ("55 HRC", "HR15N", 87.9),
            ("560 HBW10/3000", "HRC", 55.0),
            ("78.5 HRA", "HR30N", 73.0),
        ] {
            let found = converted(text, to).expect(text);
            assert!((found - about).abs() < 1e-9, "{text} as {to}: {found}");
        }
    }

    #[test]
    fn nothing_is_converted_outside_the_table() {
        assert_eq!(converted("941 HV10", "HRC"), None);
        assert_eq!(converted("301 HV10", "HRC"), None);
        assert_eq!(converted("25 HRC", "HV10"), None);
        // Brinell ends where its balls do.
        assert_eq!(converted("60 HRC", "HBW10/3000"), None);
        assert_eq!(converted("59.5 HRC", "HBW10/3000"), None);
    }

    #[test]
    fn what_was_converted_says_so_and_of_what_the_table_is() {
        let read = Hardness::parse("604 HV0.5").expect("a hardness");
        let told = convert(read, Scale::RockwellC).expect("inside").to_string();
        assert!(told.starts_with("about 56 HRC (approximate, ASTM E140"), "{told}");
        assert!(told.contains("no coat"), "{told}");
    }

    #[test]
    fn a_reading_with_another_force_was_not_converted_by_the_table_and_does_not_say_so() {
        let read = Hardness::parse("604 HV0.5").expect("a hardness");
        let scale = Hardness::parse("600 HV10").expect("a hardness").scale();
        let told = convert(read, scale).expect("the same scale").to_string();
        assert!(told.starts_with("taken as 604 HV10") && !told.contains("E140"), "{told}");
    }

    /// A higher row is harder on every scale, or the search between rows would find none or two.
    #[test]
    fn every_column_falls_from_row_to_row() {
        for pair in TABLE.windows(2) {
            let [above, below] = pair else { panic!("pairs") };
            for (high, low) in above.iter().zip(below) {
                assert!(high > low || high.is_nan(), "{above:?} {below:?}");
            }
        }
    }
}
