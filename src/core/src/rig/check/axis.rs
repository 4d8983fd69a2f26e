//! Whether the carriage stays inside its bounds and comes to rest by itself in time.

use super::super::{AxisSpec, PositionFrom, bounds};
use crate::document::{Problem, Problems};
use crate::quantity::{Speed, Time};

pub(super) fn check(problems: &mut Problems, axis: &AxisSpec) {
    if !axis.travel.contains(axis.park) {
        problems.push(
            Problem::error("axis.park", format!("the park at {} is outside the travel", axis.park))
                .accepted(format!(
                    "{} to {}, as axis.travel says",
                    axis.travel.low, axis.travel.high
                ))
                .help("move the park, or correct the travel"),
        );
    }
    if axis.homing > axis.positioning {
        problems.push(
            Problem::error(
                "axis.homing",
                format!("homing at {} is faster than positioning", axis.homing),
            )
            .accepted(format!("at most {}", axis.positioning))
            .help("home slowly: the position is not known yet"),
        );
    }
    if axis.quick_stop < axis.ramp {
        problems.push(
            Problem::error(
                "axis.quick_stop",
                format!("the quick stop of {} is gentler than the ramp", axis.quick_stop),
            )
            .accepted(format!("at least {}", axis.ramp))
            .help("exchange the two if they are reversed"),
        );
    }
    see_stalls(problems, axis);
    let stopping = Time::from_s(axis.positioning.mm_per_s() / axis.quick_stop.mm_per_s2());
    let at_rest = axis.communication_loss.after + stopping;
    if at_rest > bounds::AXIS_AT_REST {
        let room = bounds::AXIS_AT_REST - axis.communication_loss.after;
        let fastest = Speed::from_mm_per_s((room.s() * axis.quick_stop.mm_per_s2()).max(0.0));
        problems.push(
            Problem::error(
                "axis.positioning",
                format!(
                    "with the controller dead the carriage comes to rest after {at_rest}: {} of silence and {stopping} to stop",
                    axis.communication_loss.after
                ),
            )
            .accepted(format!("rest within {}: at most {fastest} with this drive", bounds::AXIS_AT_REST))
            .help("position more slowly, or shorten the drive's communication time-out"),
        );
    }
}

/// What a stall of this carriage would not show in.
fn see_stalls(problems: &mut Problems, axis: &AxisSpec) {
    let (unseen, found) = match axis.position_from {
        PositionFrom::Carriage => return,
        PositionFrom::Motor => ("a slipping nut is not seen", "the motor's own encoder"),
        PositionFrom::Steps => ("a stalled carriage is not seen", "steps that nobody measures"),
    };
    problems.push(
        Problem::warning("axis.position_from", format!("{unseen}: its position is {found}"))
            .accepted(
                "\"carriage\", with a scale or rod on the carriage, for a machine that sees it",
            )
            .help(
                "fit the park switch, which shows lost steps when the torch is back at the park; \
                 measure each part, home before each job, and watch the carriage",
            ),
    );
}
