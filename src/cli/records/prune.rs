//! `records prune`: entries of old runs go into files of their own. A run's entries are taken out of
//! the records only once its file is on the disk, was read back, and is as it was written.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use evenpass_core::plan::forecast::counted;
use evenpass_core::rig::Rig;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

use super::care::sha256;
use super::report::{keep, rows};
use super::told::Teller;
use crate::cli::refused::Refused;
use crate::cli::{Exit, say};
use crate::durable::{self, Rights};
use crate::record::{
    Exported, Of, Outcome, Pruned, RecordError, RunId, RunSummary, Said, Seal, Store, Verdict,
    verify_export,
};

/// What `records prune` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct PruneArguments {
    /// Runs that ended longer ago than this: "2 years", "18 months", "90 days".
    #[arg(long, value_name = "AGE")]
    older_than: String,
    /// The folder that the files go to; it must be there.
    #[arg(long, value_name = "FOLDER")]
    to: PathBuf,
    /// Only say which runs would go.
    #[arg(long)]
    list: bool,
    #[command(flatten)]
    teller: Teller,
}

/// Puts the entries of old runs into files.
pub(super) fn prune(told: &PruneArguments, to: &mut impl Write) -> Result<Exit, Refused> {
    let person = told.teller.person()?;
    let day = |at: Timestamp| at.to_zoned_datetime(TimeZone::system()).date();
    let since = since(&told.older_than, day(Timestamp::now()))?;
    if !told.to.is_dir() {
        let folder = told.to.display();
        return Err(Refused::Input(format!("--to: no folder {folder}; make it first\n")));
    }
    let mut store = told.teller.store()?;
    if !told.list {
        // A run that a dead program left open is called interrupted first, as the next run would.
        store.settle_dead()?;
    }
    let before = size(store.file());
    let (mut gone, mut failed) = (0_usize, 0_usize);
    for run in store.runs()? {
        if day(run.ended_at.unwrap_or(run.started_at)) >= since || run.outcome == Outcome::Open {
            continue;
        }
        if store.pruned(&run.id)?.is_some() {
            continue;
        }
        if is_on_hold(&store, &run.id)? {
            writeln!(to, "{} stays: its part is on hold", run.id)?;
        } else if waits(&store, &run)? {
            writeln!(
                to,
                "{} stays: it did not come to its end, and nobody has decided about its part",
                run.id
            )?;
        } else if told.list {
            gone += 1;
            writeln!(to, "{}  {}", run.id, say::one_line(&run.title))?;
        } else if let Err(why) = put_away(&mut store, &run, (&told.to, person)) {
            failed += 1;
            writeln!(to, "{} stays: {}", run.id, say::one_line(why.words().trim()))?;
        } else {
            gone += 1;
            writeln!(to, "{}  {}", run.id, named(&run.id))?;
        }
    }
    let runs = counted(gone, "run");
    if told.list {
        writeln!(to, "the entries of {runs} would go")?;
        return Ok(Exit::Done);
    }
    if gone > 0 {
        match store.give_room_back() {
            Ok(()) => {}
            Err(RecordError::Busy { .. }) => writeln!(
                to,
                "the records are in use: the room is kept, and used for what is written next"
            )?,
            Err(problem) => return Err(problem.into()),
        }
    }
    let (before, after) = (megabytes(before), megabytes(size(store.file())));
    writeln!(to, "the entries of {runs} went to {}", told.to.display())?;
    writeln!(to, "the records had {before:.1} MB and have {after:.1} MB")?;
    Ok(if failed == 0 { Exit::Done } else { Exit::Failed })
}

/// The day before which a run is old.
fn since(age: &str, today: Date) -> Result<Date, Refused> {
    let wrong = |found: &str| {
        Refused::Input(format!(
            "--older-than: {} {found}\naccepted: years, months, weeks or days, such as \"2 years\" or \
             \"90 days\"\n",
            say::one_line(age)
        ))
    };
    let span: Span = age.trim().parse().map_err(|_| wrong("is no age"))?;
    let is_past = span.signum() > 0;
    let day = today.checked_sub(span).map_err(|_| wrong("is before all time"))?;
    if is_past && day < today { Ok(day) } else { Err(wrong("is no day or more")) }
}

/// Whether the last word on a run's part is that it waits.
fn is_on_hold(store: &Store, run: &RunId) -> Result<bool, Refused> {
    let marks = store.marks(Of::Part(run))?;
    let verdicts = marks.iter().filter(|kept| kept.taken_back_by.is_none());
    let mut last = verdicts.rev().filter_map(|kept| match kept.mark.said {
        Said::Decided { verdict, .. } => Some(verdict),
        _ => None,
    });
    Ok(last.next() == Some(Verdict::Hold))
}

/// Whether a run may still be taken up, for which its entries are needed.
fn waits(store: &Store, run: &RunSummary) -> Result<bool, Refused> {
    if run.outcome == Outcome::Complete {
        return Ok(false);
    }
    let rig = Rig::read(&store.run(&run.id)?.rig.text).ok();
    let waits = rig.map(|rig| store.left_undone(&rig.title, run.kind)).transpose()?.flatten();
    Ok(waits.as_ref() == Some(&run.id))
}

/// The name of a run's file.
fn named(run: &RunId) -> String {
    format!("{run}.json")
}

/// Writes a run's file, reads it back, and takes its entries out of the record.
fn put_away(
    store: &mut Store,
    run: &RunSummary,
    (folder, person): (&Path, &str),
) -> Result<(), Refused> {
    let looked = store.verify_chain(&run.id)?;
    if let Some(flaw) = looked.flaws.first() {
        return Err(Refused::Failure(flaw.to_string()));
    }
    let file = folder.join(named(&run.id));
    let seal = store.seal(&run.id)?;
    // One that is there was left by a program that died, or failed, before it took the entries out,
    // or is somebody else's: reading it back tells.
    if !file.exists() {
        keep(&file, &rows(store, &run.id)?)?;
    } else if is_left_over(&file, seal.as_ref()) {
        durable::put(&file, &text_of(store, &run.id)?, Rights::AsBefore)
            .map_err(|trouble| Refused::Failure(format!("{}: {trouble}", file.display())))?;
    }
    let bytes = std::fs::read(&file)
        .map_err(|trouble| Refused::Failure(format!("{}: {trouble}", file.display())))?;
    let other = |why: &str| Refused::Failure(format!("{}: {why}", file.display()));
    let text = std::str::from_utf8(&bytes).map_err(|_| other("it is no text"))?;
    let found = verify_export(text).map_err(|problem| other(&problem.to_string()))?;
    let is_whole = found.looked.holds() && found.looked.entries == looked.entries;
    if !is_whole || found.run != run.id || seal != Some(found.seal) {
        return Err(other("it is not this run as it was written; move it away"));
    }
    let pruned = Pruned {
        at: Timestamp::now(),
        person: person.to_owned(),
        entries: looked.entries,
        file: named(&run.id),
        digest: sha256(&bytes),
    };
    store.prune(run, &pruned)?;
    Ok(())
}

/// Whether a file is of the run with that seal as it was before its end was written, and nothing was
/// changed in it: its entries are all in the records. Another machine's run of the same name begins
/// otherwise.
fn is_left_over(file: &Path, seal: Option<&Seal>) -> bool {
    let found = std::fs::read_to_string(file).ok().and_then(|text| verify_export(&text).ok());
    let of_it = |found: &Exported| seal.is_some_and(|seal| seal.origin == found.seal.origin);
    found.is_some_and(|found| found.looked.holds() && of_it(&found) && found.seal.seal.is_none())
}

fn text_of(store: &Store, run: &RunId) -> Result<String, Refused> {
    String::from_utf8(rows(store, run)?).map_err(|wrong| Refused::Failure(wrong.to_string()))
}

/// The records, with what of them is not yet in the file itself.
fn size(records: &Path) -> u64 {
    let mut log = records.as_os_str().to_owned();
    log.push("-wal");
    let bytes = |file: &Path| std::fs::metadata(file).map_or(0, |file| file.len());
    bytes(records) + bytes(Path::new(&log))
}

#[expect(clippy::cast_precision_loss, reason = "shown in tenths")]
fn megabytes(bytes: u64) -> f64 {
    bytes as f64 / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_age_is_of_days_or_more_and_is_counted_back_from_today() {
        let today: Date = "2026-11-29".parse().unwrap();
        let day = |age| since(age, today).map(|day| day.to_string()).map_err(|why| why.words());
        assert_eq!(day("2 years").as_deref(), Ok("2024-11-29"));
        assert_eq!(day("90 days").as_deref(), Ok("2026-08-31"));
        for wrong in ["5", "soon", "3 hours", "-2 years", "20000 years"] {
            let why = day(wrong).unwrap_err();
            assert!(why.contains("accepted: years, months"), "{why}");
        }
    }
}
