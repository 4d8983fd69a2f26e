//! The table is whole, a proof arms one row for one scan, and days are counted right.

use core::time::Duration;

use super::{
    COVERED, Day, Failing, LastProof, PROCEDURES, Prover, ProverView, Stage, Standing, covered,
    procedure, standing,
};
use crate::image::{AxisReading, Contact, Inputs, Level, Outputs, Signal, SpindleReading};
use crate::interlock::matrix::{row, rows};
use crate::interlock::{Class, Interlocks, Limits, ProofFinding, ProofWatch, Verdict};
use crate::moment::Moment;
use crate::rig::ProofInterval;
use crate::rig::support::bench;

#[test]
fn every_row_that_holds_stops_or_trips_has_a_procedure_or_a_reason_why_not() {
    for row in rows() {
        let (proved, reasoned) = (procedure(row.key).is_some(), covered(row.key).is_some());
        let expected = row.class >= Class::Hold;
        assert_eq!(proved ^ reasoned, expected, "{}: {proved} {reasoned}", row.key);
        assert!(!(proved && reasoned), "{}", row.key);
    }
}

#[test]
fn every_procedure_and_every_reason_is_of_a_row_and_stands_in_the_matrix_order() {
    let numbers = |keys: Vec<&'static str>| -> Vec<u16> {
        keys.into_iter().map(|key| row(key).expect(key).number).collect()
    };
    let sorted = |numbers: &[u16]| numbers.windows(2).all(|pair| pair[0] < pair[1]);
    let proved = numbers(PROCEDURES.iter().map(|procedure| procedure.key).collect());
    let mut seen = proved.clone();
    seen.dedup();
    assert_eq!(seen.len(), proved.len());
    assert!(sorted(&numbers(COVERED.iter().map(|covered| covered.key).collect())));
    for procedure in PROCEDURES {
        assert!(procedure.act.ends_with('.') && procedure.restore.ends_with('.'));
        assert!(procedure.missing.contains(&format!("`evenpass prove {}`", procedure.key)));
    }
}

/// A machine at rest, everything healthy, at a time.
fn at_rest(at_ms: u64) -> Inputs {
    let now = Moment::from_micros(at_ms * 1000);
    let mut inputs = Inputs::unknown();
    inputs.now = now;
    for tag in Contact::ALL {
        let off = matches!(
            tag,
            Contact::Flame
                | Contact::StartButton
                | Contact::ResetButton
                | Contact::AcceptButton
                | Contact::WetButton
                | Contact::BadFlameButton
                | Contact::CoatLiftingButton
                | Contact::HoldToRun
                | Contact::PartTurning
        );
        inputs.contacts[tag.index()] = Signal::measured(Level::from_bit(!off), now);
    }
    for analogue in &mut inputs.analogues {
        *analogue = Signal::measured(0.0, now);
    }
    inputs.axis = Signal::measured(AxisReading::default(), now);
    inputs.spindle = Signal::measured(SpindleReading::default(), now);
    inputs.inverter_ok = Signal::measured(Level::On, now);
    inputs
}

fn with_guard_open(at_ms: u64) -> Inputs {
    let mut inputs = at_rest(at_ms);
    inputs.contacts[Contact::Guard.index()].value = Level::Off;
    inputs
}

fn armed() -> ProofWatch {
    ProofWatch { key: "guard_open", armed: Level::On }
}

fn step(interlocks: &mut Interlocks, inputs: &Inputs) {
    interlocks.step(inputs, &Outputs::default(), &Limits::default());
}

#[test]
fn a_proof_arms_its_row_for_one_scan_and_for_no_other_row() {
    let mut interlocks = Interlocks::new(&bench()).expect("the bench's figures");
    step(&mut interlocks, &with_guard_open(0));
    assert!(!interlocks.verdict().tripped(), "nothing is energised, nothing is proved");
    interlocks.prove(armed());
    step(&mut interlocks, &at_rest(20));
    assert_eq!(interlocks.proof_finding(), Some(ProofFinding::Healthy));
    // Not asked for again: the arming is gone before the guard opens.
    step(&mut interlocks, &with_guard_open(40));
    assert_eq!(interlocks.proof_finding(), None);
    assert!(!interlocks.verdict().tripped());
    interlocks.prove(ProofWatch { key: "clamp_lost", armed: Level::On });
    step(&mut interlocks, &with_guard_open(60));
    assert!(!interlocks.verdict().tripped(), "another row's proof");
    interlocks.prove(ProofWatch { armed: Level::Off, ..armed() });
    step(&mut interlocks, &with_guard_open(80));
    assert_eq!(interlocks.proof_finding(), Some(ProofFinding::Unhealthy));
    assert!(!interlocks.verdict().tripped(), "looked at, not armed");
    interlocks.prove(armed());
    step(&mut interlocks, &with_guard_open(100));
    let first = interlocks.verdict().first.as_ref().expect("tripped");
    assert_eq!(first.key, "guard_open");
    assert!(first.message.starts_with("Proof test: "), "{}", first.message);
}

#[test]
fn a_trip_by_a_proof_stays_latched_until_it_is_acknowledged_and_reset() {
    use crate::interlock::{Inspected, PurgeDone};
    let mut interlocks = Interlocks::new(&bench()).expect("the bench's figures");
    interlocks.prove(armed());
    step(&mut interlocks, &with_guard_open(0));
    let reset = |interlocks: &mut Interlocks, inputs: &Inputs| {
        interlocks.reset(inputs, &Outputs::default(), PurgeDone::No, Inspected::No)
    };
    step(&mut interlocks, &with_guard_open(20));
    assert!(reset(&mut interlocks, &with_guard_open(20)).is_err(), "open, not acknowledged");
    // Longer than any contact has to be healthy again before it counts.
    for at_ms in (40..10_000).step_by(20) {
        step(&mut interlocks, &at_rest(at_ms));
    }
    assert!(reset(&mut interlocks, &at_rest(10_000)).is_err(), "not acknowledged");
    interlocks.acknowledge(Moment::from_micros(10_000_000));
    assert_eq!(reset(&mut interlocks, &at_rest(10_020)), Ok(()));
    assert!(!interlocks.verdict().tripped());
}

fn view<'a>(inputs: &'a Inputs, verdict: &'a Verdict, finding: ProofFinding) -> ProverView<'a> {
    ProverView {
        inputs,
        finding: Some(finding),
        verdict,
        fuel: Some(Level::Off),
        oxygen: Some(Level::Off),
        proving: Level::On,
        field_age: Duration::from_millis(200),
        axis_age: Duration::from_millis(200),
    }
}

fn prover(key: &str) -> Prover {
    let procedure = procedure(key).expect("a procedure");
    Prover::new(procedure, row(key).expect("a row"), Duration::ZERO, Moment::START)
}

/// Shows a prover the same finding from one time to another, ms.
fn show(prover: &mut Prover, finding: ProofFinding, from_ms: u64, to_ms: u64) {
    let verdict = Verdict::default();
    for at in (from_ms..to_ms).step_by(20) {
        prover.look(&view(&at_rest(at), &verdict, finding));
    }
}

fn failing(prover: &Prover) -> Option<Failing> {
    prover.proved().and_then(|proved| proved.failing.clone())
}

#[test]
fn a_device_that_is_not_healthy_before_the_act_proves_nothing() {
    let mut prover = prover("stop_button");
    show(&mut prover, ProofFinding::Unhealthy, 0, 10_100);
    assert_eq!(failing(&prover), Some(Failing::NotHealthy));
    assert_eq!(prover.step(), None, "nothing is stroked or armed any more");
}

#[test]
fn a_row_that_was_latched_before_the_act_proves_nothing() {
    let key = "hold_button";
    let mut interlocks = Interlocks::new(&bench()).expect("the bench's figures");
    for at_ms in [0, 20] {
        let mut pressed = at_rest(at_ms);
        pressed.contacts[Contact::HoldButtonRest.index()].value = Level::Off;
        interlocks.prove(ProofWatch { key, armed: Level::On });
        step(&mut interlocks, &pressed);
    }
    let latched = interlocks.verdict().clone();
    assert_eq!(latched.holds.first().map(|hold| hold.key), Some(key));
    let mut prover = prover(key);
    for at in (0..10_100).step_by(20) {
        prover.look(&view(&at_rest(at), &latched, ProofFinding::Healthy));
    }
    assert_eq!(failing(&prover), Some(Failing::LatchedBefore));
}

#[test]
fn a_row_is_armed_only_once_its_device_was_healthy_for_half_a_second() {
    let mut prover = prover("stop_button");
    show(&mut prover, ProofFinding::Healthy, 0, 500);
    assert_eq!(prover.step().map(|step| step.watch.armed), Some(Level::Off));
    show(&mut prover, ProofFinding::Healthy, 500, 520);
    assert_eq!(prover.stage(), Stage::Acting);
    assert_eq!(prover.step().map(|step| step.watch.armed), Some(Level::On));
}

#[test]
fn a_valve_that_does_not_open_fails_the_preparation() {
    // The module acknowledges nothing, and both contacts say shut.
    let mut prover = prover("guard_open");
    show(&mut prover, ProofFinding::Healthy, 0, 10_100);
    assert_eq!(failing(&prover), Some(Failing::NotOpened(crate::image::Coil::Fuel)));
}

#[test]
fn an_act_that_nothing_shows_fails_and_one_never_done_ends_by_itself() {
    let mut stuck = prover("stop_button");
    show(&mut stuck, ProofFinding::Healthy, 0, 1000);
    stuck.done(Moment::from_micros(1_000_000));
    show(&mut stuck, ProofFinding::Healthy, 1000, 8000);
    assert_eq!(failing(&stuck), Some(Failing::NotSeen));
    let mut waiting = prover("stop_button");
    show(&mut waiting, ProofFinding::Healthy, 0, 300_000);
    assert_eq!(waiting.stage(), Stage::Acting);
    show(&mut waiting, ProofFinding::Healthy, 300_000, 301_000);
    assert_eq!(failing(&waiting), Some(Failing::NotSeen));
}

#[test]
fn a_proof_is_due_after_its_interval_late_within_its_grace_and_then_overdue() {
    let year = ProofInterval::LONGEST;
    let made = LastProof::Passed(Day(20_000));
    let on = |day| standing(made, Day(day), year);
    assert_eq!(on(20_000), Standing::DueIn(365));
    assert_eq!(on(20_365), Standing::DueIn(0));
    assert_eq!(on(20_366), Standing::Late(1));
    assert_eq!(on(20_395), Standing::Late(30));
    assert_eq!(on(20_396), Standing::Overdue(31));
    assert!(on(20_396).forbids() && !on(20_395).forbids());
    assert_eq!(standing(LastProof::Never, Day(0), year), Standing::Never);
    assert!(standing(LastProof::Failed(Day(20_000)), Day(20_000), year).forbids());
    // A clock that was set back does not lengthen the interval; a time zone is no such thing.
    assert_eq!(standing(made, Day(10_000), year), Standing::Ahead(10_000));
    assert!(on(19_998).forbids());
    assert_eq!(on(19_999), Standing::DueIn(365));
}
