//! The carriage's pulses in a millimetre.

use super::{Calibrated, PROVE_AGAIN, START_ANEW, number, refuse};
use crate::document::{FieldValue, Problem};
use crate::quantity::{Length, fixed};
use crate::rig::{AxisSpec, PULSES_PER_MM};

/// Shortest distance it is measured over: a rule is read to some 0.2 mm, which is 0.2 % of it
/// (common practice, no source).
const SHORTEST: Length = Length::from_mm(100.0);
/// Further off than this the figure is another screw or another setting of the drive, and no
/// calibration (arbitrary).
const FURTHEST_OFF: f64 = 0.05;
/// A difference of so many standard deviations of the reading counts.
const COUNTS_FROM: f64 = 2.0;

/// A distance driven and measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleMeasured {
    /// Difference of the two positions shown.
    pub commanded: Length,
    /// Distance of the two places by a rule.
    pub measured: Length,
    /// How far that is usually read off, one standard deviation.
    pub reading: Length,
}

/// Pulses in a millimetre: the present ones times commanded over measured.
///
/// # Errors
/// A distance too short to tell or not on this machine, and a result that is no calibration.
pub fn axis_scale(axis: &AxisSpec, measured: &ScaleMeasured) -> Result<Calibrated, Box<Problem>> {
    let longest = axis.travel.high - axis.travel.low;
    let ScaleMeasured { commanded, measured: found, reading } = *measured;
    let far_enough = |distance: Length| distance >= SHORTEST && distance <= longest;
    if !far_enough(commanded) {
        return refuse(
            Problem::error("commanded", format!("{commanded} between the two places"))
                .accepted(format!("{SHORTEST} to {longest}, the travel of this rig"))
                .help("choose two places as far apart as the travel allows"),
        );
    }
    if !(reading > Length::ZERO && reading <= SHORTEST / 20.0) {
        return refuse(
            Problem::error("reading", format!("a rule that is read off by {reading}"))
                .accepted(format!("more than 0 mm, up to {}", SHORTEST / 20.0))
                .help("0.2 mm is usual for a steel rule read by eye"),
        );
    }
    let factor = commanded / found;
    if !(factor.is_finite() && (factor - 1.0).abs() <= FURTHEST_OFF) {
        let problem =
            Problem::error("measured", format!("{found} measured where {commanded} were driven"))
                .accepted(format!(
                    "{:.1} to {:.1}: within {:.0} % of it",
                    commanded / (1.0 + FURTHEST_OFF),
                    commanded / (1.0 - FURTHEST_OFF),
                    FURTHEST_OFF * 100.0
                ));
        return refuse(problem.help(further_off(factor)));
    }
    let pulses = axis.pulses_per_mm * factor;
    if !PULSES_PER_MM.hold(&pulses) {
        let found = format!("{} pulses in a millimetre", number(pulses, 4));
        return refuse(
            Problem::error("measured", found)
                .accepted(format!("{} to {}", PULSES_PER_MM.low, PULSES_PER_MM.high))
                .help("measure again"),
        );
    }
    let off = (factor - 1.0).abs();
    let known = reading / found;
    let said = format!(
        "{commanded} driven, {found} measured: {} {} %",
        if factor > 1.0 {
            "the carriage goes too short by"
        } else {
            "the carriage goes too far by"
        },
        fixed(off * 100.0, 3)
    );
    if off <= COUNTS_FROM * known {
        return Ok(Calibrated {
            procedure: "axis_scale",
            found: format!("{said}, no more than a rule read off by {reading} makes"),
            writes: Vec::new(),
            notes: vec!["the scale stays as it is; measure over a longer way to know it better"],
        });
    }
    Ok(Calibrated {
        procedure: "axis_scale",
        found: format!(
            "{said}; {} pulses in a millimetre instead of {}",
            number(pulses, 4),
            number(axis.pulses_per_mm, 4)
        ),
        writes: vec![("axis.pulses_per_mm".to_owned(), FieldValue::Plain(number(pulses, 4)))],
        notes: vec![
            START_ANEW,
            "home the carriage, and take the park, the datum and every taught part again: their \
             places were measured by the old scale",
            PROVE_AGAIN,
        ],
    })
}

/// What it may be when it is no calibration.
fn further_off(factor: f64) -> &'static str {
    let near = |whole: f64| (factor / whole - 1.0).abs() <= FURTHEST_OFF;
    if near(25.4) || near(1.0 / 25.4) {
        "one of the two is in inches and the other in millimetres"
    } else if [2.0, 4.0, 5.0, 8.0, 10.0].iter().any(|ratio| near(*ratio) || near(1.0 / ratio)) {
        "the drive counts other steps than the file says: look at its steps a turn and the screw's \
         lead, and write what they give"
    } else {
        "measure again; if it is so, look at the screw's lead and the drive's setting"
    }
}
