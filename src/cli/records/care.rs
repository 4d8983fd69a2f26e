//! `records verify` and `records backup`: whether the record is as it was written, and a copy of it.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use evenpass_core::plan::forecast::counted;
use serde::Serialize;

use super::{RecordsPlace, print_json};
use crate::cli::refused::Refused;
use crate::cli::{Exit, say};
use crate::record::{RunId, Seal, Store, Verification, records_file, verify_export};

/// Flaws told one by one; arbitrary, a screen of them.
const TOLD: usize = 20;

/// What `records verify` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct VerifyArguments {
    /// One run, by its id, the beginning of its id, or `latest`; all records when left out.
    run: Option<String>,
    /// A run that was exported as JSON, instead of the records.
    #[arg(long, value_name = "FILE", conflicts_with = "run")]
    export: Option<PathBuf>,
    /// The seal on the run's report: it is to be the one that is found.
    #[arg(long, value_name = "SEAL")]
    seal: Option<String>,
    #[command(flatten)]
    place: RecordsPlace,
}

/// What `records backup` is asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct BackupArguments {
    /// The file to write; it must not be there yet.
    file: PathBuf,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
}

/// What was found, for programs.
#[derive(Serialize)]
struct Found<'a> {
    holds: bool,
    #[serde(flatten)]
    looked: &'a Verification,
    run: Option<&'a RunId>,
    seal: Option<&'a Seal>,
    #[serde(skip_serializing_if = "Option::is_none")]
    seal_is_as_given: Option<bool>,
}

/// Looks whether anything was changed since it was written; flaws are a failure.
pub(super) fn verify(asked: &VerifyArguments, to: &mut impl Write) -> Result<Exit, Refused> {
    let (run, looked, seal) = match &asked.export {
        Some(file) => {
            let text = std::fs::read_to_string(file)
                .map_err(|trouble| Refused::Input(format!("{}: {trouble}\n", file.display())))?;
            let found = verify_export(&text)
                .map_err(|problem| Refused::Input(format!("{}: {problem}\n", file.display())))?;
            (Some(found.run), found.looked, Some(found.seal))
        }
        None => {
            let store = Store::open_existing(&records_file(asked.place.records.as_deref())?)?;
            let run = asked.run.as_deref().map(|run| store.find(run)).transpose()?;
            if run.is_none() && asked.seal.is_some() {
                let help = "--seal is of one run: name it, or its export, with it\n";
                return Err(Refused::Input(help.to_owned()));
            }
            let looked = store.verify(run.as_ref())?;
            let seal = run.as_ref().map(|run| store.seal(run)).transpose()?.flatten();
            (run, looked, seal)
        }
    };
    let stored = seal.as_ref().and_then(|seal| seal.seal.as_deref());
    let as_given = asked.seal.as_deref().map(|given| is_seal(given, stored));
    let holds = looked.holds() && as_given != Some(false);
    if asked.place.json {
        let (run, seal) = (run.as_ref(), seal.as_ref());
        let found = Found { holds, looked: &looked, run, seal, seal_is_as_given: as_given };
        print_json(&found, to)?;
    } else {
        print_found(&looked, (run.as_ref(), seal.as_ref()), as_given, to)?;
    }
    Ok(if holds { Exit::Done } else { Exit::Failed })
}

/// Whether a person's words are a seal: in groups and in capitals too, as a report may print it.
fn is_seal(given: &str, stored: Option<&str>) -> bool {
    let plain: String = given.chars().filter(|sign| !sign.is_whitespace()).collect();
    stored.is_some_and(|stored| stored == plain.to_ascii_lowercase())
}

fn print_found(
    looked: &Verification,
    (run, seal): (Option<&RunId>, Option<&Seal>),
    as_given: Option<bool>,
    to: &mut impl Write,
) -> Result<(), Refused> {
    let Verification { runs, entries, rows, flaws } = looked;
    let entries = if *entries == 1 { "1 entry".to_owned() } else { format!("{entries} entries") };
    if run.is_some() {
        writeln!(to, "looked at {entries}")?;
    } else {
        let count = |count: u64, what| counted(usize::try_from(count).unwrap_or(usize::MAX), what);
        writeln!(
            to,
            "looked at {}, {entries} and {}",
            count(*runs, "run"),
            count(*rows, "other row")
        )?;
    }
    for flaw in flaws.iter().take(TOLD) {
        writeln!(to, "{}", say::one_line(&flaw.to_string()))?;
    }
    if flaws.len() > TOLD {
        writeln!(to, "and {} more; --json lists all", flaws.len() - TOLD)?;
    }
    match seal {
        Some(Seal { since, seal: Some(seal) }) => {
            writeln!(to, "seal {seal}, begun {since}")?;
        }
        Some(Seal { seal: None, .. }) => writeln!(to, "no seal: the run is open")?,
        None => {}
    }
    match as_given {
        Some(true) => writeln!(to, "it is the seal that was given")?,
        Some(false) => writeln!(to, "it is not the seal that was given")?,
        None => {}
    }
    let answer = match (flaws.len(), as_given) {
        (0, Some(false)) => {
            "the record agrees with itself, and is not the one that the seal was printed from"
        }
        (0, _) => "nothing was changed since it was written",
        _ => {
            "the record is not as it was written: keep the file, and a backup made before beside it"
        }
    };
    writeln!(to, "{answer}")?;
    Ok(())
}

/// Copies the records, runs that are being written too, and looks through the copy.
pub(super) fn back_up(asked: &BackupArguments, to: &mut impl Write) -> Result<Exit, Refused> {
    let store =
        records_file(asked.records.as_deref()).and_then(|file| Store::open_existing(&file))?;
    store.back_up(&asked.file)?;
    let copy = Store::open_existing(&asked.file)?;
    let looked = copy.verify(None)?;
    let size = std::fs::metadata(&asked.file).map_or(0, |file| file.len());
    #[expect(clippy::cast_precision_loss, reason = "shown in tenths of a megabyte")]
    let megabytes = size as f64 / 1e6;
    let runs = counted(usize::try_from(looked.runs).unwrap_or(usize::MAX), "run");
    writeln!(to, "{} with {runs}, {megabytes:.1} MB", asked.file.display())?;
    print_found(&looked, (None, None), None, to)?;
    Ok(if looked.holds() { Exit::Done } else { Exit::Failed })
}
