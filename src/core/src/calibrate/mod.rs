//! Calibrations: what is measured at the machine with a rule, a dial gauge or a watch, and what
//! that makes of the figures in its files.
//!
//! Each has a [`Procedure`] in a technician's words and a function that takes what was measured
//! and answers a [`Calibrated`]: what was found, and the fields to be written. What cannot be is
//! refused with what can. Nothing is written here.
//!
//! The plume and the efficiency of a torch are measured by a stripe over a plate, and learned
//! ([`crate::learn`]); they are no figures of the machine and not written into a file.

mod backlash;
mod delay;
mod park;
mod procedure;
mod scale;
mod tachometer;

use serde::Serialize;

pub use backlash::{BacklashEffect, BacklashMeasured, GaugePair, backlash, backlash_effect};
pub use delay::{DelayMeasured, DelayReading, powder_delay};
pub use park::park;
pub use procedure::{Holder, Kind, PROCEDURES, Procedure, Reading, Times, procedure};
pub use scale::{ScaleMeasured, axis_scale};
pub use tachometer::{TurnsCounted, tachometer};

use crate::document::{FieldValue, Problem};
use crate::quantity::fixed;

/// What a calibration has found.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Calibrated {
    /// The procedure's key.
    pub procedure: &'static str,
    /// What was found, in a sentence.
    pub found: String,
    /// The fields to be written into the procedure's file, in the form of
    /// [`set`](crate::document::set); none when what is there agrees with what was measured.
    pub writes: Vec<(String, FieldValue)>,
    /// What the person should know, or do next.
    pub notes: Vec<&'static str>,
}

/// What was measured cannot be.
fn refuse<T>(problem: Problem) -> Result<T, Box<Problem>> {
    Err(Box::new(problem))
}

/// A number without trailing zeros.
fn number(value: f64, places: usize) -> String {
    let text = fixed(value, places);
    if text.contains('.') {
        return text.trim_end_matches('0').trim_end_matches('.').to_owned();
    }
    text
}

/// Fewest readings of what is measured more than once: with two nobody knows which one is wrong.
const FEWEST: usize = 3;

/// Mean and spread (largest less smallest) of at least [`FEWEST`] readings.
fn mean_and_spread(path: &str, readings: &[f64]) -> Result<(f64, f64), Box<Problem>> {
    if readings.len() < FEWEST {
        let found = match readings.len() {
            0 => "nothing was measured".to_owned(),
            1 => "it was measured once".to_owned(),
            count => format!("it was measured {count} times"),
        };
        return refuse(
            Problem::error(path, found)
                .accepted(format!("{FEWEST} times or more"))
                .help("measure it again: one reading may be wrong without showing it"),
        );
    }
    let (mut sum, mut count) = (0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for reading in readings {
        sum += reading;
        count += 1.0;
        low = low.min(*reading);
        high = high.max(*reading);
    }
    Ok((sum / count, high - low))
}

/// After the rig file has changed.
const START_ANEW: &str = "it takes effect when the controller is started anew with the file";
/// After a figure has changed that proof tests stand on.
const PROVE_AGAIN: &str = "proof tests that stand on this figure count no more: see which are due, \
                           and make them";

#[cfg(test)]
mod tests;
