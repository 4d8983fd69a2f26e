//! Adding a mark to a run.

use std::io::Write;

use clap::Args;
use jiff::civil::Date;

use super::told::Signs;
use crate::adding::typed::date;
use crate::adding::{self, Field, NotAdded, Wrong};
use crate::cli::refused::Refused;
use crate::record::Said;

/// With what a reading was taken, and when.
#[derive(Debug, Args)]
pub(in crate::cli) struct Taken {
    /// The gauge, by its serial number.
    #[arg(long, value_name = "SERIAL")]
    gauge: Option<String>,
    /// The day it was read; today when left out.
    #[arg(long, value_name = "DATE", value_parser = date)]
    date: Option<Date>,
}

impl Taken {
    pub(super) fn as_told(&self) -> adding::Taken<'_> {
        adding::Taken { on: self.date, gauge: self.gauge.as_deref() }
    }
}

/// A run that something is added to, and who does.
pub(super) struct Adding<'a> {
    pub(super) of: adding::Adding,
    person: &'a str,
}

impl<'a> Adding<'a> {
    /// The run that a person means.
    pub(super) fn to(signs: &'a Signs, asked: &str) -> Result<Self, Refused> {
        let (person, store) = (signs.person()?, signs.store()?);
        Ok(Self { of: adding::Adding::to(store, asked)?, person })
    }

    /// Adds to it, and tells under which number, and what is to be said of its gauge.
    pub(super) fn add(&mut self, said: Said, to: &mut impl Write) -> Result<i64, Refused> {
        let caution = said.caution();
        let number = self.of.keep(self.person, said)?;
        if let Some(caution) = caution {
            writeln!(to, "{caution}")?;
        }
        writeln!(to, "number {number} of run {}, by {}", self.of.id(), self.person)?;
        Ok(number)
    }
}

/// A field as it is called on the command line: what is given by its place in capitals.
const fn option(field: Field) -> &'static str {
    match field {
        Field::Person => "--person",
        Field::Date => "--date",
        Field::Gauge => "--gauge",
        Field::DiameterPlace | Field::Diameter => "--diameter",
        Field::Before => "--before",
        Field::Temperature => "--temperature",
        Field::TemperatureWithin => "--temperature-within",
        Field::Micrometer => "--micrometer",
        Field::ReadingPlace | Field::Reading => "--reading",
        Field::Coat => "--coat",
        Field::Stage => "--stage",
        Field::RunOut => "READ",
        Field::DyeResult => "RESULT",
        Field::Showed => "--words",
        Field::Point => "POINT",
        Field::Coupon => "COUPON",
        Field::Name => "NAME",
        Field::Words => "WORDS",
        Field::Limit => "--limit",
        Field::From => "--from",
        Field::To => "--to",
        Field::Verdict => "VERDICT",
        Field::Reason => "--reason",
        Field::Number => "NUMBER",
    }
}

impl From<Wrong> for Refused {
    fn from(wrong: Wrong) -> Self {
        Self::Input(format!("{}: {}", option(wrong.field), wrong.why))
    }
}

impl From<NotAdded> for Refused {
    fn from(problem: NotAdded) -> Self {
        match problem {
            NotAdded::Field(wrong) => wrong.into(),
            NotAdded::Rehearsed(run) => Self::Input(format!(
                "run {run}: it was rehearsed, and a rehearsal makes no part\nhelp: name another run; \
                 `evenpass records list` shows them\n"
            )),
            NotAdded::UnknownRig(run) => Self::Failure(format!(
                "run {run}: its rig file is of another version of this program and cannot be read"
            )),
            NotAdded::Run(run, why) => Self::Input(format!("run {run}: {why}")),
            NotAdded::Open(run, open) => {
                let open: Vec<String> = open.iter().map(|one| format!("  {one}\n")).collect();
                Self::Input(format!(
                    "run {run}: its part cannot pass yet\n{}help: release hold points with `evenpass \
                     records note release`, sign for a limit with `evenpass records note deviation`, \
                     or hold the part\n",
                    open.concat()
                ))
            }
            NotAdded::Catalogue(why) => Self::Input(why.to_string()),
            NotAdded::Files(problem) => Self::Input(problem),
            NotAdded::Records(problem) => problem.into(),
        }
    }
}
