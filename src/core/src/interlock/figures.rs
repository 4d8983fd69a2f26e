//! The matrix's figures as a rig tightens them.

use core::fmt;
use core::time::Duration;

use super::matrix::{ROWS, Row, Tighter, row};
use super::sense::strictest;
use crate::document::{self, Problem, Problems};
use crate::quantity::{Measure, Time};
use crate::rig::{InterlockFigures, Rig};

/// The figures of one row in force on this rig.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Figure {
    /// Set-point in the row's unit; zero for a row without one.
    pub(super) set_point: f64,
    /// Delay before it counts.
    pub(super) delay: Duration,
    /// How long all must be in order before it counts as gone.
    pub(super) delay_off: Duration,
    /// Instrument tag printed with the cause.
    pub(super) tag: Option<String>,
}

/// A figure of an interlock that a rig file may give.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// The set-point.
    SetPoint,
    /// The delay before it counts.
    Delay,
    /// The delay before it counts as gone.
    DelayOff,
}

impl Field {
    /// Its key in the file.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::SetPoint => "set_point",
            Self::Delay => "delay",
            Self::DelayOff => "delay_off",
        }
    }
}

/// What is wrong with an interlock's figure in a rig file.
#[derive(Debug, Clone, PartialEq)]
pub enum FigureProblem {
    /// No row has that key.
    UnknownKey {
        /// The key found.
        key: String,
        /// The key that was probably meant, if any is like it.
        nearest: Option<&'static str>,
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
        /// Which figure.
        figure: Field,
        /// What was found.
        found: f64,
    },
    /// The set-point is in a unit of another dimension.
    WrongUnit {
        /// The row's key.
        key: &'static str,
        /// What was found.
        found: Measure,
        /// The row's unit.
        unit: &'static str,
    },
    /// The set-point is so strict that a healthy machine could not run with it.
    BeyondSense {
        /// The row's key.
        key: &'static str,
        /// What was found.
        found: f64,
        /// The strictest figure that makes sense.
        strictest: f64,
        /// The matrix's figure.
        limit: f64,
        /// Their unit.
        unit: &'static str,
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
    /// The delay before it counts as gone is shorter than the matrix's.
    ShorterDelayOff {
        /// The row's key.
        key: &'static str,
        /// What was found.
        found: Time,
        /// The matrix's delay.
        limit: Time,
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

/// One line, by its path in the rig file.
impl fmt::Display for FigureProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.to_problem().fmt(f)
    }
}

impl core::error::Error for FigureProblem {}

impl FigureProblem {
    /// The same as any other problem of the rig file, by its path.
    #[must_use]
    pub fn to_problem(&self) -> Problem {
        let error = |key: &str, field: Option<Field>, found: String| {
            let field = field.map_or_else(String::new, |field| format!(".{}", field.key()));
            Problem::error(format!("interlock.{key}{field}"), found)
        };
        let only_tighter = "a rig may only tighten an interlock";
        match self {
            Self::UnknownKey { key, nearest } => {
                error(key, None, "no interlock is called that".to_owned())
                    .accepted("the key of a row of the interlocks")
                    .help(nearest.map_or_else(
                        || "`evenpass rig matrix --keys` lists them".to_owned(),
                        |nearest| format!("did you mean `{nearest}`?"),
                    ))
            }
            Self::Twice { key } => {
                error(key, None, "it is given twice".to_owned()).help("keep one of the two")
            }
            Self::NoSetPoint { key } => {
                error(key, Some(Field::SetPoint), "it compares with nothing".to_owned())
                    .help("remove the set-point: this interlock takes none")
            }
            Self::NoFigure { key, figure, found } => {
                error(key, Some(*figure), format!("{found} is no usable figure"))
                    .accepted("a finite number; a time that is not negative")
            }
            Self::WrongUnit { key, found, unit } => error(
                key,
                Some(Field::SetPoint),
                format!("{found} is no figure in {unit}, which this interlock compares"),
            )
            .accepted(format!("a number and a unit ({})", Measure::units_like(unit)))
            .help("`evenpass rig matrix --keys` shows every figure with its unit"),
            Self::BeyondSense { key, found, strictest, limit, unit } => error(
                key,
                Some(Field::SetPoint),
                format!("{found} {unit} would stop a machine on which all is well"),
            )
            .accepted(format!(
                "{} {unit} to {} {unit}",
                strictest.min(*limit),
                strictest.max(*limit)
            ))
            .help("see that the unit and the decimal point are what was meant"),
            Self::LooserSetPoint { key, found, limit, unit, tighter } => error(
                key,
                Some(Field::SetPoint),
                format!("{found} {unit} is looser than the program's {limit} {unit}"),
            )
            .accepted(format!("{limit} {unit} {}: {only_tighter}", tighter.side()))
            .help("tighten it, or leave it out"),
            Self::ShorterDelayOff { key, found, limit } => error(
                key,
                Some(Field::DelayOff),
                format!("{found} is shorter than the program's {limit}"),
            )
            .accepted(format!("{limit} or more: {only_tighter}"))
            .help("lengthen it, or leave it out"),
            Self::LongerDelay { key, found, limit } => error(
                key,
                Some(Field::Delay),
                format!("{found} is longer than the program's {limit}"),
            )
            .accepted(format!("{limit} or less: {only_tighter}"))
            .help("shorten it, or leave it out"),
        }
    }
}

/// All that is wrong with the figures of interlocks in a rig.
#[must_use]
pub fn check_figures(rig: &Rig) -> Problems {
    let given = &rig.interlocks;
    let mut problems: Vec<FigureProblem> = keys(given).collect();
    for figures in given {
        if let Some(row) = row(&figures.key) {
            problems.extend(set_point(row, Some(figures)).err());
            problems.extend(delay(row, Some(figures)).err());
            problems.extend(delay_off(row, Some(figures)).err());
        }
    }
    problems.iter().map(FigureProblem::to_problem).collect()
}

/// The figures of every row, in the matrix's order.
pub(super) fn figures(tightened: &[InterlockFigures]) -> Result<Vec<Figure>, FigureProblem> {
    if let Some(problem) = keys(tightened).next() {
        return Err(problem);
    }
    ROWS.iter()
        .map(|row| {
            let given = tightened.iter().find(|given| given.key == row.key);
            Ok(Figure {
                set_point: set_point(row, given)?,
                delay: delay(row, given)?,
                delay_off: delay_off(row, given)?,
                tag: given.and_then(|given| given.tag.clone()),
            })
        })
        .collect()
}

/// Keys that no row has, and keys that stand twice.
fn keys(given: &[InterlockFigures]) -> impl Iterator<Item = FigureProblem> {
    given.iter().enumerate().filter_map(|(place, figures)| {
        let key = &figures.key;
        let Some(known) = row(key) else {
            return Some(FigureProblem::UnknownKey { key: key.clone(), nearest: nearest(key) });
        };
        let again = given.iter().skip(place + 1).any(|later| later.key == *key);
        again.then_some(FigureProblem::Twice { key: known.key })
    })
}

/// The row's set-point in force; zero for a row without one.
fn set_point(row: &Row, given: Option<&InterlockFigures>) -> Result<f64, FigureProblem> {
    match (row.set_point, given.and_then(|given| given.set_point)) {
        (None, None) => Ok(0.0),
        (Some(own), None) => Ok(own.value),
        (None, Some(_)) => Err(FigureProblem::NoSetPoint { key: row.key }),
        (Some(own), Some(found)) if found.unit != own.unit => {
            Err(FigureProblem::WrongUnit { key: row.key, found, unit: own.unit })
        }
        (Some(_), Some(Measure { value: found, .. })) if !found.is_finite() => {
            Err(FigureProblem::NoFigure { key: row.key, figure: Field::SetPoint, found })
        }
        (Some(own), Some(Measure { value: found, .. })) => {
            let strictest = strictest(row, own);
            let beyond = match own.tighter {
                Tighter::Higher => found > strictest,
                Tighter::Lower => found < strictest,
            };
            if beyond {
                return Err(FigureProblem::BeyondSense {
                    key: row.key,
                    found,
                    strictest,
                    limit: own.value,
                    unit: own.unit,
                });
            }
            let looser = match own.tighter {
                Tighter::Higher => found < own.value,
                Tighter::Lower => found > own.value,
            };
            if !looser {
                return Ok(found);
            }
            Err(FigureProblem::LooserSetPoint {
                key: row.key,
                found,
                limit: own.value,
                unit: own.unit,
                tighter: own.tighter,
            })
        }
    }
}

/// Refuses what is no time.
fn checked(row: &Row, figure: Field, found: Time) -> Result<Time, FigureProblem> {
    if found.s().is_finite() && found.s() >= 0.0 {
        return Ok(found);
    }
    Err(FigureProblem::NoFigure { key: row.key, figure, found: found.s() })
}

/// The row's delay before gone in force. Shorter would reset, or restart, on a flicker.
fn delay_off(row: &Row, given: Option<&InterlockFigures>) -> Result<Duration, FigureProblem> {
    let Some(found) = given.and_then(|given| given.delay_off) else { return Ok(row.delay_off) };
    let found = checked(row, Field::DelayOff, found)?;
    if found.to_duration() < row.delay_off {
        let limit = Time::from_duration(row.delay_off);
        return Err(FigureProblem::ShorterDelayOff { key: row.key, found, limit });
    }
    Ok(found.to_duration())
}

/// The row's delay in force.
fn delay(row: &Row, given: Option<&InterlockFigures>) -> Result<Duration, FigureProblem> {
    let Some(found) = given.and_then(|given| given.delay) else { return Ok(row.delay) };
    let found = checked(row, Field::Delay, found)?;
    if found.to_duration() > row.delay {
        let limit = Time::from_duration(row.delay);
        return Err(FigureProblem::LongerDelay { key: row.key, found, limit });
    }
    Ok(found.to_duration())
}

/// The key that was probably meant, if any is like the one found.
fn nearest(key: &str) -> Option<&'static str> {
    let keys: Vec<&'static str> = ROWS.iter().map(|row| row.key).collect();
    document::nearest(key, &keys)
}
