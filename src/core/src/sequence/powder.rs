//! Powder edges: when the feeder's coil is to change so that powder arrives, and ceases to
//! arrive, where the program wants it.
//!
//! Powder reaches the part late. An ON is due `lead_on` before the torch is at the window's
//! beginning, an OFF `lead_off` before it is at its end, both in time along the planned leg. The
//! leg is hung on the last measured, time-stamped position anew each scan, until an edge is so
//! near that it may be on its way to the module: then it is fixed.

use core::time::Duration;

use crate::image::{Level, PowderDemand, PowderEdge};
use crate::moment::Moment;
use crate::program::PowderWindow;
use crate::quantity::{Length, Time};

use super::motion::Leg;

/// Where and when the carriage was, as far as the leg is concerned: the leg's own time `time`
/// (s) was at the moment `at`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Anchor {
    pub(super) at: Moment,
    pub(super) time: f64,
}

impl Anchor {
    /// When the leg's own time will be `seconds`.
    pub(super) fn moment(&self, seconds: f64) -> Moment {
        let ahead = seconds - self.time;
        let span = Duration::try_from_secs_f64((ahead.abs() * 1e6).round() * 1e-6)
            .unwrap_or(Duration::MAX);
        if ahead >= 0.0 { self.at + span } else { self.at.before(span) }
    }

    /// The leg's own time at a moment.
    pub(super) fn time_of(&self, moment: Moment) -> f64 {
        self.time + moment.since(self.at).as_secs_f64() - self.at.since(moment).as_secs_f64()
    }
}

/// What follows a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum After {
    /// Powder ends with this pass: a hold, a wait, or the last one.
    Off,
    /// The next crossing's powder would be due so many seconds after this leg's end (negative
    /// when before it).
    Next {
        /// Seconds from the end of this leg to the next ON.
        on: f64,
        /// Whether the two windows touch at the turn.
        touching: Touching,
    },
}

/// Whether two windows touch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Touching {
    /// The second begins where the first ends.
    Yes,
    /// They do not.
    No,
}

/// One crossing to plan for.
pub(super) struct Crossing<'a> {
    pub(super) leg: &'a Leg,
    pub(super) windows: &'a [PowderWindow],
    pub(super) done_to: Option<Length>,
    pub(super) lead_on: Time,
    pub(super) lead_off: Time,
    pub(super) after: After,
}

/// Positions nearer than this are the same place, mm; a hundredth of a narrow plume, arbitrary.
const SAME_PLACE: f64 = 0.05;

impl Crossing<'_> {
    /// The window of that place in the list, without what is done; `None` when nothing of it is
    /// left.
    fn window(&self, index: usize) -> Option<Option<PowderWindow>> {
        let window = self.windows.get(index)?;
        let on = self.done_to.map_or(window.on, |done| self.leg.farther(done, window.on));
        let left = self.leg.distance_to(window.off) - self.leg.distance_to(on);
        Some((left > SAME_PLACE).then_some(PowderWindow { on, off: window.off }))
    }

    /// The leg's time at which the coil goes on for a window.
    fn on_time(&self, window: &PowderWindow) -> f64 {
        self.leg.time_at(window.on) - self.lead_on.s()
    }

    /// The leg's time at which it goes off.
    fn off_time(&self, window: &PowderWindow) -> f64 {
        self.leg.time_at(window.off) - self.lead_off.s()
    }

    /// The first window from `index` on with anything left, and its place.
    fn next_window(&self, mut index: usize) -> Option<(usize, PowderWindow)> {
        while let Some(window) = self.window(index) {
            if let Some(window) = window {
                return Some((index, window));
            }
            index += 1;
        }
        None
    }

    /// Whether any powder is left to spray in this crossing.
    pub(super) fn has_powder(&self) -> bool {
        self.next_window(0).is_some()
    }

    /// How long the carriage must wait before it starts, so that the first ON is not due before
    /// `notice` seconds from now.
    pub(super) fn lead_in(&self, notice: f64) -> f64 {
        self.next_window(0).map_or(0.0, |(_, window)| (notice - self.on_time(&window)).max(0.0))
    }
}

/// The feeder as the sequence believes it: its level, its next edge and the epoch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Feeder {
    level: Level,
    next: Option<PowderEdge>,
    epoch: u32,
    /// Place of the window in hand in the pass's list.
    window: usize,
    told: Option<PowderEdge>,
}

impl Feeder {
    pub(super) const fn level(&self) -> Level {
        self.level
    }

    pub(super) const fn next(&self) -> Option<PowderEdge> {
        self.next
    }

    /// The window whose OFF was passed last in the pass in hand, by its place in the list.
    pub(super) const fn window_done(&self) -> Option<usize> {
        self.window.checked_sub(1)
    }

    /// Off now, and every ON that is on its way is void.
    pub(super) fn void(&mut self) {
        self.epoch = self.epoch.wrapping_add(1);
        self.level = Level::Off;
        self.next = None;
    }

    /// A new crossing begins; powder that stayed on through the turn stays on.
    pub(super) fn begin_pass(&mut self) {
        self.window = 0;
        if self.level == Level::On {
            self.next = None;
        }
    }

    /// What is asked of the feeder this scan.
    pub(super) const fn demand(&self) -> PowderDemand {
        PowderDemand { now: self.level, next: self.next, epoch: self.epoch }
    }

    /// An edge that has become fixed since last asked; each is told once.
    pub(super) fn newly_fixed(&mut self, now: Moment, freeze: Duration) -> Option<PowderEdge> {
        let edge = self.next.filter(|edge| edge.at <= now + freeze)?;
        if self.told == Some(edge) {
            return None;
        }
        self.told = Some(edge);
        Some(edge)
    }

    /// Passes what is due and plans what comes next.
    ///
    /// `freeze` is how near an edge is no longer moved; an ON that is due at once goes out so
    /// that it can still be made: on early, off late.
    pub(super) fn plan(
        &mut self,
        crossing: &Crossing<'_>,
        anchor: Anchor,
        now: Moment,
        freeze: Duration,
    ) {
        self.pass_due(crossing, now);
        if self.next.is_some_and(|edge| edge.at <= now + freeze) {
            return;
        }
        self.next = match self.level {
            Level::Off => self.plan_on(crossing, anchor, now, freeze),
            Level::On => self.plan_off(crossing, anchor, now),
        };
    }

    fn pass_due(&mut self, crossing: &Crossing<'_>, now: Moment) {
        if let Some(edge) = self.next.filter(|edge| edge.at <= now) {
            self.level = edge.to;
            self.next = None;
            if edge.to == Level::Off {
                self.window = crossing
                    .next_window(self.window)
                    .map_or(self.window, |(index, _)| index)
                    .saturating_add(1);
            }
        }
    }

    fn plan_on(
        &mut self,
        crossing: &Crossing<'_>,
        anchor: Anchor,
        now: Moment,
        freeze: Duration,
    ) -> Option<PowderEdge> {
        let (mut index, mut window) = crossing.next_window(self.window)?;
        // A window whose OFF would be due before its ON could be made gets no powder.
        while anchor.moment(crossing.off_time(&window)) <= now + freeze {
            (index, window) = crossing.next_window(index.saturating_add(1))?;
        }
        self.window = index;
        let due = anchor.moment(crossing.on_time(&window)).max(now + freeze / 2);
        Some(PowderEdge { at: due, to: Level::On, epoch: self.epoch })
    }

    fn plan_off(
        &mut self,
        crossing: &Crossing<'_>,
        anchor: Anchor,
        now: Moment,
    ) -> Option<PowderEdge> {
        let Some((mut index, mut window)) = crossing.next_window(self.window) else {
            return Some(PowderEdge { at: now, to: Level::Off, epoch: self.epoch });
        };
        // On intervals that touch or overlap are one.
        while let Some((later, next)) = crossing.next_window(index.saturating_add(1)) {
            let gap = crossing.leg.distance_to(next.on) - crossing.leg.distance_to(window.off);
            if gap > SAME_PLACE && crossing.on_time(&next) > crossing.off_time(&window) {
                break;
            }
            (index, window) = (later, next);
        }
        self.window = index;
        let is_last = crossing.next_window(index.saturating_add(1)).is_none();
        let off = crossing.off_time(&window);
        if is_last && let After::Next { on, touching } = crossing.after {
            let ends =
                crossing.leg.distance_to(crossing.leg.to()) - crossing.leg.distance_to(window.off);
            let touches = touching == Touching::Yes && ends <= SAME_PLACE;
            if touches || crossing.leg.whole_time() + on <= off {
                return None;
            }
        }
        Some(PowderEdge { at: anchor.moment(off).max(now), to: Level::Off, epoch: self.epoch })
    }
}
