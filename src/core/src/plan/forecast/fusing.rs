//! The fusing of a zone: what the flame does in each phase, and what comes of it at the earliest.

use core::fmt;

use serde::Serialize;

use super::course::Course;
use super::print::{clock, row};
use super::temperature::Outcome;
use super::{Basis, Certainty, counted};
use crate::catalogue::GasSetting;
use crate::model::Source;
use crate::plan::heat::source;
use crate::plan::problem::Findings;
use crate::program::{FuseStep, Program};
use crate::quantity::{Length, Range, Speed, Temperature, Time};
use crate::recipe::End;

/// A leg of an oscillation is counted with at least this time, s: the reversal of a band of no
/// length takes as long as the drive needs for it.
const REVERSAL: Time = Time::from_s(0.1);

/// One band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct BandForecast {
    /// Where it lies: turning points of the oscillation.
    pub band: Range<Length>,
    /// Heating up, oscillating, until the pyrometer reads the low end of the window: at least
    /// this. `None` when the longest time allowed does not do.
    pub heats: Option<Time>,
    /// What the pyrometer reads then.
    pub reads: Temperature,
    /// The coldest place of the band then.
    pub coldest: Temperature,
    /// From then until it reads more than the ceiling, if nobody calls the band wet; `None` when
    /// it does not get there in the longest time allowed.
    pub to_ceiling: Option<Time>,
    /// Drawing the wet front along to the next band; `None` after the last one.
    pub draws: Option<Time>,
}

/// How a zone is fused.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct FusingForecast {
    /// The zone.
    pub zone: String,
    /// Which end is first.
    pub starts: End,
    /// The fuel gas.
    pub fuel_gas: String,
    /// Gas and net heat of both phases: a torch has one setting for fusing.
    pub gas: GasSetting,
    /// Speed of the heating up, oscillating.
    pub oscillation: Speed,
    /// Speed of drawing the wet front along.
    pub feed: Speed,
    /// What the pyrometer is to be held between.
    pub window: Range<Temperature>,
    /// Above this the torch is withdrawn.
    pub ceiling: Temperature,
    /// The bands in the order they are fused.
    pub bands: Vec<BandForecast>,
}

impl fmt::Display for FusingForecast {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let from = match self.starts {
            End::ChuckSide => "chuck side",
            End::TailSide => "tail side",
        };
        writeln!(
            f,
            "Fusing \"{}\", from the {from} on; at least, until a preheat is measured",
            self.zone
        )?;
        let gas = format!(
            "{} {}, {} oxygen, {} net",
            self.gas.fuel, self.fuel_gas, self.gas.oxygen, self.gas.net_power
        );
        row(f, "heating up", &format!("oscillates at {}; {gas}", self.oscillation))?;
        row(f, "drawing along", &format!("{}; the same gas", self.feed))?;
        let (low, high) = (self.window.low.celsius(), self.window.high);
        row(f, "held", &format!("{low:.0} to {high:.0}, torch away above {:.0}", self.ceiling))?;
        writeln!(
            f,
            "  {:<28} {:>10} {:>10} {:>10} {:>14} {:>10}",
            "bands, mm", "heats up", "reads", "coldest", "ceiling after", "draws"
        )?;
        for band in &self.bands {
            let time = |time: Option<Time>, none: &str| time.map_or_else(|| none.to_owned(), clock);
            let degrees = |at: Temperature| format!("{:.0} degC", at.celsius());
            let line = format!(
                "    {:<26} {:>10} {:>10} {:>10} {:>14} {:>10}",
                format!("{:.2} to {:.2}", band.band.low.mm(), band.band.high.mm()),
                time(band.heats, "too cold"),
                degrees(band.reads),
                degrees(band.coldest),
                time(band.to_ceiling, "-"),
                time(band.draws, "-"),
            );
            writeln!(f, "{line}")?;
        }
        Ok(())
    }
}

/// Fuses a zone as the sequence does when a person calls each band wet as soon as it can be.
///
/// A lower bound of the time: the mean over the section stands for the surface, the flame gives
/// as much to a hot surface as to a cold one, and nobody hesitates.
pub(super) fn fuse(
    basis: &Basis<'_>,
    program: &Program,
    step: &FuseStep,
    course: &mut Course,
    findings: &mut Findings,
) -> (Outcome, Option<FusingForecast>) {
    let what = format!("fuse \"{}\", {}", step.zone, counted(step.bands.len(), "band"));
    let (waits, waiting) = (0, Time::ZERO);
    let certainty = Certainty::AtLeast;
    let Some((torch, gas)) = basis.torches.fuse else {
        let leaves_at = course.seen();
        return (Outcome { what, certainty, torch: None, leaves_at, waits, waiting }, None);
    };
    let flame = source(torch, &torch.fusing);
    let mut bands = Vec::new();
    for (index, band) in step.bands.iter().enumerate() {
        let next = step.bands.get(index + 1);
        bands.push(fuse_band(program, step, (*band, next), course, &flame));
    }
    tell(step, &bands, torch.fusing.net_power.kw(), findings);
    let told = FusingForecast {
        zone: step.zone.clone(),
        starts: step.starts,
        fuel_gas: gas.title.clone(),
        gas: torch.fusing,
        oscillation: step.oscillation,
        feed: step.feed,
        window: step.window,
        ceiling: step.ceiling,
        bands,
    };
    let leaves_at = course.hottest();
    (Outcome { what, certainty, torch: Some(step.torch), leaves_at, waits, waiting }, Some(told))
}

fn fuse_band(
    program: &Program,
    step: &FuseStep,
    (band, next): (Range<Length>, Option<&Range<Length>>),
    course: &mut Course,
    flame: &Source,
) -> BandForecast {
    let began = course.now();
    // A band left by drawing along is entered at its nearer end already.
    if !band.contains(course.torch()) {
        course.go(nearer(band, course.torch()), program.positioning, Some(flame), |_| false);
    }
    let wets = |course: &Course| course.read() >= step.window.low;
    let wet = oscillate(band, step, course, flame, wets);
    let heats = wet.then(|| course.now() - began);
    let (reads, coldest) = (course.read(), course.coldest(band));
    let to_ceiling = heats.and_then(|_| {
        let mut ahead = course.ahead();
        let hot = oscillate(band, step, &mut ahead, flame, |course| course.read() > step.ceiling);
        hot.then(|| ahead.now() - course.now())
    });
    let draws = next.map(|next| {
        let from = course.now();
        course.go(nearer(*next, course.torch()), step.feed, Some(flame), |_| false);
        course.now() - from
    });
    BandForecast { band, heats, reads, coldest, to_ceiling, draws }
}

/// Over the band from end to end until something is so, for the longest time allowed; whether it
/// came to be.
fn oscillate(
    band: Range<Length>,
    step: &FuseStep,
    course: &mut Course,
    flame: &Source,
    so: impl Fn(&Course) -> bool,
) -> bool {
    let ends = course.now() + step.longest;
    let mut to = nearer(band, course.torch());
    while !so(course) {
        if course.now() >= ends {
            return false;
        }
        let before = course.now();
        if course.go(to, step.oscillation, Some(flame), &so) {
            return true;
        }
        if course.now() - before < REVERSAL {
            course.rest(REVERSAL, Some(flame));
        }
        to = if to == band.low { band.high } else { band.low };
    }
    true
}

fn nearer(band: Range<Length>, torch: Length) -> Length {
    if torch > (band.low + band.high) / 2.0 { band.high } else { band.low }
}

fn tell(step: &FuseStep, bands: &[BandForecast], net: f64, findings: &mut Findings) {
    let place = format!("fuse, zone \"{}\"", step.zone);
    let cold = bands.iter().filter(|band| band.heats.is_none()).count();
    if cold > 0 {
        findings.note(
            place.clone(),
            format!(
                "{net:.1} kW of net heat can't bring {} to {} in {}: use a larger flame or \
                 narrower bands",
                if cold == bands.len() {
                    "its bands".to_owned()
                } else {
                    format!("{cold} of its bands")
                },
                step.window.low,
                step.longest
            ),
        );
    }
    let behind = |band: &&BandForecast| step.window.low.above(band.coldest);
    let worst = bands
        .iter()
        .filter(|band| band.heats.is_some())
        .max_by(|one, other| behind(one).kelvin().total_cmp(&behind(other).kelvin()));
    if let Some(worst) = worst
        && behind(&worst).kelvin() > UNEVEN
    {
        findings.note(
            place,
            format!(
                "when the band from {:.1} to {:.1} reads {:.0}, its coldest place is {:.0}: what is \
                 called wet there is not wet everywhere",
                worst.band.low.mm(),
                worst.band.high,
                worst.reads,
                worst.coldest
            ),
        );
    }
}

/// A band that is this much colder at one place than where it reads hot is told; the usual window
/// of fusing is as wide as this (common practice, no source), K.
const UNEVEN: f64 = 60.0;
