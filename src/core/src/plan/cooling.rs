//! How long a part turns after fusing before it may stand still.

use super::heat::Lump;
use super::problem::Findings;
use crate::quantity::{Power, Range, Time};
use crate::recipe::Recipe;

/// How long the hottest zone may need from the ceiling of fusing to where the part may stand
/// still; zero for a part that is not fused.
///
/// Each zone is counted as if it were alone in still air, as hot all through as fusing may make
/// it: the cold rest of the part only shortens that. A part sensor sees one place; on a part of
/// several zones it may look at one that cooled while another was still being fused.
pub(crate) fn after_fusing(recipe: &Recipe, findings: &mut Findings) -> Time {
    let (Some(fuse), cool) = (&recipe.fuse, &recipe.cool) else { return Time::ZERO };
    if fuse.ceiling <= cool.turn_until {
        return Time::ZERO;
    }
    let time = recipe
        .zones
        .iter()
        .map(|zone| {
            let lump = Lump::of(&recipe.part, Range { low: zone.from, high: zone.to });
            lump.time(fuse.ceiling, cool.turn_until, Power::ZERO).unwrap_or(cool.longest)
        })
        .reduce(Time::max)
        .unwrap_or(Time::ZERO);
    if time > cool.longest {
        findings.note(
            "cool, longest",
            format!(
                "a person is asked after {}; from {} to {} the hottest place may need {time:.0}",
                cool.longest, fuse.ceiling, cool.turn_until
            ),
        );
    }
    time
}
