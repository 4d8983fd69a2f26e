//! The powder feeder's coil: edges at their own instant, off at once.
//!
//! An edge names the moment at which the coil is to change in the module; its frame leaves
//! earlier by the frame's time on the wire and the module's latency. It may be planned anew at
//! every scan until it is on the wire.
//!
//! * ON comes from an edge alone, and only while the edge's epoch is the latest one. Past due by
//!   more than a tolerance it is dropped: powder that comes late is a gap with a step behind it,
//!   and the sequence must know rather than get it anyway.
//! * OFF is unconditional: past due it leaves at once, unacknowledged it is sent again.

use core::time::Duration;

use serde::Serialize;

use crate::image::{Level, PowderDemand, PowderEdge};
use crate::moment::Moment;

/// How late an ON may leave. Chosen: a quarter of a scan of 20 ms; at 10 mm/s it is 0.05 mm of
/// travel, far below any plume.
const ON_TOLERANCE: Duration = Duration::from_millis(5);

/// What became of powder edges, counted since the controller was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[non_exhaustive]
pub struct PowderCounters {
    /// Edges put on the wire.
    pub edges: u64,
    /// ON edges dropped because they were past due.
    pub dropped: u64,
    /// ON edges voided by a newer epoch.
    pub void: u64,
    /// Largest distance between planned and actual change of an acknowledged edge.
    pub worst_error: Duration,
}

/// What the powder feeder's coil is to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum FeederStep {
    /// Nothing.
    Rest,
    /// Off, as soon as the line is free.
    OffNow,
    /// This edge, its frame leaving at this moment.
    Edge(PowderEdge, Moment),
}

/// What the last demand wanted while no edge changes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    /// No powder, whatever was planned.
    Off,
    /// As the edges left it.
    AsPlanned,
}

/// The feeder's side of the schedule.
#[derive(Debug, Clone, Copy)]
pub(super) struct Feeder {
    /// From the frame's first byte to the coil's change.
    lead: Duration,
    epoch: u32,
    next: Option<PowderEdge>,
    /// The ON edge last put on the wire.
    started: Option<PowderEdge>,
    level: Standing,
    counters: PowderCounters,
}

impl Feeder {
    pub(super) fn new(lead: Duration) -> Self {
        Self {
            lead,
            epoch: 0,
            next: None,
            started: None,
            level: Standing::Off,
            counters: PowderCounters::default(),
        }
    }

    pub(super) const fn counters(&self) -> &PowderCounters {
        &self.counters
    }

    /// A scan's demand.
    pub(super) fn demand(&mut self, now: Moment, demand: &PowderDemand) {
        if demand.epoch != self.epoch {
            self.epoch = demand.epoch;
            self.started = None;
            self.counters.void += u64::from(self.next.is_some_and(|edge| edge.to == Level::On));
            self.next = None;
        }
        self.expire(now);
        let valid = demand.next.filter(|edge| edge.to == Level::Off || edge.epoch == self.epoch);
        if let Some(edge) = self.next
            && edge.to == Level::On
            && self.start(edge) < now
            && valid.is_none_or(|next| next.to == Level::Off)
        {
            // Its moment passed before the line was free, and the scan has gone on.
            self.counters.dropped += 1;
        }
        // An edge that has left stays in the demand until its moment.
        let left = self.started.is_some_and(|started| {
            valid.is_some_and(|next| next.to == Level::On && self.start(next) <= started.at)
        });
        self.next = valid.filter(|_| !left);
        // The coil changes at the edge, but its frame is on the wire before: a scan in between
        // still says "off now, on at that moment" and means the edge that has already left.
        let under_way = self.started.is_some_and(|edge| edge.at > now)
            && valid.is_some_and(|edge| edge.to == Level::On && edge.at > now);
        self.level = match demand.now {
            Level::Off if !under_way => Standing::Off,
            _ => Standing::AsPlanned,
        };
        self.expire(now);
    }

    /// Drops an ON that is past due.
    pub(super) fn expire(&mut self, now: Moment) {
        let Some(edge) = self.next else { return };
        if edge.to == Level::On && self.start(edge) + ON_TOLERANCE < now {
            self.next = None;
            self.counters.dropped += 1;
        }
    }

    /// When an edge's frame leaves.
    fn start(&self, edge: PowderEdge) -> Moment {
        edge.at.before(self.lead)
    }

    /// What is to be done, given what was last asked of the coil and whether it is acknowledged
    /// off.
    pub(super) fn step(&self, commanded: Level, acknowledged_off: Level) -> FeederStep {
        if (self.level == Standing::Off || commanded == Level::Off) && !acknowledged_off.is_on() {
            return FeederStep::OffNow;
        }
        match self.next {
            Some(edge) if edge.to != commanded => FeederStep::Edge(edge, self.start(edge)),
            _ => FeederStep::Rest,
        }
    }

    /// An edge's frame left.
    pub(super) fn handle_sent(&mut self, edge: PowderEdge) {
        self.counters.edges += 1;
        self.next = None;
        self.started = (edge.to == Level::On).then_some(edge);
        // The scan that still said "off" asked for this edge as well.
        self.level = Standing::AsPlanned;
    }

    /// An edge was acknowledged; the coil changed at this moment.
    pub(super) fn handle_echo(&mut self, edge: PowderEdge, changed: Moment) {
        let error = changed.since(edge.at).max(edge.at.since(changed));
        self.counters.worst_error = self.counters.worst_error.max(error);
    }

    /// The module was away: no edge outlives that.
    pub(super) fn forget(&mut self) {
        self.next = None;
        self.started = None;
        self.level = Standing::Off;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEAD: Duration = Duration::from_micros(2_764);

    const fn at(us: u64) -> Moment {
        Moment::from_micros(us)
    }

    const fn on(us: u64, epoch: u32) -> PowderEdge {
        PowderEdge { at: at(us), to: Level::On, epoch }
    }

    const fn off(us: u64) -> PowderEdge {
        PowderEdge { at: at(us), to: Level::Off, epoch: 0 }
    }

    fn demanded(now: u64, demand: PowderDemand) -> Feeder {
        let mut feeder = Feeder::new(LEAD);
        feeder.demand(at(now), &demand);
        feeder
    }

    #[test]
    fn an_on_edge_s_frame_leaves_by_wire_time_and_latency_before_the_edge() {
        let feeder =
            demanded(0, PowderDemand { now: Level::Off, next: Some(on(10_000, 0)), epoch: 0 });
        assert_eq!(feeder.step(Level::Off, Level::On), FeederStep::Edge(on(10_000, 0), at(7_236)));
    }

    #[test]
    fn a_level_of_on_never_starts_the_feeder() {
        let feeder = demanded(0, PowderDemand { now: Level::On, next: None, epoch: 0 });
        assert_eq!(feeder.step(Level::Off, Level::On), FeederStep::Rest);
    }

    #[test]
    fn an_on_of_an_older_epoch_is_void_and_an_off_is_not() {
        let demand = PowderDemand { now: Level::Off, next: Some(on(10_000, 3)), epoch: 4 };
        assert_eq!(demanded(0, demand).step(Level::Off, Level::On), FeederStep::Rest);
        let demand = PowderDemand { now: Level::On, next: Some(off(10_000)), epoch: 4 };
        assert_eq!(
            demanded(0, demand).step(Level::On, Level::Off),
            FeederStep::Edge(off(10_000), at(7_236))
        );
    }

    #[test]
    fn an_on_past_due_by_more_than_the_tolerance_is_dropped_and_an_off_never() {
        let just = PowderDemand { now: Level::Off, next: Some(on(10_000, 0)), epoch: 0 };
        assert!(matches!(demanded(12_236, just).step(Level::Off, Level::On), FeederStep::Edge(..)));
        let late = demanded(12_237, just);
        assert_eq!(late.step(Level::Off, Level::On), FeederStep::Rest);
        assert_eq!(late.counters().dropped, 1);
        let demand = PowderDemand { now: Level::On, next: Some(off(10_000)), epoch: 0 };
        assert!(matches!(
            demanded(900_000, demand).step(Level::On, Level::Off),
            FeederStep::Edge(..)
        ));
    }

    #[test]
    fn off_is_sent_until_it_is_acknowledged() {
        let feeder = demanded(0, PowderDemand::default());
        assert_eq!(feeder.step(Level::Off, Level::Off), FeederStep::OffNow);
        assert_eq!(feeder.step(Level::Off, Level::On), FeederStep::Rest);
    }

    #[test]
    fn a_scan_between_frame_and_edge_does_not_take_the_edge_back() {
        let plan = PowderDemand { now: Level::Off, next: Some(on(10_000, 0)), epoch: 0 };
        let mut feeder = demanded(0, plan);
        feeder.handle_sent(on(10_000, 0));
        feeder.demand(at(8_000), &plan);
        assert_eq!(feeder.step(Level::On, Level::Off), FeederStep::Rest);
        // Withdrawn, or at its moment still not wanted: off.
        feeder.demand(at(9_000), &PowderDemand { next: None, ..plan });
        assert_eq!(feeder.step(Level::On, Level::Off), FeederStep::OffNow);
    }

    #[test]
    fn a_new_epoch_takes_back_an_edge_that_is_under_way() {
        let plan = PowderDemand { now: Level::Off, next: Some(on(10_000, 0)), epoch: 0 };
        let mut feeder = demanded(0, plan);
        feeder.handle_sent(on(10_000, 0));
        feeder.demand(at(8_000), &PowderDemand { epoch: 1, ..plan });
        assert_eq!(feeder.step(Level::On, Level::Off), FeederStep::OffNow);
    }
}
