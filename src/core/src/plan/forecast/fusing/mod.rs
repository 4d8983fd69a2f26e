//! The fusing of a zone: what the flame does in each phase, and what comes of it at the earliest.

mod choose;
mod oscillation;
mod told;

use core::f64::consts::PI;

use serde::Serialize;

use self::choose::Wanted;
use self::oscillation::{called_after, nearer, oscillate};
use super::course::Course;
use super::temperature::Outcome;
use super::{Basis, Certainty, counted};
use crate::catalogue::GasSetting;
use crate::coat::plume::capture;
use crate::model::Source;
use crate::plan::fuse::Fused;
use crate::plan::heat::{source, surface_over_mean};
use crate::plan::material::{Leads, conductivity};
use crate::plan::problem::Findings;
use crate::program::{FuseBand, FuseStep, Program};
use crate::quantity::{Length, Range, Speed, Temperature, TemperatureStep, Time};
use crate::recipe::End;

/// One band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct BandForecast {
    /// The coat that is to wet, and where the flame turns.
    pub band: FuseBand,
    /// Drawing the wet front along from the band before to where the flame turns ahead of this one;
    /// `None` for the first.
    pub drawn: Option<Time>,
    /// Heating up, oscillating, until the surface can be at the low end of the window all along: it
    /// takes at least this. `None` when the longest time allowed does not do.
    pub at_least: Option<Time>,
    /// The same until the whole section is; `None` as above.
    pub through: Option<Time>,
    /// The most that the section under the flame has been at when it is called wet, a moment later.
    pub reads: Temperature,
    /// From when it is wet until that is above the ceiling, if nobody calls the band wet; `None` when it does
    /// not get there in the longest time allowed.
    pub to_ceiling: Option<Time>,
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
    /// The hottest that any place of the part gets meanwhile, likewise.
    pub hottest: Temperature,
}

impl FusingForecast {
    /// The bands alone, as the program holds them.
    pub(crate) fn chosen(&self) -> Vec<FuseBand> {
        self.bands.iter().map(|band| band.band).collect()
    }

    /// All bands together: at least this. `None` where a band stays too cold.
    #[must_use]
    pub fn at_least(&self) -> Option<Time> {
        let drawn: Time = self.bands.iter().filter_map(|band| band.drawn).sum();
        let heated: Option<Vec<Time>> = self.bands.iter().map(|band| band.at_least).collect();
        heated.map(|times| times.into_iter().sum::<Time>() + drawn)
    }

    /// The same, each band heated through.
    #[must_use]
    pub fn through(&self) -> Option<Time> {
        let drawn: Time = self.bands.iter().filter_map(|band| band.drawn).sum();
        let heated: Option<Vec<Time>> = self.bands.iter().map(|band| band.through).collect();
        heated.map(|times| times.into_iter().sum::<Time>() + drawn)
    }
}

/// Fuses a zone as the sequence does when a person calls each band wet as soon as it can be.
///
/// The mean over the section stands for what the pyrometer reads, so that a band counts when it is
/// heated through; the surface gets there earlier. Both count a flame that gives as much to a hot
/// surface as to a cold one, and hardly a moment of hesitation. Nothing of it is measured before the first
/// preheat: what that takes longer than forecast, fusing takes longer too.
pub(super) fn fuse(
    basis: &Basis<'_>,
    program: &Program,
    step: &FuseStep,
    course: &mut Course,
    findings: &mut Findings,
) -> (Outcome, Option<FusingForecast>) {
    let (waits, waiting) = (0, Time::ZERO);
    let certainty = Certainty::Estimated;
    let (Some(fuse), Some((torch, gas))) = (&basis.recipe.fuse, basis.torches.fuse) else {
        let (what, leaves_at) = (format!("fuse \"{}\"", step.zone), course.seen());
        return (Outcome { what, certainty, torch: None, leaves_at, waits, waiting }, None);
    };
    let flame = source(torch, &torch.fusing);
    course.follow(step.edges, torch.flame / FOLLOWED_PER_FLAME);
    let fused = Fused {
        edges: step.edges,
        starts: step.starts,
        flame: torch.flame,
        travel: basis.rig.axis.travel,
        band: fuse.band,
        overrun: fuse.overrun,
    };
    let positioning = program.positioning;
    let chosen = choose::bands(&Wanted { fused, step, flame: &flame, positioning }, course);
    let mut bands = Vec::new();
    for band in chosen {
        // Nobody goes on to the next band from one that never gets wet.
        if let Some(before) = bands.last().filter(|before: &&BandForecast| before.through.is_none())
        {
            bands.push(BandForecast { band, drawn: None, ..*before });
            continue;
        }
        let drawn = if bands.is_empty() {
            let to = nearer(band.travel, course.torch());
            course.go(to, positioning, Some(&flame), |_| false);
            None
        } else {
            Some(draw(step, band, course, &flame))
        };
        let over = surface_over(basis, step, band.coat, &flame);
        bands.push(heat(step, band, (drawn, over), course, &flame));
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
        hottest: course.peak(),
    };
    tell(&told, step, findings);
    let what = format!("fuse \"{}\", {}", step.zone, counted(told.bands.len(), "band"));
    let leaves_at = course.hottest();
    (Outcome { what, certainty, torch: Some(step.torch), leaves_at, waits, waiting }, Some(told))
}

/// Places followed along a zone, per standard deviation of the flame.
const FOLLOWED_PER_FLAME: f64 = 4.0;

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

/// Draws the wet front along to a band, below the ceiling; how long that takes.
fn draw(step: &FuseStep, band: FuseBand, course: &mut Course, flame: &Source) -> Time {
    let from = course.now();
    let to = step.leading_end(&band);
    let mut times = 0;
    while times < MOST_WITHDRAWN
        && course.go(to, step.feed, Some(flame), |course| course.read() > step.ceiling)
    {
        times += withdraw(step, course);
    }
    course.now() - from
}

/// Oscillates over a band until its coat is wet all along, below the ceiling.
fn heat(
    step: &FuseStep,
    band: FuseBand,
    (drawn, over): (Option<Time>, TemperatureStep),
    course: &mut Course,
    flame: &Source,
) -> BandForecast {
    let began = course.now();
    let low = step.window.low;
    let is_hot = |course: &Course| course.read() > step.ceiling;
    let mut withdrawn = 0;
    let mut reads = course.read();
    let mut until = |course: &mut Course, wet: &dyn Fn(&Course) -> bool| loop {
        withdrawn += withdraw(step, course);
        let stops = |course: &Course| {
            reads = reads.max(course.read());
            wet(course) || is_hot(course)
        };
        if !oscillate(band.travel, step, course, flame, stops) || withdrawn > MOST_WITHDRAWN {
            return None;
        }
        if wet(course) {
            return Some(course.now() - began);
        }
    };
    let at_least = until(course, &|course| low.above(course.wetted(band.coat)) <= over);
    let through = at_least.and_then(|_| until(course, &|course| course.wetted(band.coat) >= low));
    let to_ceiling = through.and_then(|_| {
        let mut ahead = course.ahead();
        let hot = oscillate(band.travel, step, &mut ahead, flame, is_hot);
        hot.then(|| ahead.now() - course.now())
    });
    if through.is_some() {
        let called = course.now() + called_after(band.travel, step);
        oscillate(band.travel, step, course, flame, |course| {
            reads = reads.max(course.read());
            course.now() >= called
        });
    }
    withdrawn += withdraw(step, course);
    BandForecast { band, drawn, at_least, through, reads, to_ceiling, withdrawn }
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

fn tell(fusing: &FusingForecast, step: &FuseStep, findings: &mut Findings) {
    let place = format!("fuse, zone \"{}\"", step.zone);
    let cure =
        "use a smaller flame, a quicker oscillation, or leave the band and the overrun to the plan";
    let overheated = |band: &&BandForecast| band.withdrawn > MOST_WITHDRAWN;
    if let Some(hot) = fusing.bands.iter().max_by_key(|band| band.withdrawn)
        && hot.withdrawn > 0
    {
        let often = if overheated(&hot) {
            format!("more than {}", counted(MOST_WITHDRAWN, "time"))
        } else {
            counted(hot.withdrawn, "time")
        };
        let (low, high) = (hot.band.coat.low, hot.band.coat.high);
        findings.failing(
            place.clone(),
            format!(
                "before the coat from {low} to {high} is wet all along and called so, the flame is \
                 expected to take a place of it above the ceiling of {}, where the torch is \
                 withdrawn ({often}), and the part to get to {:.0}: {cure}",
                step.ceiling, fusing.hottest
            ),
        );
    } else if fusing.hottest > step.ceiling {
        findings.failing(
            place.clone(),
            format!(
                "away from where the pyrometer looks, the part is expected to get to {:.0}, above \
                 the ceiling of {}: {cure}",
                fusing.hottest, step.ceiling
            ),
        );
    } else if step.ceiling.above(fusing.hottest).kelvin() < CLOSE {
        findings.note(
            place.clone(),
            format!(
                "the part is expected to get to {:.0}, close to the ceiling of {}: call each band \
                 as soon as it is wet; {cure}",
                fusing.hottest, step.ceiling
            ),
        );
    }
    let cold = fusing.bands.iter().find(|band| band.through.is_none() && !overheated(band));
    if let Some(cold) = cold {
        findings.failing(
            place,
            format!(
                "{} of net heat do not get the coat from {} to {} to {} all along in {}: use a \
                 larger flame, or warm the part more",
                fusing.gas.net_power,
                cold.band.coat.low,
                cold.band.coat.high,
                step.window.low,
                step.longest
            ),
        );
    }
}

/// A forecast this close to the ceiling (K) is told: a rehearsal gets that much hotter than it at
/// times; arbitrary.
const CLOSE: f64 = 10.0;
