//! One zone: its speed, its feed, its passes and its legs, each against the limit that binds it.

use super::EdgeBasis;
use super::checks::{check_count, check_feed, check_pitch, check_values, no_speed};
use super::even::{EvenFeed, Wanted};
use super::legs::{LegPlan, NoRoom};
use super::outline::Outline;
use super::passes::{PassCount, ZoneFeed, feed_along, pitch_of, reference_feed};
use super::powder::{TurnPowder, turn_powder};
use super::problem::{Findings, Limit};
use super::rest::check_turns;
use super::speeds::{ChosenSpeed, choose};
use crate::catalogue::{Catalogue, Powder, Torch};
use crate::coat::deposit::{Deposit, build_of, shrink};
use crate::coat::plume::{WIDEST_PITCH_IN_PLUMES, capture};
use crate::model::even::Unsolvable;
use crate::program::{Pass, PassBounds, SprayStep};
use crate::quantity::{Fraction, Length, Mass, Pitch, Range, Speed};
use crate::recipe::{End, Recipe, Zone};
use crate::rig::Rig;

/// What every zone is planned with.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ZoneContext<'a> {
    pub recipe: &'a Recipe,
    pub rig: &'a Rig,
    pub catalogue: &'a Catalogue,
    pub torch: &'a Torch,
    pub edges: EdgeBasis,
    /// Beyond this from the part a torch is clear of it.
    pub clear_by: Length,
}

/// A planned zone with the figures that the forecast tells.
#[derive(Debug, Clone)]
pub(crate) struct ZonePlan<'a> {
    pub zone: &'a Zone,
    pub powder: &'a Powder,
    pub step: SprayStep,
    pub speed: ChosenSpeed,
    pub diameters: Range<Length>,
    pub mean: Length,
    pub capture: Fraction,
    pub deposit: Deposit,
    /// Cross-section of coat per length of surface that a pass adds, mm2.
    pub area_per_pass: f64,
    /// How far powder stays on past each edge.
    pub overrun: Length,
    pub feed: Range<Speed>,
    pub feed_at_mean: Speed,
    /// Largest departure from the wanted thickness inside the zone.
    pub uneven: Fraction,
    /// The same of the best constant feed.
    pub constant_uneven: Fraction,
    pub pitch: Pitch,
    pub count: PassCount,
    pub shrink: Fraction,
}

/// Plans one zone; `None` when a problem stands in its way.
pub(crate) fn plan_zone<'a>(
    context: &ZoneContext<'a>,
    zone: &'a Zone,
    findings: &mut Findings,
) -> Option<ZonePlan<'a>> {
    let before = findings.count();
    let place = format!("zone \"{}\"", zone.name);
    let Some(powder) = context.catalogue.powder(&zone.powder) else {
        let known: Vec<&str> =
            context.catalogue.powders.iter().map(|powder| powder.key.as_str()).collect();
        findings.problem(
            Limit::Catalogue,
            format!("{place}, powder"),
            format!("no powder \"{}\" in the catalogue ({})", zone.powder, known.join(", ")),
            "name one of these or add it",
        );
        return None;
    };
    let torch = context.torch;
    let outline = Outline::of(&context.recipe.part, Range { low: zone.from, high: zone.to });
    check_values(context, zone, powder, &outline, &place, findings);
    if findings.count() > before {
        return None;
    }
    let diameters = outline.diameters();
    let mean = (diameters.low + diameters.high) / 2.0;
    let speed =
        match choose(&context.rig.spindle, zone.surface_speed, diameters, torch.surface_speed) {
            Ok(speed) => speed,
            Err(none) => {
                no_speed(&none, torch, &place, findings);
                return None;
            }
        };
    let caught = capture(mean, torch.plume);
    let deposit = Deposit {
        rate: zone.powder_rate,
        efficiency: powder.efficiency * caught.ratio(),
        density: powder.density_as_sprayed,
    };
    let slant = outline.slant();
    let reference = reference_feed(zone.feed, speed.spindle, &deposit, mean, slant);
    let feed = feed_along(&outline, reference, torch.plume);
    check_feed(&feed, zone, &speed, &deposit, mean * slant, torch, &place, findings);
    let pitch = pitch_of(feed.range.high, speed.spindle);
    check_pitch(pitch, zone, &speed, feed.range.high, torch, &place, findings);
    let shrink = match context.recipe.fuse {
        Some(_) => shrink(powder),
        None => Fraction::ZERO,
    };
    let area_per_pass = deposit.area_per_pass(feed.mean) / slant;
    let count =
        PassCount::new(mean, zone.finish + zone.allowance, shrink, area_per_pass, zone.passes);
    let build = build_of(mean, area_per_pass * f64::from(count.planned));
    check_count(&count, build, powder, &place, findings);
    if findings.count() > before {
        return None;
    }
    let wanted = Wanted {
        context,
        zone,
        mean,
        density: powder.density_as_sprayed,
        efficiency: powder.efficiency,
        thickness: Length::from_mm(
            area_per_pass * f64::from(count.planned) / (core::f64::consts::PI * mean.mm()),
        ),
        overrun: zone.overrun_at_most(torch.plume),
        rate: zone.powder_rate,
        spindle: speed.spindle,
        passes: count.planned,
        reference,
    };
    let wanted = match zone.overrun {
        Some(_) => wanted,
        // What is in the way is told by the solution itself.
        None => wanted.with_chosen_overrun(&feed).unwrap_or(wanted),
    };
    tell_beyond(&wanted, &place, findings);
    let (even, passes) = plan_even(&wanted, &feed, &place, findings)?;
    let pitch = pitch_of(even.feed.range.high, speed.spindle);
    let lead_on = torch.powder_delay_on + torch.powder_rise;
    let lead_off = torch.powder_delay_off + torch.powder_rise;
    let mut step = SprayStep {
        zone: zone.name.clone(),
        edges: Range {
            low: context.edges.place(context.recipe, zone.from),
            high: context.edges.place(context.recipe, zone.to),
        },
        torch: 0,
        spindle: speed.spindle,
        powder_rate: zone.powder_rate,
        lead_on,
        lead_off,
        window: context.recipe.spray.window,
        resume_below: context.recipe.spray.resume_below,
        dwell: context.recipe.spray.dwell,
        passes,
        powder: Mass::ZERO,
        thickness_per_pass: build_of(mean, area_per_pass),
        lies: Length::ZERO,
        touch_ups: 0,
        bounds: pass_bounds(&wanted, powder),
    };
    step.powder = powder_of(&step, context);
    check_turns(context, &step, &place, findings);
    (findings.count() == before).then_some(ZonePlan {
        zone,
        powder,
        step,
        speed,
        diameters,
        mean,
        capture: caught,
        deposit,
        area_per_pass,
        overrun: wanted.overrun,
        feed: even.feed.range,
        feed_at_mean: even.feed.mean,
        uneven: even.worst,
        constant_uneven: even.constant_worst,
        pitch,
        count,
        shrink,
    })
}

/// Within what a person may change the passes of a zone.
fn pass_bounds(wanted: &Wanted<'_>, powder: &Powder) -> PassBounds {
    let context = wanted.context;
    let axis = &context.rig.axis;
    PassBounds {
        span: wanted.span(),
        diameter: wanted.mean,
        feed: context.torch.feed,
        smooth_up_to: Speed::from_mm_per_s(
            context.torch.plume.mm() * WIDEST_PITCH_IN_PLUMES * wanted.spindle.rpm() / 60.0,
        ),
        travel: axis.travel,
        backlash: axis.backlash,
        thickest: powder.thickest,
    }
}

/// Powder that arrives in all passes together, turns with powder on included.
fn powder_of(step: &SprayStep, context: &ZoneContext<'_>) -> Mass {
    let arriving = super::powder::Timeline::of(step, context.rig.axis.ramp).arriving;
    Mass::from_g(step.powder_rate.g_per_min() * arriving.s() / 60.0)
}

/// Powder and flame that go past an end of the part go over what holds it.
fn tell_beyond(wanted: &Wanted<'_>, place: &str, findings: &mut Findings) {
    let (part, zone) = (wanted.context.recipe.part.extent(), wanted.zone);
    let past = [
        ("chuck", part.low - (zone.from - wanted.overrun)),
        ("tail centre", zone.to + wanted.overrun - part.high),
    ];
    for (what, way) in past.into_iter().filter(|(_, way)| *way > Length::ZERO) {
        findings.note(
            place,
            format!(
                "powder and flame go {way} past the end of the part, over the {what}: shield it, or \
                 shorten the overrun there"
            ),
        );
    }
}

/// The even feed and its legs. Powder that then stays on through the turns lands beside the zone's
/// ends: the feed is made again with that.
fn plan_even(
    wanted: &Wanted<'_>,
    plain: &ZoneFeed,
    place: &str,
    findings: &mut Findings,
) -> Option<(EvenFeed, Vec<Pass>)> {
    let torch = wanted.context.torch;
    let solved = |powder, findings: &mut Findings| match wanted.feed(plain, powder) {
        Ok(even) => Some(even),
        Err(why) => {
            let (limit, remedy) = match why {
                Unsolvable::NoStation => {
                    (Limit::PartStep, "make one zone for each diameter, with an edge at the step")
                }
                Unsolvable::NotPositive(_) | Unsolvable::Reversed(_) | Unsolvable::Unreached(_) => {
                    (Limit::Reach, "end the zone where the torch still faces the surface")
                }
            };
            findings.problem(limit, place, why.to_string(), remedy);
            None
        }
    };
    let mut even = solved(TurnPowder::Off, findings)?;
    // Above half a standard deviation of way in the rise of the flow, edges switched at each
    // turn are blurred more than powder kept on costs.
    let blur = Length::from_mm(even.feed.range.high.mm_per_s() * torch.powder_rise.s());
    let mut switching =
        if blur > torch.plume / 2.0 { TurnPowder::Through } else { TurnPowder::Off };
    if switching == TurnPowder::Off {
        let passes = plan_legs(wanted, &even.feed, switching, place, findings)?;
        let through = passes
            .iter()
            .zip(passes.iter().skip(1))
            .any(|(before, after)| turn_powder(before, after) == TurnPowder::Through);
        if !through {
            tell_obstacles(&even, place, findings);
            return Some((even, passes));
        }
        switching = TurnPowder::Through;
    }
    if wanted.passes > 1 {
        even = solved(switching, findings)?;
    }
    let passes = plan_legs(wanted, &even.feed, switching, place, findings)?;
    tell_obstacles(&even, place, findings);
    Some((even, passes))
}

/// What keeps a coat from being even, with what would free it.
fn tell_obstacles(even: &EvenFeed, place: &str, findings: &mut Findings) {
    for obstacle in &even.obstacles {
        let limits: Vec<String> = obstacle.limits.iter().map(ToString::to_string).collect();
        let (worst, limits) = (even.worst.percent(), limits.join(", together with "));
        let text = match obstacle.without < even.worst.ratio() {
            true => format!(
                "by its own passes uneven by {worst:.1} % at worst; {:.1} % with {limits}",
                obstacle.without * 100.0
            ),
            false => format!(
                "by its own passes uneven by {worst:.1} % at worst; only {limits} would help"
            ),
        };
        findings.note(place, text);
    }
}

fn plan_legs(
    wanted: &Wanted<'_>,
    feed: &ZoneFeed,
    switching: TurnPowder,
    place: &str,
    findings: &mut Findings,
) -> Option<Vec<Pass>> {
    let context = wanted.context;
    let (recipe, axis, torch) = (context.recipe, &context.rig.axis, context.torch);
    let legs = LegPlan {
        span: wanted.span(),
        feed: feed.points.clone(),
        ramp: axis.ramp,
        lead_on: torch.powder_delay_on + torch.powder_rise,
        lead_off: torch.powder_delay_off + torch.powder_rise,
        dwell: recipe.spray.dwell,
        travel: axis.travel,
        backlash: axis.backlash,
        switching,
        starts: recipe.spray.starts,
        passes: wanted.passes,
    };
    match legs.passes() {
        Ok(passes) => Some(passes),
        Err(NoRoom { end, needed, bound }) => {
            let (edge, over) = match end {
                End::ChuckSide => ("chuck side", bound - needed),
                End::TailSide => ("tail side", needed - bound),
            };
            findings.problem(
                Limit::Travel,
                format!("{place}, overrun"),
                format!(
                    "on the {edge} the carriage would have to turn at {needed}, its travel ends \
                     at {bound}"
                ),
                format!("shorten the overrun or the zone by {over}, or move the part"),
            );
            None
        }
    }
}
