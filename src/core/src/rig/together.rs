//! Whether a recipe can be made on a rig.

use core::f64::consts::PI;

use super::{FlameWatch, Rig, SpindleSpec};
use crate::catalogue::{Catalogue, GasSetting, Torch, WATCHED_POWER};
use crate::document::{Problem, Problems, inches};
use crate::image::{Analogue, Contact};
use crate::quantity::{Length, Range, Speed, SpindleSpeed};
use crate::recipe::{Part, Recipe, planned_feed};

/// How far plume and flame reach, in standard deviations: clear is beyond it.
const CLEAR_DEVIATIONS: f64 = 3.0;
/// A surface speed this far off the wanted one is worth a warning; half a step of a sqrt(2)
/// gearbox is 18.9 %.
const SPEED_OFF: f64 = 0.1;

/// What forbids this recipe on this rig, and what a person should look at. Paths are those of
/// the recipe: show them with its text.
#[must_use]
pub fn check_together(recipe: &Recipe, rig: &Rig, catalogue: &Catalogue) -> Problems {
    let mut problems = Problems::default();
    let spray = catalogue.torch(&recipe.spray.torch);
    let fuse = recipe.fuse.as_ref().and_then(|fuse| catalogue.torch(&fuse.torch));
    swing(&mut problems, recipe, rig);
    let second = fuse.filter(|torch| torch.key != recipe.spray.torch);
    for (path, torch) in [("spray.torch", spray), ("fuse.torch", second)] {
        if let Some(torch) = torch {
            gauges(&mut problems, path, torch, rig);
        }
    }
    let flames = [
        ("spray.torch", spray.map(|torch| (torch, torch.spraying))),
        ("fuse.torch", fuse.map(|torch| (torch, torch.fusing))),
    ];
    for (path, flame) in flames {
        if let Some((torch, setting)) = flame {
            watched(&mut problems, path, torch, setting, rig, catalogue);
        }
    }
    park(&mut problems, recipe, rig, [spray, second]);
    if let Some(torch) = spray {
        reach(&mut problems, recipe, rig, torch, catalogue);
    }
    spindle(&mut problems, recipe, rig, spray, fuse);
    sensors(&mut problems, recipe, rig);
    problems
}

fn swing(problems: &mut Problems, recipe: &Recipe, rig: &Rig) {
    for (place, point) in recipe.part.profile.iter().enumerate() {
        if point.diameter > rig.swing {
            problems.push(
                Problem::error(
                    format!("part.profile[{}].diameter", place + 1),
                    format!(
                        "a diameter of {} does not turn clear in \"{}\"",
                        point.diameter, rig.title
                    ),
                )
                .accepted(format!("at most {}, the swing of this rig", rig.swing))
                .hint(inches(point.diameter, |found| found <= rig.swing))
                .help_if_none("use a larger lathe"),
            );
        }
    }
}

/// The park is clear of the part by three standard deviations of plume and flame.
fn park(problems: &mut Problems, recipe: &Recipe, rig: &Rig, torches: [Option<&Torch>; 2]) {
    let reach = |torch: &Torch| torch.plume.max(torch.flame) * CLEAR_DEVIATIONS;
    let widest = torches
        .into_iter()
        .flatten()
        .max_by(|one, other| reach(one).mm().total_cmp(&reach(other).mm()));
    let Some(torch) = widest else { return };
    let clear = reach(torch);
    let part = recipe.part.extent();
    let park = rig.axis.park;
    if park >= part.high + clear || park <= part.low - clear {
        return;
    }
    let last = recipe.part.profile.len();
    problems.push(
        Problem::error(
            format!("part.profile[{last}].at"),
            format!("the part reaches to {}, too near to the park at {park}", part.high),
        )
        .accepted(format!(
            "at most {}: \"{}\" is clear of the part from {clear} on",
            park - clear,
            torch.key
        ))
        .hint(inches(part.high, |high| high <= park - clear))
        .help_if_none("this part is too long for this rig"),
    );
}

/// Zone, overrun and run-up lie inside the travel.
fn reach(
    problems: &mut Problems,
    recipe: &Recipe,
    rig: &Rig,
    torch: &Torch,
    catalogue: &Catalogue,
) {
    let travel = rig.axis.travel;
    for (place, zone) in recipe.zones.iter().enumerate() {
        let path = format!("zone[{}]", place + 1);
        let Some(feed) = planned_feed(zone, &recipe.part, catalogue.powder(&zone.powder)) else {
            continue;
        };
        let lead = torch.powder_delay_on + torch.powder_rise;
        let ramp = feed.mm_per_s() * feed.mm_per_s() / (2.0 * rig.axis.ramp.mm_per_s2());
        let run_up = Length::from_mm(feed.mm_per_s() * lead.s() + ramp);
        // Left out, the plan may take none: it says itself where even that does not fit.
        let overrun = zone.overrun.unwrap_or(Length::ZERO);
        let needed = Range { low: zone.from - overrun - run_up, high: zone.to + overrun + run_up };
        for (key, end) in [("from", needed.low), ("to", needed.high)] {
            if !travel.contains(end) {
                problems.push(
                    Problem::error(
                        format!("{path}.{key}"),
                        format!(
                            "the torch would go to {end}: overrun {} and run-up {run_up} beyond the edge",
                            overrun
                        ),
                    )
                    .accepted(format!("{} to {}, the travel of \"{}\"", travel.low, travel.high, rig.title))
                    .help("shorten the overrun, lower the feed, or clamp the part elsewhere"),
                );
            }
        }
    }
}

/// A flame that its operator may not watch alone has its burner control (EN 746-2, a guide here).
fn watched(
    problems: &mut Problems,
    path: &str,
    torch: &Torch,
    setting: GasSetting,
    rig: &Rig,
    catalogue: &Catalogue,
) {
    let Some(gas) = catalogue.fuel_gas(&torch.fuel_gas) else { return };
    let burnt = setting.heat(gas);
    if burnt <= WATCHED_POWER || rig.flame_watch == FlameWatch::BurnerControl {
        return;
    }
    problems.push(
        Problem::error(path, format!("the flame of \"{}\" gives {burnt:.1}", torch.key))
            .accepted(format!(
                "up to {WATCHED_POWER} on \"{}\", whose operator watches the flame; more needs \
                 automatic burner control (EN 746-2, a guide here)",
                rig.title
            ))
            .help(
                "use a smaller torch, or a rig whose burner control is wired and whose file says \
                 flame_watch = \"burner_control\"",
            ),
    );
}

/// The pressures the torch is set to can be read on this rig.
fn gauges(problems: &mut Problems, path: &str, torch: &Torch, rig: &Rig) {
    let set = [
        (Analogue::FuelPressure, torch.fuel_pressure),
        (Analogue::OxygenPressure, torch.oxygen_pressure),
        (Analogue::CarrierPressure, torch.carrier_pressure),
    ];
    for (tag, pressure) in set {
        let scale =
            rig.field.analogues.iter().find(|spec| spec.tag == tag && spec.register.is_some());
        let Some(scale) = scale else { continue };
        if pressure.bar() >= scale.at_20_ma {
            problems.push(
                Problem::error(
                    path,
                    format!("\"{}\" is set to {pressure} {}, off the scale of the transmitter", torch.key, tag.title()),
                )
                .accepted(format!("less than {} bar, its value at 20 mA on \"{}\"", scale.at_20_ma, rig.title))
                .help("use another torch or another transmitter: a pressure that cannot be read is unsafe"),
            );
        }
    }
}

/// The speed the spindle would be set to for a wanted one: the inverter's nearest, the gear
/// nearest in log ratio.
fn nearest_speed(spindle: &SpindleSpec, wanted: SpindleSpeed) -> Option<SpindleSpeed> {
    match spindle {
        SpindleSpec::Inverter(inverter) => {
            Some(wanted.max(inverter.speeds.low).min(inverter.speeds.high))
        }
        SpindleSpec::Gears(table) => table.speeds.iter().copied().min_by(|one, other| {
            let off = |speed: SpindleSpeed| (speed / wanted).ln().abs();
            off(*one).total_cmp(&off(*other))
        }),
    }
}

fn surface(speed: SpindleSpeed, diameter: Length) -> Speed {
    Speed::from_mm_per_s(PI * diameter.mm() * speed.rpm() / 60.0)
}

/// Wherever the zone is, the speed the spindle can have keeps the surface inside the torch's
/// window.
fn spindle(
    problems: &mut Problems,
    recipe: &Recipe,
    rig: &Rig,
    spray: Option<&Torch>,
    fuse: Option<&Torch>,
) {
    for (place, zone) in recipe.zones.iter().enumerate() {
        let edges = Range { low: zone.from, high: zone.to };
        let path = format!("zone[{}].surface_speed", place + 1);
        if let Some(torch) = spray {
            turning(problems, &path, zone.surface_speed, edges, &recipe.part, torch, rig);
        }
        if let (Some(torch), Some(step)) = (fuse, &recipe.fuse) {
            turning(
                problems,
                "fuse.surface_speed",
                step.surface_speed,
                edges,
                &recipe.part,
                torch,
                rig,
            );
        }
    }
}

fn turning(
    problems: &mut Problems,
    path: &str,
    wanted: Speed,
    edges: Range<Length>,
    part: &Part,
    torch: &Torch,
    rig: &Rig,
) {
    let middle = part.diameter_at(edges.low + (edges.high - edges.low) * 0.5);
    let asked = SpindleSpeed::from_rpm(wanted.mm_per_s() * 60.0 / (PI * middle.mm()));
    let Some(speed) = nearest_speed(&rig.spindle, asked) else { return };
    let metres = |speed: Speed| format!("{:.1} m/min", speed.mm_per_s() * 60.0 / 1000.0);
    let window = torch.surface_speed;
    let near = (edges.high - edges.low) * 0.01;
    let ends = [edges.low + near, edges.high - near].map(|at| part.diameter_at(at));
    for diameter in ends {
        let got = surface(speed, diameter);
        if !window.contains(got) {
            problems.push(
                Problem::error(
                    path,
                    format!(
                        "the nearest speed of \"{}\" is {speed}: {} on {diameter}",
                        rig.title,
                        metres(got)
                    ),
                )
                .accepted(format!(
                    "{} to {} for \"{}\"",
                    metres(window.low),
                    metres(window.high),
                    torch.key
                ))
                .help("choose another surface speed, or make zones of less taper"),
            );
            return;
        }
    }
    let off = surface(speed, middle) / wanted - 1.0;
    if off.abs() > SPEED_OFF {
        problems.push(
            Problem::warning(
                path,
                format!(
                    "{} wants {asked:.0}; the nearest speed of \"{}\" is {speed}, {:+.1} % off",
                    metres(wanted),
                    rig.title,
                    off * 100.0
                ),
            )
            .accepted("within 10 % of the wanted surface speed")
            .help("thickness does not change with it; pitch and heat do"),
        );
    }
}

/// The rig sees and hears what the recipe needs.
fn sensors(problems: &mut Problems, recipe: &Recipe, rig: &Rig) {
    let scale = |tag: Analogue| {
        rig.field.analogues.iter().find(|spec| spec.tag == tag && spec.register.is_some())
    };
    if let Some(part) = scale(Analogue::PartTemperature) {
        // A sensor at its upper end reads "at least": it must see beyond what is waited for.
        let beyond = [
            ("spray.window.to", recipe.spray.window.high, "lower the window"),
            ("cool.turn_until", recipe.cool.turn_until, "turn until the part is cooler"),
        ];
        for (path, temperature, instead) in beyond {
            if temperature.celsius() >= part.at_20_ma {
                problems.push(
                    Problem::error(path, "the part's temperature sensor does not reach that far")
                        .accepted(format!(
                            "less than {} degC, its value at 20 mA on \"{}\"",
                            part.at_20_ma, rig.title
                        ))
                        .help(format!("{instead}, or fit a sensor of a wider range")),
                );
            }
        }
    }
    let Some(fuse) = &recipe.fuse else { return };
    match scale(Analogue::FuseTemperature) {
        None => problems.push(
            Problem::error("fuse", format!("\"{}\" has no fusing pyrometer", rig.title))
                .accepted("a rig with field.analogue.fuse_temperature")
                .help("fuse on another rig and delete [fuse] here"),
        ),
        Some(pyrometer) if fuse.ceiling.celsius() >= pyrometer.at_20_ma => problems.push(
            Problem::error("fuse.ceiling", "the fusing pyrometer does not reach that far")
                .accepted(format!(
                    "less than {} degC, its value at 20 mA on \"{}\"",
                    pyrometer.at_20_ma, rig.title
                ))
                .help("lower the ceiling, or fit a pyrometer of a wider range"),
        ),
        Some(_) => {}
    }
    let wet = rig
        .field
        .contacts
        .iter()
        .any(|spec| spec.tag == Contact::WetButton && spec.input.is_some());
    if !wet {
        problems.push(
            Problem::error("fuse", format!("\"{}\" has no wet button", rig.title))
                .accepted("a rig with field.contact.wet_button: a person calls the coat wet")
                .help("fit the button, or fuse on another rig"),
        );
    }
}
