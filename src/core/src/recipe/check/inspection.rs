//! Whether the limits of the finished part go with the coat that is made.

use super::Draft;
use crate::document::{Problem, Problems};

pub(super) fn check(problems: &mut Problems, draft: &Draft) {
    let Some(limits) = draft.inspection.flatten().and_then(|limits| limits.thickness) else {
        return;
    };
    let outside = draft.zones().filter(|(_, zone)| !limits.contains(zone.finish));
    for (path, zone) in outside {
        problems.push(
            Problem::error(
                "inspection.thickness",
                format!("{}, which {path}.finish wants, would be out of its limits", zone.finish),
            )
            .accepted(format!(
                "limits with {} between them; they are {} and {}",
                zone.finish, limits.low, limits.high
            ))
            .help("change the limits or the finish: both are radial, on the finished part"),
        );
    }
}
