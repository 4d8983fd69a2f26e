//! Diameters typed in another unit than the rest of the part.

use super::super::{Part, bounds};
use super::Draft;
use crate::document::{Problem, Problems, Written};
use crate::quantity::Length;

/// The two units that get mixed up, each with the other.
const PAIRS: [(&str, &str); 2] = [("in", "mm"), ("mm", "in")];

/// Refuses a diameter that fits the part badly in the unit it is written in, and well in the
/// unit the positions are written in.
pub(in super::super) fn check(draft: &Draft, text: &str) -> Problems {
    let Some(part) = &draft.part else { return Problems::default() };
    let written = Written::of(text);
    let found = part.profile.iter().enumerate().filter_map(|(place, point)| {
        let path = format!("part.profile[{}].diameter", place + 1);
        let value = written.text(&path)?;
        let (unit, other) =
            PAIRS.into_iter().find(|(unit, _)| value.ends_with(&format!(" {unit}")))?;
        let positions_differ = (1..=part.profile.len())
            .filter_map(|number| written.text(&format!("part.profile[{number}].at")))
            .all(|at| at.ends_with(&format!(" {other}")));
        let number = value.strip_suffix(unit)?.trim();
        let meant = format!("{number} {other}").parse::<Length>().ok()?;
        let mistaken =
            positions_differ && !suits(length(part), point.diameter) && suits(length(part), meant);
        mistaken.then(|| {
            Problem::error(
                path,
                format!("{} does not go with the rest of the part", point.diameter),
            )
            .accepted(format!("a diameter that suits a part {} long", length(part)))
            .help(format!("did you mean \"{number} {other}\"? The positions are in {other}"))
        })
    });
    found.collect()
}

fn length(part: &Part) -> Length {
    let extent = part.extent();
    extent.high - extent.low
}

/// Whether a part of this length is likely to be that thick.
pub(crate) fn suits(length: Length, diameter: Length) -> bool {
    let slender = length / diameter;
    (1.0 / bounds::FLAT..=bounds::SLENDER).contains(&slender)
}
