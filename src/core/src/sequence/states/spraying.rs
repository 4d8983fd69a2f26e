//! Spraying: one leg for each pass, powder by its edges, a rest at each turn, and a wait at the
//! park when the part is too hot.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::event::Happening;
use super::super::machine::{Machine, Owed};
use super::super::motion::patience;
use super::super::powder::{After, Anchor, Crossing, Touching};
use super::super::state::State;
use super::super::steps::{self, LONGEST_WAIT, is_late};
use super::holding;
use crate::image::{AxisDemand, Level};
use crate::moment::Moment;
use crate::program::{POWDER_NOTICE, Pass, SprayStep, feed_at};
use crate::quantity::{Length, Temperature};

fn pass_in_hand<'a>(machine: &Machine, scan: &Scan<'a>) -> Option<(&'a SprayStep, &'a Pass)> {
    let step = scan.spray(machine.cursor)?;
    step.passes.get(machine.cursor.pass).map(|pass| (step, pass))
}

/// Whether the zone in hand is sprayed: nobody waits, warms or moves for a pass that never comes.
pub(in super::super) fn has_no_pass_left(machine: &Machine, scan: &Scan<'_>) -> bool {
    scan.spray(machine.cursor).is_some_and(|step| machine.cursor.pass >= step.passes.len())
}

/// The pass whose leg is laid out: the one in hand, or the one before it while its hose empties.
fn pass_laid_out<'a>(machine: &Machine, scan: &Scan<'a>) -> Option<&'a Pass> {
    let step = scan.spray(machine.cursor)?;
    let in_hand = machine.cursor.pass;
    [Some(in_hand), in_hand.checked_sub(1)]
        .into_iter()
        .flatten()
        .filter_map(|index| step.passes.get(index))
        .find(|pass| is_laid_out(pass, machine))
}

/// Whether the leg is that of this pass, from its start or from farther out.
fn is_laid_out(pass: &Pass, machine: &Machine) -> bool {
    pass.to == machine.leg.to() && machine.leg.distance_to(pass.from) >= 0.0
}

/// An edge nearer than this may be on its way to the module and is moved no more.
fn freeze(scan: &Scan<'_>) -> Duration {
    scan.figures.scan.saturating_mul(2).max(Duration::from_millis(40)).min(POWDER_NOTICE)
}

/// On the way to where the pass in hand begins; its leg is laid out. Powder is off there, and has
/// its lead before it.
pub(in super::super) fn approach(machine: &mut Machine, scan: &Scan<'_>) -> State {
    machine.feeder.begin_pass();
    let from = pass_in_hand(machine, scan).map(|(step, pass)| {
        let ramp = Machine::ramp(scan);
        let from = pass.starts_anew_at(step.lead_on, ramp, scan.figures.travel);
        machine.leg.lay(from, pass.to, &pass.feed, ramp);
        from
    });
    let patience = Machine::patience_to(from.unwrap_or_else(|| scan.park()), scan);
    State::Approaching { until: scan.now + patience }
}

pub(in super::super) fn approaching(
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some((step, pass)) = pass_in_hand(machine, scan) else {
        return steps::next_step(Cause::NoPassLeft, machine, scan);
    };
    if scan.is_at(machine.leg.from()) {
        let crossing = crossing_of(step, pass, machine, After::Off);
        let start = scan.now + seconds(crossing.lead_in(POWDER_NOTICE.as_secs_f64()));
        let to = crossing_state(start, machine, scan);
        announce(machine, scan);
        return machine.go(to, Cause::InPlace);
    }
    if is_late(until, scan) {
        machine.setback = Some(Cause::CarriageLate);
        return holding::begin(Cause::CarriageLate, machine, scan);
    }
    Outcome::Handled
}

fn announce(machine: &mut Machine, scan: &mut Scan<'_>) {
    machine.pass_begin = scan.temperature();
    machine.pass_peak = machine.pass_begin.unwrap_or(Temperature::ZERO);
    let (step, pass) = (machine.cursor.step + 1, machine.cursor.pass + 1);
    scan.tell(Happening::PassBegan { step, pass });
}

fn crossing_state(start: Moment, machine: &Machine, scan: &Scan<'_>) -> State {
    let leg = &machine.leg;
    let whole = seconds(leg.whole_time());
    let slack = patience(Length::ZERO, Machine::positioning(scan), Machine::ramp(scan));
    State::Crossing { start, until: start + whole + whole / 2 + slack }
}

fn seconds(seconds: f64) -> Duration {
    Duration::try_from_secs_f64(seconds.max(0.0)).unwrap_or(Duration::ZERO)
}

pub(in super::super) fn propose_approaching(machine: &Machine, scan: &mut Scan<'_>) {
    Machine::propose_flame(scan);
    machine.propose_turning(scan);
    if pass_in_hand(machine, scan).is_some() {
        let from = machine.leg.from();
        scan.outputs.axis = Machine::travel(from, Machine::positioning(scan), scan);
    }
}

fn crossing_of<'a>(
    step: &SprayStep,
    pass: &'a Pass,
    machine: &'a Machine,
    after: After,
) -> Crossing<'a> {
    Crossing {
        leg: &machine.leg,
        windows: &pass.powder,
        done_to: machine.done_to,
        lead_on: step.lead_on,
        lead_off: step.lead_off,
        after,
    }
}

/// What follows the pass in hand, as far as its powder is concerned.
fn after(step: &SprayStep, pass: &Pass, machine: &Machine, scan: &Scan<'_>) -> After {
    let waits = too_hot_for_next(step, machine, scan);
    let next = step.passes.get(machine.cursor.pass.saturating_add(1));
    let Some(next) = next.filter(|_| !waits && machine.hold_after_pass == Owed::Nothing) else {
        return After::Off;
    };
    let (Some(first), Some(last)) = (next.powder.first(), pass.powder.last()) else {
        return After::Off;
    };
    // A carriage that must first move elsewhere does not keep its powder on.
    if (next.from - pass.to).abs().mm() > 0.1 {
        return After::Off;
    }
    let feed = feed_at(&next.feed, next.from).mm_per_s().max(1e-3);
    let ramp = Machine::ramp(scan).mm_per_s2().max(1e-3);
    let run = (first.on - next.from).abs().mm();
    let ramp_up = feed * feed / (2.0 * ramp);
    let to_window = if run < ramp_up {
        (2.0 * run / ramp).sqrt()
    } else {
        (run - ramp_up) / feed + feed / ramp
    };
    let touching =
        if (first.on - next.from).abs().mm() < 0.1 && (last.off - pass.to).abs().mm() < 0.1 {
            Touching::Yes
        } else {
            Touching::No
        };
    After::Next { on: step.dwell.s() + to_window - step.lead_on.s(), touching }
}

/// Where the leg's own time stands: measured once the carriage is seen to move, before that from
/// its start and the delay last observed.
fn anchor(start: Moment, machine: &mut Machine, scan: &Scan<'_>) -> Anchor {
    let planned = start + seconds(machine.start_latency);
    let Some(position) = scan.position() else { return Anchor { at: planned, time: 0.0 } };
    let sampled = scan.inputs.axis.at;
    let moved = machine.leg.distance_to(position);
    if moved < 0.02 || (moved < 0.2 && scan.at_rest()) {
        return Anchor { at: planned.max(sampled), time: 0.0 };
    }
    let anchor = Anchor { at: sampled, time: machine.leg.time_at(position) };
    if moved < 2.0 && !scan.at_rest() {
        let began = anchor.moment(0.0);
        machine.start_latency = began.since(start).as_secs_f64().min(0.3);
    }
    anchor
}

fn plan_powder(start: Moment, machine: &mut Machine, scan: &mut Scan<'_>) {
    let Some((step, pass)) = pass_in_hand(machine, scan) else { return };
    let anchor = anchor(start, machine, scan);
    let after = after(step, pass, machine, scan);
    let mut feeder = machine.feeder;
    let crossing = crossing_of(step, pass, machine, after);
    feeder.plan(&crossing, anchor, scan.now, freeze(scan));
    if let Some(edge) = feeder.newly_fixed(scan.now, freeze(scan)) {
        let carriage = machine.leg.position_at(anchor.time_of(edge.at));
        scan.tell(Happening::PowderFixed { edge, carriage });
    }
    machine.feeder = feeder;
    scan.outputs.powder = feeder.demand();
    if feeder.level() == Level::On {
        machine.purge = Owed::Owed;
    }
}

pub(in super::super) fn crossing(
    start: Moment,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some((step, pass)) = pass_in_hand(machine, scan) else {
        return holding::begin(Cause::ProgramShort, machine, scan);
    };
    follow_temperature(machine, scan);
    if scan.now > start && scan.is_at(pass.to) {
        let (number, of) = (machine.cursor.step + 1, machine.cursor.pass + 1);
        scan.tell(Happening::PassEnded { step: number, pass: of });
        machine.cursor.pass += 1;
        machine.done_to = None;
        return after_pass(step, machine, scan);
    }
    if is_late(until, scan) {
        machine.setback = Some(Cause::CarriageLate);
        return holding::begin(Cause::CarriageLate, machine, scan);
    }
    Outcome::Handled
}

/// Follows the part's temperature over a pass: its peak under the torch, over where it began, is
/// what the next pass is expected to add.
fn follow_temperature(machine: &mut Machine, scan: &Scan<'_>) {
    if let Some(part) = scan.temperature() {
        machine.pass_peak = machine.pass_peak.max(part);
    }
}

fn too_hot_for_next(step: &SprayStep, machine: &Machine, scan: &Scan<'_>) -> bool {
    scan.temperature().is_none_or(|part| step.is_too_hot(part, machine.rises))
}

fn after_pass(step: &SprayStep, machine: &mut Machine, scan: &mut Scan<'_>) -> Outcome<State> {
    machine.rises.add(machine.pass_begin.map(|begin| machine.pass_peak.above(begin)));
    if machine.hold_after_pass == Owed::Owed {
        machine.hold_after_pass = Owed::Nothing;
        return holding::begin(Cause::PassDoneThenHold, machine, scan);
    }
    let Some(next) = step.passes.get(machine.cursor.pass) else {
        machine.feeder.void();
        return steps::next_step(Cause::PassDone, machine, scan);
    };
    if too_hot_for_next(step, machine, scan) {
        machine.feeder.void();
        let until = scan.now + LONGEST_WAIT;
        return machine.go(State::WaitingForTemperature { until }, Cause::TooHot);
    }
    machine.feeder.begin_pass();
    machine.leg.lay(next.from, next.to, &next.feed, Machine::ramp(scan));
    let crossing = crossing_of(step, next, machine, After::Off);
    let dwell = step.dwell.to_duration();
    let lead_in = match machine.feeder.level() {
        Level::On => Duration::ZERO,
        Level::Off => seconds(crossing.lead_in(POWDER_NOTICE.as_secs_f64())),
    };
    machine.go(State::SprayTurning { start: scan.now + dwell.max(lead_in) }, Cause::PassDone)
}

pub(in super::super) fn propose_crossing(
    start: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) {
    Machine::propose_flame(scan);
    machine.propose_turning(scan);
    plan_powder(start, machine, scan);
    scan.outputs.axis =
        if scan.now < start { AxisDemand::Still } else { leg_demand(machine, scan) };
}

/// The crossing's move at the feed of where the carriage will be when the set-point arrives.
pub(in super::super) fn leg_demand(machine: &Machine, scan: &Scan<'_>) -> AxisDemand {
    let (Some(pass), Some(axis)) = (pass_laid_out(machine, scan), scan.axis()) else {
        return AxisDemand::QuickStop;
    };
    let ahead = scan.now.since(scan.inputs.axis.at) + scan.figures.scan;
    let there = axis.position + Length::from_mm(axis.velocity.mm_per_s() * ahead.as_secs_f64());
    Machine::travel(pass.to, feed_at(&pass.feed, there), scan)
}

pub(in super::super) fn turning(
    start: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some((_, pass)) = pass_in_hand(machine, scan) else {
        return holding::begin(Cause::ProgramShort, machine, scan);
    };
    if !scan.is_at(pass.from) {
        machine.feeder.void();
        let to = approach(machine, scan);
        return machine.go(to, Cause::Turned);
    }
    if scan.now >= start {
        announce(machine, scan);
        let to = crossing_state(start, machine, scan);
        return machine.go(to, Cause::Turned);
    }
    Outcome::Handled
}

pub(in super::super) fn propose_turning(start: Moment, machine: &mut Machine, scan: &mut Scan<'_>) {
    Machine::propose_flame(scan);
    machine.propose_turning(scan);
    plan_powder(start, machine, scan);
    scan.outputs.axis = AxisDemand::Still;
}

pub(in super::super) fn waiting(
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some(step) = scan.spray(machine.cursor) else {
        return holding::begin(Cause::ProgramShort, machine, scan);
    };
    if machine.hold_after_pass == Owed::Owed {
        machine.hold_after_pass = Owed::Nothing;
        return holding::begin(Cause::PassDoneThenHold, machine, scan);
    }
    if has_no_pass_left(machine, scan) {
        return steps::next_step(Cause::NoPassLeft, machine, scan);
    }
    // Without a datum the torch is not known to be at the park, and never will be in this job.
    if scan.datum_is_lost() {
        machine.setback = Some(Cause::NotParked);
        return holding::begin(Cause::NotParked, machine, scan);
    }
    let below = step.resumes_below(machine.rises);
    if scan.is_parked() && scan.temperature().is_some_and(|part| part < below) {
        let to = approach(machine, scan);
        return steps::leave_park(to, Cause::CoolEnough, machine, scan);
    }
    if is_late(until, scan) {
        machine.setback = Some(Cause::WaitTooLong);
        return holding::begin(Cause::WaitTooLong, machine, scan);
    }
    Outcome::Handled
}

pub(in super::super) fn hold_after_pass(machine: &mut Machine) -> Outcome<State> {
    machine.hold_after_pass = Owed::Owed;
    Outcome::Handled
}

/// When powder, once in the hose, has all arrived; the feeder is off from now on.
pub(in super::super) fn emptying(machine: &Machine, scan: &Scan<'_>) -> Duration {
    pass_in_hand(machine, scan).map_or(Duration::ZERO, |(step, _)| step.lead_off.to_duration())
}

/// Notes where powder ceases to arrive in the pass in hand, when it ceases at `when` (in the
/// leg's own time as measured): the restart begins there. Where none flowed, what the last window
/// has had ends with that window.
pub(in super::super) fn lose_powder(
    flowed: Level,
    when: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) {
    let Some((step, pass)) = pass_in_hand(machine, scan) else { return };
    let Some(position) = scan.position() else { return };
    // A pass that is finished has handed on to the next one, whose leg is not laid out yet.
    if !is_laid_out(pass, machine) || machine.leg.distance_to(position) <= 0.02 {
        return;
    }
    let anchor = Anchor { at: scan.inputs.axis.at, time: machine.leg.time_at(position) };
    let ceases = machine.leg.position_at(anchor.time_of(when));
    let place = if flowed.is_on() {
        ceases
    } else {
        let last = machine.feeder.window_done().and_then(|index| pass.powder.get(index));
        let Some(last) = last else { return };
        machine.leg.nearer(last.off, ceases)
    };
    let first = pass.powder.first().map_or(pass.to, |window| window.on);
    if !machine.leg.is_past(place, first) {
        return;
    }
    let done = machine.done_to.map_or(place, |done| machine.leg.farther(done, place));
    machine.done_to = Some(done);
    scan.tell(Happening::PowderLost { place: done });
    if !crossing_of(step, pass, machine, After::Off).has_powder() {
        let (step, pass) = (machine.cursor.step + 1, machine.cursor.pass + 1);
        scan.tell(Happening::PassEnded { step, pass });
        machine.cursor.pass += 1;
        machine.done_to = None;
    }
}
