//! Fusing: band by band. The flame oscillates over the band until a person calls it wet; the
//! software shows temperatures and never claims to see wetting.

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::event::Happening;
use super::super::leaf::Leaf;
use super::super::machine::Machine;
use super::super::state::{State, Toward};
use super::super::steps::{self, is_late};
use super::{holding, starting};
use crate::moment::Moment;
use crate::program::{FuseBand, FuseStep};
use crate::quantity::Length;
use crate::request::Request;

/// Where the flame is while a band is heated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) enum Place {
    /// Over the band.
    OverBand,
    /// At the park: the reading was above the ceiling. The part turns on, without cooling jet.
    Withdrawn,
}

fn band<'a>(machine: &Machine, scan: &Scan<'a>) -> Option<(&'a FuseStep, FuseBand)> {
    let step = scan.fuse(machine.cursor)?;
    step.bands.get(machine.cursor.band).map(|band| (step, *band))
}

/// Heating of the band in hand, first toward its nearer end.
pub(in super::super) fn first_state(machine: &Machine, scan: &Scan<'_>) -> State {
    heating_from(Place::OverBand, machine, scan)
}

fn heating_from(place: Place, machine: &Machine, scan: &Scan<'_>) -> State {
    let longest =
        scan.fuse(machine.cursor).map_or(Duration::ZERO, |step| step.longest.to_duration());
    let toward = band(machine, scan)
        .map_or(Toward::Low, |(_, band)| Toward::nearer(band.travel, scan.position()));
    State::Heating { toward, place, until: scan.now + longest }
}

pub(in super::super) fn heating(
    toward: Toward,
    place: &mut Place,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some((step, band)) = band(machine, scan) else {
        return steps::next_step(Cause::StepBegins, machine, scan);
    };
    if is_late(until, scan) {
        machine.setback = Some(Cause::FuseTooLong);
        return holding::begin(Cause::FuseTooLong, machine, scan);
    }
    let coat = scan.coat_temperature();
    match place {
        Place::OverBand if coat.is_some_and(|coat| coat > step.ceiling) => {
            *place = Place::Withdrawn;
        }
        Place::Withdrawn if coat.is_some_and(|coat| coat < step.window.high) => {
            // As from every wait at the park: a spindle that has stopped meanwhile holds.
            if let Some(wrong) = starting::spindle_is_wrong(machine, scan) {
                machine.setback = Some(wrong);
                return holding::begin(wrong, machine, scan);
            }
            *place = Place::OverBand;
        }
        Place::OverBand if scan.is_at(toward.end(band.travel)) => {
            let to = State::FuseTurning { toward: toward.other(), until };
            return machine.go(to, Cause::AtEnd);
        }
        Place::OverBand | Place::Withdrawn => {}
    }
    Outcome::Handled
}

pub(in super::super) fn propose_heating(
    toward: Toward,
    place: Place,
    machine: &Machine,
    scan: &mut Scan<'_>,
) {
    if place == Place::Withdrawn {
        machine.propose_waiting(scan);
        return;
    }
    Machine::propose_flame(scan);
    machine.propose_turning(scan);
    if let (Some((step, band)), Some(position)) = (band(machine, scan), scan.position()) {
        let over = band.travel.contains(position);
        let at = if over { step.oscillation } else { Machine::positioning(scan) };
        scan.outputs.axis = Machine::travel(toward.end(band.travel), at, scan);
    }
}

/// The reversal itself: over as soon as the carriage is on its way back, or the band too hot.
pub(in super::super) fn turning(
    toward: Toward,
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let ceiling = scan.fuse(machine.cursor).map(|step| step.ceiling);
    let hot = scan.coat_temperature().zip(ceiling).is_some_and(|(coat, ceiling)| coat > ceiling);
    if hot || !scan.at_rest() || is_late(until, scan) {
        let to = State::Heating { toward, place: Place::OverBand, until };
        return machine.go(to, Cause::Turned);
    }
    Outcome::Handled
}

/// The band is wet: the front is drawn along to where the flame turns ahead of the next one.
fn next_end(machine: &Machine, scan: &Scan<'_>) -> Option<Length> {
    let step = scan.fuse(machine.cursor)?;
    let next = step.bands.get(machine.cursor.band.saturating_add(1))?;
    Some(step.leading_end(next))
}

fn wet(cause: Cause, machine: &mut Machine, scan: &mut Scan<'_>) -> Outcome<State> {
    let (step, band) = (machine.cursor.step + 1, machine.cursor.band + 1);
    scan.tell(Happening::BandWet { step, band });
    let Some(to) = next_end(machine, scan) else {
        machine.cursor.band = machine.cursor.band.saturating_add(1);
        return steps::next_step(cause, machine, scan);
    };
    let at = scan.fuse(machine.cursor).map_or_else(|| Machine::positioning(scan), |step| step.feed);
    let distance = scan.position().map_or(Length::ZERO, |position| (position - to).abs());
    let patience = super::super::motion::patience(distance, at, Machine::ramp(scan));
    machine.go(State::Wetting { until: scan.now + patience }, cause)
}

pub(in super::super) fn wetting(
    until: Moment,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let Some(to) = next_end(machine, scan) else {
        return steps::next_step(Cause::StepBegins, machine, scan);
    };
    let ceiling = scan.fuse(machine.cursor).map(|step| step.ceiling);
    if scan.coat_temperature().zip(ceiling).is_some_and(|(coat, ceiling)| coat > ceiling) {
        // The torch leaves; the next band begins when the coat is back inside the window.
        machine.cursor.band = machine.cursor.band.saturating_add(1);
        let to = heating_from(Place::Withdrawn, machine, scan);
        return machine.go(to, Cause::TooHot);
    }
    if scan.is_at(to) {
        machine.cursor.band = machine.cursor.band.saturating_add(1);
        let to = first_state(machine, scan);
        return machine.go(to, Cause::InPlace);
    }
    if is_late(until, scan) {
        machine.setback = Some(Cause::CarriageLate);
        return holding::begin(Cause::CarriageLate, machine, scan);
    }
    Outcome::Handled
}

pub(in super::super) fn propose_wetting(machine: &Machine, scan: &mut Scan<'_>) {
    Machine::propose_flame(scan);
    machine.propose_turning(scan);
    if let (Some(to), Some(step)) = (next_end(machine, scan), scan.fuse(machine.cursor)) {
        scan.outputs.axis = Machine::travel(to, step.feed, scan);
    }
}

pub(in super::super) fn ask(
    request: Request,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let cause = Cause::Asked(request);
    match (request, machine.leaf) {
        (Request::Wet, Leaf::Wetting) => Outcome::Handled,
        (Request::Wet, _) => wet(cause, machine, scan),
        (Request::NotWet, Leaf::Wetting) => {
            let to = first_state(machine, scan);
            machine.go(to, cause)
        }
        _ => Outcome::Super,
    }
}
