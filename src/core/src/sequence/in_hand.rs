//! The zone in hand with what people have changed in it: what comes next, and what it comes to.

use core::fmt;

use super::machine::Machine;
use crate::plan::change::{Ahead, added_ahead, coat_of, planned_coat_of};
use crate::program::{Program, SprayStep, Step, feed_at};
use crate::quantity::{Length, Speed};
use crate::request::Trim;

/// The next pass of the zone that has not begun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextPass {
    /// Its number, counted from 1.
    pub pass: usize,
    /// Its feed in the middle of the zone.
    pub feed: Speed,
    /// How that is changed against the plan.
    pub trim: Trim,
}

/// The zone that is being sprayed or fused.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct ZoneInHand {
    /// Its name.
    pub zone: String,
    /// The next pass that has not begun; `None` once all have.
    pub next: Option<NextPass>,
    /// Passes that people have added.
    pub touch_ups: usize,
    /// How many of those have not begun: so many can be taken back, the last first.
    pub added_ahead: usize,
    /// What all passes build together as sprayed, by the forecast with all changes; radial.
    pub coat: Length,
    /// The same without any change.
    pub planned: Length,
}

impl ZoneInHand {
    /// Whether it comes to another coat than planned.
    #[must_use]
    pub fn is_changed(&self) -> bool {
        self.coat != self.planned
    }

    /// Of the step in hand, fusing included: there nothing of the coat changes any more.
    pub(super) fn of(machine: &Machine, program: &Program) -> Option<Self> {
        Self::with(program, machine.ahead())
    }

    /// Of a step with the pass of it that is ahead.
    pub(crate) fn with(program: &Program, ahead: Ahead) -> Option<Self> {
        let (step, pass) = match program.steps.get(ahead.step)? {
            Step::Spray(step) => (step, ahead.pass),
            Step::Fuse(fuse) => {
                let sprayed = program.steps.iter().find_map(|step| match step {
                    Step::Spray(step) if step.zone == fuse.zone => Some(step),
                    _ => None,
                })?;
                (sprayed, sprayed.passes.len())
            }
            Step::Preheat(_) | Step::ChangeTorch(_) | Step::Cool(_) => return None,
        };
        Some(Self {
            zone: step.zone.clone(),
            next: next_of(step, pass),
            touch_ups: step.touch_ups,
            added_ahead: added_ahead(step, pass),
            coat: coat_of(step),
            planned: planned_coat_of(step),
        })
    }
}

fn next_of(step: &SprayStep, pass: usize) -> Option<NextPass> {
    let next = step.passes.get(pass)?;
    let middle = (step.edges.low + step.edges.high) / 2.0;
    Some(NextPass { pass: pass + 1, feed: feed_at(&next.feed, middle), trim: next.trim })
}

/// `next pass at 9.9 mm/s, -5 % feed, +5.3 % coat a pass; 0.412 mm as sprayed, 0.393 mm planned`.
impl fmt::Display for ZoneInHand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(next) = self.next {
            write!(f, "next pass at {:.1}", next.feed)?;
            if next.trim != Trim::NONE {
                let coat = (next.trim.of_coat() - 1.0) * 100.0;
                write!(f, ", {} feed, {coat:+.1} % coat a pass", next.trim)?;
            }
            f.write_str("; ")?;
        }
        match self.touch_ups {
            0 => {}
            1 => f.write_str("1 pass added; ")?,
            several => write!(f, "{several} passes added; ")?,
        }
        write!(f, "{:.3} as sprayed, {:.3} planned", self.coat, self.planned)
    }
}
