//! `records decide` and `records take-back`: what becomes of a part, and what was a mistake.

use std::io::Write;

use clap::Args;
use evenpass_core::recipe::Inspection;
use jiff::Timestamp;

use super::adding::Adding;
use super::inspected::limits_sheet;
use super::section;
use super::told::Signs;
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::record::{Inspected, Mark, Outcome, Said, Verdict, Wanted};

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

fn verdict(text: &str) -> Result<Verdict, String> {
    Verdict::ALL
        .into_iter()
        .find(|verdict| verdict.word() == text)
        .ok_or_else(|| format!("found `{text}`; accepted: pass, hold, scrap"))
}

/// Decides what becomes of a part, once its run is over. A pass is refused while something is open.
pub(super) fn decide(arguments: &DecideArguments, to: &mut impl Write) -> Result<(), Refused> {
    let why = match arguments.verdict {
        Verdict::Pass => "why the part is good all the same",
        Verdict::Hold => "what the part waits for",
        Verdict::Scrap => "why the part is lost",
    };
    let reason = match (&arguments.reason, arguments.verdict) {
        (Some(reason), _) => say::check_reason(reason, why).map_err(Refused::Input)?,
        (None, Verdict::Pass) => "",
        (None, verdict) => {
            return Err(Refused::Input(format!(
                "--reason: nothing is given\naccepted: {why}, one line; to {} needs one\n",
                verdict.word()
            )));
        }
    };
    let mut adding = Adding::to(&arguments.signs, &arguments.run)?;
    if adding.run.summary.outcome == Outcome::Open {
        return Err(Refused::Input(format!(
            "run {}: its part is still being made\naccepted: a run that is over\nhelp: end the run, \
             and decide then; `evenpass records note hold-point` keeps the part back until somebody \
             has seen it\n",
            adding.id()
        )));
    }
    if let Some(next) = adding.store.taken_up_by(adding.id())? {
        return Err(Refused::Input(format!(
            "run {}: run {next} went on with its part\naccepted: the last run of a part\nhelp: decide \
             of run {next}\n",
            adding.id()
        )));
    }
    let limits = Inspection::of_text(&adding.run.recipe.text);
    let marks = adding.marks()?;
    let inspected = Inspected::of(&marks);
    if arguments.verdict == Verdict::Pass {
        let open = inspected.open(&Wanted::of(&adding.run), reason);
        if !open.is_empty() {
            let open: Vec<String> = open.iter().map(|one| format!("  {one}\n")).collect();
            return Err(Refused::Input(format!(
                "run {}: its part cannot pass yet\n{}help: release hold points with `evenpass \
                 records note release`, measure what is wanted or sign for a limit with `evenpass \
                 records note deviation`, or hold the part\n",
                adding.id(),
                open.concat()
            )));
        }
    }
    let before = inspected.decision().map(|kept| kept.number);
    let judged = inspected.judged(limits.as_ref());
    let said = Said::Decided { verdict: arguments.verdict, reason: reason.to_owned() };
    adding.add(said, to)?;
    writeln!(to, "{}", arguments.verdict.word())?;
    if let Some(before) = before {
        writeln!(to, "it counts instead of number {before}, which stays in the records")?;
    }
    Ok(section("Limits", &limits_sheet(&judged), to)?)
}

/// Takes back what was added.
pub(super) fn take_back(arguments: &TakeBackArguments, to: &mut impl Write) -> Result<(), Refused> {
    let person = arguments.signs.person()?;
    let reason =
        say::check_reason(&arguments.reason, "why it counts no more").map_err(Refused::Input)?;
    let mut store = arguments.signs.store()?;
    let number = arguments.number;
    let kept = store.mark(number)?;
    if matches!(kept.mark.said, Said::TakenBack { .. }) {
        return Err(Refused::Input(format!(
            "number {number} takes something back itself\naccepted: what was said\nhelp: say anew \
             what counts after all\n"
        )));
    }
    let back = Said::TakenBack { mark: number, reason: reason.to_owned() };
    let by = Mark { at: Timestamp::now(), person: person.to_owned(), said: back, ..kept.mark };
    store.keep_mark(&by)?;
    writeln!(to, "number {number} counts no more; it stays in the records")?;
    Ok(())
}
