//! What outlives a state: where the job stands, what is fitted, what is owed, and the outputs
//! several states have in common.

use core::time::Duration;

use statig::blocking::Outcome;

use crate::image::{AxisDemand, Coil, Contact, Outputs, SpindleDemand, Travel};
use crate::interlock::{Class, PurgeAir};
use crate::moment::Moment;
use crate::plan::change::Ahead;
use crate::program::{Rises, TorchPlan};
use crate::quantity::{Acceleration, Length, Pressure, Speed, SpindleSpeed, Temperature};
use crate::request::Request;
use crate::rig::{LitBy, Rig, SpindleSpec};

use super::cause::Cause;
use super::chart::Event;
use super::context::Scan;
use super::event::{Happening, Wish};
use super::leaf::{Leaf, Phase};
use super::motion::Leg;
use super::powder::Feeder;
use super::prompt::Prompt;
use super::state::{Flame, Spin, State};
use super::states::manual::Toward;
use super::states::{aborting, stopping};

/// How long the drive is asked to leave its fault after a person's reset: a few exchanges of its
/// line, then no more; arbitrary.
const CLEAR_FAULT_FOR: Duration = Duration::from_millis(200);

/// How the spindle gets its speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Drive {
    /// By itself.
    Inverter,
    /// By a person at the lever.
    Gears,
}

/// The rig's figures that the sequence needs, all plain values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Figures {
    pub(super) scan: Duration,
    pub(super) field_age: Duration,
    pub(super) axis_age: Duration,
    pub(super) park: Length,
    pub(super) park_tolerance: Length,
    pub(super) travel: crate::quantity::Range<Length>,
    pub(super) positioning: Speed,
    pub(super) jog: Speed,
    pub(super) homing: Speed,
    pub(super) ramp: Acceleration,
    pub(super) vented_below: Pressure,
    pub(super) purge_air: PurgeAir,
    pub(super) vented_within: Duration,
    pub(super) attend_every: Duration,
    pub(super) attend_within: Duration,
    pub(super) lit_by: LitBy,
    pub(super) drive: Drive,
}

impl Figures {
    pub(super) fn of(rig: &Rig) -> Self {
        Self {
            scan: rig.scan.to_duration(),
            field_age: rig.field.age_budget.to_duration(),
            axis_age: rig.axis.age_budget.to_duration(),
            park: rig.axis.park,
            park_tolerance: rig.axis.park_tolerance,
            travel: rig.axis.travel,
            positioning: rig.axis.positioning,
            jog: rig.axis.jog,
            homing: rig.axis.homing,
            ramp: rig.axis.ramp,
            vented_below: rig.field.isolation.vented_below,
            purge_air: PurgeAir::of(rig),
            vented_within: rig.field.isolation.within.to_duration(),
            attend_every: rig.attendance.every.to_duration(),
            attend_within: rig.attendance.answer_within.to_duration(),
            lit_by: rig.lit_by,
            drive: match rig.spindle {
                SpindleSpec::Inverter(_) => Drive::Inverter,
                SpindleSpec::Gears(_) => Drive::Gears,
            },
        }
    }
}

/// Where the job stands: places in the program's lists, counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub(super) struct Cursor {
    pub(super) step: usize,
    pub(super) pass: usize,
    pub(super) band: usize,
}

/// Whether a job is under way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Job {
    /// None, or one not begun.
    None,
    /// Begun: after a trip it may go on.
    Begun,
    /// Being ended early, or ended.
    Ending,
}

/// Whether something is still to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Owed {
    /// Nothing.
    Nothing,
    /// It is.
    Owed,
}

/// Whether the coat of a job may have been spoiled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Suspect {
    /// Nothing speaks for it.
    No,
    /// A trip found the flame over the part, or the coat wet: inspect it.
    Inspect,
}

/// Shared storage of the chart.
#[derive(Debug, Clone)]
pub(super) struct Machine {
    pub(super) figures: Figures,
    pub(super) leaf: Leaf,
    pub(super) since: Moment,
    pub(super) cause: Cause,
    /// Why the last start, restart or hold did not go as asked; kept for the screens.
    pub(super) setback: Option<Cause>,
    pub(super) job: Job,
    pub(super) cursor: Cursor,
    /// The torch that is fitted, by its place in the program's list.
    pub(super) torch: usize,
    pub(super) leg: Leg,
    /// Where powder has ceased to arrive in the pass in hand; nothing is sprayed before it.
    pub(super) done_to: Option<Length>,
    pub(super) feeder: Feeder,
    /// Since when isolation is not proved with hands inside.
    pub(super) unproved_since: Option<Moment>,
    /// When the hose is empty after the feeder's last OFF.
    pub(super) hose_empty_at: Moment,
    /// The part's temperature when the pass in hand began, and its peak since.
    pub(super) pass_begin: Option<Temperature>,
    pub(super) pass_peak: Temperature,
    /// What the last passes added at their peaks.
    pub(super) rises: Rises,
    /// From the start of a crossing until the carriage is seen to move, s; as last observed.
    pub(super) start_latency: f64,
    pub(super) hold_after_pass: Owed,
    /// Whether gas or powder flowed since the last purge.
    pub(super) purge: Owed,
    /// Whether a reset was let through and waits for the interlocks to drop the trip.
    pub(super) reset: Owed,
    /// Until when the drive may leave its fault by a person's reset.
    pub(super) clear_fault_until: Moment,
    /// No gas is lit before: gas that a trip found open needs its time to be extracted.
    pub(super) relight_from: Moment,
    pub(super) lever: Option<SpindleSpeed>,
    pub(super) started_at: Moment,
    pub(super) blasted_at: Option<Moment>,
    pub(super) restarted_at: Moment,
    pub(super) extraction_until: Moment,
    pub(super) tries: u32,
    pub(super) suspect: Suspect,
    pub(super) taught: [Option<Length>; 2],
    /// Where the last nudge was to end, and which way it went; `None` once something else has moved
    /// the carriage.
    pub(super) nudged: Option<(Length, Toward)>,
    pub(super) prompt: Option<Prompt>,
    pub(super) last: Outputs,
    pub(super) unanswered: u64,
}

impl Machine {
    pub(super) fn new(rig: &Rig) -> Self {
        Self {
            figures: Figures::of(rig),
            leaf: Leaf::NotReady,
            since: Moment::START,
            cause: Cause::Made,
            setback: None,
            job: Job::None,
            cursor: Cursor::default(),
            torch: 0,
            leg: Leg::with_room(),
            done_to: None,
            feeder: Feeder::default(),
            unproved_since: None,
            hose_empty_at: Moment::START,
            pass_begin: None,
            pass_peak: Temperature::ZERO,
            rises: Rises::default(),
            start_latency: 0.0,
            hold_after_pass: Owed::Nothing,
            purge: Owed::Nothing,
            reset: Owed::Nothing,
            clear_fault_until: Moment::START,
            relight_from: Moment::START,
            lever: None,
            started_at: Moment::START,
            blasted_at: None,
            restarted_at: Moment::START,
            extraction_until: Moment::START,
            tries: 0,
            suspect: Suspect::No,
            taught: [None; 2],
            nudged: None,
            prompt: None,
            last: Outputs::default(),
            unanswered: 0,
        }
    }

    /// The only way to make a transition: with its cause.
    pub(super) fn go(&mut self, to: State, cause: Cause) -> Outcome<State> {
        self.cause = cause;
        Outcome::Transition(to)
    }

    /// A transition that a person should read about: a wait that was not fulfilled.
    pub(super) fn fall_back(&mut self, to: State, cause: Cause) -> Outcome<State> {
        self.setback = Some(cause);
        self.go(to, cause)
    }

    /// Called by the chart after every transition.
    pub(super) fn moved(&mut self, from: Leaf, to: Leaf, scan: &mut Scan<'_>) {
        self.leaf = to;
        self.since = scan.now;
        let cause = self.cause;
        scan.tell(Happening::Moved { from, to, cause });
    }

    /// The root of the chart: what every state answers alike.
    pub(super) fn root(&mut self, event: Event, scan: &mut Scan<'_>) -> Outcome<State> {
        let phase = self.leaf.phase();
        match (event, phase) {
            (Event::Trip(_), Phase::Aborting | Phase::Aborted) => Outcome::Handled,
            (Event::Trip(cause), _) => aborting::begin(cause, self, scan),
            (
                Event::Stop(_),
                Phase::Idle
                | Phase::Stopping
                | Phase::Stopped
                | Phase::Aborting
                | Phase::Aborted
                | Phase::Complete,
            ) => Outcome::Handled,
            (Event::Stop(cause), Phase::Manual) => self.go(State::NotReady, cause),
            (Event::Stop(cause), _) => stopping::begin(cause, self, scan),
            (Event::PowderDropped, _) => {
                self.feeder.void();
                Outcome::Handled
            }
            (Event::Ask(Request::BlastedNow), _) => {
                self.blasted_at = Some(scan.now);
                Outcome::Handled
            }
            (Event::Ask(_), _) => {
                // The gate lets through only what some state answers; counted, tested to be zero.
                self.unanswered += 1;
                Outcome::Handled
            }
            // A hold where nothing is to be withdrawn, and what a state has no use for.
            (Event::Hold(_) | Event::Scan | Event::Propose, _) => Outcome::Handled,
        }
    }

    // What is going on.

    /// Whether gas was asked to flow by the last scan, and to a flame that is not being lit.
    pub(super) fn flame(&self) -> Flame {
        let flows = self.last.coil(Coil::Fuel).is_on();
        if flows && self.leaf.phase() != Phase::Lighting { Flame::Lit } else { Flame::Out }
    }

    /// Whether the spindle was asked to turn by the last scan, and the part does not stand all
    /// the same: what stands is not turned later, when whatever kept it is gone.
    pub(super) fn spin(&self, scan: &Scan<'_>) -> Spin {
        let stands = scan.spindle_is_at_rest() && !scan.is_on(Contact::PartTurning);
        match self.last.spindle {
            SpindleDemand::Turn(_) if !stands => Spin::Turning,
            SpindleDemand::Turn(_) | SpindleDemand::Stop => Spin::AtRest,
        }
    }

    /// The spindle speed of the step in hand, or of the next one that has one.
    pub(super) fn speed(&self, scan: &Scan<'_>) -> Option<SpindleSpeed> {
        let program = scan.program?;
        let ahead = program.steps.iter().skip(self.cursor.step).find_map(|step| step.spindle());
        ahead.or_else(|| program.steps.iter().rev().find_map(|step| step.spindle()))
    }

    pub(super) fn torch_plan<'a>(&self, scan: &Scan<'a>) -> Option<&'a TorchPlan> {
        scan.torch(self.torch)
    }

    // Outputs that several states name.

    /// Fuel, oxygen, their supply, and the air and extraction that go with them.
    pub(super) fn propose_flame(scan: &mut Scan<'_>) {
        for coil in [Coil::Fuel, Coil::Oxygen, Coil::Supply, Coil::CarrierAir, Coil::Extraction] {
            scan.energise(coil);
        }
    }

    /// The spindle at the step's speed.
    pub(super) fn propose_turning(&self, scan: &mut Scan<'_>) {
        if let Some(speed) = self.speed(scan) {
            scan.outputs.spindle = SpindleDemand::Turn(speed);
        }
    }

    /// The spindle as it was: it turns on at the speed it had, or stands.
    pub(super) fn propose_spin(&self, spin: Spin, scan: &mut Scan<'_>) {
        if spin == Spin::Turning {
            match self.last.spindle {
                SpindleDemand::Turn(_) => scan.outputs.spindle = self.last.spindle,
                SpindleDemand::Stop => self.propose_turning(scan),
            }
        }
    }

    /// The carriage to the park, then still under torque. Without a trusted position it stops; with
    /// the guard not known shut it stands where it is: somebody may hold a lighter to the torch.
    pub(super) fn propose_park(scan: &mut Scan<'_>) {
        let park = scan.park();
        scan.outputs.axis = match scan.position() {
            None => AxisDemand::QuickStop,
            Some(_) if scan.is_parked() || !scan.is_on(Contact::Guard) => AxisDemand::Still,
            Some(_) => Self::travel(park, Self::positioning(scan), scan),
        };
    }

    /// Waiting clear: flame lit at the park, part turning.
    pub(super) fn propose_waiting(&self, scan: &mut Scan<'_>) {
        Self::propose_flame(scan);
        self.propose_turning(scan);
        Self::propose_park(scan);
    }

    pub(super) fn travel(to: Length, at: Speed, scan: &Scan<'_>) -> AxisDemand {
        AxisDemand::Travel(Travel { to, at, ramp: Self::ramp(scan) })
    }

    pub(super) fn positioning(scan: &Scan<'_>) -> Speed {
        scan.program.map_or(scan.figures.positioning, |program| program.positioning)
    }

    pub(super) fn ramp(scan: &Scan<'_>) -> Acceleration {
        scan.program.map_or(scan.figures.ramp, |program| program.ramp)
    }

    /// How long a move to a place may take from here, at the positioning speed.
    pub(super) fn patience_to(to: Length, scan: &Scan<'_>) -> Duration {
        let travel = scan.figures.travel;
        let distance = scan
            .position()
            .map_or_else(|| travel.high - travel.low, |position| (position - to).abs());
        super::motion::patience(distance, Self::positioning(scan), Self::ramp(scan))
    }

    /// The cause of the severest hold or stop in force, if one demands action.
    pub(super) fn demanded(&self, class: Class, scan: &Scan<'_>) -> Option<Cause> {
        use crate::interlock::Presence;
        let newest = |at: Moment| at > self.restarted_at;
        scan.verdict
            .holds
            .iter()
            .find(|hold| {
                hold.class == class && (hold.present == Presence::Active || newest(hold.confirmed))
            })
            .map(|hold| Cause::Interlock(hold.key, hold.class))
    }

    /// A person's reset: the drive may leave its fault.
    pub(super) fn clear_drive_fault(&mut self, scan: &Scan<'_>) {
        self.clear_fault_until = scan.now + CLEAR_FAULT_FOR;
    }

    /// The first pass that has not begun: not the one under way, whose leg is laid out, nor one that
    /// was left in its middle.
    pub(super) fn ahead(&self) -> Ahead {
        let laid = matches!(self.leaf, Leaf::Approaching | Leaf::Crossing | Leaf::SprayTurning);
        let begun = usize::from(laid || self.done_to.is_some());
        Ahead { step: self.cursor.step, pass: self.cursor.pass.saturating_add(begun) }
    }

    /// The job is over for the interlocks too.
    pub(super) fn end_job(&mut self, scan: &mut Scan<'_>) {
        self.job = Job::None;
        scan.wish(Wish::Ended);
    }
}
