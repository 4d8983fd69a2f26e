//! What the command line says of the part that is made.

use std::collections::BTreeMap;

use clap::Args;
use evenpass_core::quantity::{Quantity as _, Temperature, Time};
use jiff::Timestamp;

use crate::cli::say;
use crate::particulars::{DEW_POINT, NotTaken, Particulars};

/// An older surface is none to spray on (arbitrary: a day).
const LONGEST_AGO: Time = Time::from_s(86_400.0);

/// What is to be known of the part; all of it stands in the record.
#[derive(Debug, Args)]
#[command(next_help_heading = "The part, as its record tells it")]
pub(super) struct ParticularsArguments {
    /// The job or order that it belongs to.
    #[arg(long, value_name = "WORDS")]
    job: Option<String>,
    /// Who ordered it.
    #[arg(long, value_name = "WORDS")]
    customer: Option<String>,
    /// Its drawing with the issue, such as "4711 issue C".
    #[arg(long, value_name = "WORDS")]
    drawing: Option<String>,
    /// Its serial number; a part of a batch has the order's.
    #[arg(long, value_name = "WORDS", conflicts_with = "batch")]
    serial: Option<String>,
    /// The heat of its steel, as on the mill's certificate.
    #[arg(long, value_name = "WORDS")]
    heat: Option<String>,
    /// What it was blasted with, such as "alumina F24".
    #[arg(long, value_name = "WORDS")]
    grit: Option<String>,
    /// How long ago blasting ended, such as "40 min"; of a batch by `evenpass batch blasted`.
    #[arg(long, value_name = "TIME", conflicts_with = "batch", value_parser = ago, allow_hyphen_values = true)]
    blasted_ago: Option<Time>,
    /// The lot in use of a powder or a gas, such as "nickel-hard=L-2231"; may be given more than once.
    #[arg(long = "lot", value_name = "KEY=LOT", conflicts_with = "batch")]
    lots: Vec<String>,
    /// The dew point of the shop's air, such as "9 degC".
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    dew_point: Option<Temperature>,
    /// What else is to be known of it, such as "certificate=3.1 no. 88"; may be given more than once.
    #[arg(long = "note", value_name = "NAME=WORDS")]
    notes: Vec<String>,
}

fn ago(text: &str) -> Result<Time, String> {
    let ago = Time::parse(text).map_err(|problem| problem.to_string())?;
    if (Time::ZERO..=LONGEST_AGO).contains(&ago) {
        return Ok(ago);
    }
    Err(format!("found `{text}`; accepted: 0 s to 24 h"))
}

impl ParticularsArguments {
    /// The words, by name and option.
    fn words(&self) -> [(&'static str, &'static str, Option<&str>); 6] {
        [
            ("job", "--job", self.job.as_deref()),
            ("customer", "--customer", self.customer.as_deref()),
            ("drawing", "--drawing", self.drawing.as_deref()),
            ("serial", "--serial", self.serial.as_deref()),
            ("heat", "--heat", self.heat.as_deref()),
            ("grit", "--grit", self.grit.as_deref()),
        ]
    }

    /// The first option that is given, if any is.
    pub(super) fn given(&self) -> Option<&'static str> {
        let words = self.words().into_iter().find(|(.., words)| words.is_some());
        words
            .map(|(_, option, _)| option)
            .or_else(|| self.blasted_ago.map(|_| "--blasted-ago"))
            .or_else(|| self.dew_point.map(|_| "--dew-point"))
            .or_else(|| self.lots.first().map(|_| "--lot"))
            .or_else(|| self.notes.first().map(|_| "--note"))
    }

    /// What is said of a part that is made now, and by whom.
    ///
    /// # Errors
    /// What of it no record takes, as a person reads it.
    pub(super) fn read(&self, person: Option<&str>) -> Result<Particulars, String> {
        let mut part = Particulars::none();
        let told = |option: &str, no: NotTaken| {
            format!("{option}: found {}\naccepted: {}\n", no.found, no.accepted)
        };
        for (name, option, words) in self.words() {
            let Some(words) = words else { continue };
            if words.trim().is_empty() {
                return Err(format!("{option}: found nothing\naccepted: words, or no {option}\n"));
            }
            part.put(name, words).map_err(|no| told(option, no))?;
        }
        for lot in &self.lots {
            part.lot(lot).map_err(|no| told("--lot", no))?;
        }
        for note in &self.notes {
            part.note(note).map_err(|no| told("--note", no))?;
        }
        if let Some(dew) = self.dew_point {
            part.put(DEW_POINT, &dew.to_string()).map_err(|no| told("--dew-point", no))?;
        }
        if let Some(ago) = self.blasted_ago {
            part.blasted(ago, Timestamp::now());
        }
        if let Some(person) = person {
            part.made_by(say::check_person(person, "whoever makes the part")?);
        }
        Ok(part)
    }
}

/// Refuses what is said otherwise than what is known of the part, by whom it is known.
pub(super) fn not_otherwise(
    said: &Particulars,
    known: &BTreeMap<String, String>,
    by: &str,
) -> Result<(), String> {
    match said.otherwise(known) {
        None => Ok(()),
        Some((name, known, said)) => Err(format!(
            "{}: found \"{}\", and {by} says \"{}\"\naccepted: the same, or nothing of it\nhelp: what \
             is wrong there is corrected by `evenpass records note particular`\n",
            say::one_line(name),
            say::one_line(said),
            say::one_line(known)
        )),
    }
}
