//! The figures of a plan that matter to whoever decides about it, in an order that two plans can
//! be compared in.

use evenpass_core::learn::Finish;
use evenpass_core::plan::Plan;
use evenpass_core::plan::forecast::{FusingForecast, StepForecast, ZoneForecast};
use evenpass_core::program::Step;
use evenpass_core::quantity::{Fraction, Length, Time};

use crate::cli::learned::{self, ZoneBand};
use crate::files::Job;

/// One figure.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Figure {
    pub(super) what: &'static str,
    pub(super) value: f64,
    pub(super) unit: &'static str,
    /// Decimals it is told with.
    pub(super) places: usize,
    /// One standard deviation of it, where it is known how far off it may be.
    pub(super) sigma: Option<f64>,
}

impl Figure {
    /// Its value without its unit, with its standard deviation where it has one.
    pub(super) fn told(&self) -> String {
        let value = format!("{:.*}", self.places, self.rounded());
        match self.sigma {
            Some(sigma) => format!("{value} ±{sigma:.*}", self.places),
            None => value,
        }
    }

    /// The same figure, known to a share of itself.
    fn known_to(self, within: Option<Fraction>) -> Self {
        Self { sigma: within.map(|share| share.ratio() * self.value.abs()), ..self }
    }

    /// Its value with the decimals it is told with; never less than nothing by rounding alone.
    pub(super) fn rounded(&self) -> f64 {
        let places = i32::try_from(self.places).unwrap_or(0);
        let scale = 10_f64.powi(places);
        (self.value * scale).round() / scale + 0.0
    }
}

/// Figures of one thing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Group {
    pub(super) title: String,
    pub(super) figures: Vec<Figure>,
}

const fn figure(what: &'static str, value: f64, unit: &'static str, places: usize) -> Figure {
    Figure { what, value, unit, places, sigma: None }
}

/// The figures of a job's plan: the job's, each zone's, each torch's, and
/// how each zone is fused.
pub(super) fn groups(job: &Job, plan: &Plan) -> Vec<Group> {
    let forecast = &plan.forecast;
    let mut groups = vec![whole(plan)];
    let bands = learned::bands(job, plan);
    let zones = forecast.zones.iter().zip(spraying(plan));
    groups.extend(zones.map(|(zone, step)| {
        let own = bands.iter().find(|band| band.zone == zone.zone);
        self::zone(zone, step, own)
    }));
    groups.extend(forecast.gas.iter().map(|gas| Group {
        title: gas.torch.clone(),
        figures: vec![
            figure("alight", gas.burning.s(), "s", 0),
            figure("fuel gas", gas.fuel.l(), "L", 0),
            figure("oxygen", gas.oxygen.l(), "L", 0),
        ],
    }));
    groups.extend(forecast.fusing.iter().map(fusing));
    groups
}

/// How a zone is fused. Temperatures are means of a section, of its least hot place in the zone
/// and of the hottest one of the part.
fn fusing(fusing: &FusingForecast) -> Group {
    let bands = u32::try_from(fusing.bands.len()).unwrap_or(u32::MAX);
    Group {
        title: format!("Fusing \"{}\"", fusing.zone),
        figures: vec![
            figure("bands", f64::from(bands), "", 0),
            figure("least hot place", fusing.least_hot.celsius(), "degC", 0),
            figure("hottest place", fusing.hottest.celsius(), "degC", 0),
        ],
    }
}

/// The forecast of each spraying step.
fn spraying(plan: &Plan) -> impl Iterator<Item = &StepForecast> {
    of_steps(plan, |step| matches!(step, Step::Spray(_)))
}

fn of_steps(plan: &Plan, wanted: fn(&Step) -> bool) -> impl Iterator<Item = &StepForecast> {
    let steps = plan.program.steps.iter().zip(&plan.forecast.steps);
    steps.filter(move |(step, _)| wanted(step)).map(|(_, forecast)| forecast)
}

fn whole(plan: &Plan) -> Group {
    let forecast = &plan.forecast;
    let sum =
        |wanted: fn(&Step) -> bool| -> Time { of_steps(plan, wanted).map(|step| step.takes).sum() };
    let waiting: Time = forecast.steps.iter().map(|step| step.waiting).sum();
    let spraying = sum(|step| matches!(step, Step::Spray(_)));
    let aim = plan.program.steps.iter().find_map(|step| match step {
        Step::Preheat(preheat) => Some(preheat.aim),
        _ => None,
    });
    let fed: f64 = forecast.powder.iter().map(|used| used.fed.g()).sum();
    let mut figures = vec![
        figure("all together", forecast.total.s(), "s", 0),
        figure("preheat and soak", sum(|step| matches!(step, Step::Preheat(_))).s(), "s", 0),
    ];
    figures.extend(aim.map(|aim| figure("preheated to", aim.celsius(), "degC", 0)));
    figures.extend([
        figure("spraying", spraying.s(), "s", 0),
        figure("waits for temperature", waiting.s(), "s", 0),
        figure("fusing, heated through", sum(|step| matches!(step, Step::Fuse(_))).s(), "s", 0),
        figure("cooling", sum(|step| matches!(step, Step::Cool(_))).s(), "s", 0),
        figure("powder", fed, "g", 1),
        figure("stall until too hot", forecast.stall.s(), "s", 2),
    ]);
    Group { title: "The job".to_owned(), figures }
}

fn zone(zone: &ZoneForecast, step: &StepForecast, bands: Option<&ZoneBand>) -> Group {
    let within = |finish| bands.and_then(|bands| bands.of(finish)).map(|band| band.within);
    let (sprayed, fused_to) = (within(Finish::AsSprayed), within(Finish::Fused));

    let along = || zone.along.iter().map(|station| station.sprayed);
    let thinnest = along().reduce(Length::min).unwrap_or(Length::ZERO);
    let thickest = along().fold(Length::ZERO, Length::max);
    let mut figures = vec![
        figure("passes", f64::from(zone.passes.planned), "", 0),
        figure("spindle", zone.speed.spindle.rpm(), "rpm", 1),
        figure("feed, slowest", zone.feed.low.mm_per_s(), "mm/s", 3),
        figure("feed, fastest", zone.feed.high.mm_per_s(), "mm/s", 3),
        figure("pitch", zone.pitch.mm_per_turn(), "mm/turn", 2),
        figure("ripple", zone.ripple.percent(), "%", 2),
        figure("one pass", zone.thickness_per_pass.mm(), "mm", 4).known_to(sprayed),
        figure("as sprayed", zone.sprayed.mm(), "mm", 3).known_to(sprayed),
        figure("thinnest along", thinnest.mm(), "mm", 3).known_to(sprayed),
        figure("thickest along", thickest.mm(), "mm", 3).known_to(sprayed),
        figure("worst unevenness", zone.uneven.percent(), "%", 2),
    ];
    if let Some(fused) = &zone.fused {
        figures.extend([
            figure("after fusing", fused.build.mm(), "mm", 3).known_to(fused_to),
            // What is left over is as far off as the whole of which the finish is taken.
            Figure {
                sigma: fused_to.map(|share| share.ratio() * fused.build.mm()),
                ..figure("over the finish", fused.over_finish.mm(), "mm", 3)
            },
        ]);
    }
    figures.extend([
        figure("powder", zone.powder.g(), "g", 1),
        figure("motion", zone.motion.s(), "s", 0),
        figure("waits", step.waiting.s(), "s", 0),
    ]);
    Group { title: format!("Zone \"{}\"", zone.zone), figures }
}
