//! `records delay`: how late powder comes and ceases, by a watch.

use std::io::Write;

use clap::Args;
use evenpass_core::calibrate::{DelayMeasured, DelayReading, powder_delay};
use evenpass_core::learn::{Measured, PowderDelayMeasured};
use evenpass_core::quantity::Time;
use jiff::civil::Date;

use super::feeder::take;
use super::told::{PairArguments, Teller};
use crate::adding::typed::{date, positive};
use crate::cli::refused::Refused;

/// What `records delay` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct DelayArguments {
    #[command(flatten)]
    pair: PairArguments,
    /// From the feeder's start until powder arrives; three times or more.
    #[arg(long, value_name = "TIME", value_parser = positive::<Time>)]
    on: Vec<Time>,
    /// From its stop until no more does; three times or more.
    #[arg(long, value_name = "TIME", value_parser = positive::<Time>)]
    off: Vec<Time>,
    /// The day it was measured; today when left out.
    #[arg(long, value_name = "DATE", value_parser = date)]
    date: Option<Date>,
    #[command(flatten)]
    teller: Teller,
}

/// Takes a delay into the records. It has to be one that the catalogue could be given.
pub(super) fn delay(arguments: &DelayArguments, to: &mut impl Write) -> Result<(), Refused> {
    let catalogue = arguments.teller.catalogue(None)?;
    let (pair, ..) = arguments.pair.found(&catalogue)?;
    let timed = |times: &[Time]| times.iter().copied().map(DelayReading::Timed).collect();
    let measured = DelayMeasured { on: timed(&arguments.on), off: timed(&arguments.off) };
    if let Some(torch) = catalogue.torch(&pair.torch) {
        let found = powder_delay(torch, &measured).map_err(|problem| {
            let line = |name: &str, words: &Option<String>| {
                words.as_ref().map_or_else(String::new, |words| format!("{name}: {words}\n"))
            };
            let (accepted, help) =
                (line("accepted", &problem.accepted), line("help", &problem.help));
            Refused::Input(format!("--{}: {}\n{accepted}{help}", problem.path, problem.found))
        })?;
        writeln!(to, "{}", found.found)?;
        if !found.writes.is_empty() {
            writeln!(to, "The catalogue is as it was: write it there to plan with it.")?;
        }
    }
    let delay = PowderDelayMeasured { on: arguments.on.clone(), off: arguments.off.clone() };
    let measured = Measured::PowderDelay(delay);
    take(&arguments.pair, &arguments.teller, arguments.date, measured, to)
}
