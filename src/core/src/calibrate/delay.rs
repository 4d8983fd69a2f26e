//! How late powder comes, and how late it ceases.

use super::{Calibrated, mean_and_spread, refuse};
use crate::catalogue::bounds::POWDER_DELAY;
use crate::catalogue::{Torch, TorchPurpose};
use crate::document::{FieldValue, Problem};
use crate::quantity::{Length, Speed, Time};

/// Times of one delay agree within this: a thumb on a watch is some 0.1 s early or late (from
/// memory of ergonomics).
const AGREE: Time = Time::from_s(0.4);
/// A change smaller than this moves no edge that anybody could measure (arbitrary; 0.1 mm at a
/// usual feed of 10 mm/s).
const COUNTS_FROM: Time = Time::from_s(0.01);

/// One time measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DelayReading {
    /// By a watch and a sheet of paper.
    Timed(Time),
    /// By a stripe on a plate.
    Stripe {
        /// Feed of the torch over the plate.
        feed: Speed,
        /// From where the feeder was switched to where the stripe has half its thickness.
        ran: Length,
    },
}

impl DelayReading {
    /// The delay. A stripe's half thickness lies where powder has come on average: behind the
    /// delay by the time constant of its rise.
    fn delay(self, rise: Time) -> f64 {
        match self {
            Self::Timed(time) => time.s(),
            Self::Stripe { feed, ran } => ran.mm() / feed.mm_per_s() - rise.s(),
        }
    }
}

/// What was measured; one of the two may be left out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DelayMeasured {
    /// From the feeder's start until powder arrives.
    pub on: Vec<DelayReading>,
    /// From its stop until no more does.
    pub off: Vec<DelayReading>,
}

/// The delays of a torch, for its entry in the catalogue.
///
/// # Errors
/// A torch without powder, too few readings, readings that contradict each other, and delays that
/// no hose has.
pub fn powder_delay(torch: &Torch, measured: &DelayMeasured) -> Result<Calibrated, Box<Problem>> {
    if torch.purpose == TorchPurpose::Fusing {
        let found = format!("the torch \"{}\" has no powder", torch.key);
        return refuse(Problem::error("on", found).accepted("a torch that sprays"));
    }
    if measured.on.is_empty() && measured.off.is_empty() {
        return refuse(
            Problem::error("on", "nothing was measured")
                .accepted("three times or more, for the start, for the stop, or for both"),
        );
    }
    let of = [
        ("on", &measured.on, torch.powder_delay_on),
        ("off", &measured.off, torch.powder_delay_off),
    ];
    let mut writes = Vec::new();
    let mut found = Vec::new();
    for (key, readings, present) in of.into_iter().filter(|(_, readings, _)| !readings.is_empty()) {
        let delay = delay(key, readings, torch.powder_rise)?;
        found.push(format!("{key} after {delay}, {present} in the catalogue"));
        if (delay - present).abs() >= COUNTS_FROM {
            let path = format!("torch[{}].powder_delay_{key}", torch.key);
            writes.push((path, FieldValue::Text(delay.to_string())));
        }
    }
    let notes = if writes.is_empty() {
        Vec::new()
    } else {
        vec!["the next plan with this torch switches the powder by it; measure its first part"]
    };
    Ok(Calibrated { procedure: "powder_delay", found: found.join("; "), writes, notes })
}

fn delay(key: &str, readings: &[DelayReading], rise: Time) -> Result<Time, Box<Problem>> {
    let times: Vec<f64> = readings.iter().map(|reading| reading.delay(rise)).collect();
    let (mean, spread) = mean_and_spread(key, &times)?;
    // Hundredths: finer than anybody can measure.
    let delay = Time::from_s((mean * 100.0).round() / 100.0);
    if let Some(odd) = times.iter().map(|time| Time::from_s(*time)).find(|t| !POWDER_DELAY.hold(t))
    {
        return refuse(
            Problem::error(key, format!("a delay of {odd}"))
                .accepted(format!("{} to {}", POWDER_DELAY.low, POWDER_DELAY.high))
                .help("look at the units, and from where to where it was measured"),
        );
    }
    if spread > AGREE.s() {
        return refuse(Problem::error(
            key,
            format!("the times differ by {:.2}", Time::from_s(spread)),
        )
        .accepted(format!("times that agree within {AGREE}"))
        .help("measure again; if it is so, the powder pulses: look at hopper, hose and carrier"));
    }
    Ok(delay)
}
