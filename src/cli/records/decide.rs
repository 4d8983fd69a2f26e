//! `records withdraw`, `records accept` and `records learned`: what counts, and what it says.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use evenpass_core::learn::{Figures, HeldBack, Measured, Pair};
use evenpass_core::plan::forecast::counted;
use jiff::Timestamp;

use super::told::{PairArguments, Teller, lesson, print_lesson};
use super::{pairs, print_json, section};
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::cli::sheet::{Layout, Sheet};
use crate::files;
use crate::people::Right;
use crate::record::{
    AcceptanceRecord, MeasurementRecord, RunKind, Store, Withdrawal, records_file,
};

/// What `records withdraw` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct WithdrawArguments {
    /// The measurement, by its number in `evenpass records learned`.
    number: i64,
    /// Why it counts no more, in one line.
    #[arg(long, value_name = "WHY")]
    reason: String,
    #[command(flatten)]
    teller: Teller,
}

/// What `records accept` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct AcceptArguments {
    #[command(flatten)]
    pair: PairArguments,
    #[command(flatten)]
    teller: Teller,
}

/// What `records learned` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct LearnedArguments {
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// The folder with powders.toml and torches.toml; the shipped one when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

/// Withdraws a measurement.
pub(super) fn withdraw(arguments: &WithdrawArguments, to: &mut impl Write) -> Result<(), Refused> {
    let person = arguments.teller.person()?;
    let reason = say::check_reason(&arguments.reason, "why the measurement counts no more")
        .map_err(Refused::Input)?;
    let withdrawal = Withdrawal {
        made_at: Timestamp::now(),
        person: person.to_owned(),
        reason: reason.to_owned(),
    };
    let mut store = arguments.teller.store()?;
    store.withdraw_measurement(arguments.number, &withdrawal)?;
    writeln!(to, "measurement {} counts no more; it stays in the records", arguments.number)?;
    let withdrawn = store.measurements()?.into_iter().find(|kept| kept.number == arguments.number);
    for accepted in store.acceptances()? {
        if withdrawn.as_ref().is_some_and(|kept| accepted.is_given_for(kept)) {
            let told = format!(
                "what {} accepted of {} on {} was given for it, and counts no more",
                accepted.person,
                accepted.pair,
                accepted.made_at.strftime("%Y-%m-%d")
            );
            writeln!(to, "{}", say::one_line(&told))?;
        }
    }
    Ok(())
}

/// Confirms what is held back.
pub(super) fn accept(arguments: &AcceptArguments, to: &mut impl Write) -> Result<(), Refused> {
    let person = arguments.teller.person_with(Right::Engineer)?;
    let (pair, rig, kind, figures) = arguments.pair.found(&arguments.teller.catalogue(None)?)?;
    let mut store = arguments.teller.store()?;
    let held = lesson(&store, &rig, kind, &pair, &figures)?;
    if held.held_back.is_none() {
        let rig = say::one_line(&rig);
        writeln!(to, "nothing of {pair} on \"{rig}\" waits to be accepted")?;
        return Ok(print_lesson(&held, to)?);
    }
    if matches!(held.held_back, Some(HeldBack::Impossible(_))) {
        return Err(Refused::Input(held.sentences().join("\n") + "\n"));
    }
    store.keep_acceptance(&AcceptanceRecord {
        made_at: Timestamp::now(),
        rig: rig.clone(),
        kind,
        pair: pair.clone(),
        person: person.to_owned(),
        catalogue: figures,
        figures: held.learned,
        grounds: Some(held.knowledge.measurements),
    })?;
    writeln!(to, "accepted by {person}; the next plan uses it")?;
    Ok(print_lesson(&lesson(&store, &rig, kind, &pair, &figures)?, to)?)
}

/// Prints every measurement, and what is known of every torch with a powder.
pub(super) fn learned(arguments: &LearnedArguments, to: &mut impl Write) -> Result<(), Refused> {
    let store = Store::open_to_read(&records_file(arguments.records.as_deref())?)?;
    let catalogue =
        files::catalogue(arguments.catalogue.as_deref(), None).map_err(Refused::Input)?;
    let (measurements, acceptances) = (store.measurements()?, store.acceptances()?);
    let mut known: Vec<(&str, RunKind, &Pair)> = Vec::new();
    for one in measurements.iter().map(|kept| &kept.measurement) {
        let next = (one.rig.as_str(), one.kind, &one.pair);
        if !known.contains(&next) {
            known.push(next);
        }
    }
    let mut lessons = Vec::new();
    for (rig, kind, pair) in known {
        // Of what this catalogue does not have only the measurements are told.
        if let Some(figures) = Figures::of(&catalogue, pair) {
            lessons.push((rig, kind, lesson(&store, rig, kind, pair, &figures)?));
        }
    }
    if arguments.json {
        let all = serde_json::json!({
            "measurements": measurements,
            "acceptances": acceptances,
            "lessons": lessons.iter().map(|(rig, kind, lesson)| {
                serde_json::json!({"rig": rig, "kind": kind, "lesson": lesson})
            }).collect::<Vec<_>>(),
        });
        return Ok(print_json(&all, to)?);
    }
    if measurements.is_empty() {
        return Ok(writeln!(to, "nothing was measured in {}", store.file().display())?);
    }
    section("Measurements", &measurements_sheet(&measurements), to)?;
    let mut accepted = pairs();
    for one in &acceptances {
        let words = format!(
            "{} on \"{}\", by {}: efficiency {:.1} %",
            one.pair,
            one.rig,
            one.person,
            one.figures.efficiency.percent()
        );
        let words = match one.fallen(&measurements) {
            Some(why) => format!("{words}; counts no more: {why}"),
            None => words,
        };
        accepted.row([one.made_at.strftime("%Y-%m-%d").to_string(), words]);
    }
    section("Accepted", &accepted, to)?;
    for (rig, kind, lesson) in &lessons {
        writeln!(to, "\nOn \"{}\", {}", say::one_line(rig), kind.word())?;
        print_lesson(lesson, to)?;
    }
    Ok(())
}

pub(super) fn measurements_sheet(all: &[MeasurementRecord]) -> Sheet {
    let mut sheet = Sheet::new(
        2,
        &[
            ("no", Layout::Figure),
            ("day", Layout::Word),
            ("by", Layout::Prose),
            ("where", Layout::Word),
            ("of", Layout::Prose),
            ("what", Layout::Prose),
        ],
    );
    for kept in all {
        let one = &kept.measurement;
        let what = match &one.measured {
            Measured::Part(part) => {
                let weighed = if part.weights.is_some() { ", weighed" } else { "" };
                format!("{}{weighed}", counted(part.diameters.len(), "diameter"))
            }
            Measured::Feeder(feeder) => counted(feeder.catches.len(), "catch"),
            Measured::Stripe(stripe) => {
                format!("a stripe, {}", counted(stripe.readings.len(), "place"))
            }
            Measured::PowderDelay(delay) => {
                format!("powder's delay, {}", counted(delay.on.len() + delay.off.len(), "time"))
            }
        };
        let what = match &kept.withdrawn {
            None => what,
            Some(by) => format!("{what}; withdrawn by {}: {}", by.person, by.reason),
        };
        let of = match &one.run {
            Some(run) => format!("{}, run {run}", one.pair),
            None => one.pair.to_string(),
        };
        sheet.row([
            kept.number.to_string(),
            one.measured_on.to_string(),
            one.person.clone(),
            one.kind.word().to_owned(),
            of,
            what,
        ]);
    }
    sheet
}
