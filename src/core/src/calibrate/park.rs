//! The park, taken at the machine.

use super::{Calibrated, PROVE_AGAIN, START_ANEW, refuse};
use crate::document::{FieldValue, Problem};
use crate::quantity::Length;
use crate::request::Direction;
use crate::rig::AxisSpec;

/// The park where the torch is now. Whether a part is clear of it is for each recipe to check.
///
/// # Errors
/// A place outside the travel.
pub fn park(
    axis: &AxisSpec,
    at: Length,
    approached: Option<Direction>,
) -> Result<Calibrated, Box<Problem>> {
    if !axis.travel.contains(at) {
        return refuse(
            Problem::error("at", format!("the park at {at} is outside the travel"))
                .accepted(format!("{} to {}", axis.travel.low, axis.travel.high))
                .help("jog to a place inside it, or correct the travel"),
        );
    }
    let mut notes = Vec::new();
    if approached == Some(Direction::TowardChuck) && axis.backlash > Length::ZERO {
        notes.push("it was taken moving toward the chuck and may be off by the lost motion");
    }
    let found = format!("the park at {at}, {} in the file", axis.park);
    let agrees = (at - axis.park).abs() <= axis.park_tolerance;
    let writes = if agrees {
        Vec::new()
    } else {
        notes.push(START_ANEW);
        notes.push(
            "every recipe is checked against it when it is planned: look at the longest part",
        );
        notes.push(PROVE_AGAIN);
        vec![("axis.park".to_owned(), FieldValue::Text(at.to_string()))]
    };
    Ok(Calibrated { procedure: "park", found, writes, notes })
}
