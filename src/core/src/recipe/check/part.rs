//! Whether the outline is that of a part.

use super::super::Part;
use super::super::bounds::SLENDER;
use crate::document::{Problem, Problems, inches};
use crate::quantity::Length;

pub(super) fn check(problems: &mut Problems, part: &Part) {
    rising(problems, part);
    bore(problems, part);
    one_unit(problems, part);
}

/// Positions rise; at a step two points share one.
fn rising(problems: &mut Problems, part: &Part) {
    for (place, pair) in part.profile.windows(2).enumerate() {
        let [before, after] = pair else { continue };
        if after.at < before.at {
            problems.push(
                Problem::error(
                    format!("part.profile[{}].at", place + 2),
                    format!("the outline goes back, from {} to {}", before.at, after.at),
                )
                .accepted(
                    "points from the chuck side to the tail side; a step has two at one place",
                )
                .help("put the points in order"),
            );
        }
    }
    for (place, three) in part.profile.windows(3).enumerate() {
        let [first, _, last] = three else { continue };
        if first.at == last.at {
            problems.push(
                Problem::error(
                    format!("part.profile[{}].at", place + 3),
                    format!("three points are at {}", last.at),
                )
                .accepted("at most two points at one place: the two diameters of a step")
                .help("delete the one in the middle"),
            );
        }
    }
    let extent = part.extent();
    if extent.high <= extent.low && part.profile.len() == 2 {
        problems.push(
            Problem::error("part.profile[2].at", "the part has no length")
                .accepted("an outline that ends beyond where it begins")
                .help("correct one of the two positions"),
        );
    }
}

/// The bore fits into the thinnest place.
fn bore(problems: &mut Problems, part: &Part) {
    let Some(thinnest) = part.profile.iter().map(|point| point.diameter).reduce(Length::min) else {
        return;
    };
    if part.bore >= thinnest {
        problems.push(
            Problem::error(
                "part.bore",
                format!("the bore {} is not smaller than the diameter {thinnest}", part.bore),
            )
            .accepted(format!("a bore under {thinnest}, or none"))
            .hint(inches(part.bore, |bore| bore < thinnest)),
        );
    }
}

/// Two figures of a part that differ by far more than parts do were probably typed in two units.
fn one_unit(problems: &mut Problems, part: &Part) {
    let extent = part.extent();
    let length = extent.high - extent.low;
    if length <= Length::ZERO {
        return;
    }
    for (place, point) in part.profile.iter().enumerate() {
        let slender = (length / point.diameter).max(point.diameter / length);
        if slender <= SLENDER && !stands_out(part, point.diameter) {
            continue;
        }
        let sound = |diameter: Length| {
            (length / diameter).max(diameter / length) <= SLENDER && !stands_out(part, diameter)
        };
        if let Some(hint) = inches(point.diameter, sound) {
            problems.push(
                Problem::error(
                    format!("part.profile[{}].diameter", place + 1),
                    format!("{} does not go with the rest of the part", point.diameter),
                )
                .accepted(format!("a part {length} long is neither that thick nor that thin"))
                .help(hint),
            );
        }
    }
}

/// Whether a diameter is about an inch against a millimetre off all the others.
fn stands_out(part: &Part, diameter: Length) -> bool {
    let mut others =
        part.profile.iter().map(|point| point.diameter).filter(|&other| other != diameter);
    let apart = |other: Length| (diameter / other).max(other / diameter) > 12.0;
    part.profile.len() > 2 && others.clone().next().is_some() && others.all(apart)
}
