//! Scenario 19: the drive's cable is pulled at 50 mm/s.

use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::Phase;
use evenpass_hil::{Coil, Fault, LineFault, LineIndex};

use crate::bed::{SEED, off_at, reset, until_it_stands};
use crate::support::jobs::Texts;
use crate::support::{Begin, Rehearsal};

/// Three misses of 25 ms with a quarantine of 30 ms each are known by then, s.
const KNOWN_WITHIN: f64 = 0.3;
/// 50 mm/s for the drive's 0.2 s, and 50 mm/s braked at 250 mm/s2.
const STOPS_WITHIN_MM: f64 = 50.0 * 0.2 + 50.0 * 50.0 / (2.0 * 250.0);

fn at_rapid() -> Rehearsal {
    let texts =
        Texts::of("reference-shaft").rig("positioning = \"60 mm/s\"", "positioning = \"50 mm/s\"");
    let mut run = Rehearsal::new(texts.job(), SEED, Begin::Attended);
    run.expect("it moves at 50 mm/s with the flame lit", 900.0, |this| {
        let truth = this.truth();
        truth.flame_lit && (truth.torch_mm_s.abs() - 50.0).abs() < 0.01
    });
    run
}

fn pull(run: &mut Rehearsal) -> (f64, f64) {
    run.bench().inject(Fault::Line { line: LineIndex::Motion, fault: LineFault::Cut, chance: 1.0 });
    (run.now().as_seconds(), run.truth().torch_z_mm)
}

#[test]
fn a_pulled_cable_trips_after_three_misses_and_the_drive_stops_itself_within_fifteen_millimetres() {
    let mut run = at_rapid();
    let (pulled, at) = pull(&mut run);
    let (rest, place) = until_it_stands(&mut run);
    let (stood, ran) = (rest - pulled, (place - at).abs());
    run.expect("gas is shut", 2.0, |this| !this.truth().fuel_open && !this.truth().oxygen_open);
    let first = run.controller().snapshot().verdict.first.expect("a trip");
    let known = first.confirmed.as_seconds() - pulled;
    let gas = off_at(&run, Coil::FuelValve, pulled) - pulled;
    println!(
        "scenario 19: known after {known:.3} s, gas off after {gas:.3} s, stood after {stood:.2} s \
         and {ran:.2} mm; \"{}\"",
        first.message
    );
    assert_eq!(first.key, "drive_silent");
    assert!(known <= KNOWN_WITHIN + 0.02, "known after {known} s, one scan allowed");
    assert!(gas <= KNOWN_WITHIN + 0.1, "gas off after {gas} s");
    // A request that was under way when the cable went still reaches the drive: at most a frame of 25 bytes and the silence behind it, 4.2 ms.
    assert!(ran <= STOPS_WITHIN_MM + 50.0 * 0.004_2, "it ran {ran} mm");
    run.watch.always("scenario 19");
}

#[test]
fn after_a_pulled_cable_the_position_is_unknown_until_the_carriage_was_homed() {
    let mut run = at_rapid();
    pull(&mut run);
    run.expect("the trip is carried out", 60.0, |this| this.phase() == Phase::Aborted);
    run.leave();
    let truth = run.truth();
    run.watch.begin_anew(&truth);
    // The cable is put back: nothing moves, and nothing goes on without a datum.
    run.bench().clear_faults();
    run.wait(30.0);
    assert!(run.watch.moved_mm < 0.01, "it moved when the cable came back");
    reset(&mut run);
    run.wait(2.0);
    let Answer::Denied(denial) = run.ask(Request::Restart) else {
        panic!("a restart without a datum: {}", run.told())
    };
    println!("scenario 19: \"{}; {}\"", denial.why, denial.help);
    assert!(format!("{denial:?}").contains("home"), "{denial:?}");
    run.wait(10.0);
    assert!(run.watch.moved_mm < 0.01, "it moved");
    run.watch.no_gas("without a datum");
}
