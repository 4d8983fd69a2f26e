//! What people tell of a batch: refills, a tip cleaned, parts blasted, lots.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use evenpass_core::quantity::{Mass, Time, Volume};
use jiff::Timestamp;

use super::find;
use crate::batch::gas::OXYGEN;
use crate::batch::shift::words;
use crate::cli::batch::job::BatchJob;
use crate::cli::refused::Refused;
use crate::cli::say;
use crate::files::{self, Places};
use crate::learning::Lessons;
use crate::record::{Batch, Mark, Said, Store, records_file};

/// The most a hopper may be said to hold (arbitrary: ten times the bench's).
const LARGEST_HOPPER: Mass = Mass::from_g(20_000.0);

/// Of which batch, and who tells it.
#[derive(Debug, Args)]
pub(in crate::cli) struct Teller {
    /// The batch, or `latest`.
    batch: String,
    /// Who tells it: the name stands in the record.
    #[arg(long, value_name = "NAME")]
    person: String,
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
}

/// What `batch refilled` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct RefilledArguments {
    #[command(flatten)]
    teller: Teller,
    /// What is in it now.
    #[arg(long, value_name = "MASS")]
    holds: Mass,
}

/// What `batch tip-cleaned` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct TipArguments {
    #[command(flatten)]
    teller: Teller,
    /// The rig file; the bench's twin when left out.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// The folder with powders.toml and torches.toml; the recipe's neighbours when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
}

/// What `batch blasted` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct BlastedArguments {
    #[command(flatten)]
    teller: Teller,
    /// Which parts: numbers and ranges such as 1-8,12.
    #[arg(long, value_name = "PARTS")]
    parts: String,
    /// How long ago; just now when left out.
    #[arg(long, value_name = "TIME", default_value = "0 min")]
    ago: Time,
}

/// What `batch lot` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct LotArguments {
    #[command(flatten)]
    teller: Teller,
    /// Of what: a powder or fuel gas by its key in the catalogue, or `oxygen`.
    of: String,
    /// The lot, as its supplier names it.
    lot: String,
    /// Its certificate.
    #[arg(long, value_name = "WORDS")]
    certificate: Option<String>,
    /// What the bottles hold, at a change of bottle: from then on it is said when they run out.
    #[arg(long, value_name = "VOLUME")]
    contents: Option<Volume>,
    /// The folder with powders.toml and torches.toml; the recipe's neighbours when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
}

/// The hopper was filled.
pub(super) fn refilled(told: &RefilledArguments, to: &mut impl Write) -> Result<(), Refused> {
    if told.holds < Mass::ZERO || told.holds > LARGEST_HOPPER {
        return Err(Refused::Input(format!(
            "--holds: found {}\naccepted: 0 g to {LARGEST_HOPPER}, all that is in the hopper now\n",
            told.holds
        )));
    }
    keep(&told.teller, |_| Ok(Said::Refilled { holds: told.holds }), to)
}

/// The tip was cleaned.
pub(super) fn tip_cleaned(told: &TipArguments, to: &mut impl Write) -> Result<(), Refused> {
    let records = told.teller.records.as_deref();
    let places = Places { rig: told.rig.as_deref(), catalogue: told.catalogue.as_deref() };
    let of = BatchJob::of(&told.teller.batch, records, places, Lessons::Kept(records))?;
    let (torch, burned) = (of.standing.torch.clone(), of.standing.tip_burned);
    keep(&told.teller, |_| Ok(Said::TipCleaned { torch, burned: Some(burned) }), to)
}

/// Parts were blasted.
pub(super) fn blasted(told: &BlastedArguments, to: &mut impl Write) -> Result<(), Refused> {
    let ago = told.ago;
    if ago < Time::ZERO || ago > Time::from_s(86_400.0) {
        return Err(Refused::Input(format!(
            "--ago: found {ago}\naccepted: 0 s to 24 h: an older surface is none to spray on\n"
        )));
    }
    let ended = Timestamp::now().checked_sub(ago.to_duration()).unwrap_or(Timestamp::MIN);
    keep(
        &told.teller,
        |batch| {
            let parts = numbers(&told.parts, batch)?;
            Ok(Said::Blasted { parts, ended })
        },
        to,
    )
}

/// Another lot is used.
pub(super) fn lot(told: &LotArguments, to: &mut impl Write) -> Result<(), Refused> {
    let line = |option: &str, text: &str| match text.trim() {
        "" => {
            Err(Refused::Input(format!("{option}: found nothing\naccepted: what it is called\n")))
        }
        text if say::one_line(text) != text || text.chars().count() > 80 => {
            Err(Refused::Input(format!(
                "{option}: found more than a line\naccepted: one line of up to 80 characters\n"
            )))
        }
        text => Ok(text.to_owned()),
    };
    let lot = line("lot", &told.lot)?;
    let certificate =
        told.certificate.as_deref().map(|text| line("--certificate", text)).transpose()?;
    keep(
        &told.teller,
        |batch| {
            let recipe = PathBuf::from(&batch.recipe.name);
            let catalogue = files::catalogue(told.catalogue.as_deref(), Some(&recipe))
                .map_err(Refused::Input)?;
            let gases = catalogue.fuel_gases.iter().map(|gas| gas.key.as_str()).chain([OXYGEN]);
            let is_gas = gases.clone().any(|key| key == told.of);
            let is_powder = catalogue.powder(&told.of).is_some();
            let powders = catalogue.powders.iter().map(|powder| powder.key.as_str());
            if !is_gas && !is_powder {
                let known: Vec<&str> = powders.chain(gases).collect();
                return Err(Refused::Input(format!(
                    "lot of: found \"{}\", which is none in the catalogue\naccepted: {}\n",
                    say::one_line(&told.of),
                    known.join(", ")
                )));
            }
            match told.contents {
                Some(_) if is_powder => Err(Refused::Input(
                    "--contents: a powder has none; say what the hopper holds with `evenpass batch \
                     refilled`\n"
                        .to_owned(),
                )),
                Some(contents) if contents <= Volume::ZERO => Err(Refused::Input(format!(
                    "--contents: found {contents}\naccepted: what the bottles hold, above nothing\n"
                ))),
                contents => Ok(Said::Lot { of: told.of.clone(), lot, certificate, contents }),
            }
        },
        to,
    )
}

/// Keeps what was told and says so.
fn keep(
    teller: &Teller,
    said: impl FnOnce(&Batch) -> Result<Said, Refused>,
    to: &mut impl Write,
) -> Result<(), Refused> {
    let person = say::check_person(&teller.person, "whoever did it").map_err(Refused::Input)?;
    let mut store = Store::open_existing(&records_file(teller.records.as_deref())?)?;
    let batch = find(&store, &teller.batch)?;
    let said = said(&batch)?;
    let mark = Mark {
        at: Timestamp::now(),
        person: person.to_owned(),
        rig: batch.rig.clone(),
        kind: batch.kind,
        run: None,
        batch: Some(batch.id.clone()),
        said,
    };
    let number = store.keep_mark(&mark)?;
    let words = say::one_line(&words(&mark.said));
    Ok(writeln!(to, "number {number}, batch {}: {words}", say::one_line(batch.id.as_str()))?)
}

/// Numbers and ranges of parts.
fn numbers(text: &str, batch: &Batch) -> Result<Vec<u32>, Refused> {
    let most = u32::try_from(batch.ordered.serials.len()).unwrap_or(u32::MAX);
    let wrong = || {
        Refused::Input(format!(
            "--parts: found \"{}\"\naccepted: numbers from 1 to {most} and ranges of them, such as \
             1-8,12\n",
            say::one_line(text)
        ))
    };
    let mut all = Vec::new();
    for piece in text.split(',') {
        let (first, last) = piece.split_once('-').unwrap_or((piece, piece));
        let number = |text: &str| text.trim().parse::<u32>().map_err(|_| wrong());
        let (first, last) = (number(first)?, number(last)?);
        if first == 0 || last < first || last > most {
            return Err(wrong());
        }
        all.extend(first..=last);
    }
    all.sort_unstable();
    all.dedup();
    Ok(all)
}
