//! `records feeder` and `records stripe`: the feeder by catching and weighing, the footprint by a
//! single pass over a plate.

use std::io::Write;

use clap::Args;
use evenpass_core::learn::{
    Catch, FeederMeasured, Measured, StripeMeasured, ThicknessReading, rate_caught,
};
use evenpass_core::quantity::{Length, Mass, MassFlow, Speed, Time};
use jiff::Timestamp;
use jiff::civil::Date;

use super::reading::{At, at, catch, positive};
use super::told::{PairArguments, Refused, Teller, day, keep, lesson, print_lesson};
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
    /// Powder set at the feeder.
    #[arg(long, value_name = "RATE", value_parser = positive::<MassFlow>)]
    set: MassFlow,
    /// Powder caught in a time at full flow, such as "57.9 g in 60 s"; may be given more than
    /// once.
    #[arg(long = "caught", value_name = "MASS in TIME", value_parser = catch, required = true)]
    catches: Vec<Catch>,
    /// How well a weight is known, one standard deviation.
    #[arg(long, value_name = "MASS", value_parser = positive::<Mass>, default_value = "0.1 g")]
    balance: Mass,
    /// How well a time is known, one standard deviation.
    #[arg(long, value_name = "TIME", value_parser = positive::<Time>, default_value = "0.2 s")]
    clock: Time,
    /// The day it was measured; today when left out.
    #[arg(long, value_name = "DATE")]
    date: Option<Date>,
    #[command(flatten)]
    teller: Teller,
}

/// What `records stripe` is told.
#[derive(Debug, Args)]
pub(in crate::cli) struct StripeArguments {
    #[command(flatten)]
    pair: PairArguments,
    /// Powder set at the feeder.
    #[arg(long, value_name = "RATE", value_parser = positive::<MassFlow>)]
    set: MassFlow,
    /// Feed of the torch over the plate.
    #[arg(long, value_name = "SPEED", value_parser = positive::<Speed>)]
    feed: Speed,
    /// Thickness at a place across the stripe, counted from anywhere, such as "-6 mm=0.08 mm";
    /// five places at the least.
    #[arg(long = "thickness", value_name = "PLACE=THICKNESS", value_parser = at, allow_hyphen_values = true)]
    thicknesses: Vec<At>,
    /// How well a thickness is known, one standard deviation.
    #[arg(long, value_name = "LENGTH", value_parser = positive::<Length>, default_value = "0.01 mm")]
    gauge: Length,
    /// The day it was measured; today when left out.
    #[arg(long, value_name = "DATE")]
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
    let measured = Measured::Feeder(FeederMeasured {
        set: arguments.set,
        catches: arguments.catches.clone(),
        balance: arguments.balance,
        clock: arguments.clock,
    });
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
            "--thickness: found {} places across the stripe\naccepted: {FEWEST_PLACES} at the \
             least, from foot to foot\n",
            readings.len()
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
    let measured = Measured::Stripe(StripeMeasured {
        set: arguments.set,
        feed: arguments.feed,
        readings,
        gauge: arguments.gauge,
    });
    take(&arguments.pair, &arguments.teller, arguments.date, measured, to)
}

fn take(
    pair: &PairArguments,
    teller: &Teller,
    date: Option<Date>,
    measured: Measured,
    to: &mut impl Write,
) -> Result<(), Refused> {
    let person = teller.person()?;
    let measured_on = day(date, None)?;
    let (pair, rig, kind, figures) = pair.found(&teller.catalogue(None)?)?;
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
