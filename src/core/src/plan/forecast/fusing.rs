//! The fusing of a zone: what the flame does in each phase, and what comes of it at the earliest.

use core::f64::consts::PI;
use core::fmt;

use serde::Serialize;

use super::course::Course;
use super::print::{WIDTH, clock, row, shortened};
use super::temperature::Outcome;
use super::{Basis, Certainty, counted};
use crate::catalogue::GasSetting;
use crate::coat::plume::capture;
use crate::model::Source;
use crate::plan::heat::{source, surface_over_mean};
use crate::plan::material::{Leads, conductivity};
use crate::plan::problem::Findings;
use crate::program::{FuseStep, Program};
use crate::quantity::{Length, Range, Speed, Temperature, TemperatureStep, Time};
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
    /// Heating up, oscillating, until the surface can be at the low end of the window: it takes at
    /// least this. `None` when the longest time allowed does not do.
    pub at_least: Option<Time>,
    /// The same until the whole section under the flame is; `None` as above.
    pub through: Option<Time>,
    /// What the section under the flame is at then.
    pub reads: Temperature,
    /// From then until it is above the ceiling, if nobody calls the band wet; `None` when it does
    /// not get there in the longest time allowed.
    pub to_ceiling: Option<Time>,
    /// Drawing the wet front along to the next band; `None` after the last one.
    pub draws: Option<Time>,
    /// How often the torch is expected to be withdrawn because the reading is above the ceiling.
    pub withdrawn: usize,
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
    /// The place of the zone that gets least hot in all of it.
    pub least_hot_at: Length,
    /// How hot that place gets, as the mean of its section.
    pub least_hot: Temperature,
}

impl FusingForecast {
    /// All bands together: at least this. `None` where a band stays too cold.
    #[must_use]
    pub fn at_least(&self) -> Option<Time> {
        let drawn: Time = self.bands.iter().filter_map(|band| band.draws).sum();
        let heated: Option<Vec<Time>> = self.bands.iter().map(|band| band.at_least).collect();
        heated.map(|times| times.into_iter().sum::<Time>() + drawn)
    }

    /// The same, each band heated through.
    #[must_use]
    pub fn through(&self) -> Option<Time> {
        let drawn: Time = self.bands.iter().filter_map(|band| band.draws).sum();
        let heated: Option<Vec<Time>> = self.bands.iter().map(|band| band.through).collect();
        heated.map(|times| times.into_iter().sum::<Time>() + drawn)
    }
}

impl fmt::Display for FusingForecast {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let from = match self.starts {
            End::ChuckSide => "chuck side",
            End::TailSide => "tail side",
        };
        let title = format!("Fusing from the {from} on, \"{}\"", self.zone);
        writeln!(f, "{}", shortened(&title, WIDTH))?;
        row(f, "heating up", &format!("oscillates at {}", self.oscillation))?;
        row(f, "drawing along", &self.feed.to_string())?;
        let (fuel, oxygen) = (self.gas.fuel, self.gas.oxygen);
        let flows = format!("{fuel} {}, {oxygen} oxygen", self.fuel_gas);
        row(f, "gas in both", &format!("{flows}; {} net into the part", self.gas.net_power))?;
        let (low, high) = (self.window.low.celsius(), self.window.high);
        row(f, "held", &format!("{low:.0} to {high:.0}, torch away above {:.0}", self.ceiling))?;
        writeln!(
            f,
            "  {:<28} {:>10} {:>10} {:>10} {:>14} {:>10}",
            "bands, mm", "at least", "through", "reads", "ceiling after", "draws"
        )?;
        for band in &self.bands {
            let line = format!(
                "    {:<26} {:>10} {:>10} {:>10} {:>14} {:>10}",
                format!("{:.2} to {:.2}", band.band.low.mm(), band.band.high.mm()),
                told(band.at_least, "too cold"),
                told(band.through, "too cold"),
                format!("{:.0} degC", band.reads.celsius()),
                told(band.to_ceiling, "-"),
                told(band.draws, "-"),
            );
            writeln!(f, "{line}")?;
        }
        if let (Some(least), Some(through)) = (self.at_least(), self.through()) {
            let both = format!("at least {}, {} heated through", clock(least), clock(through));
            row(f, "in all", &both)?;
            row(f, "", "unmeasured: what the first preheat takes longer, this takes too")?;
        }
        let (at, hot) = (self.least_hot_at.mm(), self.least_hot);
        row(f, "least hot place", &format!("{at:.1} mm gets to {hot:.0}"))
    }
}

fn told(time: Option<Time>, none: &str) -> String {
    time.map_or_else(|| none.to_owned(), clock)
}

/// Fuses a zone as the sequence does when a person calls each band wet as soon as it can be.
///
/// The mean over the section stands for what the pyrometer reads, so that a band counts when it is
/// heated through; the surface gets there earlier. Both count a flame that gives as much to a hot
/// surface as to a cold one, and nobody who hesitates. Nothing of it is measured before the first
/// preheat: what that takes longer than forecast, fusing takes longer too.
pub(super) fn fuse(
    basis: &Basis<'_>,
    program: &Program,
    step: &FuseStep,
    course: &mut Course,
    findings: &mut Findings,
) -> (Outcome, Option<FusingForecast>) {
    let what = format!("fuse \"{}\", {}", step.zone, counted(step.bands.len(), "band"));
    let (waits, waiting) = (0, Time::ZERO);
    let certainty = Certainty::Estimated;
    let Some((torch, gas)) = basis.torches.fuse else {
        let leaves_at = course.seen();
        return (Outcome { what, certainty, torch: None, leaves_at, waits, waiting }, None);
    };
    let flame = source(torch, &torch.fusing);
    course.follow(step.edges);
    let mut bands = Vec::new();
    for (index, band) in step.bands.iter().enumerate() {
        let next = step.bands.get(index + 1);
        let over = surface_over(basis, step, *band, &flame);
        bands.push(fuse_band(program, step, (*band, next), over, course, &flame));
    }
    let (least_hot_at, least_hot) = course.least_hot().unwrap_or((step.edges.low, course.seen()));
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
        least_hot_at,
        least_hot,
    };
    tell(&told, step, findings);
    let leaves_at = course.hottest();
    (Outcome { what, certainty, torch: Some(step.torch), leaves_at, waits, waiting }, Some(told))
}

/// How much hotter than its section the surface of a band can be: as if the flame stood.
fn surface_over(
    basis: &Basis<'_>,
    step: &FuseStep,
    band: Range<Length>,
    flame: &Source,
) -> TemperatureStep {
    let part = &basis.recipe.part;
    let diameter = part.diameter_at((band.low + band.high) / 2.0);
    let (bore, radius) = (part.bore.mm() * 5e-4, diameter.mm() * 5e-4);
    let caught = capture(diameter, Length::from_mm(flame.sigma_lateral * 1000.0)).ratio();
    let width = (2.0 * PI).sqrt() * flame.sigma_axial;
    let flux = flame.power * caught / (2.0 * PI * radius * width);
    let led = conductivity(part.substrate, Leads::Worst, step.window.low);
    TemperatureStep::from_kelvin(surface_over_mean((bore, radius), flux, led))
}

fn fuse_band(
    program: &Program,
    step: &FuseStep,
    (band, next): (Range<Length>, Option<&Range<Length>>),
    over: TemperatureStep,
    course: &mut Course,
    flame: &Source,
) -> BandForecast {
    let began = course.now();
    // A band left by drawing along is entered at its nearer end already.
    if !band.contains(course.torch()) {
        course.go(nearer(band, course.torch()), program.positioning, Some(flame), |_| false);
    }
    let low = step.window.low;
    let mut withdrawn = withdraw(step, course);
    let early = oscillate(band, step, course, flame, |course| low.above(course.read()) <= over);
    let at_least = early.then(|| course.now() - began);
    let wet = early && oscillate(band, step, course, flame, |course| course.read() >= low);
    let through = wet.then(|| course.now() - began);
    let reads = course.read();
    let to_ceiling = through.and_then(|_| {
        let mut ahead = course.ahead();
        let hot = oscillate(band, step, &mut ahead, flame, |course| course.read() > step.ceiling);
        hot.then(|| ahead.now() - course.now())
    });
    withdrawn += withdraw(step, course);
    let draws = next.map(|next| {
        let from = course.now();
        let to = nearer(*next, course.torch());
        while withdrawn <= MOST_WITHDRAWN
            && course.go(to, step.feed, Some(flame), |course| course.read() > step.ceiling)
        {
            withdrawn += withdraw(step, course);
        }
        course.now() - from
    });
    BandForecast { band, at_least, through, reads, to_ceiling, draws, withdrawn }
}

/// A part that is withdrawn from more often in one band is not followed any further.
const MOST_WITHDRAWN: usize = 20;

/// As the sequence does above the ceiling: the torch is away until the reading is back inside the
/// window. How often, which is once or not at all.
fn withdraw(step: &FuseStep, course: &mut Course) -> usize {
    if course.read() <= step.ceiling {
        return 0;
    }
    course.cool_until(|course| course.read() < step.window.high, step.longest);
    1
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

fn tell(fusing: &FusingForecast, step: &FuseStep, findings: &mut Findings) {
    let place = format!("fuse, zone \"{}\"", step.zone);
    if let Some(hot) = fusing.bands.iter().max_by_key(|band| band.withdrawn)
        && hot.withdrawn > 0
    {
        let text = format!(
            "the flame is expected to take the band {} to {} above the ceiling of {}, where the \
             torch is withdrawn ({}): use a smaller flame, a quicker oscillation or wider bands",
            hot.band.low,
            hot.band.high,
            step.ceiling,
            counted(hot.withdrawn, "time")
        );
        if hot.withdrawn > OFTEN {
            findings.failing(place.clone(), text);
        } else {
            findings.note(place.clone(), text);
        }
    }
    let cold = fusing.bands.iter().filter(|band| band.through.is_none()).count();
    if cold > 0 {
        findings.failing(
            place,
            format!(
                "{} of net heat do not heat {} through to {} in {}: use a larger flame or narrower \
                 bands",
                fusing.gas.net_power,
                if cold == fusing.bands.len() {
                    "its bands".to_owned()
                } else {
                    format!("{cold} of its bands")
                },
                step.window.low,
                step.longest
            ),
        );
    } else if step.window.low.above(fusing.least_hot).kelvin() > UNEVEN {
        findings.note(
            place,
            format!(
                "the coat at {:.1} is expected to get to {:.0} only when each band is called wet as \
                 soon as it reads {}: look there before you call it",
                fusing.least_hot_at, fusing.least_hot, step.window.low
            ),
        );
    }
}

/// A torch withdrawn more often than this in one band is one that overheats it (arbitrary).
const OFTEN: usize = 3;

/// A place that stays this much colder than the window is told; a usual window of fusing is as wide
/// as this (common practice, no source), K.
const UNEVEN: f64 = 60.0;
