//! Whether the zones lie on the part, apart from each other, and can be sprayed as they say.

use core::f64::consts::PI;

use super::super::bounds::{EDGE_DEVIATIONS, PITCH_DEVIATIONS, STEEPEST, ZONE_DEVIATIONS};
use super::super::{FeedChoice, Part, Zone};
use super::Draft;
use crate::catalogue::{Catalogue, Powder, Torch};
use crate::document::{Problem, Problems, inches};
use crate::quantity::{Length, Speed};

pub(super) fn check(
    problems: &mut Problems,
    draft: &Draft,
    torch: Option<&Torch>,
    catalogue: &Catalogue,
) {
    for (path, zone) in draft.zones() {
        edges(problems, &path, zone, torch);
        if let Some(part) = &draft.part {
            on_the_part(problems, &path, zone, part);
            surface(problems, &path, zone, part);
        }
        let powder = catalogue.powder(&zone.powder);
        if let Some(torch) = torch {
            inside_the_torch(problems, &path, zone, torch);
            feed(problems, &path, zone, draft.part.as_ref(), torch, powder);
        }
        if let Some(powder) = powder {
            thickness(problems, &path, zone, powder);
        }
    }
    order(problems, draft, torch);
}

/// From chuck side to tail side, long enough, with overrun enough.
fn edges(problems: &mut Problems, path: &str, zone: &Zone, torch: Option<&Torch>) {
    let length = zone.to - zone.from;
    if length <= Length::ZERO {
        problems.push(
            Problem::error(
                format!("{path}.to"),
                format!("the zone runs from {} to {}", zone.from, zone.to),
            )
            .accepted("`from` is the chuck-side edge, `to` the tail-side edge beyond it")
            .help("exchange the two if they are reversed"),
        );
        return;
    }
    let Some(torch) = torch else { return };
    if length < torch.plume * ZONE_DEVIATIONS {
        problems.push(
            Problem::error(
                format!("{path}.to"),
                format!("the zone is {length} long, shorter than the plume is wide"),
            )
            .accepted(format!(
                "at least {}: two standard deviations of the plume ({} each)",
                torch.plume * ZONE_DEVIATIONS,
                torch.plume
            ))
            .help("move an edge, or use a torch with a narrower plume"),
        );
    }
    if let Some(overrun) = zone.overrun
        && overrun < torch.plume * EDGE_DEVIATIONS
    {
        problems.push(
            Problem::warning(
                format!("{path}.overrun"),
                format!("with an overrun of {overrun} the torch has to slow down for the edges"),
            )
            .accepted(format!(
                "at least {}: two standard deviations of the plume give 97.7 % at the edge",
                torch.plume * EDGE_DEVIATIONS
            ))
            .help("lengthen it, or leave it out: the plan takes what needs the least powder"),
        );
    }
}

fn on_the_part(problems: &mut Problems, path: &str, zone: &Zone, part: &Part) {
    let extent = part.extent();
    for (key, edge) in [("from", zone.from), ("to", zone.to)] {
        if !extent.contains(edge) {
            problems.push(
                Problem::error(
                    format!("{path}.{key}"),
                    format!("the edge at {edge} is not on the part"),
                )
                .accepted(format!(
                    "{} to {}, where part.profile has the part",
                    extent.low, extent.high
                ))
                .hint(inches(edge, |edge| extent.contains(edge)))
                .help_if_none("move the edge, or correct the outline"),
            );
        }
    }
}

/// Steps and steep places in the zone.
fn surface(problems: &mut Problems, path: &str, zone: &Zone, part: &Part) {
    for pair in part.profile.windows(2) {
        let [start, end] = pair else { continue };
        let touched = start.at < zone.to && zone.from < end.at
            || start.at == end.at && zone.from < start.at && start.at < zone.to;
        if !touched {
            continue;
        }
        let rise = (end.diameter - start.diameter).abs() / 2.0;
        let run = end.at - start.at;
        if run <= Length::ZERO {
            problems.push(
                Problem::warning(
                    format!("{path}.from"),
                    format!("the zone has a step of {rise} at {}", start.at),
                )
                .accepted("a zone on one diameter, a taper or a nose")
                .help("make a zone of its own for each diameter"),
            );
        } else if (rise / run).atan().to_degrees() > STEEPEST {
            let slope = (rise / run).atan().to_degrees();
            problems.push(
                Problem::warning(
                    format!("{path}.from"),
                    format!(
                        "between {} and {} the surface stands at {slope:.0} deg to the axis",
                        start.at, end.at
                    ),
                )
                .accepted(
                    "spray should meet the surface at 45 deg or more (common practice, no source)",
                )
                .help("use an angled torch there, or spray it in a second set-up"),
            );
        }
    }
}

fn inside_the_torch(problems: &mut Problems, path: &str, zone: &Zone, torch: &Torch) {
    speed_window(problems, &format!("{path}.surface_speed"), zone.surface_speed, torch);
    if let Some(rates) = torch.powder_rate.filter(|rates| !rates.contains(zone.powder_rate)) {
        problems.push(
            Problem::error(
                format!("{path}.powder_rate"),
                format!("{} is not what the torch \"{}\" carries", zone.powder_rate, torch.key),
            )
            .accepted(format!("{} to {} (torch handbook)", rates.low, rates.high))
            .help("change the rate, or use another torch"),
        );
    }
}

/// A surface speed against the torch's window.
pub(super) fn speed_window(problems: &mut Problems, path: &str, speed: Speed, torch: &Torch) {
    if !torch.surface_speed.contains(speed) {
        let metres = |speed: Speed| format!("{:.1} m/min", speed.mm_per_s() * 60.0 / 1000.0);
        problems.push(
            Problem::error(
                path,
                format!("{} is outside the window of the torch \"{}\"", metres(speed), torch.key),
            )
            .accepted(format!(
                "{} to {} (torch handbook)",
                metres(torch.surface_speed.low),
                metres(torch.surface_speed.high)
            ))
            .help("below it the part overheats in one place, above it the powder does not stick"),
        );
    }
}

/// A feed against the torch's range.
pub(super) fn feed_range(
    problems: &mut Problems,
    path: &str,
    feed: Speed,
    torch: &Torch,
    how: &str,
) {
    if !torch.feed.contains(feed) {
        problems.push(
            Problem::error(
                path,
                format!("{how} {feed:.2}, outside the range of the torch \"{}\"", torch.key),
            )
            .accepted(format!("{} to {} (torch handbook)", torch.feed.low, torch.feed.high))
            .help("choose another feed, pitch or thickness for each pass"),
        );
    }
}

fn feed(
    problems: &mut Problems,
    path: &str,
    zone: &Zone,
    part: Option<&Part>,
    torch: &Torch,
    powder: Option<&Powder>,
) {
    let Some(part) = part else { return };
    if let Some(feed) = planned_feed(zone, part, powder) {
        let (key, how) = match zone.feed {
            FeedChoice::Pitch(_) => {
                ("pitch", "this pitch at the wanted surface speed is a feed of")
            }
            FeedChoice::Feed(_) => ("feed", "the feed is"),
            FeedChoice::ThicknessPerPass(_) => {
                ("thickness_per_pass", "this thickness needs a feed of")
            }
        };
        feed_range(problems, &format!("{path}.{key}"), feed, torch, how);
        let turns = turns_per_second(zone, part);
        let pitch = Length::from_mm(feed.mm_per_s() / turns);
        if turns > 0.0 && pitch > torch.plume * PITCH_DEVIATIONS {
            problems.push(
                Problem::warning(
                    format!("{path}.{key}"),
                    format!("the torch moves {pitch} a turn, so single bands show"),
                )
                .accepted(format!(
                    "at most {} a turn: two standard deviations of the plume keep ripple under 3 %",
                    torch.plume * PITCH_DEVIATIONS
                ))
                .help("lower the feed, or raise the surface speed"),
            );
        }
    }
}

/// Turns of the part in a second at the wanted surface speed, at the middle of the zone.
fn turns_per_second(zone: &Zone, part: &Part) -> f64 {
    let diameter = part.diameter_at(zone.from + (zone.to - zone.from) * 0.5);
    zone.surface_speed.mm_per_s() / (PI * diameter.mm())
}

/// The feed a zone asks for at its middle, at exactly the wanted surface speed. For a thickness
/// it is the feed that leaves it there: efficiency x rate / (density x circumference x
/// thickness). `None` when the powder that decides it is not known.
pub(crate) fn planned_feed(zone: &Zone, part: &Part, powder: Option<&Powder>) -> Option<Speed> {
    match zone.feed {
        FeedChoice::Feed(feed) => Some(feed),
        FeedChoice::Pitch(pitch) => {
            Some(Speed::from_mm_per_s(pitch.mm_per_turn() * turns_per_second(zone, part)))
        }
        FeedChoice::ThicknessPerPass(thickness) => {
            let powder = powder?;
            let diameter = part.diameter_at(zone.from + (zone.to - zone.from) * 0.5);
            let g_per_s = powder.efficiency.ratio() * zone.powder_rate.g_per_min() / 60.0;
            let g_per_mm3 = powder.density_as_sprayed.g_per_cm3() * 1e-3;
            let feed = g_per_s / (g_per_mm3 * PI * diameter.mm() * thickness.mm());
            Some(Speed::from_mm_per_s(feed))
        }
    }
}

/// The coat as sprayed against the thickest the powder allows.
fn thickness(problems: &mut Problems, path: &str, zone: &Zone, powder: &Powder) {
    let fused = zone.finish + zone.allowance;
    let sprayed = fused * (powder.density_fused / powder.density_as_sprayed);
    if sprayed > powder.thickest {
        problems.push(
            Problem::error(
                format!("{path}.finish"),
                format!(
                    "finish {} and allowance {} need {sprayed} as sprayed, too thick for \"{}\"",
                    zone.finish, zone.allowance, powder.key
                ),
            )
            .accepted(format!("at most {} as sprayed (sheet of the powder)", powder.thickest))
            .hint(inches(zone.finish, |finish| {
                (finish + zone.allowance) * (powder.density_fused / powder.density_as_sprayed)
                    <= powder.thickest
            }))
            .help_if_none("take less, or build up the part before coating"),
        );
    }
}

/// Zones one after the other, with names of their own.
fn order(problems: &mut Problems, draft: &Draft, torch: Option<&Torch>) {
    let zones: Vec<(String, &Zone)> = draft.zones().collect();
    for pair in zones.windows(2) {
        let [(_, before), (path, after)] = pair else { continue };
        if after.to <= before.from {
            problems.push(
                Problem::error(
                    format!("{path}.from"),
                    format!("\"{}\" lies before \"{}\"", after.name, before.name),
                )
                .accepted("zones in the order of their positions, from the chuck side")
                .help("exchange the two [[zone]] tables"),
            );
        } else if after.from < before.to {
            problems.push(
                Problem::error(
                    format!("{path}.from"),
                    format!(
                        "the zone begins at {}, inside \"{}\" ({} to {})",
                        after.from, before.name, before.from, before.to
                    ),
                )
                .accepted("zones that do not overlap")
                .help("move an edge, or make one zone of the two"),
            );
        } else if torch
            .is_some_and(|torch| before.to + before.overrun_at_most(torch.plume) > after.from)
        {
            problems.push(
                Problem::warning(
                    format!("{path}.from"),
                    format!("the overrun of \"{}\" reaches into this zone", before.name),
                )
                .accepted("zones further apart than the overrun")
                .help("this zone gets powder from its neighbour too; the plan shows how much"),
            );
        }
    }
    for (place, (path, zone)) in zones.iter().enumerate() {
        if zones.iter().take(place).any(|(_, other)| other.name == zone.name) {
            problems.push(
                Problem::error(
                    format!("{path}.name"),
                    format!("two zones are called \"{}\"", zone.name),
                )
                .accepted("a name of its own for each zone: the record and the panel use it")
                .help("rename one of the two"),
            );
        }
    }
}
