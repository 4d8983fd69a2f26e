//! What is expected of one zone.

use serde::Serialize;

use super::Basis;
use super::each_pass::drive_pass;
use crate::coat::deposit::fused_build;
use crate::coat::plume::{edge_error, edge_share, ripple};
use crate::coat::{Coat, CoatBasis, slant_at};
use crate::plan::material::grown;
use crate::plan::outline::Outline;
use crate::plan::passes::{PassCount, build_up};
use crate::plan::powder::{PassEdges, Timeline, edges};
use crate::plan::speeds::ChosenSpeed;
use crate::plan::zone::ZonePlan;
use crate::program::{Pass, Program, SprayStep, Step};
use crate::quantity::{Fraction, Length, Mass, Pitch, Range, Speed, Temperature, Time};
use crate::recipe::{ProfilePoint, Recipe, Zone};

/// Places along a zone at which its thickness is told, the first and the last just inside its edges.
const STATIONS: u32 = 41;

/// Where the edges of a zone lie on a hot part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgeGrowth {
    /// The whole part at this temperature, from the chuck face on: the worst case.
    pub temperature: Temperature,
    /// Its edges then.
    pub edges: Range<Length>,
}

/// When the edges of a zone lie somewhere on a part that is as hot as expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum GrownWhen {
    /// Its first pass begins.
    Spraying,
    /// Its last pass has ended.
    Sprayed,
    /// Its last band is fused.
    Fused,
}

/// Where the edges of a zone lie as the part is expected to be then: the part has grown between
/// them and its chuck-side end, which stays where it is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GrownEdges {
    /// When.
    pub when: GrownWhen,
    /// Its edges then.
    pub edges: Range<Length>,
}

/// What fusing leaves.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FusedForecast {
    /// Radial thickness, by area.
    pub build: Length,
    /// Diameter, cold.
    pub diameter: Length,
    /// What is left to machine down to the finish; negative when the coat is too thin.
    pub over_finish: Length,
}

/// Diameters at one place of a zone, cold unless said.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Sizes {
    /// Where.
    pub at: Length,
    /// Before coating.
    pub bare: Length,
    /// As sprayed, as driven.
    pub sprayed: Length,
    /// The same while the part is at the low end of preheat.
    pub sprayed_hot: Length,
    /// After fusing; `None` for a coat left as sprayed.
    pub fused: Option<Length>,
    /// Machined down to the finish.
    pub machined: Length,
}

/// Thickness at one place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Station {
    /// Where.
    pub at: Length,
    /// As sprayed.
    pub sprayed: Length,
}

/// The forecast of a zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct ZoneForecast {
    /// Its name.
    pub zone: String,
    /// Its edges.
    pub edges: Range<Length>,
    /// Thinnest and thickest diameter before coating.
    pub diameters: Range<Length>,
    /// Spindle and surface speed.
    pub speed: ChosenSpeed,
    /// Slowest and fastest feed.
    pub feed: Range<Speed>,
    /// Widest pitch.
    pub pitch: Pitch,
    /// How far powder stays on past each edge.
    pub overrun: Length,
    /// Standard deviation of the plume.
    pub plume: Length,
    /// Ripple at that pitch, peak to peak, relative to the mean.
    pub ripple: Fraction,
    /// Share of the plume that the part catches.
    pub capture: Fraction,
    /// Radial thickness of one pass on the bare part.
    pub thickness_per_pass: Length,
    /// Passes.
    pub passes: PassCount,
    /// Radial build in the middle after each pass.
    pub build_up: Vec<Length>,
    /// Radial build as sprayed.
    pub sprayed: Length,
    /// Diameter as sprayed at the mean diameter, cold.
    pub sprayed_diameter: Length,
    /// The same while the part is at the low end of preheat.
    pub sprayed_diameter_hot: Length,
    /// After fusing; `None` for a coat left as sprayed.
    pub fused: Option<FusedForecast>,
    /// At the thinnest and the thickest place; one where they are alike.
    pub sizes: Vec<Sizes>,
    /// Share of the full thickness that an edge has.
    pub edge_share: Fraction,
    /// Largest departure of the finished coat from its thickness in the middle of the range of
    /// diameters, as driven: with what neighbouring zones add, on the growing radius, and but for a
    /// plume's standard deviation beside a step.
    pub uneven: Fraction,
    /// The same without what neighbouring zones add.
    pub alone_uneven: Fraction,
    /// What the feed alone departs by, on a film too thin to grow, without neighbouring zones.
    pub feed_uneven: Fraction,
    /// The same for the best constant feed.
    pub constant_uneven: Fraction,
    /// Thickness along the zone, as driven.
    pub along: Vec<Station>,
    /// Where powder is commanded in each pass.
    pub commands: Vec<PassEdges>,
    /// Edges on the preheated part and, where it is fused, on the fused one.
    pub growth: Vec<EdgeGrowth>,
    /// Edges as the part is expected to be when they count.
    pub grown: Vec<GrownEdges>,
    /// Lost motion that a reversed carriage takes up.
    pub backlash: Length,
    /// What that lost motion would do to an edge if it were not taken up.
    pub backlash_error: Fraction,
    /// How long powder arrives.
    pub powder_on: Time,
    /// Motion and rests of all passes, waits for temperature aside.
    pub motion: Time,
    /// Powder fed, overruns and turns included.
    pub powder: Mass,
    /// Times the powder coil is switched on.
    pub switched_on: usize,
    /// Turns that powder stays on through.
    pub through: usize,
    /// How fast a lump grows where a carriage stalls with powder on.
    pub lump_rate: Speed,
}

/// The zones in the program's order.
pub(super) fn zones(
    basis: &Basis<'_>,
    program: &Program,
    planned: &[ZonePlan<'_>],
    coat: &CoatBasis,
    grown: &[(usize, GrownEdges)],
) -> Vec<ZoneForecast> {
    let mut so_far = Coat::new(coat);
    let sprayed = program.steps.iter().enumerate().filter_map(|(index, step)| match step {
        Step::Spray(spray) => Some((index, spray)),
        Step::Preheat(_) | Step::ChangeTorch(_) | Step::Fuse(_) | Step::Cool(_) => None,
    });
    // Zones that touch add to each other's edges: all are driven before any is told.
    for (index, step) in sprayed.clone() {
        so_far.select(index);
        drive(step, program, &mut so_far);
    }
    sprayed
        .zip(planned)
        .enumerate()
        .map(|(index, ((place, step), zone))| {
            let mut told = zone_forecast(basis, program, step, zone, &so_far);
            if planned.len() > 1 {
                let mut alone = Coat::new(coat);
                alone.select(place);
                drive(step, program, &mut alone);
                told.alone_uneven = judge(basis, step, zone, &alone);
            }
            // A job that goes on after an interruption has not all of the recipe's zones.
            let named = basis.recipe.zones.iter().position(|named| named.name == step.zone);
            let index = named.unwrap_or(index);
            let own = grown.iter().filter(|(zone, _)| *zone == index);
            told.grown = own.map(|(_, edges)| *edges).collect();
            told
        })
        .collect()
}

fn zone_forecast(
    basis: &Basis<'_>,
    program: &Program,
    step: &SprayStep,
    plan: &ZonePlan<'_>,
    coat: &Coat,
) -> ZoneForecast {
    let plume = basis.torches.spray.plume;
    let recipe = basis.recipe;
    let build_up = build_up(plan.mean, plan.area_per_pass, plan.count.planned);
    let sprayed = build_up.last().copied().unwrap_or(Length::ZERO);
    let sprayed_diameter = plan.mean + sprayed * 2.0;
    let at = |place: Length, temperature| grown(place, recipe.part.substrate, temperature);
    let fused = recipe.fuse.as_ref().map(|_| {
        let build = fused_build(plan.mean, sprayed, plan.shrink);
        FusedForecast {
            build,
            diameter: plan.mean + build * 2.0,
            over_finish: build - plan.zone.finish,
        }
    });
    let hot = [Some(recipe.preheat.window.low), recipe.fuse.as_ref().map(|fuse| fuse.window.low)];
    let growth = hot
        .into_iter()
        .flatten()
        .map(|temperature| EdgeGrowth {
            temperature,
            edges: Range {
                low: at(plan.zone.from, temperature),
                high: at(plan.zone.to, temperature),
            },
        })
        .collect();
    let along = stations(inside(step, plan.zone), coat, STATIONS);
    let uneven = judge(basis, step, plan, coat);
    let edges_cold = Range { low: plan.zone.from, high: plan.zone.to };
    let outline = Outline::of(&recipe.part, edges_cold);
    let line = Timeline::of(step, program.ramp);
    let backlash = basis.rig.axis.backlash;
    ZoneForecast {
        zone: step.zone.clone(),
        edges: step.edges,
        diameters: plan.diameters,
        speed: plan.speed,
        feed: plan.feed,
        pitch: plan.pitch,
        overrun: plan.overrun,
        plume,
        ripple: ripple(plan.pitch, plume),
        capture: plan.capture,
        thickness_per_pass: plan.deposit.thickness_per_pass(plan.mean, plan.feed_at_mean),
        passes: plan.count,
        build_up,
        sprayed,
        sprayed_diameter,
        sprayed_diameter_hot: at(sprayed_diameter, recipe.preheat.window.low),
        fused,
        sizes: sizes(recipe, plan, &outline, coat),
        edge_share: edge_share(plan.overrun, plume),
        uneven,
        alone_uneven: uneven,
        feed_uneven: plan.uneven,
        constant_uneven: plan.constant_uneven,
        along,
        commands: edges(step, program.ramp, backlash),
        growth,
        grown: Vec::new(),
        backlash,
        backlash_error: edge_error(backlash, plan.overrun, plume),
        powder_on: line.arriving,
        motion: line.total(),
        powder: step.powder,
        switched_on: line.coil.len(),
        through: line.through,
        lump_rate: plan.deposit.lump_rate(plan.mean, plume),
    }
}

/// A place this far inside a zone's edge has the zone's own side of a step there, mm.
const INSIDE: Length = Length::from_mm(0.01);

/// Diameters where the zone is thinnest and where it is thickest.
fn sizes(recipe: &Recipe, plan: &ZonePlan<'_>, outline: &Outline, coat: &Coat) -> Vec<Sizes> {
    let part = &recipe.part;
    let hot = |cold| grown(cold, part.substrate, recipe.preheat.window.low);
    let zone = plan.zone;
    let own_side = |at: Length| at.max(zone.from + INSIDE).min(zone.to - INSIDE);
    // A coat is normal to the surface, a diameter is measured across the part.
    let across = |at: Length, thickness: Length| thickness * (2.0 * slant_at(part, own_side(at)));
    let told = |point: ProfilePoint| {
        let sprayed = coat.thickness_at(own_side(point.at));
        let fused = recipe.fuse.as_ref().map(|_| {
            point.diameter + across(point.at, fused_build(point.diameter, sprayed, plan.shrink))
        });
        let diameter = point.diameter + across(point.at, sprayed);
        Sizes {
            at: point.at,
            bare: point.diameter,
            sprayed: diameter,
            sprayed_hot: hot(diameter),
            fused,
            machined: point.diameter + zone.finish * 2.0,
        }
    };
    let Range { low, high } = outline.extremes();
    if low.diameter == high.diameter {
        let middle = ProfilePoint { at: (zone.from + zone.to) / 2.0, ..low };
        return vec![told(middle)];
    }
    vec![told(low), told(high)]
}

/// Where a zone's coat is its own: a step at one of its edges, or where that edge was while the part
/// was cold, has the zone's surface on one side and another one on the other.
fn inside(step: &SprayStep, zone: &Zone) -> Range<Length> {
    Range {
        low: step.edges.low.max(zone.from) + INSIDE,
        high: step.edges.high.min(zone.to) - INSIDE,
    }
}

/// How far a coat is at worst from the thickness that a zone is to have.
fn judge(basis: &Basis<'_>, step: &SprayStep, plan: &ZonePlan<'_>, coat: &Coat) -> Fraction {
    let plume = basis.torches.spray.plume;
    let outline =
        Outline::of(&basis.recipe.part, Range { low: plan.zone.from, high: plan.zone.to });
    let wanted = build_up(plan.mean, plan.area_per_pass, plan.count.planned);
    let wanted = wanted.last().copied().unwrap_or(Length::ZERO);
    uneven(&judged(inside(step, plan.zone), coat, &outline, plume), wanted, &outline, plume)
}

/// How far a coat is from a thickness at worst.
fn uneven(along: &[Station], wanted: Length, outline: &Outline, plume: Length) -> Fraction {
    let clear =
        |station: &&Station| outline.steps().all(|(step, _)| (station.at - step).abs() >= plume);
    let off = along.iter().filter(clear).map(|station| (station.sprayed / wanted - 1.0).abs());
    Fraction::from_ratio(off.reduce(f64::max).unwrap_or(0.0))
}

/// Places along a zone at which its evenness is judged: twenty to a standard deviation of the
/// plume, so that no facet of an outline lies between two; 2001 at most.
fn fine(span: Range<Length>, plume: Length) -> u32 {
    let wanted = 20.0 * ((span.high - span.low) / plume);
    (STATIONS..=2001).find(|count| f64::from(*count) > wanted).unwrap_or(2001)
}

/// The coat at these places, and on both sides of every corner of the outline inside the zone:
/// where the slope changes, so does what lands on a surface.
fn judged(span: Range<Length>, coat: &Coat, outline: &Outline, plume: Length) -> Vec<Station> {
    let mut judged = stations(span, coat, fine(span, plume));
    for corner in outline.corners() {
        for at in [corner - INSIDE, corner + INSIDE] {
            if span.contains(at) {
                judged.push(Station { at, sprayed: coat.thickness_at(at) });
            }
        }
    }
    judged
}

fn stations(span: Range<Length>, coat: &Coat, count: u32) -> Vec<Station> {
    let way = span.high - span.low;
    (0..count)
        .map(|index| {
            let at = span.low + way * (f64::from(index) / f64::from(count - 1));
            Station { at, sprayed: coat.thickness_at(at) }
        })
        .collect()
}

/// Drives all passes of a step over the estimate of the coat, as planned.
pub(crate) fn drive(step: &SprayStep, program: &Program, coat: &mut Coat) {
    let mut previous: Option<&Pass> = None;
    for pass in &step.passes {
        drive_pass(step, program, previous, pass, coat);
        previous = Some(pass);
    }
}
