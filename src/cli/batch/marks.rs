//! What people tell of a batch: refills, a tip cleaned, parts blasted, lots.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use evenpass_core::quantity::{Mass, Time, Volume};
use jiff::Timestamp;

use crate::batch::job::{BatchJob, find};
use crate::batch::telling::{self, LotTold};
use crate::cli::refused::Refused;
use crate::cli::{say, signing};
use crate::files::{self, Places};
use crate::learning::Lessons;
use crate::people::Right;
use crate::record::{Batch, Said, Store, records_file};

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
    #[arg(long, value_name = "MASS", allow_hyphen_values = true)]
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
    #[arg(long, value_name = "TIME", default_value = "0 min", allow_hyphen_values = true)]
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
    #[arg(long, value_name = "VOLUME", allow_hyphen_values = true)]
    contents: Option<Volume>,
    /// The folder with powders.toml and torches.toml; the recipe's neighbours when left out.
    #[arg(long, value_name = "FOLDER")]
    catalogue: Option<PathBuf>,
}

/// The hopper was filled.
pub(super) fn refilled(told: &RefilledArguments, to: &mut impl Write) -> Result<(), Refused> {
    let said = telling::refilled(told.holds)?;
    keep(&told.teller, |_| Ok(said), to)
}

/// The tip was cleaned.
pub(super) fn tip_cleaned(told: &TipArguments, to: &mut impl Write) -> Result<(), Refused> {
    let records = told.teller.records.as_deref();
    let places = Places { rig: told.rig.as_deref(), catalogue: told.catalogue.as_deref() };
    let of = BatchJob::of(&told.teller.batch, records, places, Lessons::Kept(records))?;
    keep(&told.teller, |_| Ok(telling::tip_cleaned(&of.standing)), to)
}

/// Parts were blasted.
pub(super) fn blasted(told: &BlastedArguments, to: &mut impl Write) -> Result<(), Refused> {
    let ended = telling::blasted_at(told.ago, Timestamp::now())?;
    keep(&told.teller, |batch| Ok(telling::blasted(batch, &told.parts, ended)?), to)
}

/// Another lot is used.
pub(super) fn lot(told: &LotArguments, to: &mut impl Write) -> Result<(), Refused> {
    let lot = LotTold {
        of: &told.of,
        lot: &told.lot,
        certificate: told.certificate.as_deref(),
        contents: told.contents,
    };
    lot.named()?;
    keep(
        &told.teller,
        |batch| {
            let recipe = PathBuf::from(&batch.recipe.name);
            let catalogue = files::catalogue(told.catalogue.as_deref(), Some(&recipe))
                .map_err(Refused::Input)?;
            Ok(lot.said(&catalogue)?)
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
    signing::may(person, Right::Run, teller.records.as_deref())?;
    let mut store = Store::open_existing(&records_file(teller.records.as_deref())?)?;
    let batch = find(&store, &teller.batch)?;
    let said = said(&batch)?;
    let (number, words) = telling::keep(&mut store, &batch, person, said)?;
    Ok(writeln!(to, "number {number}, batch {}: {words}", say::one_line(batch.id.as_str()))?)
}
