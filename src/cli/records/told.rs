//! What every verb that adds to the records shares: who and when, which rig and catalogue, and
//! what is known afterwards.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use evenpass_core::catalogue::Catalogue;
use evenpass_core::learn::{Contradiction, Figures, Finish, Lesson, Pair};
use evenpass_core::quantity::Length;
use jiff::Timestamp;
use jiff::civil::Date;

use crate::adding;
use crate::cli::refused::Refused;
use crate::cli::{say, signing};
use crate::files;
use crate::learning::{self, Whose};
use crate::people::Right;
use crate::record::{Measurement, RunKind, Store, records_file};

/// Who signs for what is told, and where it is kept.
#[derive(Debug, Args)]
pub(in crate::cli) struct Signs {
    /// Who tells it: the name stands in the record. Where people.toml lies beside the records it is
    /// somebody there who may; no PIN is asked, for whoever may write the records could write it.
    #[arg(long, value_name = "NAME")]
    person: String,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
}

/// Who tells it and where it is kept.
#[derive(Debug, Args)]
pub(super) struct Teller {
    #[command(flatten)]
    signs: Signs,
    /// The folder with powders.toml and torches.toml that plans use; when left out, for a run's
    /// part its recipe's neighbours, else the shipped one.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
}

/// Which torch with which powder on which machine.
#[derive(Debug, Args)]
pub(super) struct PairArguments {
    /// The torch, by its key in the catalogue.
    torch: String,
    /// The powder, by its key in the catalogue.
    powder: String,
    /// The rig file of the machine; the bench's twin when left out.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
}

impl Signs {
    pub(super) fn person(&self) -> Result<&str, Refused> {
        self.person_with(Right::Run)
    }

    /// The same for what not everybody may.
    pub(super) fn person_with(&self, right: Right) -> Result<&str, Refused> {
        let person = adding::person(&self.person)?;
        signing::may(person, right, self.records.as_deref())?;
        Ok(person)
    }

    /// The records, which have to be there.
    pub(super) fn store(&self) -> Result<Store, Refused> {
        let file = records_file(self.records.as_deref())?;
        Ok(Store::open_existing(&file)?)
    }

    /// The records, made when there are none.
    pub(super) fn store_or_new(&self) -> Result<Store, Refused> {
        let file = records_file(self.records.as_deref())?;
        Ok(Store::open(&file)?)
    }
}

impl Teller {
    pub(super) fn person(&self) -> Result<&str, Refused> {
        self.signs.person()
    }

    /// The same for what not everybody may.
    pub(super) fn person_with(&self, right: Right) -> Result<&str, Refused> {
        self.signs.person_with(right)
    }

    /// The records, which have to be there.
    pub(super) fn store(&self) -> Result<Store, Refused> {
        self.signs.store()
    }

    /// The records, made when there are none.
    pub(super) fn store_or_new(&self) -> Result<Store, Refused> {
        self.signs.store_or_new()
    }

    /// The catalogue as a plan of this recipe would find it.
    pub(super) fn catalogue(&self, recipe: Option<&Path>) -> Result<Catalogue, Refused> {
        files::catalogue(self.catalogue.as_deref(), recipe).map_err(Refused::Input)
    }
}

impl PairArguments {
    /// The pair, its rig's title and side, and what the catalogue says of it.
    pub(super) fn found(
        &self,
        catalogue: &Catalogue,
    ) -> Result<(Pair, String, RunKind, Figures), Refused> {
        let pair = Pair { torch: self.torch.clone(), powder: self.powder.clone() };
        let figures = figures(catalogue, &pair)?;
        let (rig, _) = files::rig(self.rig.as_deref()).map_err(Refused::Input)?;
        let kind = Whose::of(&rig).kind;
        Ok((pair, rig.title, kind, figures))
    }
}

/// What the catalogue says of a pair; one it does not have is answered with those it has.
pub(super) fn figures(catalogue: &Catalogue, pair: &Pair) -> Result<Figures, Refused> {
    adding::figures(catalogue, pair).map_err(|why| Refused::Input(why.to_string()))
}

/// Two readings of one place that cannot both be right.
pub(super) fn contradictory(option: &str, odd: &Contradiction) -> Refused {
    let (first, second) = odd.readings;
    Refused::Input(format!(
        "{option}: found {first} and {second} at {}, which cannot both be right\naccepted: at one \
         place, readings no more than {:.3} apart, which the instrument and the coat can make \
         them\nhelp: measure there once more, and leave the odd one out\n",
        odd.at, odd.allowed
    ))
}

/// The day of measuring: today, or the one given, which is not to come yet nor before `begun`.
pub(super) fn day(given: Option<Date>, begun: Option<Timestamp>) -> Result<Date, Refused> {
    Ok(adding::day(given, begun)?)
}

/// Keeps it and says under which number.
pub(super) fn keep(
    store: &mut Store,
    draft: &Measurement,
    to: &mut impl Write,
) -> Result<(), Refused> {
    let number = store.keep_measurement(draft)?;
    let of = match &draft.run {
        Some(run) => format!("run {}", say::one_line(run.as_str())),
        None => format!("\"{}\"", say::one_line(&draft.rig)),
    };
    writeln!(
        to,
        "measurement {number}, of {of}, measured on {} by {}",
        draft.measured_on, draft.person
    )?;
    if draft.kind == RunKind::Twin {
        writeln!(to, "It is of the twin, and teaches plans for the twin alone.")?;
    }
    Ok(())
}

/// Prints what is known of a pair now.
pub(super) fn print_lesson(lesson: &Lesson, to: &mut impl Write) -> io::Result<()> {
    let mut sheet = super::pairs();
    // On a part as wide as any, which catches all of the plume.
    let wide = Length::from_mm(1000.0);
    for (what, finish) in [("as sprayed", Finish::AsSprayed), ("fused", Finish::Fused)] {
        sheet.row([format!("thickness {what}"), lesson.band(wide, finish).to_string()]);
    }
    for sentence in lesson.sentences() {
        sheet.row([String::new(), sentence]);
    }
    super::section(&format!("Known of {}", lesson.pair), &sheet, to)
}

/// What is known of a pair, from the records as they are now.
pub(super) fn lesson(
    store: &Store,
    rig: &str,
    kind: RunKind,
    pair: &Pair,
    figures: &Figures,
) -> Result<Lesson, Refused> {
    Ok(learning::lesson(store, Whose { rig, kind, by: None }, pair, figures)?)
}
