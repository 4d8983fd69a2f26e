//! The leaf states with their data.
//!
//! A state's deadline is a field of its variant, so that leaving it cancels the deadline. Every
//! variant documents what it means, how it is entered and left, what it energises (all else is
//! de-energised), who may interrupt it, and its deadline. Hold, stop, abort and trips interrupt
//! every state, see the chart's root.

use crate::moment::Moment;
use crate::quantity::{Length, Range};

use super::context::Scan;
use super::leaf::{Leaf, Phase};
use super::machine::{Cursor, Machine};
use super::states::{
    aborting, access, cooling, fusing, holding, lighting, manual, starting, stopping,
};

/// On whose behalf the start sub-machines run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Errand {
    /// The first start of a job.
    Start,
    /// A restart after a hold or a reset trip.
    Restart,
    /// The return from an access, or the next step's own spindle speed.
    Continue,
}

/// When the spindle's speed is proved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Proof {
    /// Before any gas flows.
    BeforeFlame,
    /// With the flame lit, before the torch leaves the park.
    BeforeWork,
}

/// Whether gas flows to a flame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Flame {
    /// It burns.
    Lit,
    /// Gas is shut.
    Out,
}

/// Whether the spindle is kept turning. What stood still is never started by a hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Spin {
    /// It turns on.
    Turning,
    /// It stands.
    AtRest,
}

/// Which end of a span the carriage heads for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Toward {
    /// The end with the smaller position.
    Low,
    /// The end with the larger position.
    High,
}

impl Toward {
    pub(super) const fn other(self) -> Self {
        match self {
            Self::Low => Self::High,
            Self::High => Self::Low,
        }
    }

    /// That end of a span.
    pub(super) const fn end(self, span: Range<Length>) -> Length {
        match self {
            Self::Low => span.low,
            Self::High => span.high,
        }
    }

    /// The end that is nearer to where the carriage is; the low one when that is not known.
    pub(super) fn nearer(span: Range<Length>, position: Option<Length>) -> Self {
        let middle = (span.low + span.high) / 2.0;
        match position {
            Some(position) if position > middle => Self::High,
            _ => Self::Low,
        }
    }
}

/// Why the part is warmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Warming {
    /// It is the step in hand.
    Step,
    /// A restart found it too cold for the step in hand.
    Again,
}

/// The leaf states. See the module's head for the diagram.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum State {
    /// No job, or a permissive is missing. Entered at power-up, after a job, a reset, or when a
    /// permissive goes. Left when all are given. Energises nothing. No deadline.
    NotReady,
    /// Job loaded, permissives given: a person may press start (blue lamp). Left by start, or
    /// when a permissive goes. Energises nothing. No deadline.
    Ready,
    /// The carriage looks for its datum. Entered by a request; waits for the start button (blue
    /// lamp, 60 s), then moves. Left with the datum found or the search failed. Energises the
    /// axis only. Deadline from the rig's travel.
    Homing(manual::Homing),
    /// Manual work, one jog or nudge at a time, gas isolated, key on. Left by request. Energises
    /// the axis while a lease is fresh. No deadline; the lease has one.
    Jogging(manual::Jogging),
    /// A point was just taken; the carriage stands. Left by the next jog, nudge or request.
    /// Energises nothing. No deadline.
    Teaching,
    /// Interlocks are proved with gas isolated and read as vented. Energises nothing but what the
    /// proof in hand strokes: fuel and oxygen valve, extraction, the drive's torque at rest; never
    /// supply, igniter or feeder. Any gas, or 0.3 s of not knowing, ends it; so do ten minutes.
    Proving {
        /// When it ends.
        until: Moment,
    },
    /// Extraction and guard are proved, supply still shut. Entered by start or restart. Energises
    /// extraction. Any hold, stop or trip interrupts it. Deadline 30 s.
    Checking {
        /// On whose behalf.
        errand: Errand,
        /// Deadline.
        until: Moment,
    },
    /// The carriage goes to the park without a flame, spindle at rest unless it turned already.
    /// Energises extraction and axis. Deadline from the distance.
    Parking {
        /// On whose behalf.
        errand: Errand,
        /// Deadline.
        until: Moment,
    },
    /// The spindle is brought to the step's speed and proved within 5 % for a second, torch at
    /// the park. Energises extraction, spindle, axis to the park; gas only in the proof before
    /// work. Deadline for the lever (a person) and for the speed.
    SpinningUp {
        /// On whose behalf.
        errand: Errand,
        /// Before the flame or with it.
        proof: Proof,
        /// What is waited for.
        phase: starting::SpinUp,
    },
    /// Air clears the torch, supply open, spindle at rest for lighting by hand; after a failed
    /// try for the handbook's wait. Energises supply, air, extraction. Deadline in its data.
    Purging(lighting::Purging),
    /// A person opens the guard and accepts; then gas flows for the trial time. Energises air
    /// and, in the trial, fuel, oxygen, igniter where fitted. Deadline: the prompt's, the trial's.
    Opening(lighting::Opening),
    /// A flame is seen; it is set, watched and confirmed with the guard shut. Energises gas and
    /// air. Deadline for the confirmation.
    ConfirmingFlame(lighting::Confirming),
    /// The flame warms the part from end to end of the span. Energises gas, air, spindle, axis.
    /// Deadline: the step's longest time, shared with its two siblings.
    Traversing {
        /// Why it is warmed.
        warming: Warming,
        /// Where to.
        toward: Toward,
        /// Deadline.
        until: Moment,
    },
    /// The carriage reverses at an end of the span; same outputs and deadline as traversing.
    PreheatTurning {
        /// Why it is warmed.
        warming: Warming,
        /// Where to next.
        toward: Toward,
        /// Deadline.
        until: Moment,
    },
    /// In the window: torch at the park for the soak, part turning. Deadline soak plus an hour.
    Soaking {
        /// Why it is warmed.
        warming: Warming,
        /// Since when torch parked and part in its window.
        since: Option<Moment>,
        /// Deadline.
        until: Moment,
    },
    /// The carriage goes to where the pass begins, powder off. Deadline from the distance.
    Approaching {
        /// Deadline.
        until: Moment,
    },
    /// One crossing of the zone with its powder edges; the carriage starts at `start`, later
    /// than at once when powder needs a longer lead than the run-up gives. Deadline from the
    /// leg's own time.
    Crossing {
        /// When the carriage starts.
        start: Moment,
        /// Deadline.
        until: Moment,
    },
    /// The rest at the end of a pass; the next crossing's powder may already be led in, or powder
    /// stays on through it. Ends at `start`, its own deadline.
    SprayTurning {
        /// When the next crossing starts.
        start: Moment,
    },
    /// Too hot: torch at the park, powder off, part turning, until cool enough for the next
    /// pass. Deadline one hour.
    WaitingForTemperature {
        /// Deadline.
        until: Moment,
    },
    /// Torch to the park, gas shut in order, purged, isolated and seen to vent, spindle at rest,
    /// axis without torque. Deadline in each phase.
    Isolating(access::Isolating),
    /// A person may reach inside: white and blue lamp. Energises extraction only. Deadline ten
    /// minutes; after it the job holds, still isolated.
    Inside {
        /// Deadline, shown.
        until: Moment,
    },
    /// Guard shut, supply open, pressures rise. Energises supply and extraction. Deadline 60 s.
    ClosingUp {
        /// Deadline.
        until: Moment,
    },
    /// The flame oscillates over the band until a person calls it wet; above the ceiling the
    /// torch withdraws while the part turns on. Deadline: the step's longest time.
    Heating {
        /// Where to.
        toward: Toward,
        /// Whether it is withdrawn.
        place: fusing::Place,
        /// Deadline.
        until: Moment,
    },
    /// The wet front is drawn to the next band. Deadline from the distance.
    Wetting {
        /// Deadline.
        until: Moment,
    },
    /// The carriage reverses at an end of the band. Same deadline as heating.
    FuseTurning {
        /// Where to next.
        toward: Toward,
        /// Deadline.
        until: Moment,
    },
    /// Torch parked, gas shut and purged, part turning until cool. Deadline: a person is asked.
    CoolingDown(cooling::Cooling),
    /// Powder off, hose emptied, torch on its way to the park. Gas as it was. Deadline from the
    /// distance; after it the gas is shut where the torch is.
    Holding(holding::Holding),
    /// At the park with the flame burning, part turning. Ends by itself after 60 s.
    HeldLit {
        /// When the flame is put out.
        until: Moment,
        /// Whether the part turns.
        spin: Spin,
    },
    /// Gas shut in order, purged, then isolated; part turning if it did. No deadline.
    HeldUnlit {
        /// How the gas was shut.
        shutting: Option<cooling::Shutting>,
        /// Whether the part turns.
        spin: Spin,
    },
    /// The surface is asked about after too long a time since blasting. Outputs as held.
    Restarting {
        /// Whether the flame burns.
        flame: Flame,
        /// Whether the part turns.
        spin: Spin,
        /// Deadline; after it the job is held again.
        until: Moment,
    },
    /// Powder off, hose emptied, torch clear, gases in order, purge, part turning until cool.
    /// Deadline in each phase.
    Stopping(stopping::Stopping),
    /// The job has ended early. Energises nothing. Left by reset.
    Stopped,
    /// A trip: energy is off, the torch leaves the part if it may, then the purge. Deadline in
    /// each phase.
    Aborting(aborting::Aborting),
    /// At rest after a trip; the part turns if it may, and a purge that had to wait (after a
    /// flashback, for its inspection) is made up for. Left by reset, nothing else.
    Aborted(aborting::Aborted),
    /// The job is done. Energises nothing. Left by reset or accept.
    Complete,
}

impl State {
    /// Which leaf it is, without its data.
    pub(super) const fn leaf(&self) -> Leaf {
        match self {
            Self::NotReady => Leaf::NotReady,
            Self::Ready => Leaf::Ready,
            Self::Homing(_) => Leaf::Homing,
            Self::Jogging(_) => Leaf::Jogging,
            Self::Teaching => Leaf::Teaching,
            Self::Proving { .. } => Leaf::Proving,
            Self::Checking { .. } => Leaf::Checking,
            Self::Parking { .. } => Leaf::Parking,
            Self::SpinningUp { .. } => Leaf::SpinningUp,
            Self::Purging(_) => Leaf::Purging,
            Self::Opening(_) => Leaf::Opening,
            Self::ConfirmingFlame(_) => Leaf::ConfirmingFlame,
            Self::Traversing { .. } => Leaf::Traversing,
            Self::PreheatTurning { .. } => Leaf::PreheatTurning,
            Self::Soaking { .. } => Leaf::Soaking,
            Self::Approaching { .. } => Leaf::Approaching,
            Self::Crossing { .. } => Leaf::Crossing,
            Self::SprayTurning { .. } => Leaf::SprayTurning,
            Self::WaitingForTemperature { .. } => Leaf::WaitingForTemperature,
            Self::Isolating(_) => Leaf::Isolating,
            Self::Inside { .. } => Leaf::Inside,
            Self::ClosingUp { .. } => Leaf::ClosingUp,
            Self::Heating { .. } => Leaf::Heating,
            Self::Wetting { .. } => Leaf::Wetting,
            Self::FuseTurning { .. } => Leaf::FuseTurning,
            Self::CoolingDown(_) => Leaf::CoolingDown,
            Self::Holding(_) => Leaf::Holding,
            Self::HeldLit { .. } => Leaf::HeldLit,
            Self::HeldUnlit { .. } => Leaf::HeldUnlit,
            Self::Restarting { .. } => Leaf::Restarting,
            Self::Stopping(_) => Leaf::Stopping,
            Self::Stopped => Leaf::Stopped,
            Self::Aborting(_) => Leaf::Aborting,
            Self::Aborted(_) => Leaf::Aborted,
            Self::Complete => Leaf::Complete,
        }
    }

    /// The super-state it is in: for the start sub-machines that of their errand.
    pub(super) const fn phase(&self) -> Phase {
        match self {
            Self::Checking { errand, .. }
            | Self::Parking { errand, .. }
            | Self::SpinningUp { errand, .. } => match errand {
                Errand::Restart => Phase::Restarting,
                Errand::Start | Errand::Continue => Phase::Starting,
            },
            _ => self.leaf().phase(),
        }
    }

    /// The first state of the step in hand.
    pub(super) fn of_step(cursor: Cursor, machine: &mut Machine, scan: &mut Scan<'_>) -> Self {
        super::steps::first_state(cursor, machine, scan)
    }
}
