//! Adding a mark to a run.

use std::io::Write;

use clap::Args;
use evenpass_core::quantity::Length;
use evenpass_core::rig::Rig;
use jiff::Timestamp;
use jiff::civil::Date;

use super::reading::date;
use super::told::{Signs, day};
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::record::{GaugeUsed, Mark, MarkRecord, Of, RunId, RunKind, RunRecord, Said, Store};

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

/// A run that something is added to, with the records it is in.
pub(super) struct Adding<'a> {
    pub(super) store: Store,
    pub(super) run: RunRecord,
    /// The rig's title.
    rig: String,
    person: &'a str,
}

impl<'a> Adding<'a> {
    /// The run that a person means. A rehearsal makes no part.
    pub(super) fn to(signs: &'a Signs, asked: &str) -> Result<Self, Refused> {
        let (person, store) = (signs.person()?, signs.store()?);
        let run = store.run(&store.find(asked)?)?;
        if run.summary.kind == RunKind::Rehearsed {
            return Err(Refused::Input(format!(
                "run {}: it was rehearsed, and a rehearsal makes no part\nhelp: name another run; \
                 `evenpass records list` shows them\n",
                run.summary.id
            )));
        }
        let rig = Rig::read(&run.rig.text).map_err(|_| {
            Refused::Failure(format!(
                "run {}: its rig file is of another version of this program and cannot be read",
                run.summary.id
            ))
        })?;
        Ok(Self { store, run, rig: rig.title, person })
    }

    pub(super) fn id(&self) -> &RunId {
        &self.run.summary.id
    }

    pub(super) fn rig(&self) -> &str {
        &self.rig
    }

    /// Everything that was added to its part, in this run and in those it went on with.
    pub(super) fn marks(&self) -> Result<Vec<MarkRecord>, Refused> {
        Ok(self.store.marks(Of::Part(self.id()))?)
    }

    /// Adds to it, and tells under which number.
    pub(super) fn add(&mut self, said: Said, to: &mut impl Write) -> Result<i64, Refused> {
        let mark = Mark {
            at: Timestamp::now(),
            person: self.person.to_owned(),
            rig: self.rig.clone(),
            kind: self.run.summary.kind,
            run: Some(self.id().clone()),
            batch: None,
            said,
        };
        let number = self.store.keep_mark(&mark)?;
        writeln!(to, "number {number} of run {}, by {}", self.id(), self.person)?;
        Ok(number)
    }

    /// The day a reading was taken, and its gauge. One that is past its date, or of which nobody
    /// knows, is told; the reading stands with it.
    pub(super) fn taken(
        &self,
        taken: &Taken,
        to: &mut impl Write,
    ) -> Result<(Date, Option<GaugeUsed>), Refused> {
        let measured_on = day(taken.date, Some(self.run.summary.started_at))?;
        let Some(serial) = &taken.gauge else { return Ok((measured_on, None)) };
        let serial = say::check_words("--gauge", serial, "the serial number of the gauge")
            .map_err(Refused::Input)?;
        let marks = self.store.marks(Of::Rig(&self.rig, self.run.summary.kind))?;
        let used = GaugeUsed::of(serial, &marks, measured_on);
        if let Some(caution) = used.caution(measured_on) {
            writeln!(to, "{caution}")?;
        }
        Ok((measured_on, Some(used)))
    }

    /// Refuses a place where no coat was planned.
    pub(super) fn must_be_coated(&self, option: &str, at: Length) -> Result<(), Refused> {
        let Some(basis) = self.store.basis(self.id())? else { return Ok(()) };
        if basis.zone_at(at).is_some() {
            return Ok(());
        }
        let zones: Vec<String> = basis
            .zones
            .iter()
            .map(|zone| format!("{} to {} (\"{}\")", zone.from, zone.to, zone.zone))
            .collect();
        Err(Refused::Input(format!(
            "{option}: found a place of {at}, where no coat was planned\naccepted: {}\n",
            zones.join(", ")
        )))
    }
}
