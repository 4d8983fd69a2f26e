//! Lighting: one sub-machine for every start, restart and return from an access.
//!
//! By hand: torch at the park, spindle measured at rest, the guard open only then; guard shut and
//! speed proved again before the torch leaves the park. By an igniter: guard shut all the time.
//! A flame signal before gas flows is not believable and refuses the lighting (EN 746-2: flame
//! seen when none should be locks out).

use core::time::Duration;

use statig::blocking::Outcome;

use super::super::cause::Cause;
use super::super::context::Scan;
use super::super::event::Wish;
use super::super::machine::{Machine, Owed};
use super::super::prompt::Ask;
use super::super::state::{Errand, Proof, State};
use super::super::steps::{self, is_late};
use super::starting::SpinUp;
use super::stopping;
use crate::catalogue::LightingRules;
use crate::image::{Coil, Contact};
use crate::moment::Moment;
use crate::request::Request;
use crate::rig::LitBy;

/// On top of the purge itself: for the spindle to come to rest and the extraction to prove;
/// arbitrary.
const PURGE_ALLOWANCE: Duration = Duration::from_secs(30);
/// How long a person may take to come with the lighter; arbitrary.
const OPEN_WITHIN: Duration = Duration::from_secs(600);
/// How long setting the flame may take; arbitrary.
const CONFIRM_WITHIN: Duration = Duration::from_secs(300);
/// The igniter is never energised longer: common practice for spark igniters, no source.
const LONGEST_SPARK: Duration = Duration::from_secs(5);

/// Air clears the torch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Purging {
    errand: Errand,
    /// How long air must flow with everything in place.
    span: Duration,
    /// Since when it is seen to.
    since: Option<Moment>,
    until: Moment,
}

/// The wait between two tries, as the torch's handbook has it.
pub(super) fn wait_before_relighting(machine: &Machine, scan: &Scan<'_>) -> Duration {
    rules(machine, scan).map_or(Duration::ZERO, |rules| rules.wait.to_duration())
}

fn rules(machine: &Machine, scan: &Scan<'_>) -> Option<LightingRules> {
    machine.torch_plan(scan).map(|torch| torch.lighting)
}

impl Purging {
    /// The first purge of a lighting.
    pub(in super::super) fn first_state(
        errand: Errand,
        machine: &mut Machine,
        scan: &Scan<'_>,
    ) -> State {
        machine.tries = 0;
        let span = rules(machine, scan).map_or(PURGE_ALLOWANCE, |rules| rules.purge.to_duration());
        State::Purging(Self::new(errand, span, machine, scan))
    }

    fn new(errand: Errand, span: Duration, machine: &Machine, scan: &Scan<'_>) -> Self {
        let from = scan.now.max(machine.relight_from);
        Self { errand, span, since: None, until: from + span + PURGE_ALLOWANCE }
    }

    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        let by_hand = machine.figures.lit_by == LitBy::Hand;
        // Between two tries the torch may still glow or smoulder; only a first look can tell a
        // false signal from it.
        if machine.tries == 0 && scan.is_on(Contact::Flame) {
            return steps::give_up(self.errand, Cause::FlameNotBelievable, machine, scan);
        }
        let in_place = scan.is_parked()
            && scan.sees_air(machine.torch_plan(scan))
            && scan.is_on(Contact::Extraction)
            && scan.is_off(Contact::Flame)
            && (!by_hand || scan.spindle_is_at_rest())
            && (by_hand || scan.is_on(Contact::Guard));
        if in_place {
            let since = *self.since.get_or_insert(scan.now);
            if scan.now.since(since) >= self.span && scan.now >= machine.relight_from {
                machine.purge = Owed::Nothing;
                let to = Opening::first_state(self.errand, machine, scan);
                return machine.go(to, Cause::Purged);
            }
        } else {
            self.since = None;
        }
        if is_late(self.until, scan) {
            return steps::give_up(self.errand, Cause::NotPurged, machine, scan);
        }
        Outcome::Handled
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        propose_air(machine, scan);
    }
}

fn propose_air(machine: &Machine, scan: &mut Scan<'_>) {
    for coil in [Coil::Supply, Coil::CarrierAir, Coil::Extraction] {
        scan.energise(coil);
    }
    Machine::propose_park(scan);
    if machine.figures.lit_by == LitBy::Igniter {
        machine.propose_turning(scan);
    }
}

/// Gas is about to flow, or flows unlit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Opening {
    errand: Errand,
    phase: Try,
}

/// Where a try stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Try {
    /// A person is asked to come with the lighter; gas is shut.
    Asking { until: Moment },
    /// Gas flows.
    Trial { since: Moment, until: Moment },
}

impl Opening {
    fn first_state(errand: Errand, machine: &mut Machine, scan: &Scan<'_>) -> State {
        let phase = match machine.figures.lit_by {
            LitBy::Hand => Try::Asking { until: scan.now + OPEN_WITHIN },
            LitBy::Igniter => Self::trial(machine, scan),
        };
        State::Opening(Self { errand, phase })
    }

    fn trial(machine: &mut Machine, scan: &Scan<'_>) -> Try {
        machine.tries = machine.tries.saturating_add(1);
        machine.purge = Owed::Owed;
        let trial = rules(machine, scan).map_or(Duration::ZERO, |rules| rules.trial.to_duration());
        Try::Trial { since: scan.now, until: scan.now + trial }
    }

    /// Whether a person is asked, gas still shut.
    pub(in super::super) const fn is_asking(&self) -> bool {
        matches!(self.phase, Try::Asking { .. })
    }

    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        match self.phase {
            Try::Asking { .. } if scan.is_on(Contact::Flame) => {
                steps::give_up(self.errand, Cause::FlameNotBelievable, machine, scan)
            }
            Try::Asking { until } if is_late(until, scan) => {
                steps::give_up(self.errand, Cause::NotAnswered, machine, scan)
            }
            // What has cleared the torch must go on until the gas is opened.
            Try::Asking { .. } if !scan.sees_air(machine.torch_plan(scan)) => {
                let span =
                    rules(machine, scan).map_or(PURGE_ALLOWANCE, |rules| rules.purge.to_duration());
                let purging = Purging::new(self.errand, span, machine, scan);
                machine.go(State::Purging(purging), Cause::AirLost)
            }
            Try::Asking { .. } => Outcome::Handled,
            Try::Trial { .. } if scan.is_on(Contact::Flame) => {
                let to = State::ConfirmingFlame(Confirming {
                    errand: self.errand,
                    seen_since: scan.now,
                    until: scan.now + CONFIRM_WITHIN,
                });
                machine.go(to, Cause::FlameSeen)
            }
            Try::Trial { until, .. } if is_late(until, scan) => {
                let attempt = machine.tries;
                failed(self.errand, Cause::NotLit { attempt }, machine, scan)
            }
            Try::Trial { .. } => Outcome::Handled,
        }
    }

    pub(in super::super) fn propose(&self, machine: &Machine, scan: &mut Scan<'_>) {
        propose_air(machine, scan);
        if let Try::Trial { since, .. } = self.phase {
            Machine::propose_flame(scan);
            let sparks = scan.now.since(since) < LONGEST_SPARK;
            if machine.figures.lit_by == LitBy::Igniter && sparks {
                scan.energise(Coil::Igniter);
            }
        }
    }

    pub(in super::super) fn ask(
        &mut self,
        request: Request,
        machine: &mut Machine,
        scan: &Scan<'_>,
    ) -> Outcome<State> {
        match (self.phase, request) {
            (Try::Asking { .. }, Request::Accept) => {
                self.phase = Self::trial(machine, scan);
                Outcome::Handled
            }
            // Accept again while the gas already flows: it was so already, nothing more.
            (Try::Trial { .. }, Request::Accept) => Outcome::Handled,
            _ => Outcome::Super,
        }
    }

    pub(in super::super) const fn prompt(self) -> (Ask, Option<Moment>) {
        match self.phase {
            Try::Asking { until } => (Ask::OpenGuard, Some(until)),
            Try::Trial { until, .. } => (Ask::Light, Some(until)),
        }
    }
}

/// A try went wrong: gas shut, wait with extraction, again, until the tries are used up.
fn failed(
    errand: Errand,
    cause: Cause,
    machine: &mut Machine,
    scan: &mut Scan<'_>,
) -> Outcome<State> {
    let allowed = rules(machine, scan);
    let tries = allowed.map_or(0, |rules| rules.tries);
    if machine.tries >= tries {
        scan.wish(Wish::LockedOut);
        let cause = Cause::LockedOut { tries };
        machine.setback = Some(cause);
        return stopping::begin(cause, machine, scan);
    }
    let span = allowed.map_or(PURGE_ALLOWANCE, |rules| rules.wait.to_duration());
    machine.fall_back(State::Purging(Purging::new(errand, span, machine, scan)), cause)
}

/// A flame is seen and watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(in super::super) struct Confirming {
    errand: Errand,
    seen_since: Moment,
    until: Moment,
}

impl Confirming {
    /// How long the flame has been watched.
    pub(in super::super) fn watched(&self, now: Moment) -> Duration {
        now.since(self.seen_since)
    }

    pub(in super::super) fn scan(
        &mut self,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        if !scan.is_on(Contact::Flame) {
            return failed(self.errand, Cause::FlameLostInLighting, machine, scan);
        }
        if is_late(self.until, scan) {
            return steps::give_up(self.errand, Cause::NotAnswered, machine, scan);
        }
        Outcome::Handled
    }

    pub(in super::super) fn ask(
        &mut self,
        request: Request,
        machine: &mut Machine,
        scan: &mut Scan<'_>,
    ) -> Outcome<State> {
        if request != Request::Accept {
            return Outcome::Super;
        }
        machine.setback = None;
        let phase = SpinUp::first(machine, scan);
        let to = State::SpinningUp { errand: self.errand, proof: Proof::BeforeWork, phase };
        machine.go(to, Cause::Asked(request))
    }

    pub(in super::super) const fn prompt(self) -> (Ask, Option<Moment>) {
        (Ask::SetFlame, Some(self.until))
    }
}

pub(in super::super) fn propose_confirming(machine: &Machine, scan: &mut Scan<'_>) {
    propose_air(machine, scan);
    Machine::propose_flame(scan);
}
