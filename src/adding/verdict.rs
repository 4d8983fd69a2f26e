//! What becomes of a part, and what was a mistake.

use jiff::Timestamp;

use super::{Adding, Field, NotAdded, Why, Wrong, line};
use crate::record::{Inspected, Mark, Outcome, RunId, Said, Store, Verdict, Wanted};
use crate::shown::Line;

/// What becomes of the part, once its run is over. A pass is refused while something is open.
///
/// # Errors
/// A reason is wanted, the part is still being made or was taken up by another run, or it cannot
/// pass yet.
pub fn decide(adding: &Adding, verdict: Verdict, reason: Option<&str>) -> Result<Said, NotAdded> {
    let reason = checked_reason(verdict, reason)?;
    if adding.run().summary.outcome == Outcome::Open {
        let help = "end the run, and decide then; a hold point keeps the part back until somebody has \
                    seen it";
        return adding
            .refuse(Why::new("its part is still being made", "a run that is over").help(help));
    }
    adding.must_be_last("decide of")?;
    if verdict == Verdict::Pass {
        let marks = adding.marks()?;
        let open = Inspected::of(&marks).open(&Wanted::of(adding.run()), reason);
        if !open.is_empty() {
            return Err(NotAdded::Open(adding.id().clone(), open));
        }
    }
    Ok(Said::Decided { verdict, reason: reason.to_owned() })
}

fn checked_reason(verdict: Verdict, reason: Option<&str>) -> Result<&str, Wrong> {
    let why = match verdict {
        Verdict::Pass => "why the part is good all the same",
        Verdict::Hold => "what the part waits for",
        Verdict::Scrap => "why the part is lost",
    };
    match (reason, verdict) {
        (Some(reason), _) => line(Field::Reason, Line::REASON, reason, why),
        (None, Verdict::Pass) => Ok(""),
        (None, verdict) => {
            let wanted = format!("{why}, one line; to {} needs one", verdict.word());
            Err(Wrong::of(Field::Reason, Why::new("nothing is given", wanted)))
        }
    }
}

/// Takes back what was added, by its number; it stays in the records. Where `of` is given, only what
/// was added to that run.
///
/// # Errors
/// There is no such number, it takes something back itself, it was taken back already, or no
/// reason is given.
pub fn take_back(
    store: &mut Store,
    number: i64,
    of: Option<&RunId>,
    reason: &str,
    person: &str,
) -> Result<i64, NotAdded> {
    let reason = line(Field::Reason, Line::REASON, reason, "why it counts no more")?;
    let kept = store.mark(number)?;
    if of.is_some_and(|run| kept.mark.run.as_ref() != Some(run)) {
        let why = Why::new(format!("found {number}"), "the number of what was added to this run");
        return Err(Wrong::of(Field::Number, why).into());
    }
    if matches!(kept.mark.said, Said::TakenBack { .. }) {
        let why = Why::new(format!("number {number} takes something back itself"), "what was said")
            .help("say anew what counts after all");
        return Err(Wrong::of(Field::Number, why).into());
    }
    let said = Said::TakenBack { mark: number, reason: reason.to_owned() };
    let by = Mark { at: Timestamp::now(), person: person.to_owned(), said, ..kept.mark };
    Ok(store.keep_mark(&by)?)
}
