//! Why something was not added: which field, what was found, what would be taken.

use std::fmt;

use crate::record::{Open, RecordError, RunId};
use crate::shown::{Line, NoLine};

/// What a person fills in, whatever it is called where they do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Field {
    /// Who tells it.
    Person,
    /// The day of a reading.
    Date,
    /// The serial number of the gauge.
    Gauge,
    /// Where a diameter was read.
    DiameterPlace,
    /// A diameter with its coat.
    Diameter,
    /// The diameter there before coating.
    Before,
    /// The part's temperature.
    Temperature,
    /// How well that is known.
    TemperatureWithin,
    /// How well a diameter is known.
    Micrometer,
    /// Where a hardness or a thickness was read.
    ReadingPlace,
    /// A hardness or a thickness.
    Reading,
    /// How thick the coat is where its hardness was read.
    Coat,
    /// What the coat was then.
    Stage,
    /// A run-out.
    RunOut,
    /// What a dye check showed.
    DyeResult,
    /// Where and what a dye check showed.
    Showed,
    /// What is to be seen at a hold point.
    Point,
    /// The number of a coupon.
    Coupon,
    /// What is told by name.
    Name,
    /// Words about something.
    Words,
    /// The limit that is not kept.
    Limit,
    /// What should be.
    From,
    /// What is.
    To,
    /// What becomes of the part.
    Verdict,
    /// Why.
    Reason,
    /// The number of something that was said before.
    Number,
}

/// What is wrong, with what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Why {
    /// What was found.
    pub told: String,
    /// What is accepted; empty where what was found says it already.
    pub accepted: String,
    /// What would help; empty where nothing more is to be said.
    pub help: String,
}

impl Why {
    /// What was found and what is accepted.
    #[must_use]
    pub fn new(told: impl Into<String>, accepted: impl Into<String>) -> Self {
        Self { told: told.into(), accepted: accepted.into(), help: String::new() }
    }

    /// The same with what would help.
    #[must_use]
    pub fn help(self, help: impl Into<String>) -> Self {
        Self { help: help.into(), ..self }
    }
}

/// One line each, as a terminal shows it.
impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.told)?;
        for (name, words) in [("accepted", &self.accepted), ("help", &self.help)] {
            if !words.is_empty() {
                writeln!(f, "{name}: {words}")?;
            }
        }
        Ok(())
    }
}

/// What is wrong with one field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    /// Which.
    pub field: Field,
    /// Which of several readings, from zero.
    pub row: Option<usize>,
    /// What is wrong with it.
    pub why: Why,
}

impl Wrong {
    /// Wrong with a field that there is once.
    #[must_use]
    pub const fn of(field: Field, why: Why) -> Self {
        Self { field, row: None, why }
    }

    /// Wrong with a field of one of several readings.
    #[must_use]
    pub const fn at(field: Field, row: usize, why: Why) -> Self {
        Self { field, row: Some(row), why }
    }
}

/// Why nothing was added.
#[derive(Debug)]
pub enum NotAdded {
    /// A field is wrong.
    Field(Wrong),
    /// The run is a rehearsal, which makes no part.
    Rehearsed(RunId),
    /// The run's rig is of another version of this program.
    UnknownRig(RunId),
    /// The run is none that this can be said of.
    Run(RunId, Why),
    /// The part cannot pass yet: what is open.
    Open(RunId, Vec<Open>),
    /// The catalogue has no such torch or powder.
    Catalogue(Why),
    /// Files of the catalogue cannot be read: what is wrong with them.
    Files(String),
    /// The records refuse.
    Records(RecordError),
}

impl From<Wrong> for NotAdded {
    fn from(wrong: Wrong) -> Self {
        Self::Field(wrong)
    }
}

impl From<RecordError> for NotAdded {
    fn from(problem: RecordError) -> Self {
        Self::Records(problem)
    }
}

/// A line for the record, of a field; `wanted` says what is to be given.
///
/// # Errors
/// It is none.
pub fn line<'a>(field: Field, line: Line, text: &'a str, wanted: &str) -> Result<&'a str, Wrong> {
    let wrong = |no: NoLine| Wrong::of(field, Why::new(no.told, no.accepted));
    line.check(text, wanted).map_err(wrong)
}

/// Words for the record, of a field; `wanted` says what is to be given.
///
/// # Errors
/// They are none, or more than a line.
pub fn words(field: Field, text: &str, wanted: &str) -> Result<String, Wrong> {
    line(field, Line::WORDS, text, wanted).map(str::to_owned)
}

/// The name of whoever tells it.
///
/// # Errors
/// It is none.
pub fn person(name: &str) -> Result<&str, Wrong> {
    line(Field::Person, Line::NAME, name, "the name of whoever measured or decided")
}
