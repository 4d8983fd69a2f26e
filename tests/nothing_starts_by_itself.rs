//! Nothing moves, flows or burns without an act at the machine since the last stop: not at power-up,
//! not when a line or the mains comes back, not after a reset, not by a key or a stuck button.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::string_slice,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

mod support;

use evenpass_core::request::{Answer, Origin, Request};
use evenpass_core::sequence::{Ask, Leaf, Phase};
use evenpass_hil::{Button, Coil, Discrete, Fault, LineFault, LineIndex, Target, Word};
use support::jobs::{RECIPES, Texts};
use support::{Begin, Rehearsal};

const SEED: u64 = 2;
const LONG: f64 = 60.0;

/// Coils that may be energised at rest: lamps, horn, extraction, and the beat that says that the
/// controller is alive.
fn at_rest() -> u16 {
    [
        Coil::LampRed,
        Coil::LampYellow,
        Coil::LampGreen,
        Coil::LampBlue,
        Coil::LampWhite,
        Coil::Horn,
        Coil::Extraction,
        Coil::WatchdogBeat,
    ]
    .iter()
    .fold(0, |bits, coil| bits | 1 << *coil as u16)
}

/// Waits a minute, in which nothing may happen.
#[track_caller]
fn rests(run: &mut Rehearsal, when: &str) {
    let truth = run.truth();
    run.watch.begin_anew(&truth);
    run.wait(LONG);
    run.watch.nothing_happened(when);
    let more = run.watch.energised & !at_rest();
    assert_eq!(more, 0, "energised {when}: {more:016b}\n{}", run.told());
}

/// A drive that was away has no datum any more: the seat has asked for it, and homing waits for a
/// person to press start.
#[track_caller]
fn waits_for_the_datum(run: &mut Rehearsal) {
    let status = run.controller().status();
    assert_eq!(status.leaf, Leaf::Homing, "{}", run.told());
    assert_eq!(status.prompt.map(|prompt| prompt.ask), Some(Ask::BeginHoming), "{}", run.told());
}

fn short_job(begin: Begin) -> Rehearsal {
    Rehearsal::new(Texts::of("short-job").job(), SEED, begin)
}

/// Homed and ready, with nobody there.
fn ready() -> Rehearsal {
    let mut run = short_job(Begin::Attended);
    run.expect("the datum is found", 300.0, |this| {
        this.phase() == Phase::Idle && this.truth().drive_homed
    });
    run.leave();
    // The torque of the homing is taken away in the scans that follow.
    run.wait(1.0);
    run
}

#[test]
fn power_up_starts_nothing_whatever_the_job() {
    for recipe in RECIPES {
        let mut run = Rehearsal::new(Texts::of(recipe).job(), SEED, Begin::Alone);
        rests(&mut run, &format!("after power-up, {recipe}"));
        assert_eq!(run.phase(), Phase::Idle);
    }
}

#[test]
fn a_key_that_is_on_starts_nothing() {
    let mut run = short_job(Begin::Alone);
    run.bench().turn_key_on();
    rests(&mut run, "with the key on");
    let mut run = ready();
    run.bench().turn_key_off();
    run.wait(1.0);
    run.bench().turn_key_on();
    rests(&mut run, "ready, the key turned on");
    assert_eq!(run.phase(), Phase::Idle);
}

#[test]
fn a_start_button_stuck_from_power_up_starts_nothing_and_works_once_it_was_let_go() {
    let mut run = short_job(Begin::Alone);
    run.bench().turn_key_on();
    run.bench().press(Button::Start);
    rests(&mut run, "with the start button stuck");
    assert_eq!(run.ask(Request::Home), Answer::Accepted);
    rests(&mut run, "homing asked for, the start button stuck");
    run.bench().release(Button::Start);
    run.wait(1.0);
    assert_eq!(run.ask(Request::Home), Answer::Accepted);
    run.wait(1.0);
    run.press(Button::Start);
    run.expect("it homes", 120.0, |this| this.truth().drive_homed);
}

#[test]
fn a_start_button_pressed_while_the_field_line_was_away_starts_nothing_when_it_comes_back() {
    let mut run = ready();
    run.wait(5.0);
    assert!(run.truth().key_on, "the key is on, the job ready: only a press is wanted");
    let line = LineIndex::Field;
    run.bench().inject(Fault::Line { line, fault: LineFault::Cut, chance: 1.0 });
    run.wait(1.0);
    run.bench().press(Button::Start);
    run.wait(1.0);
    run.bench().clear_faults();
    rests(&mut run, "the line back, the start button held since");
    assert_eq!(run.phase(), Phase::Idle, "{}", run.told());
    run.bench().release(Button::Start);
    run.wait(1.0);
    run.press(Button::Start);
    run.expect("a new press starts it", 10.0, |this| this.phase() == Phase::Starting);
}

#[test]
fn a_start_button_that_sticks_after_its_use_starts_the_job_no_second_time() {
    let mut run = ready();
    run.press(Button::Start);
    run.wait(2.0);
    run.bench().press(Button::Start);
    run.wait(0.5);
    run.press(Button::Stop);
    run.expect("it is stopped", 600.0, |this| this.phase() == Phase::Stopped);
    run.wait(5.0);
    rests(&mut run, "stopped, the start button stuck");
    run.press(Button::Reset);
    run.expect("it is idle", 10.0, |this| this.phase() == Phase::Idle);
    rests(&mut run, "reset, the start button stuck");
}

#[test]
fn asking_for_the_datum_moves_nothing_until_start_is_pressed_and_a_watcher_may_not_ask() {
    let mut run = short_job(Begin::Alone);
    run.bench().turn_key_on();
    run.wait(1.0);
    assert!(matches!(run.ask_from(Request::Home, Origin::Watcher), Answer::Denied(_)));
    assert_eq!(run.ask(Request::Home), Answer::Accepted);
    rests(&mut run, "homing asked for");
    assert_eq!(run.phase(), Phase::Idle, "nobody pressed start: it is given up");
}

#[test]
fn a_start_from_elsewhere_or_with_the_key_off_starts_nothing() {
    let mut run = ready();
    run.bench().turn_key_off();
    run.wait(1.0);
    assert!(matches!(run.ask(Request::Start), Answer::Denied(_)), "no key, no start");
    assert!(matches!(run.ask_from(Request::Start, Origin::Watcher), Answer::Denied(_)));
    rests(&mut run, "after two starts that were denied");
}

#[test]
fn a_line_that_was_lost_at_rest_and_comes_back_starts_nothing() {
    for line in [LineIndex::Field, LineIndex::Motion] {
        let mut run = ready();
        run.bench().inject(Fault::Line { line, fault: LineFault::Cut, chance: 1.0 });
        rests(&mut run, &format!("{line:?} cut"));
        run.bench().clear_faults();
        rests(&mut run, &format!("{line:?} back"));
        assert!(matches!(run.phase(), Phase::Idle | Phase::Aborted), "{line:?}: {:?}", run.phase());
    }
}

#[test]
fn a_line_that_was_lost_in_mid_pass_and_comes_back_starts_nothing() {
    for line in [LineIndex::Field, LineIndex::Motion] {
        let mut run = Rehearsal::new(Texts::of("reference-shaft").job(), SEED, Begin::Attended);
        run.until_pass_is_at(2, 150.0);
        run.leave();
        run.bench().inject(Fault::Line { line, fault: LineFault::Cut, chance: 1.0 });
        run.expect("gas and powder are off", 1.0, |this| {
            let truth = this.truth();
            !truth.fuel_open && !truth.oxygen_open && !truth.feeder_on
        });
        run.expect("the carriage stands", 2.0, |this| this.truth().torch_mm_s == 0.0);
        run.wait(10.0);
        let truth = run.truth();
        run.watch.begin_anew(&truth);
        run.bench().clear_faults();
        run.wait(LONG);
        run.watch.no_gas(&format!("{line:?} back"));
        assert_eq!(run.phase(), Phase::Aborted, "{line:?}\n{}", run.told());
        println!(
            "{line:?} cut in mid-pass: {:?}; moved {:.3} mm after it was back",
            run.controller().status().first_cause,
            run.watch.moved_mm
        );
        assert!(run.watch.moved_mm < 0.01, "{line:?}: no late retreat: {}", run.told());
    }
}

#[test]
fn mains_that_come_back_start_nothing() {
    let mut run = Rehearsal::new(Texts::of("reference-shaft").job(), SEED, Begin::Attended);
    run.until_pass_is_at(2, 150.0);
    run.leave();
    run.bench().cut_power();
    run.wait(30.0);
    let truth = run.truth();
    assert!(!truth.fuel_open && !truth.oxygen_open && !truth.feeder_on && !truth.flame_lit);
    run.bench().restore_power();
    rests(&mut run, "mains back after a trip in mid-pass");
    assert_eq!(run.phase(), Phase::Aborted);
}

#[test]
fn a_reset_and_a_drive_that_is_well_again_start_nothing() {
    let mut run = ready();
    run.bench().inject(Fault::Signal { target: Target::Drive, word: Word::Off });
    run.wait(5.0);
    run.bench().clear_faults();
    rests(&mut run, "the drive answers again");
    run.press(Button::Reset);
    run.wait(1.0);
    run.press(Button::Reset);
    rests(&mut run, "after the reset");
    waits_for_the_datum(&mut run);
}

#[test]
fn an_emergency_stop_that_is_pulled_out_starts_nothing() {
    let mut run = Rehearsal::new(Texts::of("reference-shaft").job(), SEED, Begin::Attended);
    run.until_pass_is_at(2, 150.0);
    run.leave();
    run.bench().press(Button::EmergencyStop);
    run.expect("gas and powder are off", 0.1, |this| {
        let truth = this.truth();
        !truth.fuel_open && !truth.oxygen_open && !truth.feeder_on && !truth.supply_open
    });
    run.wait(30.0);
    run.bench().release(Button::EmergencyStop);
    rests(&mut run, "the emergency stop pulled out");
    run.press(Button::Reset);
    run.wait(1.0);
    run.press(Button::Reset);
    rests(&mut run, "after its reset");
}

#[test]
fn a_flame_sensor_that_is_on_with_the_gas_off_refuses_the_start() {
    let mut run = ready();
    run.bench().inject(Fault::Signal {
        target: Target::Discrete(Discrete::FlamePresent),
        word: Word::Wrong(1.0),
    });
    run.wait(1.0);
    run.press(Button::Start);
    rests(&mut run, "a flame is seen with the gas off");
    assert_eq!(run.phase(), Phase::Idle, "{}", run.told());
}

#[test]
fn a_finished_job_starts_no_second_time() {
    let mut run = short_job(Begin::Attended);
    run.complete();
    run.leave();
    run.wait(10.0);
    rests(&mut run, "after the job is done");
    run.press(Button::Reset);
    rests(&mut run, "after the reset of a finished job");
    assert_eq!(run.phase(), Phase::Idle);
}

/// A controller that was restarted finds the drive in the fault of a silent controller. Nothing is
/// tripped, and the reset that the missing permissive asks for is taken all the same.
#[test]
fn a_drive_found_in_fault_is_cleared_by_a_reset_in_idle_and_nothing_moves() {
    let mut run = ready();
    run.bench().inject(Fault::Line {
        line: LineIndex::Motion,
        fault: LineFault::LostRequest,
        chance: 1.0,
    });
    run.wait(0.5);
    run.bench().clear_faults();
    run.wait(5.0);
    let missing = run.controller().status().missing;
    assert!(
        missing.iter().any(|words| words.contains("the reset clears the fault")),
        "{missing:?}"
    );
    let truth = run.truth();
    run.watch.begin_anew(&truth);
    run.press(Button::Reset);
    run.wait(2.0);
    let missing = run.controller().status().missing;
    assert!(!missing.iter().any(|words| words.contains("the reset clears")), "{missing:?}");
    run.watch.nothing_happened("after the drive's fault was cleared");
    waits_for_the_datum(&mut run);
}
