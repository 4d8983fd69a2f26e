//! What a person changes in a job under way: the feed of passes that have not begun, and passes
//! more than planned, which are taken back as long as they have not begun. From a program to the program with it, or why not; nothing else of the job
//! is planned anew.
//!
//! What was begun is never touched: the program with a change is the same up to there, so that it
//! can take the old one's place while a pass runs. A change is held against the plan's own limits
//! ([`PassBounds`](crate::program::PassBounds)), as far as passes can come to them: the torch's
//! feed, the pitch, the powder's thickest coat, the travel, and the rests at the turns. The ramp
//! is not among them: a planned feed asks for half of it at most, and within
//! [`Trim::MOST`] that becomes 61 %.

mod room;

use self::room::Room;
use super::powder::Timeline;
use crate::coat::deposit::{area_of, build_of};
use crate::program::{Pass, PowderWindow, Program, SprayStep, Step};
use crate::quantity::{Length, Mass, Speed};
use crate::request::{Denial, Trim};

/// Most passes that may be added to a zone (arbitrary: what lacks more was planned wrongly, and a
/// plan that says so is better than passes by feel).
pub const MOST_TOUCH_UPS: usize = 3;

/// Feeds that differ by less than this share are the same.
const SAME: f64 = 1e-6;

/// The first pass of a job under way that has not begun; counted from 0. Past the last pass where
/// all have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ahead {
    /// Its step.
    pub step: usize,
    /// Its place among the step's passes.
    pub pass: usize,
}

/// The program with the feed of all passes of the step from there on changed by so much more,
/// their turning points moved out where the faster feed needs more room.
///
/// # Errors
/// What stands against it, and what would help.
pub fn trimmed(program: &Program, ahead: Ahead, trim: Trim) -> Result<Program, Denial> {
    let old = sprayed(program, ahead)?;
    if ahead.pass >= old.passes.len() {
        return Err(denial(
            "no pass is left that has not begun",
            "leave it as it is, or add a touch-up pass first",
        ));
    }
    let mut step = old.clone();
    for pass in step.passes.iter_mut().skip(ahead.pass) {
        let Some(total) = pass.trim.with(trim) else {
            return Err(denial(
                format!("{trim} of feed on top of {}", pass.trim),
                format!("stay within {} % of the plan; plan anew for more", Trim::MOST),
            ));
        };
        let share = total.of_feed() / pass.trim.of_feed();
        pass.trim = total;
        for point in &mut pass.feed {
            point.feed = point.feed * share;
        }
    }
    check_feed(&step, ahead)?;
    finish(program, ahead, step)
}

/// The program with one pass more over the zone of the step: the last one's feed, the way back.
///
/// # Errors
/// What stands against it, and what would help.
pub fn touched_up(program: &Program, ahead: Ahead) -> Result<Program, Denial> {
    let old = sprayed(program, ahead)?;
    if old.touch_ups >= MOST_TOUCH_UPS {
        return Err(denial(
            format!("{MOST_TOUCH_UPS} passes have been added to this zone already"),
            "measure the coat, and plan anew for what it lacks",
        ));
    }
    let Some(last) = old.passes.last() else {
        return Err(denial("the zone has no pass that could be made again", "plan anew"));
    };
    let mut step = old.clone();
    step.passes.push(back_over(last, &step));
    step.touch_ups += 1;
    let added = Ahead { pass: old.passes.len(), ..ahead };
    finish(program, added, step)
}

/// The program without the pass that was added last over the zone of the step, while that has not
/// begun. The passes before it stay as they are, and no planned one is ever taken away.
///
/// # Errors
/// What stands against it, and what would help.
pub fn taken_back(program: &Program, ahead: Ahead) -> Result<Program, Denial> {
    let old = sprayed(program, ahead)?;
    if old.touch_ups == 0 {
        return Err(denial(
            "no pass has been added to this zone",
            "planned passes stay; to end sooner, hold or stop",
        ));
    }
    if added_ahead(old, ahead.pass) == 0 {
        return Err(denial(
            "the pass that was added has begun",
            "let it be finished, or hold or stop",
        ));
    }
    let mut step = old.clone();
    step.passes.pop();
    step.touch_ups -= 1;
    Ok(in_place(program, ahead.step, step))
}

/// How many of the passes that were added to a step have not begun, by the first of its passes that
/// has not, counted from 0.
#[must_use]
pub fn added_ahead(step: &SprayStep, pass: usize) -> usize {
    step.touch_ups.min(step.passes.len().saturating_sub(pass))
}

/// What the passes of a step build together as sprayed, radial: thin passes on a growing radius.
#[must_use]
pub fn coat_of(step: &SprayStep) -> Length {
    let diameter = step.bounds.diameter;
    let planned = area_of(diameter, step.thickness_per_pass);
    let area: f64 = step.passes.iter().map(|pass| planned * pass.trim.of_coat()).sum();
    build_of(diameter, area_of(diameter, step.lies) + area)
}

/// The same of the passes as they were planned.
#[must_use]
pub fn planned_coat_of(step: &SprayStep) -> Length {
    let diameter = step.bounds.diameter;
    let each = area_of(diameter, step.thickness_per_pass);
    let planned = step.passes.len().saturating_sub(step.touch_ups);
    let area: f64 = core::iter::repeat_n(each, planned).sum();
    build_of(diameter, area_of(diameter, step.lies) + area)
}

fn denial(why: impl Into<String>, help: impl Into<String>) -> Denial {
    Denial { why: why.into(), help: help.into() }
}

/// The spraying step in hand, or what is in hand instead.
fn sprayed(program: &Program, ahead: Ahead) -> Result<&SprayStep, Denial> {
    let (why, help) = match program.steps.get(ahead.step) {
        Some(Step::Spray(step)) => return Ok(step),
        Some(Step::Preheat(_)) => ("no zone is being sprayed yet", "wait until one is"),
        Some(Step::Fuse(_)) => ("the zone is being fused", "nothing can be sprayed on it any more"),
        Some(Step::ChangeTorch(_)) => {
            ("the torch is being changed for fusing", "nothing can be sprayed any more")
        }
        Some(Step::Cool(_)) | None => {
            ("all zones are sprayed", "nothing can be sprayed any more in this job")
        }
    };
    Err(denial(why, help))
}

fn check_feed(step: &SprayStep, ahead: Ahead) -> Result<(), Denial> {
    let feeds = || step.passes.iter().skip(ahead.pass).flat_map(|pass| &pass.feed);
    let slowest = feeds().map(|point| point.feed).reduce(Speed::min).unwrap_or(Speed::ZERO);
    let fastest = feeds().map(|point| point.feed).reduce(Speed::max).unwrap_or(Speed::ZERO);
    let bounds = &step.bounds;
    if slowest < bounds.feed.low * (1.0 - SAME) || fastest > bounds.feed.high * (1.0 + SAME) {
        return Err(denial(
            format!("the feed would come to {slowest:.2} to {fastest:.2}"),
            format!("the torch works at {:.2} to {:.2}", bounds.feed.low, bounds.feed.high),
        ));
    }
    if fastest > bounds.smooth_up_to * (1.0 + SAME) {
        return Err(denial(
            format!("at {fastest:.2} the coat would show the pitch"),
            format!("at this spindle speed it stays smooth up to {:.2}", bounds.smooth_up_to),
        ));
    }
    Ok(())
}

/// A pass back over the zone after another: powder off at both turns, from where that one ends.
fn back_over(last: &Pass, step: &SprayStep) -> Pass {
    let span = step.bounds.span;
    let toward_tail = last.to < last.from;
    let (on, off) = if toward_tail { (span.low, span.high) } else { (span.high, span.low) };
    Pass {
        from: last.to,
        to: last.from,
        feed: last.feed.clone(),
        powder: vec![PowderWindow { on, off }],
        trim: last.trim,
    }
}

/// The changed step with room for its passes, in its place in the program.
fn finish(program: &Program, changed: Ahead, mut step: SprayStep) -> Result<Program, Denial> {
    let coat = coat_of(&step);
    let thickest = step.bounds.thickest;
    // A trim that makes the coat thinner is never kept from one that is too thick already.
    if coat > thickest && coat > coat_without(program, changed) {
        return Err(denial(
            format!("the coat would come to {coat:.3} as sprayed"),
            format!("the powder bears {thickest:.3}: fewer passes or a faster feed"),
        ));
    }
    if let Some(Step::Spray(old)) = program.steps.get(changed.step) {
        Room::of(old, program.ramp).fit(&mut step, changed.pass)?;
    }
    Ok(in_place(program, changed.step, step))
}

/// The program with a step in the place of another, its powder counted.
fn in_place(program: &Program, at: usize, mut step: SprayStep) -> Program {
    let arriving = Timeline::of(&step, program.ramp).arriving;
    step.powder = Mass::from_g(step.powder_rate.g_per_min() * arriving.s() / 60.0);
    let mut program = program.clone();
    if let Some(slot) = program.steps.get_mut(at) {
        *slot = Step::Spray(step);
    }
    program
}

/// What the step comes to without the change.
fn coat_without(program: &Program, changed: Ahead) -> Length {
    match program.steps.get(changed.step) {
        Some(Step::Spray(step)) => coat_of(step),
        _ => Length::ZERO,
    }
}

#[cfg(test)]
mod tests;
