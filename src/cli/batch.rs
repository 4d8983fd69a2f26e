//! `batch`: an order for many parts alike, what is told of it, and the shift's report.

mod made;
mod marks;
pub(super) mod report;
pub(super) mod show;

use std::io::{self, Write};
use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::Exit;
use crate::cli::refused::Refused;
use crate::record::{Store, records_file};

/// What `batch` is asked.
#[derive(Debug, Subcommand)]
pub(super) enum BatchVerb {
    /// Take in an order for so many parts alike.
    ///
    /// Example: evenpass batch make config/recipes/pump-sleeve.toml --name 26-118 --parts 30
    /// --measure-every 5 --person "A. Fitter"
    Make(made::MakeArguments),
    /// List all batches, with what of each is made.
    ///
    /// Example: evenpass batch list
    List(Place),
    /// Show which part is next, and what is needed before it.
    ///
    /// Example: evenpass batch show 26-118
    Show(show::ShowArguments),
    /// Say what is in the hopper now.
    ///
    /// Example: evenpass batch refilled 26-118 --holds "2000 g" --person "A. Fitter"
    Refilled(marks::RefilledArguments),
    /// Say that the torch's tip was cleaned.
    ///
    /// Example: evenpass batch tip-cleaned 26-118 --person "A. Fitter"
    TipCleaned(marks::TipArguments),
    /// Say that parts were blasted, now or so long ago.
    ///
    /// Example: evenpass batch blasted 26-118 --parts 1-8 --person "A. Fitter"
    Blasted(marks::BlastedArguments),
    /// Say which lot of a powder or a gas is used from now on.
    ///
    /// Example: evenpass batch lot 26-118 nickel-hard L-4711 --person "A. Fitter"
    Lot(marks::LotArguments),
    /// Print the shift's report: of a batch, or of all that was made in a time.
    ///
    /// Example: evenpass batch report 26-118 --out shift.html
    Report(report::ReportArguments),
}

/// Where the records are and who reads them.
#[derive(Debug, Args)]
pub(super) struct Place {
    /// The records; the user's own when left out.
    #[arg(long, value_name = "FILE")]
    records: Option<PathBuf>,
    /// Print one JSON value for programs.
    #[arg(long)]
    json: bool,
}

pub(super) fn answer(verb: &BatchVerb) -> Exit {
    let mut to = io::stdout().lock();
    let answered = match verb {
        BatchVerb::Make(arguments) => made::make(arguments, &mut to),
        BatchVerb::List(place) => show::list(place, &mut to),
        BatchVerb::Show(arguments) => show::show(arguments, &mut to),
        BatchVerb::Refilled(arguments) => marks::refilled(arguments, &mut to),
        BatchVerb::TipCleaned(arguments) => marks::tip_cleaned(arguments, &mut to),
        BatchVerb::Blasted(arguments) => marks::blasted(arguments, &mut to),
        BatchVerb::Lot(arguments) => marks::lot(arguments, &mut to),
        BatchVerb::Report(arguments) => report::report(arguments, &mut to),
    };
    match answered {
        Ok(()) => Exit::Done,
        Err(refused) => refused.told(),
    }
}

impl Place {
    /// The records, which have to be there.
    fn store(&self) -> Result<Store, Refused> {
        Ok(Store::open_to_read(&records_file(self.records.as_deref())?)?)
    }
}

fn print_json(value: &impl serde::Serialize, to: &mut impl Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *to, value)?;
    writeln!(to)
}
