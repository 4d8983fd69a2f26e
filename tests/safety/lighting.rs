//! Scenarios 4 and 5: a flame signal with the gas off, and a torch that does not light.

use evenpass_core::interlock::PermissiveState;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::{Leaf, Phase};
use evenpass_hil::{Button, Coil, Discrete, Fault, Target, Word};

use crate::bed::{SEED, must_be_told, switched};
use crate::support::jobs::Texts;
use crate::support::{Begin, Rehearsal, near};

fn shaft(lit_by: &str) -> Rehearsal {
    let texts = Texts::of("reference-shaft");
    let texts = match lit_by {
        "hand" => texts,
        other => texts.rig("lit_by = \"hand\"", &format!("lit_by = \"{other}\"")),
    };
    Rehearsal::new(texts.job(), SEED, Begin::Attended)
}

fn flame_signal(word: Word) -> Fault {
    Fault::Signal { target: Target::Discrete(Discrete::FlamePresent), word }
}

// Scenario 4.

#[test]
fn a_flame_signal_with_the_gas_off_refuses_the_start_and_never_sparks() {
    for (lit_by, from) in [("hand", 0.0), ("igniter", 0.0), ("hand", 20.0), ("igniter", 20.0)] {
        let mut run = shaft(lit_by);
        run.wait(from);
        run.bench().inject(flame_signal(Word::Wrong(0.0)));
        run.wait(300.0);
        let mask = |coil: Coil| 1_u16 << coil as u16;
        let energised = run.watch.energised;
        for coil in [Coil::Igniter, Coil::FuelValve, Coil::OxygenValve, Coil::PowderFeeder] {
            assert_eq!(energised & mask(coil), 0, "{coil:?} was energised, lit by {lit_by}");
        }
        let denied = run.ask(Request::Start);
        let permissives = run.controller().snapshot().permissives;
        let missing: Vec<String> = permissives
            .iter()
            .filter(|permissive| permissive.state == PermissiveState::Missing)
            .map(|permissive| permissive.found.clone())
            .collect();
        let told: Vec<String> =
            run.entries.iter().map(|e| format!("{} [{}]", e.text, e.cause)).collect();
        let says = format!("{denied:?} {missing:?} {told:?}").to_lowercase();
        assert!(
            says.contains("flame signal not believable"),
            "{denied:?} {missing:?}\n{}",
            run.told()
        );
        assert!(
            matches!(run.phase(), Phase::Idle | Phase::Stopped | Phase::Aborted),
            "{:?} lit by {lit_by}: {}",
            run.phase(),
            run.told()
        );
        // It begins nothing when the signal goes either.
        run.bench().inject(flame_signal(Word::Ok));
        run.leave();
        run.wait(60.0);
        assert_eq!(run.watch.energised & mask(Coil::FuelValve), 0, "lit by {lit_by}");
    }
}

// Scenario 5.

/// How long fuel was open in each try, and the pauses between them, s.
fn tries(run: &Rehearsal) -> (Vec<f64>, Vec<f64>) {
    let (mut open, mut pauses) = (Vec::new(), Vec::new());
    let mut from = 0.0;
    let mut shut_at: Option<f64> = None;
    while let Some(opened) = switched(run, Coil::FuelValve, true, from) {
        pauses.extend(shut_at.map(|shut| opened - shut));
        let shut = switched(run, Coil::FuelValve, false, opened).expect("shut again");
        open.push(shut - opened);
        shut_at = Some(shut);
        from = shut;
    }
    (open, pauses)
}

#[track_caller]
fn three_tries_then_locked_out(run: &mut Rehearsal, how: &str) {
    run.expect("it is locked out", 900.0, |this| this.phase() == Phase::Aborted);
    let (open, pauses) = tries(run);
    println!("scenario 5, {how}: open for {open:.3?} s, pauses of {pauses:.2?} s");
    assert_eq!(open.len(), 3, "{how}: three tries, {}", run.told());
    for open in &open {
        near("gas unlit, s", *open, 5.0, 0.1);
    }
    for pause in &pauses {
        assert!(*pause >= 20.0 - 1e-6, "{how}: tried again after {pause} s");
    }
    must_be_told(run, "Torch does not light");
    // Without a reset nobody gets a fourth try, however long one waits and whatever one presses.
    run.leave();
    run.press(Button::Start);
    run.wait(5.0);
    run.press(Button::Accept);
    run.wait(300.0);
    assert!(matches!(run.ask(Request::Restart), Answer::Denied(_)));
    assert_eq!(tries(run).0.len(), 3, "{how}: no fourth try");
    assert!(run.watch.energised & 1 == 0, "{how}: no powder");
    assert!(!run.watch.flame, "{how}: no flame");
    let locked = run.controller().snapshot().verdict.first.map(|first| first.key);
    assert_eq!(locked, Some("ignition_lockout"), "{how}");
}

#[test]
fn an_igniter_that_lights_nothing_shuts_after_five_seconds_waits_twenty_and_locks_out_after_three()
{
    // The bench has no igniter fitted: its output sparks nothing.
    let mut run = shaft("igniter");
    run.expect("it is being lit", 300.0, |this| this.phase() == Phase::Lighting);
    run.leave();
    three_tries_then_locked_out(&mut run, "by igniter");
    let (begun, ended) = (
        switched(&run, Coil::Igniter, true, 0.0).expect("it sparked"),
        switched(&run, Coil::Igniter, false, 0.0).expect("and ceased"),
    );
    assert!(ended - begun <= 5.1, "the igniter sparked for {} s", ended - begun);
}

#[test]
fn a_lighter_that_does_not_spark_shuts_after_five_seconds_waits_twenty_and_locks_out_after_three() {
    let mut run = shaft("hand");
    run.expect("the lighter is asked for", 300.0, |this| {
        this.controller().status().leaf == Leaf::Opening
    });
    // Somebody opens the guard and accepts each time they are asked, and has no flint.
    run.leave();
    run.bench().open_guard();
    for attempt in 1..=3 {
        run.expect(&format!("try {attempt}"), 120.0, |this| {
            matches!(
                this.controller().status().prompt.map(|p| p.ask),
                Some(evenpass_core::sequence::Ask::OpenGuard)
            )
        });
        run.wait(1.0);
        run.press(Button::Accept);
        run.expect("gas flows", 5.0, |this| this.truth().fuel_open);
        run.expect("gas is shut", 6.0, |this| !this.truth().fuel_open);
        assert_eq!(run.controller().status().tries, attempt);
        // The air between two tries is extracted.
        assert!(run.watch.energised & 1 << (Coil::Extraction as u16) != 0);
    }
    three_tries_then_locked_out(&mut run, "by hand");
}
