//! `rehearse --batch`: all parts of an order that are to be made, one after another in virtual time.
//! Nothing waits for a person's start here: nothing moves either.

use std::io::{self, Write};

use evenpass_core::batch::Fate;
use evenpass_core::quantity::Time;
use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::batch::job::BatchJob;
use crate::batch::line::PartLine;
use crate::batch::on_twin::{HANDS, Kept, OnTwin, Setup, drift_lines};
use crate::batch::shift::{Shift, ToldLine, batch_line};
use crate::cli::batch::report::print as print_report;
use crate::cli::learned::RecordsAre;
use crate::cli::refused::Refused;
use crate::cli::{Exit, say};
use crate::record::{Outcome, RunKind};

use super::RehearseArguments;

/// Rehearses what of the order is to be made.
pub(super) fn answer(arguments: &RehearseArguments, batch: &str) -> Exit {
    match rehearse(arguments, batch) {
        Ok(exit) => exit,
        Err(refused) => refused.told(),
    }
}

fn rehearse(arguments: &RehearseArguments, asked: &str) -> Result<Exit, Refused> {
    let records = arguments.records.as_deref();
    let lessons = arguments.learning.or(records, RecordsAre::Written).map_err(Refused::Input)?;
    if arguments.trace.is_some() {
        return Err(Refused::Input(
            "--trace: a batch has too many bursts for one file\nhelp: rehearse its recipe alone\n"
                .to_owned(),
        ));
    }
    let between = arguments.between.unwrap_or(BETWEEN);
    if between < Time::ZERO || between > Time::from_s(86_400.0) {
        return Err(Refused::Input(format!("--between: found {between}\naccepted: 0 s to 24 h\n")));
    }
    let of = BatchJob::of(asked, records, arguments.setting.places(), lessons)?;
    let kept = |file| Kept { records: file, kind: RunKind::Rehearsed };
    let setup = Setup {
        batch: &of.batch,
        job: &of.job,
        plan: &of.plan,
        seed: arguments.seed,
        between: between.to_duration(),
        kept: arguments.record.then(|| kept(of.file.as_path())),
    };
    let mut shift = OnTwin::new(setup, of.standing.clone(), Timestamp::now());
    let (mut lines, mut told) = (Vec::new(), Vec::new());
    let mut say = |words: &str| -> io::Result<()> {
        if arguments.json {
            Ok(())
        } else {
            writeln!(io::stdout().lock(), "{}", say::one_line(words))
        }
    };
    // A part that comes out bare would be next for ever: each is tried once.
    let wanted = shift.standing().tally().queue.len();
    for _ in 0..wanted {
        let Some(before) = shift.before_next() else { break };
        say(&before.title())?;
        let hands = shift.see_to(&before).map_err(Refused::Failure)?;
        hands.iter().try_for_each(|line| say(&format!("  {}: {}", line.person, line.words)))?;
        told.extend(hands);
        let again = shift.before_next().unwrap_or(before);
        let line = shift.make(&again, HANDS, &mut |_, _| {}).map_err(Refused::Failure)?;
        say_part(&line, shift.standing().first_good.map(|(number, _)| number), &mut say)?;
        let is_bare = line.fate == Fate::Bare;
        lines.push(line);
        if is_bare {
            break;
        }
    }
    finish(arguments, &of, lines, told)
}

/// Work from the end of a part to the start of the next, where nobody has said (arbitrary).
const BETWEEN: Time = Time::from_s(180.0);

fn say_part(
    line: &PartLine,
    first: Option<u32>,
    say: &mut impl FnMut(&str) -> io::Result<()>,
) -> io::Result<()> {
    let cause = line.first_cause.as_ref().map_or_else(String::new, |cause| format!(": {cause}"));
    say(&format!("  {}{cause}", line.outcome.word()))?;
    let drifts = drift_lines(line.number, first.unwrap_or(line.number), &line.drifts);
    drifts.iter().try_for_each(|drift| say(&format!("  {drift}")))
}

fn finish(
    arguments: &RehearseArguments,
    of: &BatchJob,
    lines: Vec<PartLine>,
    told: Vec<ToldLine>,
) -> Result<Exit, Refused> {
    let worst = lines.iter().find(|line| line.outcome != Outcome::Complete);
    let exit = match worst.map(|line| line.outcome) {
        None => Exit::Done,
        Some(Outcome::Tripped) => Exit::Tripped,
        Some(_) => Exit::Failed,
    };
    let batches = vec![batch_line(&of.batch, &lines)];
    let shift = Shift::from_lines(RunKind::Rehearsed, batches, lines, told);
    if arguments.json {
        crate::cli::say::json(&serde_json::to_value(&shift).unwrap_or_default())?;
    } else {
        let to = &mut io::stdout().lock();
        writeln!(to)?;
        print_report(&shift, &TimeZone::system(), to)?;
    }
    Ok(exit)
}
