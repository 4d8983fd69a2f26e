//! A plan in pictures: SVG to scale, drawn by a plotting library, with a style sheet for a light
//! screen, a dark one and grey paper.
//!
//! All pictures along the part share one scale of length, so that they can be read one under the
//! other. Nothing is told by colour alone.

mod control;
mod feed;
mod frame;
mod outline;
mod paper;
mod pen;
mod temperature;
mod thickness;

use evenpass_core::plan::Plan;
use evenpass_core::plan::forecast::{PassByPass, ZoneForecast, pass_by_pass};
use evenpass_core::program::{SprayStep, Step};
use evenpass_core::quantity::Length;
use evenpass_core::recipe::{Recipe, Zone};

pub use self::control::control_chart;
use self::frame::{LEFT, RIGHT, Span, WIDTH};
pub use self::paper::Fault;
use crate::shown::escaped;

/// The style sheet of the pictures.
pub const STYLE: &str = include_str!("picture.css");

/// Places along a zone at which its coat is drawn.
const PLACES: u32 = 241;
/// Highest drawing of the part, pixels: a short thick part gets a longer scale instead.
const HIGHEST: f64 = 360.0;

/// The pictures of a plan, each an `<svg>` element to stand in a page.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Pictures {
    /// The part's outline with its coat, both to one scale but for the coat's exaggeration.
    pub outline: String,
    /// How many times too thick the coat is drawn there.
    pub exaggeration: f64,
    /// The coat after each pass.
    pub thickness: String,
    /// The feed along the part, and where powder is commanded and arrives.
    pub feed: String,
    /// Temperature over time, with its windows.
    pub temperature: String,
}

impl Pictures {
    /// Draws a plan.
    ///
    /// # Errors
    /// [`Fault`], only by a mistake in the drawing itself.
    pub fn of(recipe: &Recipe, plan: &Plan) -> Result<Self, Fault> {
        let scene = Scene::of(recipe, plan);
        let exaggeration = outline::exaggeration(&scene);
        Ok(Self {
            outline: outline::draw(&scene, exaggeration)?,
            exaggeration,
            thickness: thickness::draw(&scene)?,
            feed: feed::draw(&scene)?,
            temperature: temperature::draw(plan)?,
        })
    }
}

/// One zone with all that is drawn of it.
struct Coated<'a> {
    zone: &'a Zone,
    step: &'a SprayStep,
    forecast: &'a ZoneForecast,
    coat: PassByPass,
}

impl Coated<'_> {
    /// Edges of the zone, mm.
    fn edges(&self) -> Span {
        Span::new(self.step.edges.low.mm(), self.step.edges.high.mm())
    }

    /// Where the carriage goes in it, mm.
    fn travel(&self) -> Span {
        let ends = || self.step.passes.iter().flat_map(|pass| [pass.from, pass.to]);
        let low = ends().fold(self.step.edges.low, Length::min);
        let high = ends().fold(self.step.edges.high, Length::max);
        Span::new(low.mm(), high.mm())
    }
}

/// What the pictures along the part have in common.
struct Scene<'a> {
    recipe: &'a Recipe,
    plan: &'a Plan,
    zones: Vec<Coated<'a>>,
    /// The scale of length, mm.
    along: Span,
}

impl<'a> Scene<'a> {
    fn of(recipe: &'a Recipe, plan: &'a Plan) -> Self {
        let steps = plan.program.steps.iter().filter_map(|step| match step {
            Step::Spray(spray) => Some(spray),
            Step::Preheat(_) | Step::ChangeTorch(_) | Step::Fuse(_) | Step::Cool(_) => None,
        });
        let zones: Vec<Coated<'_>> = recipe
            .zones
            .iter()
            .zip(steps)
            .zip(plan.forecast.zones.iter().zip(pass_by_pass(plan, PLACES)))
            .map(|((zone, step), (forecast, coat))| Coated { zone, step, forecast, coat })
            .collect();
        let along = along(recipe, &zones);
        Self { recipe, plan, zones, along }
    }

    /// Pixels for a millimetre along the part.
    fn pixels_in_a_mm(&self) -> f64 {
        (WIDTH - RIGHT - LEFT) / self.along.size()
    }

    /// Largest radius of the part, mm.
    fn largest_radius(&self) -> f64 {
        self.recipe.part.profile.iter().map(|point| point.diameter.mm() / 2.0).fold(0.0, f64::max)
    }

    /// Thickest coat, mm.
    fn thickest(&self) -> f64 {
        let all = self.zones.iter().flat_map(|zone| zone.coat.last());
        all.map(|thickness| thickness.mm()).fold(0.0, f64::max)
    }
}

/// From the first place that matters to the last: part and travel, and the chuck face where it is
/// near.
fn along(recipe: &Recipe, zones: &[Coated<'_>]) -> Span {
    /// Left free at both ends, as a share of the length.
    const FREE: f64 = 0.03;
    /// The chuck face is near when it adds less than this share to the length.
    const NEAR: f64 = 0.35;
    let part = recipe.part.extent();
    let travels: Vec<Span> = zones.iter().map(Coated::travel).collect();
    let low = travels.iter().map(|travel| travel.low).fold(part.low.mm(), f64::min);
    let high = travels.iter().map(|travel| travel.high).fold(part.high.mm(), f64::max);
    let low = if low > 0.0 && low < NEAR * (high - low) { 0.0 } else { low };
    let span = Span::new(low, high);
    let thick = recipe.part.profile.iter().map(|point| point.diameter.mm()).fold(0.0, f64::max);
    // So long that the thickness at the same scale is not too high.
    let least = thick * (WIDTH - RIGHT - LEFT) / HIGHEST;
    let more = ((least - span.size()) / 2.0).max(span.size() * FREE);
    Span::new(span.low - more, span.high + more)
}
