//! `records decide` and `records take-back`: what becomes of a part, and what was a mistake.

use std::io::Write;

use clap::Args;

use super::adding::Adding;
use super::readings::judged;
use super::told::Signs;
use crate::adding::typed::verdict;
use crate::cli::refused::Refused;
use crate::record::{Inspected, Verdict};

/// What `records decide` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct DecideArguments {
    /// Which run: its id, the beginning of its id, or `latest`.
    run: String,
    /// What becomes of its part: pass, hold or scrap.
    #[arg(value_parser = verdict)]
    verdict: Verdict,
    /// Why, in one line; a part of a complete run passes without.
    #[arg(long, value_name = "WHY")]
    reason: Option<String>,
    #[command(flatten)]
    signs: Signs,
}

/// What `records take-back` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct TakeBackArguments {
    /// What was added, by its number in `evenpass records show`.
    #[arg(allow_hyphen_values = true)]
    number: i64,
    /// Why it counts no more, in one line.
    #[arg(long, value_name = "WHY")]
    reason: String,
    #[command(flatten)]
    signs: Signs,
}

/// Decides what becomes of a part.
pub(super) fn decide(arguments: &DecideArguments, to: &mut impl Write) -> Result<(), Refused> {
    let mut adding = Adding::to(&arguments.signs, &arguments.run)?;
    let verdict = arguments.verdict;
    let said = crate::adding::decide(&adding.of, verdict, arguments.reason.as_deref())?;
    let marks = adding.of.marks()?;
    let before = Inspected::of(&marks).decision().map(|kept| kept.number);
    adding.add(said, to)?;
    writeln!(to, "{}", verdict.word())?;
    if let Some(before) = before {
        writeln!(to, "it counts instead of number {before}, which stays in the records")?;
    }
    judged(&adding, to)
}

/// Takes back what was added.
pub(super) fn take_back(arguments: &TakeBackArguments, to: &mut impl Write) -> Result<(), Refused> {
    let person = arguments.signs.person()?;
    let (mut store, number) = (arguments.signs.store()?, arguments.number);
    crate::adding::take_back(&mut store, number, None, &arguments.reason, person)?;
    writeln!(to, "number {number} counts no more; it stays in the records")?;
    Ok(())
}
