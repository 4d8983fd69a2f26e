//! Manual work: homing, jogging by a lease or step by step, taking points, proving.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::{Scan, THERE};
use super::super::event::Happening;
use super::super::machine::Machine;
use super::super::prompt::Ask;
use super::super::state::State;
use super::super::steps::is_late;
use crate::cia402::PowerState;
use crate::image::{Analogue, AxisDemand, Coil, Contact, HomingRequest, Level, Referenced};
use crate::interlock::durations::JOG_LEASE;
use crate::moment::Moment;
use crate::proof::Strokes;
use crate::quantity::{Length, Quantity};
use crate::request::{Direction, Request};

/// Run in front of a jogging carriage before it would begin to brake for its end point: a new one
/// takes the drive a handshake of some 0.1 s, and twice that when a frame is lost; arbitrary.
const AHEAD: Duration = Duration::from_millis(250);
/// End points of a jog lie so far apart, as time at its speed. One that moved with the carriage
/// would be a new one every scan, and the drive would never be through with its handshake.
const APART: Duration = Duration::from_millis(350);
/// A nudge has arrived this near its end: half of the shortest one offered, 0.01 mm. What tells a
/// place of a job would call the carriage there before it has moved.
const NUDGED: Length = Length::from_mm(0.005);
/// A nudge that rests further off than that, with no more left than lost motion takes up, is over
/// after this long: a handshake with the drive and the shortest move. A carriage that is asked to
/// move for longer and rests has stalled (row `carriage_stalled`, 0.3 s).
const NUDGE_SETTLES: Duration = Duration::from_millis(250);
/// How long the homing waits for the start button; arbitrary.
const BEGIN_WITHIN: Duration = Duration::from_secs(60);
/// How long a datum bit that was on from before may be seen before it is believed; arbitrary.
const STALE_DATUM: Duration = Duration::from_secs(2);
/// Proving ends by itself (forced outputs at most ten minutes: common practice).
const PROVE_FOR: Duration = Duration::from_secs(600);
/// How long the gas pressures may be unknown before proving ends: as with hands inside.
const UNPROVED_FOR: Duration = Duration::from_millis(300);

/// Homing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum Homing {
    /// The start button begins it.
    Waiting { until: Moment },
    /// The carriage looks for its datum.
    Seeking {
        since: Moment,
        until: Moment,
        /// Whether the datum bit has been seen off, so that an on is a new one.
        seen_off: Level,
        /// Whether the drive has been seen with torque.
        torque: Level,
    },
    /// The datum is found; the carriage goes to the park, where a job begins.
    Returning {
        until: Moment,
        /// Whether the drive has been seen with torque.
        torque: Level,
    },
}

/// Whether the drive has let go of a carriage that it had torque on. What would move on by itself
/// once it takes hold again needs a new act. A drive in fault, unknown or silent is a matter of the
/// interlocks, which trip for it.
fn has_let_go(torque: &mut Level, scan: &Scan<'_>) -> bool {
    let Some(axis) = scan.axis() else { return false };
    match axis.power {
        PowerState::OperationEnabled => *torque = Level::On,
        PowerState::Unknown | PowerState::Fault | PowerState::FaultReactionActive => {}
        _ => return torque.is_on(),
    }
    false
}

impl Homing {
    pub(in super::super) fn first_state(scan: &Scan<'_>) -> State {
        State::Homing(Self::Waiting { until: scan.now + BEGIN_WITHIN })
    }

    pub(in super::super) const fn is_waiting(&self) -> bool {
        matches!(self, Self::Waiting { .. })
    }

    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match self {
            Self::Waiting { until } if is_late(*until, scan) => {
                machine.fall_back(State::NotReady, Cause::HomingNotBegun)
            }
            Self::Waiting { .. } => Outcome::Handled,
            Self::Seeking { since, until, seen_off, torque } => {
                if !scan.is_on(Contact::EnablingKey) {
                    return machine.fall_back(State::NotReady, Cause::KeyOff);
                }
                if is_late(*until, scan) {
                    return machine.fall_back(State::NotReady, Cause::HomingTooLong);
                }
                if has_let_go(torque, scan) {
                    return machine.fall_back(State::NotReady, Cause::DriveLetGo);
                }
                let Some(axis) = scan.axis() else { return Outcome::Handled };
                if axis.homing_failed == Level::On && scan.now.since(*since) >= STALE_DATUM {
                    return machine.fall_back(State::NotReady, Cause::HomingFailed);
                }
                if axis.homing_attained == Level::Off {
                    *seen_off = Level::On;
                }
                let fresh = seen_off.is_on() || scan.now.since(*since) >= STALE_DATUM;
                let found = axis.homing_attained.is_on() && axis.referenced == Referenced::Yes;
                if fresh && found {
                    machine.setback = None;
                    let until = scan.now + Machine::patience_to(scan.park(), scan);
                    *self = Self::Returning { until, torque: Level::Off };
                }
                Outcome::Handled
            }
            Self::Returning { until, torque } => {
                if !scan.is_on(Contact::EnablingKey) {
                    return machine.fall_back(State::NotReady, Cause::KeyOff);
                }
                if scan.is_parked() {
                    return machine.go(State::NotReady, Cause::HomingDone);
                }
                if has_let_go(torque, scan) {
                    return machine.fall_back(State::NotReady, Cause::DriveLetGo);
                }
                if is_late(*until, scan) {
                    return machine.fall_back(State::NotReady, Cause::NotParked);
                }
                Outcome::Handled
            }
        }
    }

    pub(in super::super) fn propose(&self, scan: &mut Scan<'_>) {
        match self {
            Self::Waiting { .. } => {}
            Self::Seeking { .. } => {
                scan.outputs.axis = AxisDemand::Home(HomingRequest { at: scan.figures.homing });
            }
            Self::Returning { .. } => Machine::propose_park(scan),
        }
    }

    pub(in super::super) fn ask(
        &mut self,
        request: Request,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match (request, &self) {
            (Request::Start, Self::Waiting { .. }) => {
                let travel = scan.figures.travel;
                let span = (travel.high - travel.low) * 2.0;
                let patience =
                    super::super::motion::patience(span, scan.figures.homing, scan.figures.ramp);
                *self = Self::Seeking {
                    since: scan.now,
                    until: scan.now + patience,
                    seen_off: Level::Off,
                    torque: Level::Off,
                };
                Outcome::Handled
            }
            _ => ask(request, machine, scan),
        }
    }

    pub(in super::super) const fn prompt(self) -> Option<(Ask, Option<Moment>)> {
        match self {
            Self::Waiting { until } => Some((Ask::BeginHoming, Some(until))),
            Self::Seeking { .. } | Self::Returning { .. } => None,
        }
    }
}

/// What the carriage does in manual work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum Jogging {
    /// Nothing.
    Still,
    /// It moves while the lease is fresh or the hold-to-run button, seen released before, is
    /// held.
    Moving { direction: Toward, lease: Moment, button: HoldToRun },
    /// One short step to a place, in micrometres, or several that were asked for in a row.
    Nudging { to_um: i64, settles: Moment, until: Moment },
}

impl Jogging {
    /// Where the steps that are under way end, without a datum counted from anywhere.
    pub(in super::super) fn nudging_to(self) -> Option<Length> {
        match self {
            Self::Nudging { to_um, .. } => Some(length_of(to_um)),
            Self::Still | Self::Moving { .. } => None,
        }
    }
}

/// Which way, hashable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum Toward {
    Chuck,
    Tail,
}

/// Whether the hold-to-run button counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum HoldToRun {
    /// Not seen released since the jog began: it does not.
    NotSeenReleased,
    /// Seen released, or pressed after that.
    Counts,
}

impl Jogging {
    pub(in super::super) const fn first_state() -> State {
        State::Jogging(Self::Still)
    }

    pub(in super::super) fn scan(&mut self, scan: &mut Scan<'_>) -> Outcome<State> {
        let allowed = scan.is_on(Contact::EnablingKey) && scan.is_vented();
        match self {
            Self::Still => {}
            Self::Moving { lease, button, .. } => {
                if scan.is_off(Contact::HoldToRun) {
                    *button = HoldToRun::Counts;
                }
                let held = *button == HoldToRun::Counts && scan.is_on(Contact::HoldToRun);
                if !allowed || (scan.now >= *lease && !held) {
                    *self = Self::Still;
                }
            }
            Self::Nudging { to_um, settles, until } => {
                let to = length_of(*to_um);
                let settled = scan.now >= *settles;
                let near = if settled { Length::from_mm(THERE) } else { NUDGED };
                // Without a datum a nudge ends as well: it is a way, not a place.
                let off = scan.axis().map(|axis| (axis.position - to).abs());
                let there = scan.at_rest() && off.is_some_and(|off| off <= near);
                if !allowed || there || is_late(*until, scan) {
                    *self = Self::Still;
                }
            }
        }
        Outcome::Handled
    }

    pub(in super::super) fn propose(&self, scan: &mut Scan<'_>) {
        let Some(axis) = scan.axis() else { return };
        let at = scan.figures.jog;
        scan.outputs.axis = match *self {
            Self::Still if scan.at_rest() => AxisDemand::Still,
            Self::Still => AxisDemand::QuickStop,
            Self::Moving { direction, .. } => {
                let to = within(jog_end(axis.position, direction, scan), axis.referenced, scan);
                // At the bound a key that is still held down asks for nothing more.
                if scan.is_at(to) { AxisDemand::Still } else { Machine::travel(to, at, scan) }
            }
            Self::Nudging { to_um, .. } => {
                Machine::travel(within(length_of(to_um), axis.referenced, scan), at, scan)
            }
        };
    }

    pub(in super::super) fn ask(
        &mut self,
        request: Request,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match request {
            Request::Jog(direction) => {
                machine.nudged = None;
                let direction = match direction {
                    Direction::TowardChuck => Toward::Chuck,
                    Direction::TowardTail => Toward::Tail,
                };
                let button = match *self {
                    Self::Moving { button, .. } => button,
                    Self::Still | Self::Nudging { .. } => HoldToRun::NotSeenReleased,
                };
                *self = Self::Moving { direction, lease: scan.now + JOG_LEASE, button };
                Outcome::Handled
            }
            Request::JogRelease => {
                *self = Self::Still;
                Outcome::Handled
            }
            Request::Nudge(by) => {
                if let Some(axis) = scan.axis() {
                    let base = nudge_base(axis.position, by, *self, machine);
                    let to = within(base + by, axis.referenced, scan);
                    let patience = super::super::motion::patience(
                        to - axis.position,
                        scan.figures.jog,
                        scan.figures.ramp,
                    );
                    machine.nudged = Some((to, way_of(by)));
                    *self = Self::Nudging {
                        to_um: micrometres(to),
                        settles: scan.now + NUDGE_SETTLES,
                        until: scan.now + patience,
                    };
                }
                Outcome::Handled
            }
            _ => ask(request, machine, scan),
        }
    }
}

fn way_of(by: Length) -> Toward {
    if by < Length::ZERO { Toward::Chuck } else { Toward::Tail }
}

/// From where a nudge counts. Steps that are asked for one after another add up, so that one which
/// is not done yet is not lost. Where a scale on the carriage tells the place, a drive that counts
/// its motor rests off its set-point by what screw and nut have of lost motion. The next nudge the
/// same way takes up none: counted from where the last was to end, it is as long as it says, and
/// steps shorter than the lost motion add up until they move. The first after a turn is short by it.
fn nudge_base(position: Length, by: Length, jogging: Jogging, machine: &Machine) -> Length {
    let last = machine.nudged.filter(|(to, way)| match jogging {
        Jogging::Nudging { .. } => true,
        Jogging::Still => *way == way_of(by) && (position - *to).abs().mm() <= THERE,
        Jogging::Moving { .. } => false,
    });
    last.map_or(position, |(to, _)| to)
}

/// Where a jog would end by itself: the next of a row of fixed places that leaves the carriage its
/// run and its braking.
fn jog_end(from: Length, direction: Toward, scan: &Scan<'_>) -> Length {
    let speed = scan.figures.jog.mm_per_s();
    let brake = speed * speed / (2.0 * scan.figures.ramp.mm_per_s2().max(1.0));
    let ahead = speed * AHEAD.as_secs_f64() + brake;
    let apart = (speed * APART.as_secs_f64()).max(f64::EPSILON);
    let end = match direction {
        Toward::Chuck => ((from.mm() - ahead) / apart).floor() * apart,
        Toward::Tail => ((from.mm() + ahead) / apart).ceil() * apart,
    };
    Length::from_mm(end)
}

/// Inside the travel once the position is known.
fn within(to: Length, referenced: Referenced, scan: &Scan<'_>) -> Length {
    match referenced {
        Referenced::Yes => to.max(scan.figures.travel.low).min(scan.figures.travel.high),
        Referenced::No => to,
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a travel of metres is 1e6 um")]
fn micrometres(at: Length) -> i64 {
    (at.base() * 1000.0).round() as i64
}

#[expect(clippy::cast_precision_loss, reason = "a travel of metres is 1e6 um")]
fn length_of(micrometres: i64) -> Length {
    Length::from_mm(micrometres as f64 * 1e-3)
}

/// What manual work answers in every one of its states.
pub(in super::super) fn ask(
    request: Request,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let cause = Cause::Asked(request);
    match request {
        Request::LeaveManual => {
            machine.nudged = None;
            machine.go(State::NotReady, cause)
        }
        Request::TakePoint => {
            if let Some(position) = scan.position() {
                machine.taught = [Some(position), machine.taught.first().copied().flatten()];
                scan.tell(Happening::PointTaken(position));
            }
            machine.go(State::Teaching, cause)
        }
        Request::EnterProving => machine.go(proving_state(scan), cause),
        Request::Home => {
            machine.nudged = None;
            machine.go(Homing::first_state(scan), cause)
        }
        Request::EnterManual => machine.go(Jogging::first_state(), cause),
        Request::Jog(_) | Request::Nudge(_) => {
            let mut jogging = Jogging::Still;
            match jogging.ask(request, machine, scan) {
                Outcome::Handled => machine.go(State::Jogging(jogging), cause),
                other => other,
            }
        }
        _ => Outcome::Super,
    }
}

pub(in super::super) fn proving_state(scan: &Scan<'_>) -> State {
    State::Proving { until: scan.now + PROVE_FOR }
}

pub(in super::super) fn proving(
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let vented = scan.is_vented();
    if vented {
        machine.unproved_since = None;
    }
    // What is unknown shuts the valves in this scan; the state waits a little longer, so that the
    // proof of a transmitter or of the module itself is told by its own row.
    let unknown = [Analogue::FuelPressure, Analogue::OxygenPressure]
        .into_iter()
        .all(|gas| scan.value(gas).is_none_or(|bar| bar < scan.figures.vented_below.bar()));
    let waits =
        unknown && scan.now.since(*machine.unproved_since.get_or_insert(scan.now)) < UNPROVED_FOR;
    if is_late(until, scan) || !(vented || waits) {
        machine.unproved_since = None;
        return machine.go(State::NotReady, Cause::ProvingOver);
    }
    Outcome::Handled
}

/// What the proof in hand strokes, and only with the key on and both gases read as vented now.
pub(in super::super) fn propose_proving(scan: &mut Scan<'_>) {
    let Strokes { fuel, oxygen, extraction, torque } = scan.strokes;
    if extraction.is_on() {
        scan.energise(Coil::Extraction);
    }
    if !scan.is_on(Contact::EnablingKey) || !scan.is_vented() {
        return;
    }
    for (coil, wanted) in [(Coil::Fuel, fuel), (Coil::Oxygen, oxygen)] {
        if wanted.is_on() {
            scan.energise(coil);
        }
    }
    if torque.is_on() && scan.at_rest() {
        scan.outputs.axis = AxisDemand::Still;
    }
}
