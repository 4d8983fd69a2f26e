//! `records feeder` and `records stripe`: the feeder by catching and weighing, the footprint by a
//! single pass over a plate.

use std::fmt::Display;
use std::io::Write;

use clap::Args;
use evenpass_core::learn::{
    Catch, FeederMeasured, Measured, StripeMeasured, ThicknessReading, rate_caught,
};
use evenpass_core::plan::forecast::counted;
use evenpass_core::quantity::{Length, Mass, MassFlow, Quantity, Range, Speed, Time};
use jiff::Timestamp;
use jiff::civil::Date;

use super::told::{PairArguments, Teller, contradictory, day, keep, lesson, print_lesson};
use crate::adding::typed::{At, at, balance, catch, clock, date, gauge, positive};
use crate::cli::refused::Refused;
use crate::record::Measurement;

/// A feeder that gives less or more than this of what is set is set wrong, not calibrated.
const BELIEVED: (f64, f64) = (0.3, 3.0);
/// Fewest places across a stripe: three decide a Gaussian, two more say whether it is one.
const FEWEST_PLACES: usize = 5;
/// Longest way across a stripe.
const WIDEST: Length = Length::from_mm(300.0);

/// What `records feeder` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct FeederArguments {
    #[command(flatten)]
    pair: PairArguments,
    /// Powder set at the feeder, within what the torch takes.
    #[arg(long, value_name = "RATE", value_parser = positive::<MassFlow>)]
    set: MassFlow,
    /// Powder caught in a time at full flow, such as "57.9 g in 60 s"; may be given more than
    /// once.
    #[arg(long = "caught", value_name = "MASS in TIME", value_parser = catch, required = true)]
    catches: Vec<Catch>,
    /// How far a reading of the balance is usually off, one standard deviation.
    #[arg(long, value_name = "MASS", value_parser = balance, default_value = "0.1 g")]
    balance: Mass,
    /// How far a time is usually off, one standard deviation.
    #[arg(long, value_name = "TIME", value_parser = clock, default_value = "0.2 s")]
    clock: Time,
    /// The day it was measured; today when left out.
    #[arg(long, value_name = "DATE", value_parser = date)]
    date: Option<Date>,
    #[command(flatten)]
    teller: Teller,
}

/// What `records stripe` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct StripeArguments {
    #[command(flatten)]
    pair: PairArguments,
    /// Powder set at the feeder, within what the torch takes.
    #[arg(long, value_name = "RATE", value_parser = positive::<MassFlow>)]
    set: MassFlow,
    /// Feed of the torch over the plate, within what the torch takes.
    #[arg(long, value_name = "SPEED", value_parser = positive::<Speed>)]
    feed: Speed,
    /// Thickness at a place across the stripe, counted from anywhere, such as "-6 mm=0.08 mm";
    /// five places at the least.
    #[arg(long = "thickness", value_name = "PLACE=THICKNESS", value_parser = at, allow_hyphen_values = true)]
    thicknesses: Vec<At>,
    /// How far a reading of the gauge is usually off, one standard deviation.
    #[arg(long, value_name = "LENGTH", value_parser = gauge, default_value = "0.01 mm")]
    gauge: Length,
    /// The day it was measured; today when left out.
    #[arg(long, value_name = "DATE", value_parser = date)]
    date: Option<Date>,
    #[command(flatten)]
    teller: Teller,
}

/// Takes a feeder's catches into the records.
pub(super) fn feeder(arguments: &FeederArguments, to: &mut impl Write) -> Result<(), Refused> {
    for caught in &arguments.catches {
        let rate = rate_caught(caught.mass, caught.time).unwrap_or(MassFlow::ZERO);
        let share = rate / arguments.set;
        if share < BELIEVED.0 || share > BELIEVED.1 {
            return Err(Refused::Input(format!(
                "--caught: found {} in {}, {rate:.1} where {} are set\naccepted: {:.1} to {:.1}\n\
                 help: look at the units, and whether the feeder ran in full flow\n",
                caught.mass,
                caught.time,
                arguments.set,
                arguments.set * BELIEVED.0,
                arguments.set * BELIEVED.1
            )));
        }
    }
    let measured = FeederMeasured {
        set: arguments.set,
        catches: arguments.catches.clone(),
        balance: arguments.balance,
        clock: arguments.clock,
    };
    if let Some((one, odd)) = measured.contradiction() {
        let told = |caught: Catch| {
            let rate = rate_caught(caught.mass, caught.time).unwrap_or(MassFlow::ZERO);
            format!("{} in {} ({rate:.1})", caught.mass, caught.time)
        };
        return Err(Refused::Input(format!(
            "--caught: found {} and {}, which one setting does not give\naccepted: catches that \
             differ by no more than balance and clock can make them\nhelp: catch once more, and \
             leave the odd one out\n",
            told(one),
            told(odd)
        )));
    }
    let measured = Measured::Feeder(measured);
    take(&arguments.pair, &arguments.teller, arguments.date, measured, to)
}

/// Takes a stripe into the records.
pub(super) fn stripe(arguments: &StripeArguments, to: &mut impl Write) -> Result<(), Refused> {
    let readings: Vec<ThicknessReading> = arguments
        .thicknesses
        .iter()
        .map(|reading| ThicknessReading { at: reading.place, thickness: reading.found })
        .collect();
    if readings.len() < FEWEST_PLACES {
        return Err(Refused::Input(format!(
            "--thickness: found {} across the stripe\naccepted: {FEWEST_PLACES} at the \
             least, from foot to foot\n",
            counted(readings.len(), "place")
        )));
    }
    let places = || readings.iter().map(|reading| reading.at);
    let low = places().reduce(Length::min).unwrap_or(Length::ZERO);
    let high = places().reduce(Length::max).unwrap_or(Length::ZERO);
    let thin = readings.iter().find(|reading| reading.thickness < Length::ZERO);
    if let Some(thin) = thin {
        return Err(Refused::Input(format!(
            "--thickness: found {} at {}\naccepted: zero or more\n",
            thin.thickness, thin.at
        )));
    }
    let highest = readings.iter().map(|reading| reading.thickness).fold(Length::ZERO, Length::max);
    if high - low > WIDEST || high <= low || highest < arguments.gauge * 5.0 {
        return Err(Refused::Input(format!(
            "--thickness: found a stripe {highest} high at the most, over {}\naccepted: places over \
             at most {WIDEST}, and a stripe at least five times as high as the gauge is uncertain, \
             {}\nhelp: spray it slower\n",
            high - low,
            arguments.gauge * 5.0
        )));
    }
    let measured = StripeMeasured {
        set: arguments.set,
        feed: arguments.feed,
        readings,
        gauge: arguments.gauge,
    };
    if let Some(odd) = measured.contradiction() {
        return Err(contradictory("--thickness", &odd));
    }
    let measured = Measured::Stripe(measured);
    take(&arguments.pair, &arguments.teller, arguments.date, measured, to)
}

/// What a torch was given has to be what it takes.
fn taken_by<Q: Quantity + PartialOrd + Display>(
    option: &str,
    found: Q,
    range: Range<Q>,
    torch: &str,
) -> Result<(), Refused> {
    if range.contains(found) {
        return Ok(());
    }
    Err(Refused::Input(format!(
        "{option}: found {found}\naccepted: {} to {}, what the torch \"{torch}\" takes by its \
         catalogue\n",
        range.low, range.high
    )))
}

pub(super) fn take(
    pair: &PairArguments,
    teller: &Teller,
    date: Option<Date>,
    measured: Measured,
    to: &mut impl Write,
) -> Result<(), Refused> {
    let person = teller.person()?;
    let measured_on = day(date, None)?;
    let catalogue = teller.catalogue(None)?;
    let (pair, rig, kind, figures) = pair.found(&catalogue)?;
    if let Some(torch) = catalogue.torch(&pair.torch) {
        let (set, feed) = match &measured {
            Measured::Feeder(feeder) => (Some(feeder.set), None),
            Measured::Stripe(stripe) => (Some(stripe.set), Some(stripe.feed)),
            Measured::Part(_) | Measured::PowderDelay(_) => (None, None),
        };
        if let (Some(set), Some(range)) = (set, torch.powder_rate) {
            taken_by("--set", set, range, &torch.key)?;
        }
        if let Some(feed) = feed {
            taken_by("--feed", feed, torch.feed, &torch.key)?;
        }
    }
    let mut store = teller.store_or_new()?;
    let draft = Measurement {
        kept_at: Timestamp::now(),
        measured_on,
        run: None,
        rig,
        kind,
        pair,
        person: person.to_owned(),
        measured,
    };
    keep(&mut store, &draft, to)?;
    let known = lesson(&store, &draft.rig, draft.kind, &draft.pair, &figures)?;
    Ok(print_lesson(&known, to)?)
}
