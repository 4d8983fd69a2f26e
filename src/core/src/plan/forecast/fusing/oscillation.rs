//! The flame going to and fro over a stretch.

use super::super::course::Course;
use crate::model::Source;
use crate::program::FuseStep;
use crate::quantity::{Length, Range, Time};

/// Rest at each turn: the end is seen by a scan, the new set-point goes out behind the line's other
/// traffic, and the drive takes it up; 0.1 to 0.15 s on the bench.
const REVERSAL: Time = Time::from_s(0.15);

/// Shortest time in which a person who watches a band sees that it is wet and calls it; arbitrary.
const SEEN_AFTER: Time = Time::from_s(2.0);

/// How long the flame stays on a wet band until it is called: what wets under the flame at one end is
/// seen when the flame has left it for the other.
pub(super) fn called_after(travel: Range<Length>, step: &FuseStep) -> Time {
    let leg = Time::from_s((travel.high - travel.low).mm() / step.oscillation.mm_per_s());
    SEEN_AFTER.max(leg + REVERSAL)
}

/// Over the band from end to end until something is so, for the longest time allowed; whether it
/// came to be.
pub(super) fn oscillate(
    travel: Range<Length>,
    step: &FuseStep,
    course: &mut Course,
    flame: &Source,
    mut so: impl FnMut(&Course) -> bool,
) -> bool {
    let ends = course.now() + step.longest;
    let mut to = nearer(travel, course.torch());
    while !so(course) {
        if course.now() >= ends {
            return false;
        }
        if course.go(to, step.oscillation, Some(flame), &mut so) {
            return true;
        }
        course.rest(REVERSAL, Some(flame));
        to = if to == travel.low { travel.high } else { travel.low };
    }
    true
}

pub(super) fn nearer(travel: Range<Length>, torch: Length) -> Length {
    if torch > (travel.low + travel.high) / 2.0 { travel.high } else { travel.low }
}
