//! The flame going to and fro over a stretch.

use super::super::course::Course;
use crate::model::Source;
use crate::program::FuseStep;
use crate::quantity::{Length, Range, Time};

/// A leg of an oscillation is counted with at least this time, s: the reversal of a band of no
/// length takes as long as the drive needs for it.
const REVERSAL: Time = Time::from_s(0.1);

/// How long a person watches a wet band before they call it, while the flame stays on it; arbitrary.
pub(super) const CALLED_AFTER: Time = Time::from_s(1.0);

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
        let before = course.now();
        if course.go(to, step.oscillation, Some(flame), &mut so) {
            return true;
        }
        if course.now() - before < REVERSAL {
            course.rest(REVERSAL, Some(flame));
        }
        to = if to == travel.low { travel.high } else { travel.low };
    }
    true
}

pub(super) fn nearer(travel: Range<Length>, torch: Length) -> Length {
    if torch > (travel.low + travel.high) / 2.0 { travel.high } else { travel.low }
}

