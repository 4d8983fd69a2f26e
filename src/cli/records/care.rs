//! `records verify` and `records backup`: whether the record is as it was written, and a copy of it.

use std::fmt::Display;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use evenpass_core::plan::forecast::counted;
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use super::{RecordsPlace, print_json};
use crate::cli::refused::Refused;
use crate::cli::{Exit, say};
use crate::record::{
    Held, LastLinks, Pruned, RunId, Seal, Store, Verification, records_file, verify_export,
};

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
    /// Last links that were printed earlier, by a backup, by the shift's report or by this: nothing
    /// of what was there then is to be cut off or written anew.
    #[arg(long, value_name = "LINKS")]
    last: Option<String>,
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

/// What was looked at, and what was found there.
struct Looked {
    of: What,
    found: Verification,
    seal: Option<Seal>,
    last: Option<LastLinks>,
}

/// What was looked at.
enum What {
    All,
    /// A run, and where its entries are if not in the records.
    Run(RunId, Option<Pruned>),
    /// A file of a run, and its digest.
    Export(RunId, String),
}

/// What a person kept elsewhere, held against what was found.
struct Given {
    seal_is: Option<bool>,
    held: Option<Held>,
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
    #[serde(skip_serializing_if = "Option::is_none")]
    pruned: Option<&'a Pruned>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_links: Option<&'a LastLinks>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_links_hold: Option<bool>,
}

/// Looks whether anything was changed since it was written; flaws are a failure.
pub(super) fn verify(asked: &VerifyArguments, to: &mut impl Write) -> Result<Exit, Refused> {
    let whole = asked.run.is_none() && asked.export.is_none();
    if whole && asked.seal.is_some() {
        let help = "--seal is of one run: name it, or its export, with it\n";
        return Err(Refused::Input(help.to_owned()));
    }
    if !whole && asked.last.is_some() {
        let help = "--last is of all records: leave the run, or its export, out\n";
        return Err(Refused::Input(help.to_owned()));
    }
    let last: Option<LastLinks> = asked
        .last
        .as_deref()
        .map(|text| text.parse().map_err(|wrong| Refused::Input(format!("--last: {wrong}\n"))))
        .transpose()?;
    let (looked, held) = match &asked.export {
        Some(file) => (exported(file)?, None),
        None => {
            let store = Store::open_to_read(&records_file(asked.place.records.as_deref())?)?;
            let held = last.map(|last| store.still_holds(&last)).transpose()?;
            (look(&store, asked.run.as_deref())?, held)
        }
    };
    let stored = looked.seal.as_ref().and_then(|seal| seal.seal.as_deref());
    let seal_is = asked.seal.as_deref().map(|given| is_seal(given, stored));
    let given = Given { seal_is, held };
    let holds = looked.found.holds() && given.holds();
    if asked.place.json {
        let (run, pruned) = match &looked.of {
            What::All => (None, None),
            What::Run(run, pruned) => (Some(run), pruned.as_ref()),
            What::Export(run, ..) => (Some(run), None),
        };
        let found = Found {
            holds,
            looked: &looked.found,
            run,
            seal: looked.seal.as_ref(),
            seal_is_as_given: seal_is,
            pruned,
            last_links: looked.last.as_ref(),
            last_links_hold: given.held.as_ref().map(|held| *held == Held::Yes),
        };
        print_json(&found, to)?;
    } else {
        looked.print(&given, to)?;
    }
    Ok(if holds { Exit::Done } else { Exit::Failed })
}

fn look(store: &Store, run: Option<&str>) -> Result<Looked, Refused> {
    let Some(run) = run else {
        let (found, last) = (store.verify(None)?, Some(store.last_links()?));
        return Ok(Looked { of: What::All, found, seal: None, last });
    };
    let run = store.find(run)?;
    let (found, seal) = (store.verify(Some(&run))?, store.seal(&run)?);
    let pruned = store.pruned(&run)?;
    Ok(Looked { of: What::Run(run, pruned), found, seal, last: None })
}

fn exported(file: &Path) -> Result<Looked, Refused> {
    let wrong = |what: &dyn Display| Refused::Input(format!("{}: {what}\n", file.display()));
    let text = std::fs::read_to_string(file).map_err(|trouble| wrong(&trouble))?;
    let found = verify_export(&text).map_err(|problem| wrong(&problem))?;
    let of = What::Export(found.run, sha256(text.as_bytes()));
    Ok(Looked { of, found: found.looked, seal: Some(found.seal), last: None })
}

/// The SHA-256 digest of a file, hexadecimal.
pub(super) fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Whether a person's words are a seal: in groups and in capitals too, as a report may print it.
fn is_seal(given: &str, stored: Option<&str>) -> bool {
    let plain: String = given.chars().filter(|sign| !sign.is_whitespace()).collect();
    stored.is_some_and(|stored| stored == plain.to_ascii_lowercase())
}

impl Given {
    fn holds(&self) -> bool {
        self.seal_is != Some(false) && self.held.as_ref().is_none_or(|held| *held == Held::Yes)
    }

    fn print(&self, to: &mut impl Write) -> io::Result<()> {
        match self.seal_is {
            Some(true) => writeln!(to, "it is the seal that was given")?,
            Some(false) => writeln!(to, "it is not the seal that was given")?,
            None => {}
        }
        match &self.held {
            Some(Held::Yes) => {
                writeln!(to, "all that was there with the last links given is there")
            }
            Some(Held::Cut(what)) => writeln!(to, "the last links given are not held: {what}"),
            Some(Held::Otherwise) => writeln!(
                to,
                "the last links given are not held: all they name is there, and not as it was"
            ),
            None => Ok(()),
        }
    }
}

impl Looked {
    fn print(&self, given: &Given, to: &mut impl Write) -> io::Result<()> {
        let Verification { runs, entries, rows, flaws, .. } = &self.found;
        let count = |count: u64, what| counted(usize::try_from(count).unwrap_or(usize::MAX), what);
        let entries =
            if *entries == 1 { "1 entry".to_owned() } else { format!("{entries} entries") };
        let rows = count(*rows, "other row");
        match &self.of {
            What::All => writeln!(to, "looked at {}, {entries} and {rows}", count(*runs, "run"))?,
            What::Run(..) => writeln!(
                to,
                "looked at the run, its {entries}, and {rows}: all that people added to runs"
            )?,
            What::Export(_, digest) => writeln!(
                to,
                "looked at the run, its {entries}, and {rows}; the file has SHA-256 {digest}"
            )?,
        }
        for flaw in flaws.iter().take(TOLD) {
            writeln!(to, "{}", say::one_line(&flaw.to_string()))?;
        }
        if flaws.len() > TOLD {
            writeln!(to, "and {} more; --json lists all", flaws.len() - TOLD)?;
        }
        match &self.seal {
            Some(Seal { since, seal: Some(seal), .. }) => {
                writeln!(to, "seal {seal}, begun {since}")?;
            }
            Some(Seal { seal: None, .. }) => writeln!(to, "no seal: the run is open")?,
            None => {}
        }
        given.print(to)?;
        if !flaws.is_empty() {
            return writeln!(
                to,
                "the record is not as it was written: keep the file, and a backup made before \
                 beside it"
            );
        }
        if given.holds() {
            self.print_held(to)
        } else {
            writeln!(
                to,
                "the record agrees with itself, and is not the one that this was printed from"
            )
        }
    }

    /// What was found to be as it was, and what was not looked at.
    fn print_held(&self, to: &mut impl Write) -> io::Result<()> {
        match &self.of {
            What::All => {
                writeln!(to, "nothing was changed since it was written")?;
                if self.found.elsewhere > 0 {
                    let runs = usize::try_from(self.found.elsewhere).unwrap_or(usize::MAX);
                    writeln!(
                        to,
                        "not looked at: the entries of {}, which were put into files of their own; \
                         `evenpass records verify --export FILE` looks through one",
                        counted(runs, "run")
                    )?;
                }
            }
            What::Run(_, Some(Pruned { entries, file, digest, .. })) => writeln!(
                to,
                "nothing that is here of this run was changed since it was written\n\
                 not looked at: its entries ({entries}), which were put into {}, SHA-256 {}; \
                 `evenpass records verify --export FILE` looks through that",
                say::one_line(file),
                say::one_line(digest)
            )?,
            What::Run(_, None) => writeln!(
                to,
                "nothing of this run was changed since it was written, nor of what people added\n\
                 not looked at: the other runs, and proof tests; \
                 `evenpass records verify` looks at all"
            )?,
            What::Export(..) => {
                writeln!(
                    to,
                    "nothing of the run in this file was changed since it was written; which \
                     program wrote the file is in no digest"
                )?;
                if self.found.elsewhere > 0 {
                    writeln!(to, "it has no entries: they went into another file before")?;
                }
                writeln!(
                    to,
                    "whether the file has all that people added to the run is known by the records \
                     alone: `evenpass records verify RUN`"
                )?;
            }
        }
        print_last(self.last.as_ref(), to)
    }
}

/// What shows later that nothing was cut off, for whoever keeps it where nobody can change it.
fn print_last(last: Option<&LastLinks>, to: &mut impl Write) -> io::Result<()> {
    let Some(last) = last else { return Ok(()) };
    writeln!(
        to,
        "the last links: {last}\nkeep them elsewhere: `evenpass records verify --last LINKS` tells \
         whether anything was cut off at the end since"
    )
}

/// Copies the records, runs that are being written too, and looks through the copy.
pub(super) fn back_up(asked: &BackupArguments, to: &mut impl Write) -> Result<Exit, Refused> {
    let store =
        records_file(asked.records.as_deref()).and_then(|file| Store::open_to_read(&file))?;
    store.back_up(&asked.file)?;
    let copy = Store::open_existing(&asked.file)?;
    let looked = look(&copy, None)?;
    let size = std::fs::metadata(&asked.file).map_or(0, |file| file.len());
    #[expect(clippy::cast_precision_loss, reason = "shown in tenths of a megabyte")]
    let megabytes = size as f64 / 1e6;
    let runs = counted(usize::try_from(looked.found.runs).unwrap_or(usize::MAX), "run");
    writeln!(to, "{} with {runs}, {megabytes:.1} MB", asked.file.display())?;
    looked.print(&Given { seal_is: None, held: None }, to)?;
    Ok(if looked.found.holds() { Exit::Done } else { Exit::Failed })
}
