//! One zone: its speed, its feed, its passes and its legs, each against the limit that binds it.

use super::EdgeBasis;
use super::legs::{LegPlan, NoRoom};
use super::motion::LegMotion;
use super::outline::Outline;
use super::passes::{MOST_PASSES, PassCount, ZoneFeed, feed_along, pitch_of, reference_feed};
use super::powder::{TurnPowder, rest_before};
use super::problem::{Findings, Limit};
use super::setup::SHORTEST_ZONE_IN_PLUMES;
use super::speeds::{ChosenSpeed, NoSpeedFits, choose, metres_per_minute};
use crate::catalogue::{Catalogue, Powder, Range, Torch};
use crate::coat::deposit::{Deposit, build_of, shrink};
use crate::coat::plume::{WIDEST_PITCH_IN_PLUMES, capture, ripple};
use crate::program::{FeedPoint, Pass, SprayStep};
use crate::quantity::{Fraction, Length, Mass, Pitch, Speed, Time};
use crate::recipe::{End, FeedChoice, Recipe, Zone};
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
    pub feed: Range<Speed>,
    pub feed_at_mean: Speed,
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
    let passes = plan_legs(context, zone, &feed, count.planned, &place, findings)?;
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
        feed: feed.range,
        feed_at_mean: feed.mean,
        pitch,
        count,
        shrink,
    })
}

/// Powder that arrives in all passes together, turns with powder on included.
fn powder_of(step: &SprayStep, context: &ZoneContext<'_>) -> Mass {
    let arriving = super::powder::Timeline::of(step, context.rig.axis.ramp).arriving;
    Mass::from_g(step.powder_rate.g_per_min() * arriving.s() / 60.0)
}

fn check_values(
    context: &ZoneContext<'_>,
    zone: &Zone,
    powder: &Powder,
    outline: &Outline,
    place: &str,
    findings: &mut Findings,
) {
    let torch = context.torch;
    if let Some(at) = outline.step() {
        findings.problem(
            Limit::PartStep,
            place,
            format!("the part has a step at {at}, inside the zone"),
            "make one zone for each diameter, with an edge at the step",
        );
    }
    for (what, value) in [
        ("length", (zone.to - zone.from).mm()),
        ("diameter", outline.diameters().low.mm()),
        ("finish", (zone.finish + zone.allowance).mm()),
        ("powder_rate", zone.powder_rate.g_per_min()),
        ("plume of the torch", torch.plume.mm()),
        ("surface_speed", zone.surface_speed.mm_per_s()),
        ("ramp of the carriage", context.rig.axis.ramp.mm_per_s2()),
    ] {
        if value.is_nan() || value <= 0.0 {
            let found = format!("{what} is {value}, more than zero is needed");
            findings.problem(Limit::Positive, format!("{place}, {what}"), found, "correct it");
        }
    }
    let chosen = match zone.feed {
        FeedChoice::Pitch(pitch) => pitch.mm_per_turn(),
        FeedChoice::Feed(feed) => feed.mm_per_s(),
        FeedChoice::ThicknessPerPass(thickness) => thickness.mm(),
    };
    if chosen.is_nan() || chosen <= 0.0 {
        let found = format!("feed is {chosen}, more than zero is needed");
        findings.problem(Limit::Positive, format!("{place}, feed"), found, "correct it");
    }
    if zone.passes == Some(0) {
        findings.problem(
            Limit::Passes,
            format!("{place}, passes"),
            "zero passes spray nothing",
            "leave the number out and it is worked out, or ask for one at least",
        );
    }
    if let Some(range) = torch.powder_rate
        && !range.contains(zone.powder_rate)
    {
        findings.problem(
            Limit::PowderRate,
            format!("{place}, powder_rate"),
            format!(
                "{} asked for, {} carries {} to {}",
                zone.powder_rate, torch.title, range.low, range.high
            ),
            "stay inside, and let the number of passes make the thickness",
        );
    }
    let window = context.recipe.spray.window;
    if window.low < powder.spray_window.low || window.high > powder.spray_window.high {
        findings.problem(
            Limit::SprayTemperature,
            format!("spray, window ({place})"),
            format!(
                "{} to {}, but {} is sprayed on at {} to {}",
                window.low,
                window.high,
                powder.title,
                powder.spray_window.low,
                powder.spray_window.high
            ),
            "narrow the window",
        );
    }
    let length = zone.to - zone.from;
    if length < torch.plume * SHORTEST_ZONE_IN_PLUMES {
        findings.note(
            place,
            format!(
                "{length} is shorter than {} standard deviations of the plume: both edges fall \
                 off into each other",
                SHORTEST_ZONE_IN_PLUMES
            ),
        );
    }
    if zone.overrun < torch.plume * 1.5 {
        findings.note(
            format!("{place}, overrun"),
            format!(
                "{} is under 1.5 standard deviations of the plume ({}): the edges get thin",
                zone.overrun,
                torch.plume * 1.5
            ),
        );
    }
}

fn no_speed(none: &NoSpeedFits, torch: &Torch, place: &str, findings: &mut Findings) {
    let found = format!(
        "at {}, the nearest the spindle has, the surface runs at {} to {}; {} works on {} to {}",
        none.nearest,
        metres_per_minute(none.surface.low),
        metres_per_minute(none.surface.high),
        torch.title,
        metres_per_minute(torch.surface_speed.low),
        metres_per_minute(torch.surface_speed.high),
    );
    let remedy = if none.needed.low > none.needed.high {
        "the diameters differ too much for one spindle speed: split the zone".to_owned()
    } else {
        format!("a speed between {} and {} would do", none.needed.low, none.needed.high)
    };
    findings.problem(Limit::SurfaceSpeed, format!("{place}, surface_speed"), found, remedy);
}

#[expect(clippy::too_many_arguments, reason = "one check, read once")]
fn check_feed(
    feed: &ZoneFeed,
    zone: &Zone,
    speed: &ChosenSpeed,
    deposit: &Deposit,
    surface: Length,
    torch: &Torch,
    place: &str,
    findings: &mut Findings,
) {
    if torch.feed.low <= feed.range.low && feed.range.high <= torch.feed.high {
        return;
    }
    // The reference at the mean diameter may lie where both ends of the profile fit.
    let low = torch.feed.low * (feed.mean / feed.range.low);
    let high = torch.feed.high * (feed.mean / feed.range.high);
    let remedy = match zone.feed {
        _ if low > high => "the diameters differ too much for one zone: split it".to_owned(),
        FeedChoice::Pitch(_) => format!(
            "at {} a pitch of {} to {} would do",
            speed.spindle,
            pitch_of(low, speed.spindle),
            pitch_of(high, speed.spindle)
        ),
        FeedChoice::Feed(_) => format!("a feed of {low} to {high} would do"),
        FeedChoice::ThicknessPerPass(_) => format!(
            "{:.4} to {:.4} for each pass would do, or another powder rate",
            deposit.thickness_per_pass(surface, high),
            deposit.thickness_per_pass(surface, low)
        ),
    };
    findings.problem(
        Limit::Feed,
        format!("{place}, feed"),
        format!(
            "the feed comes to {} to {}, {} runs at {} to {}",
            feed.range.low, feed.range.high, torch.title, torch.feed.low, torch.feed.high
        ),
        remedy,
    );
}

fn check_pitch(
    pitch: Pitch,
    zone: &Zone,
    speed: &ChosenSpeed,
    fastest: Speed,
    torch: &Torch,
    place: &str,
    findings: &mut Findings,
) {
    let widest = Pitch::from_mm_per_turn(torch.plume.mm() * WIDEST_PITCH_IN_PLUMES);
    if pitch.mm_per_turn() <= widest.mm_per_turn() * (1.0 + 1e-9) {
        return;
    }
    let share = widest / pitch;
    let remedy = match zone.feed {
        FeedChoice::Pitch(wanted) => format!("ask for a pitch of at most {}", wanted * share),
        FeedChoice::Feed(_) | FeedChoice::ThicknessPerPass(_) => format!(
            "a feed of at most {} or a spindle speed of at least {} would do",
            fastest * share,
            speed.spindle / share
        ),
    };
    findings.problem(
        Limit::Pitch,
        format!("{place}, feed"),
        format!(
            "a pitch of {pitch} leaves a ripple of {:.1} % peak to peak; up to {widest}, two \
             standard deviations of the plume, it stays under 3 %",
            ripple(pitch, torch.plume).percent()
        ),
        remedy,
    );
}

fn check_count(
    count: &PassCount,
    build: Length,
    powder: &Powder,
    place: &str,
    findings: &mut Findings,
) {
    if count.planned > MOST_PASSES {
        findings.problem(
            Limit::Passes,
            format!("{place}, feed"),
            format!("{:.0} passes are needed, {MOST_PASSES} are allowed", count.by_area.ceil()),
            "make each pass thicker: a slower feed or more powder",
        );
    } else if build > powder.thickest {
        findings.problem(
            Limit::Thickness,
            format!("{place}, finish"),
            format!(
                "{} passes build {build:.3} as sprayed, {} allows {}",
                count.planned, powder.title, powder.thickest
            ),
            "ask for a thinner coat or fewer passes",
        );
    } else if f64::from(count.planned) + 1e-9 < count.by_area {
        findings.note(
            format!("{place}, passes"),
            format!(
                "{} passes are insisted on and build {build:.3} of the {:.3} needed ({:.2} passes)",
                count.planned, count.required, count.by_area
            ),
        );
    } else if f64::from(count.planned) >= count.by_area + 1.0 {
        findings.note(
            format!("{place}, passes"),
            format!(
                "{} passes are insisted on, {:.2} would do: they build {build:.3}, needed are {:.3}",
                count.planned, count.by_area, count.required
            ),
        );
    }
}

fn plan_legs(
    context: &ZoneContext<'_>,
    zone: &Zone,
    feed: &ZoneFeed,
    passes: u32,
    place: &str,
    findings: &mut Findings,
) -> Option<Vec<Pass>> {
    let (recipe, axis, torch) = (context.recipe, &context.rig.axis, context.torch);
    // Above half a standard deviation of way in the rise of the flow, edges switched at each
    // turn are blurred more than powder kept on costs.
    let blur = Length::from_mm(feed.range.high.mm_per_s() * torch.powder_rise.s());
    let switching = if blur > torch.plume / 2.0 { TurnPowder::Through } else { TurnPowder::Off };
    let legs = LegPlan {
        span: Range {
            low: context.edges.place(recipe, zone.from) - zone.overrun,
            high: context.edges.place(recipe, zone.to) + zone.overrun,
        },
        feed: feed
            .points
            .iter()
            .map(|point| FeedPoint { at: context.edges.place(recipe, point.at), ..*point })
            .collect(),
        ramp: axis.ramp,
        lead_on: torch.powder_delay_on + torch.powder_rise,
        lead_off: torch.powder_delay_off + torch.powder_rise,
        dwell: recipe.spray.dwell,
        travel: axis.travel,
        backlash: axis.backlash,
        switching,
        starts: recipe.spray.starts,
        passes,
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

/// Turns under flame over the part: rest within the torch's limit; and what a lead-in costs.
fn check_turns(context: &ZoneContext<'_>, step: &SprayStep, place: &str, findings: &mut Findings) {
    let part = context.recipe.part.extent();
    let over = |at: Length| part.low - context.clear_by < at && at < part.high + context.clear_by;
    let longest = context.torch.longest_dwell;
    for (index, pass) in step.passes.iter().enumerate() {
        let motion = LegMotion::new(pass, context.rig.axis.ramp);
        let dwell = if index == 0 { Time::ZERO } else { step.dwell };
        let rest = rest_before(pass, &motion, step.lead_on, dwell);
        if over(pass.from) && rest > longest {
            findings.problem(
                Limit::Dwell,
                format!("{place}, overrun"),
                format!(
                    "the flame would rest for {rest:.2} over the part at the turn at {:.2}; {} \
                     allows {longest}",
                    pass.from, context.torch.title
                ),
                "shorten the dwell, or give the carriage room for its lead: a shorter overrun, a \
                 wider travel",
            );
            // One turn tells of all: they repeat.
            return;
        }
        if rest > dwell {
            findings.note(
                place,
                format!(
                    "no room for the powder's lead before the turn at {:.2}: powder is commanded \
                     at rest there, {rest:.2} before the carriage leaves",
                    pass.from
                ),
            );
            return;
        }
    }
}
