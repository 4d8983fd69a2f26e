//! One row tried in one place: what is done, what comes of it and when, and whether that is what the
//! matrix says.

use evenpass_core::image::{Analogue, AxisDemand, SpindleDemand};
use evenpass_core::interlock::matrix::Row;
use evenpass_core::interlock::{Class, SpindleEffect};
use evenpass_core::moment::Moment;
use evenpass_core::program::Step as Of;
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::Coil;

use crate::armed::{Expected, Sample, expected};
use crate::judging::{harmless, judge};
use crate::provocations::{Asked, Here, Reason, act, provocation};
use crate::trial::Trial;
use crate::trial::places::Place;
use crate::trial::told::{Happened, What};

/// What the wired circuit does comes before the controller has seen its cause, by no more than this.
const WIRED: f64 = 0.5;
/// What is taken away later than this is the sequence's own next step.
const AT_ONCE: f64 = 0.6;
/// A trip has come to its rest.
const TRIP_RESTS: f64 = 45.0;
/// A hold or stop has come to where it waits or only cools.
const OTHER_RESTS: f64 = 25.0;
/// The fusing ceiling in force where the step gives none, degC (2200 degF).
const OWN_CEILING: f64 = 1204.0;
/// A control run is as long as the longest delay with what it takes.
pub(crate) const CONTROL: f64 = 22.0;

/// A place with a run from it in which nothing is done.
pub(crate) struct Stand {
    pub(crate) place: Place,
    pub(crate) name: String,
    pub(crate) run: Vec<Sample>,
    pub(crate) told: Vec<Happened>,
    pub(crate) start: Moment,
}

impl Stand {
    pub(crate) fn of(place: Place) -> Self {
        let mut trial = place.trial.clone();
        trial.begin_record();
        let start = trial.now();
        let mut run = vec![sample(&mut trial, start)];
        while trial.now().since(start).as_secs_f64() < CONTROL {
            trial.wait(0.05);
            run.push(sample(&mut trial, start));
        }
        let name = place.name();
        Self { place, name, run, told: trial.told, start }
    }
}

fn sample(trial: &mut Trial, start: Moment) -> Sample {
    let truth = trial.truth();
    let status = trial.status();
    let snapshot = trial.controller().snapshot();
    let program = &trial.of.plan.program;
    let step = status.progress.as_ref().and_then(|at| program.steps.get(at.step - 1));
    Sample {
        at: trial.now().since(start).as_secs_f64(),
        truth,
        leaf: status.leaf,
        phase: status.phase,
        travelling: matches!(snapshot.outputs.axis, AxisDemand::Travel(_) | AxisDemand::Home(_)),
        turning: snapshot.outputs.spindle != SpindleDemand::Stop,
        spraying: matches!(step, Some(Of::Spray(_))),
        clear_from: (program.part.high + program.clear_by).mm(),
        part: (program.part.low.mm(), program.part.high.mm()),
    }
}

/// A row that was confirmed.
#[derive(Debug, Clone)]
pub(crate) struct Acted {
    /// From the act to the confirmation, s.
    pub(crate) confirmed: f64,
    /// The first trip's row, where one tripped.
    pub(crate) first: Option<String>,
    /// What happened, s from the confirmation.
    pub(crate) effects: Vec<(f64, What)>,
    /// From the confirmation to the last of powder, fuel and oxygen taken away, s; nothing where
    /// none was on.
    pub(crate) taken: Option<f64>,
    /// The state it came to.
    pub(crate) rest: Leaf,
}

/// What became of a row in a place.
#[derive(Debug, Clone)]
pub(crate) enum Cell {
    Acted(Acted),
    /// It does not count here; which others did, by what was done.
    NotArmed {
        others: Vec<String>,
    },
    Cannot(Reason),
}

/// A row tried in a place.
pub(crate) struct Tried {
    pub(crate) row: &'static Row,
    pub(crate) place: usize,
    pub(crate) done: &'static str,
    pub(crate) cell: Cell,
    /// What is not as it should be.
    pub(crate) wrong: Vec<String>,
}

/// Tries a row in a place.
pub(crate) fn try_row(row: &'static Row, at: usize, stand: &Stand) -> Tried {
    let mut trial = stand.place.trial.clone();
    let truth = trial.truth();
    let snapshot = trial.controller().snapshot();
    let program = &trial.of.plan.program;
    let step = snapshot.status.progress.as_ref().and_then(|at| program.steps.get(at.step - 1));
    let here = Here {
        truth: &truth,
        lighting: matches!(stand.place.leaf, Leaf::Purging | Leaf::Opening | Leaf::ConfirmingFlame),
        clear_from: (program.part.high + program.clear_by).mm(),
        edge_to_come: stand.place.note == "powder to come",
        part_c: snapshot.inputs.analogue(Analogue::PartTemperature).value,
        coat_c: snapshot.inputs.analogue(Analogue::FuseTemperature).value,
        ceiling_c: match step {
            Some(Of::Fuse(step)) => step.ceiling.celsius(),
            _ => OWN_CEILING,
        },
        rpm: snapshot.status.spindle.map_or(truth.spindle_rpm, |speed| speed.rpm()),
    };
    let given = match provocation(row, &here) {
        Ok(given) => given,
        Err(reason) => {
            let cell = Cell::Cannot(reason);
            return Tried { row, place: at, done: "", cell, wrong: Vec::new() };
        }
    };
    trial.begin_record();
    let start = trial.now();
    let answer = act(&mut trial, &given.steps);
    let patience = row.delay.as_secs_f64() + given.takes + 0.5;
    let asked = matches!(row.key, "hold_requested" | "stop_requested");
    // How things were at the look before it was confirmed.
    let mut before = truth;
    let found = |this: &Trial| this.confirmed.iter().any(|cause| cause.key == row.key);
    while !asked && !found(&trial) && seconds(start, trial.now()) < patience {
        before = trial.truth();
        trial.look();
    }
    let confirmed = trial.confirmed.iter().find(|cause| cause.key == row.key).map(|cause| cause.at);
    let mut wrong = Vec::new();
    let by_asking = asked && answer == Asked::Taken;
    let cell = match confirmed.or(by_asking.then_some(start)) {
        Some(confirmed) => {
            rest(row, &mut trial);
            Cell::Acted(acted(row, &mut trial, start, confirmed))
        }
        None => {
            let others = trial.confirmed.iter().map(|cause| cause.key.clone()).collect();
            Cell::NotArmed { others }
        }
    };
    let needs = row.delay.as_secs_f64() + given.takes;
    // Where a torch burns near its gas's limit, that is reached before the warning.
    let limit_first = row.key == "fuel_high_warn"
        && trial.of.plan.program.torches.iter().any(|torch| {
            torch.fuel_pressure * row.set_point.map_or(0.0, |set| set.value / 100.0)
                >= torch.fuel_pressure_limit
        });
    match (expected(row, &stand.run, needs.min(CONTROL), patience), &cell) {
        (Expected::Confirmed, Cell::NotArmed { others })
            if !conditional(row.key) && !limit_first =>
        {
            wrong.push(format!("is not confirmed within {patience:.1} s; others: {others:?}"));
        }
        // What another trip has led to is its consequence.
        (Expected::NotConfirmed, Cell::Acted(acted))
            if !asked
                && !conditional(row.key)
                && acted.first.as_ref().is_none_or(|first| first == row.key) =>
        {
            wrong.push("is confirmed where it does not count".to_owned());
        }
        _ => {}
    }
    match &cell {
        Cell::Acted(acted) => judge(row, stand, &before, acted, &trial, start, &mut wrong),
        _ => harmless(stand, &trial, &mut wrong),
    }
    Tried { row, place: at, done: given.words, cell, wrong }
}

/// Rows whose condition needs more than their arming: another row is there first, or the value takes
/// longer than the place lasts.
fn conditional(key: &str) -> bool {
    matches!(
        key,
        // Others act first, on the same fault, or a hold has shut the gas by then.
        "fuel_high" | "fuel_limit" | "extraction_flow_trip" | "extraction_lost_trip"
            | "extraction_transmitter_trip" | "powder_still" | "following_error" | "carriage_stalled" | "spindle_slow"
            // Asked away from a limit, the carriage may leave it.
            | "limit_minus" | "limit_plus"
            // Two windows of four seconds, of which the place may not leave enough.
            | "feed_falls" | "feed_pulses"
            // Acts are taken where they mean something.
            | "abort_requested" | "hold_requested" | "stop_requested" | "attendance" | "overdue" | "ignition_lockout" | "scan_late" | "stall_reported"
            | "torque_contradicts" | "flame_from_nothing" | "flame_remains" | "flame_remains_warn"
    )
}

/// On to where what it began has come to rest.
fn rest(row: &Row, trial: &mut Trial) {
    let longest = match row.class {
        Class::Trip => TRIP_RESTS,
        Class::Warn => 1.0,
        Class::Hold | Class::Stop => OTHER_RESTS,
    };
    trial.wait(0.1);
    if row.class != Class::Warn {
        trial.until(longest, |this| {
            matches!(
                this.status().phase,
                Phase::Idle | Phase::Held | Phase::Stopped | Phase::Aborted | Phase::Complete
            )
        });
    }
    trial.wait(1.0);
    if row.effects.spindle == SpindleEffect::Stop {
        trial.until(8.0, |this| this.truth().spindle_rpm < 1.0);
    }
}

pub(crate) fn seconds(from: Moment, to: Moment) -> f64 {
    if to >= from { to.since(from).as_secs_f64() } else { -from.since(to).as_secs_f64() }
}

fn acted(row: &Row, trial: &mut Trial, start: Moment, confirmed: Moment) -> Acted {
    let since = trial.told.iter().filter(|told| told.at >= start);
    let mut effects: Vec<(f64, What)> =
        since.map(|told| (seconds(confirmed, told.at), told.what)).collect();
    effects.sort_by(|a, b| a.0.total_cmp(&b.0));
    let energy = [Coil::PowderFeeder, Coil::FuelValve, Coil::OxygenValve];
    let taken = effects
        .iter()
        .filter(|(_, what)| energy.iter().any(|coil| *what == What::Coil(*coil, false)))
        .map(|(at, _)| *at)
        .filter(|at| row.class != Class::Warn && (-WIRED..=AT_ONCE).contains(at))
        .reduce(f64::max);
    let first = trial.confirmed.iter().find(|cause| cause.class == "trip");
    Acted {
        confirmed: seconds(start, confirmed),
        first: first.map(|cause| cause.key.clone()),
        effects,
        taken,
        rest: trial.leaf(),
    }
}

impl Acted {
    /// When it first was so, s from the confirmation.
    pub(crate) fn first(&self, what: What) -> Option<f64> {
        let since = self.effects.iter().filter(|(at, _)| *at >= -WIRED);
        since.clone().find(|(_, other)| *other == what).map(|(at, _)| *at)
    }
}
