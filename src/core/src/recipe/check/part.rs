//! Whether the outline is that of a part.

use super::super::Part;
use crate::document::{Problem, Problems, inches};
use crate::quantity::Length;

pub(super) fn check(problems: &mut Problems, part: &Part) {
    rising(problems, part);
    bore(problems, part);
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
            .hint(inches(part.bore, |bore| bore < thinnest))
            .help_if_none("correct the bore or the outline"),
        );
    }
}
