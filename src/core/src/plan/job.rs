//! The steps of a job in their order, and what they need beyond the zones.

use super::EdgeBasis;
use super::fuse;
use super::heat::{Lump, captured_over};
use super::outline::Outline;
use super::problem::{Findings, Limit};
use super::rest::{self, Standing};
use super::speeds::{ChosenSpeed, choose, metres_per_minute};
use super::torches::Torches;
use super::zone::ZonePlan;
use crate::catalogue::{Carrier, FuelGas, GasSetting, Torch};
use crate::coat::plume::capture;
use crate::image::Level;
use crate::program::{CoolStep, FuseStep, Parts, PreheatStep, Program, Step, TorchPlan};
use crate::quantity::{Length, Power, Range, SpindleSpeed, Temperature, Time};
use crate::recipe::{Fuse, Recipe, Substrate};
use crate::rig::{Rig, SwingAway};

/// The program of planned zones.
pub(crate) fn assemble(
    recipe: &Recipe,
    rig: &Rig,
    torches: &Torches<'_>,
    zones: &[ZonePlan<'_>],
    edges: EdgeBasis,
    findings: &mut Findings,
) -> Option<Program> {
    let before = findings.count();
    let clear_by = torches.clear_by();
    check_park(recipe, rig, clear_by, findings);
    check_standoff(recipe, torches.spray, findings);
    let first = zones.first()?;
    let preheat = preheat(recipe, rig, torches.spray, first.speed.spindle, findings);
    let mut steps = vec![Step::Preheat(preheat)];
    steps.extend(zones.iter().map(|zone| Step::Spray(zone.step.clone())));
    let part = &recipe.part;
    let spray = torches.spray;
    let sprayed = || zones.iter().map(|zone| &zone.step);
    let turns = rest::planned(sprayed(), &rig.axis);
    let (gas, hot) = (&spray.spraying, recipe.spray.window.high);
    let standing = Standing { part, torch: spray, gas, hot };
    let thinnest = rest::thinnest(part, rest::ways(sprayed()));
    let longest_rest = rest::longest(rest::stall(&standing, thinnest), turns);
    let mut torch_plans = vec![torch_plan(spray, spray.spraying, torches.spray_gas, longest_rest)];
    let mut last_spindle = zones.last().map_or(first.speed.spindle, |zone| zone.speed.spindle);
    if let (Some(fuse), Some((torch, gas))) = (&recipe.fuse, torches.fuse) {
        let place = torch_plans.len();
        if torch.key != torches.spray.key {
            steps.push(Step::ChangeTorch(place));
        }
        for zone in zones {
            let speed = fusing_speed(recipe, rig, fuse, torch, zone, findings)?;
            last_spindle = speed.spindle;
            steps.push(Step::Fuse(fuse_step(recipe, fuse, zone, place, &speed, edges)));
        }
        // Where the flame will turn is not chosen yet: it is as far as it may be.
        let beyond = fuse::farthest(torch.flame, fuse.overrun);
        let reached = zones
            .iter()
            .map(|zone| Range { low: zone.zone.from - beyond, high: zone.zone.to + beyond });
        let thinnest = rest::thinnest(part, reached);
        let hot = fuse.window.high;
        let standing = Standing { part, torch, gas: &torch.fusing, hot };
        let longest_rest = rest::longest(rest::stall(&standing, thinnest), Time::ZERO);
        torch_plans.push(torch_plan(torch, torch.fusing, gas, longest_rest));
    }
    steps.push(Step::Cool(CoolStep {
        spindle: last_spindle,
        turn_until: recipe.cool.turn_until,
        at_least: recipe.cool.at_least,
        // The forecast tells it, which needs the program first.
        after_fusing: Time::ZERO,
        longest: recipe.cool.longest,
        slow: recipe.cool.slow,
    }));
    if recipe.part.substrate == Substrate::AirHardeningSteel
        && recipe.cool.slow == crate::recipe::SlowCooling::NotNeeded
    {
        findings
            .note("cool, slow", "steel that hardens in air cracks in still air: cool it slowly");
    }
    (findings.count() == before).then_some(Program {
        title: recipe.title.clone(),
        park: rig.axis.park,
        part: recipe.part.extent(),
        clear_by,
        ramp: rig.axis.ramp,
        positioning: rig.axis.positioning,
        steps,
        torches: torch_plans,
        blasted_within: recipe.spray.blasted_within,
        parts: Parts::Any,
    })
}

/// Net heat into the part of a torch at a setting, after what passes a narrow part.
pub(crate) fn net_into(diameter: Length, torch: &Torch, gas: &GasSetting) -> Power {
    gas.net_power * capture(diameter, torch.flame).ratio()
}

/// The stretch that is heated: from the first zone's powder to the last one's.
pub(crate) fn heated(recipe: &Recipe, plume: Length) -> Range<Length> {
    let low = recipe.zones.iter().map(|zone| zone.from - zone.overrun_at_most(plume));
    let high = recipe.zones.iter().map(|zone| zone.to + zone.overrun_at_most(plume));
    Range {
        low: low.reduce(Length::min).unwrap_or(Length::ZERO),
        high: high.reduce(Length::max).unwrap_or(Length::ZERO),
    }
}

fn preheat(
    recipe: &Recipe,
    rig: &Rig,
    torch: &Torch,
    spindle: SpindleSpeed,
    findings: &mut Findings,
) -> PreheatStep {
    let wished = heated(recipe, torch.plume);
    let span = Range {
        low: wished.low.max(rig.axis.travel.low),
        high: wished.high.min(rig.axis.travel.high),
    };
    let wanted = &recipe.preheat;
    if !torch.feed.contains(wanted.feed) {
        findings.problem(
            Limit::Feed,
            "preheat, feed",
            format!(
                "{} asked for, {} runs at {} to {}",
                wanted.feed, torch.title, torch.feed.low, torch.feed.high
            ),
            "stay inside",
        );
    }
    let lump = Lump::of(&recipe.part, wished);
    let net = torch.spraying.net_power * captured_over(&recipe.part, wished, torch.flame).ratio();
    let aim = preheat_aim(wanted.window);
    let expected = lump.time(lump.room, aim, net);
    let expected = match expected {
        Some(time) if time <= wanted.longest => time,
        Some(time) => {
            findings.problem(
                Limit::Preheat,
                "preheat, longest",
                format!(
                    "{} of net heat need {:.0} or more to reach {}, {} are allowed",
                    net, time, aim, wanted.longest
                ),
                "allow more time, or use a larger flame",
            );
            time
        }
        None => {
            findings.problem(
                Limit::Preheat,
                "preheat, window",
                format!(
                    "{} of net heat bring the part to {:.0} at most, {} is wanted",
                    net,
                    lump.hottest(net),
                    aim
                ),
                "use a larger flame",
            );
            Time::ZERO
        }
    };
    check_soak(recipe, &lump, findings);
    PreheatStep {
        torch: 0,
        spindle,
        feed: wanted.feed,
        span,
        window: wanted.window,
        aim,
        soak: wanted.soak,
        longest: wanted.longest,
        expected,
    }
}

/// What the preheat heats to: the middle of its window, so that neither the soak nor the heat
/// that still spreads takes the part out of it.
fn preheat_aim(window: Range<Temperature>) -> Temperature {
    window.low + (window.high - window.low) / 2.0
}

/// The soak is spent clear of the part: it must not cool out of the window meanwhile.
fn check_soak(recipe: &Recipe, lump: &Lump, findings: &mut Findings) {
    let wanted = &recipe.preheat;
    let low = wanted.window.low;
    let aim = preheat_aim(wanted.window);
    let lost = aim.above(lump.after(aim, Power::ZERO, wanted.soak));
    if lost > aim.above(low) {
        findings.problem(
            Limit::Preheat,
            "preheat, soak",
            format!("in {} the part loses {lost}, more than from {aim} to {low}", wanted.soak),
            "shorten the soak or widen the window",
        );
    }
}

fn fusing_speed(
    recipe: &Recipe,
    rig: &Rig,
    fuse: &Fuse,
    torch: &Torch,
    zone: &ZonePlan<'_>,
    findings: &mut Findings,
) -> Option<ChosenSpeed> {
    let edges = Range { low: zone.zone.from, high: zone.zone.to };
    let diameters = Outline::of(&recipe.part, edges).diameters();
    for (what, feed) in [("oscillation", fuse.oscillation), ("feed", fuse.feed)] {
        if !torch.feed.contains(feed) {
            findings.problem(
                Limit::Feed,
                format!("fuse, {what}"),
                format!(
                    "{feed} asked for, {} runs at {} to {}",
                    torch.title, torch.feed.low, torch.feed.high
                ),
                "stay inside",
            );
        }
    }
    if fuse.window.low < zone.powder.fuse_window.low
        || fuse.window.high > zone.powder.fuse_window.high
    {
        findings.note(
            "fuse, window",
            format!(
                "{} is expected to wet at {} to {}",
                zone.powder.title, zone.powder.fuse_window.low, zone.powder.fuse_window.high
            ),
        );
    }
    match choose(&rig.spindle, fuse.surface_speed, diameters, torch.surface_speed) {
        Ok(speed) => Some(speed),
        Err(none) => {
            findings.problem(
                Limit::SurfaceSpeed,
                format!("fuse, surface_speed (zone \"{}\")", zone.zone.name),
                format!(
                    "at {}, the nearest the spindle has, the surface runs at {}; {} works on {} \
                     to {}",
                    none.nearest,
                    metres_per_minute(none.surface.high),
                    torch.title,
                    metres_per_minute(torch.surface_speed.low),
                    metres_per_minute(torch.surface_speed.high)
                ),
                format!("a speed between {} and {} would do", none.needed.low, none.needed.high),
            );
            None
        }
    }
}

/// The bands are chosen by the forecast, which knows how hot the part is by then.
fn fuse_step(
    recipe: &Recipe,
    fuse: &Fuse,
    zone: &ZonePlan<'_>,
    torch: usize,
    speed: &ChosenSpeed,
    edges: EdgeBasis,
) -> FuseStep {
    let place = |at| edges.place(recipe, at);
    FuseStep {
        zone: zone.zone.name.clone(),
        torch,
        spindle: speed.spindle,
        starts: fuse.starts,
        edges: Range { low: place(zone.zone.from), high: place(zone.zone.to) },
        bands: Vec::new(),
        oscillation: fuse.oscillation,
        feed: fuse.feed,
        window: fuse.window,
        ceiling: fuse.ceiling,
        longest: fuse.longest,
    }
}

fn torch_plan(torch: &Torch, gas: GasSetting, fuel: &FuelGas, longest_rest: Time) -> TorchPlan {
    TorchPlan {
        key: torch.key.clone(),
        title: torch.title.clone(),
        lighting: torch.lighting,
        gas,
        longest_rest,
        fuel_pressure: torch.fuel_pressure,
        fuel_pressure_limit: fuel.highest_pressure,
        oxygen_pressure: torch.oxygen_pressure,
        carrier_pressure: torch.carrier_pressure,
        shut_order: torch.shut_order,
        shut_lag: torch.shut_lag,
        purge_after: torch.purge_after,
        carrier_may_purge: match torch.carrier {
            Carrier::Air => Level::On,
            Carrier::Oxygen => Level::Off,
        },
    }
}

fn check_park(recipe: &Recipe, rig: &Rig, clear_by: Length, findings: &mut Findings) {
    let part = recipe.part.extent();
    let over = part.low - clear_by < rig.axis.park && rig.axis.park < part.high + clear_by;
    if over && rig.field.swing_away == SwingAway::NotFitted {
        findings.problem(
            Limit::Park,
            "rig, park",
            format!(
                "the park at {} is not clear of the part, which ends at {}: a flame at rest \
                 there would heat it",
                rig.axis.park, part.high
            ),
            format!(
                "park at {} or beyond (three standard deviations of plume and flame past the \
                 part), or mount the part nearer to the chuck",
                part.high + clear_by
            ),
        );
    }
}

fn check_standoff(recipe: &Recipe, torch: &Torch, findings: &mut Findings) {
    if !torch.standoff.contains(recipe.spray.standoff) {
        findings.problem(
            Limit::Standoff,
            "spray, standoff",
            format!(
                "{} asked for, {} works at {} to {}",
                recipe.spray.standoff, torch.title, torch.standoff.low, torch.standoff.high
            ),
            "stay inside: the plume's width is known there only",
        );
    }
}
