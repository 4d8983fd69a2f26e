//! The matrix's figures as a rig tightens them.

use core::fmt;
use core::time::Duration;

use super::matrix::{ROWS, Row, Tighter, row};
use crate::quantity::Time;
use crate::rig::InterlockFigures;

/// The figures of one row in force on this rig.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Figure {
    /// Set-point in the row's unit; zero for a row without one.
    pub(super) set_point: f64,
    /// Delay before it counts.
    pub(super) delay: Duration,
    /// Instrument tag printed with the cause.
    pub(super) tag: Option<String>,
}

/// What is wrong with an interlock's figure in a rig file.
#[derive(Debug, Clone, PartialEq)]
pub enum FigureProblem {
    /// No row has that key.
    UnknownKey {
        /// The key found.
        key: String,
        /// The most similar key that exists.
        nearest: &'static str,
    },
    /// The key stands in the file more than once.
    Twice {
        /// The row's key.
        key: &'static str,
    },
    /// The row compares with nothing, so it has no set-point.
    NoSetPoint {
        /// The row's key.
        key: &'static str,
    },
    /// The figure is not a number, or a negative time.
    NoFigure {
        /// The row's key.
        key: &'static str,
        /// The figure's name in the file.
        figure: &'static str,
        /// What was found.
        found: f64,
    },
    /// The set-point is looser than the matrix's.
    LooserSetPoint {
        /// The row's key.
        key: &'static str,
        /// What was found.
        found: f64,
        /// The matrix's figure.
        limit: f64,
        /// Their unit.
        unit: &'static str,
        /// Which way is stricter.
        tighter: Tighter,
    },
    /// The delay is longer than the matrix's.
    LongerDelay {
        /// The row's key.
        key: &'static str,
        /// What was found.
        found: Time,
        /// The matrix's delay.
        limit: Time,
    },
}

impl fmt::Display for FigureProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownKey { key, nearest } => {
                write!(f, "no interlock is called \"{key}\"; did you mean \"{nearest}\"?")
            }
            Self::Twice { key } => {
                write!(f, "interlock \"{key}\" stands in the rig file twice: keep one of the two")
            }
            Self::NoSetPoint { key } => write!(
                f,
                "interlock \"{key}\" compares with nothing, so it takes no set-point: remove it"
            ),
            Self::NoFigure { key, figure, found } => write!(
                f,
                "interlock \"{key}\": {figure} is {found}, which is no usable figure: write a \
                 finite one that is not negative for a time"
            ),
            Self::LooserSetPoint { key, found, limit, unit, tighter } => {
                let side = match tighter {
                    Tighter::Higher => "or more",
                    Tighter::Lower => "or less",
                };
                write!(
                    f,
                    "interlock \"{key}\": set-point {found} {unit} is looser than the matrix's \
                     {limit} {unit}; a rig may only tighten it: write {limit} {unit} {side}, or \
                     leave it out"
                )
            }
            Self::LongerDelay { key, found, limit } => write!(
                f,
                "interlock \"{key}\": delay {found} is longer than the matrix's {limit}; a rig \
                 may only tighten it: write {limit} or less, or leave it out"
            ),
        }
    }
}

impl core::error::Error for FigureProblem {}

/// The figures of every row, in the matrix's order.
pub(super) fn figures(tightened: &[InterlockFigures]) -> Result<Vec<Figure>, FigureProblem> {
    for (place, given) in tightened.iter().enumerate() {
        let Some(known) = row(&given.key) else {
            return Err(FigureProblem::UnknownKey {
                key: given.key.clone(),
                nearest: nearest(&given.key),
            });
        };
        if tightened.iter().skip(place + 1).any(|later| later.key == given.key) {
            return Err(FigureProblem::Twice { key: known.key });
        }
    }
    ROWS.iter()
        .map(|row| figure(row, tightened.iter().find(|given| given.key == row.key)))
        .collect()
}

fn figure(row: &Row, given: Option<&InterlockFigures>) -> Result<Figure, FigureProblem> {
    let mut figure = Figure {
        set_point: row.set_point.map_or(0.0, |set_point| set_point.value),
        delay: row.delay,
        tag: None,
    };
    let Some(given) = given else { return Ok(figure) };
    figure.tag.clone_from(&given.tag);
    if let Some(found) = given.set_point {
        let Some(own) = row.set_point else {
            return Err(FigureProblem::NoSetPoint { key: row.key });
        };
        if !found.is_finite() {
            return Err(FigureProblem::NoFigure { key: row.key, figure: "set-point", found });
        }
        let looser = match own.tighter {
            Tighter::Higher => found < own.value,
            Tighter::Lower => found > own.value,
        };
        if looser {
            return Err(FigureProblem::LooserSetPoint {
                key: row.key,
                found,
                limit: own.value,
                unit: own.unit,
                tighter: own.tighter,
            });
        }
        figure.set_point = found;
    }
    if let Some(found) = given.delay {
        if !found.s().is_finite() || found.s() < 0.0 {
            return Err(FigureProblem::NoFigure {
                key: row.key,
                figure: "delay",
                found: found.s(),
            });
        }
        if found.to_duration() > row.delay {
            let limit = Time::from_duration(row.delay);
            return Err(FigureProblem::LongerDelay { key: row.key, found, limit });
        }
        figure.delay = found.to_duration();
    }
    Ok(figure)
}

/// The key most like the one found.
fn nearest(key: &str) -> &'static str {
    ROWS.iter()
        .map(|row| row.key)
        .max_by(|a, b| strsim::jaro_winkler(a, key).total_cmp(&strsim::jaro_winkler(b, key)))
        .unwrap_or("")
}
