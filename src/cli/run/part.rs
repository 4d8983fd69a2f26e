//! `run --batch`: the next part of an order, with what it needs first. Every part is run by a
//! person's own command, and started by the button at the machine: none begins by itself.

use std::io::{self, Write};

use evenpass_core::ledger::Entry;
use evenpass_core::plan::Plan;
use jiff::Timestamp;

use super::RunArguments;
use super::particulars::not_otherwise;
use crate::attendant::End;
use crate::batch::before::{Before, Need, Surface, Weight};
use crate::batch::job::{BatchJob, recipe_since};
use crate::batch::on_twin::{drift_lines, drifted, of_batch};
use crate::batch::standing::Standing;
use crate::batch::used::Gathering;
use crate::cli::batch::show;
use crate::cli::learned::RecordsAre;
use crate::cli::refused::Refused;
use crate::cli::{say, signing};
use crate::files::Job;
use crate::keeping::OfBatch;
use crate::particulars::Particulars;
use crate::people::Right;
use crate::record::{Batch, Deviation};

/// The part that is run.
pub(super) struct PartToRun {
    pub(super) job: Job,
    pub(super) plan: Plan,
    /// What stands in its record.
    pub(super) of: OfBatch,
    /// The order before it.
    pub(super) standing: Standing,
    batch: Batch,
    before: Before,
}

impl PartToRun {
    /// The next part of a batch, unless something of what it needs first is not done.
    /// What a person says of it may not be otherwise than the order has it.
    pub(super) fn next(
        asked: &str,
        arguments: &RunArguments,
        said: &Particulars,
    ) -> Result<Self, Refused> {
        // Clap asks for a person with a batch.
        let person = arguments.person.as_deref().unwrap_or_default();
        let person = say::check_person(person, "whoever makes the part").map_err(Refused::Input)?;
        let right = arguments.unblasted.as_ref().map_or(Right::Run, |_| Right::Engineer);
        signing::may(person, right, arguments.records.as_deref())?;
        let why = arguments.unblasted.as_deref().map(|why| {
            say::check_reason(why, "why the part is sprayed though it was not blasted in time")
                .map_err(|problem| Refused::Input(problem.replace("--reason", "--unblasted")))
        });
        let why = why.transpose()?;
        let records = arguments.records.as_deref();
        let lessons =
            arguments.learning.or(records, RecordsAre::Written).map_err(Refused::Input)?;
        let of = BatchJob::of(asked, records, arguments.setting.places(), lessons)?;
        let BatchJob { batch, job, plan, standing, .. } = of;
        let Some(before) = Before::next(&standing, Timestamp::now()) else {
            return Err(Refused::Failure(format!(
                "batch {}: no part is to be made; `evenpass batch show {}` says how it stands\n",
                batch.id, batch.id
            )));
        };
        let surface = if why.is_some() { Surface::Overridden } else { Surface::AsTheOrderWants };
        let stopped: Vec<String> = before
            .stopped_by(surface)
            .map(|need| format!("first, {}\n", show::said(need, &batch, before.part.number)))
            .collect();
        if !stopped.is_empty() {
            return Err(Refused::Failure(format!(
                "{} is not begun\n{}",
                before.title(),
                stopped.concat()
            )));
        }
        let mut of = of_batch(&batch, &before, &standing, Some(person));
        not_otherwise(said, &of.particulars, &format!("the order {}", batch.id))
            .map_err(Refused::Input)?;
        of.deviations = why.into_iter().filter_map(|why| deviation(&before, person, why)).collect();
        Ok(Self { job, plan, of, standing, batch, before })
    }

    /// What a person reads before it begins.
    pub(super) fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!("batch {}, {}", self.batch.id, self.before.title())];
        lines.extend(recipe_since(&self.batch));
        let told = self.before.needs.iter().filter(|need| need.weight() == Weight::Told);
        lines.extend(told.map(|need| show::said(need, &self.batch, self.before.part.number)));
        let next = self.before.powder.reach.and_then(|reach| reach.fill_before);
        lines.extend(next.map(|number| format!("refill the hopper before part {number}")));
        lines
    }

    /// How far it went off the first good part, once it came to its end.
    pub(super) fn print_drift(
        &self,
        end: End,
        entries: &[Entry],
        to: &mut impl Write,
    ) -> io::Result<()> {
        let Some((first, _)) = self.standing.first_good else { return Ok(()) };
        let course = Gathering::of(entries).course();
        let drifts = drifted(self.standing.first_good, end, &course);
        drift_lines(self.before.part.number, first, &drifts)
            .iter()
            .try_for_each(|line| writeln!(to, "{line}"))
    }
}

/// What is done otherwise than the order wants; nothing where the surface is fresh all the same.
fn deviation(before: &Before, person: &str, why: &str) -> Option<Deviation> {
    let old = before.needs.iter().find(|need| {
        matches!(need, Need::Blast { .. }) && need.weight() == Weight::StopsUnlessOverridden
    })?;
    Some(Deviation {
        what: format!("sprayed on an old surface ({old})"),
        reason: why.to_owned(),
        person: Some(person.to_owned()),
        ..Deviation::default()
    })
}
