//! A proof test at the panel when its person goes, or somebody stops the machine in the middle.

#![allow(clippy::panic, clippy::expect_used, reason = "a test fails where it cannot go on")]

use std::time::{Duration, Instant};

use evenpass::files;
use evenpass::proving::Said;
use evenpass::record::{ProofOutcome, RunKind, Store};
use evenpass::station::{Commander, Place, ProofEnd, ProofShown, Setup, Sitter, Station};
use evenpass_core::image::Coil;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::{Leaf, Phase};

/// How many times faster than life the twin goes here.
const PACE: f64 = 20.0;
/// Longest that anything here may take.
const PATIENCE: Duration = Duration::from_secs(20);

struct Scene {
    station: Station,
    folder: tempfile::TempDir,
}

impl Scene {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let (rig, rig_source) = files::rig(None).expect("the bench's rig");
        let records = Some(folder.path().join("runs.sqlite"));
        let station = Station::on_twin(Setup { rig, rig_source, records }, 1, PACE);
        let station = station.expect("a station");
        station.at_bench(Box::new(evenpass_hil::Bench::turn_key_on)).expect("a bench");
        Self { station, folder }
    }

    fn sits(&self, name: &str) -> Commander {
        let sitter = Sitter { key: name.into(), name: name.into() };
        let turn = self.station.seat(|seat, now| {
            seat.take(&sitter, now);
            seat.turn()
        });
        Commander { sitter, place: Place::AtMachine, turn }
    }

    fn leaves(&self, who: &Commander) {
        self.station.seat(|seat, _| seat.leave(&who.sitter.key));
    }

    /// Waits until the proof shown is so.
    fn until(&self, what: &str, so: impl Fn(&ProofShown) -> bool) -> ProofShown {
        let give_up = Instant::now() + PATIENCE;
        loop {
            let shown = self.station.proofs().shown().unwrap_or_default();
            if so(&shown) {
                return shown;
            }
            assert!(
                Instant::now() < give_up,
                "{what} never came: {shown:?}, {}",
                self.station.snapshot().status.text
            );
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Waits until the controller is where a proof has been let go of.
    fn until_not_proving(&self) {
        let give_up = Instant::now() + PATIENCE;
        while self.station.snapshot().status.leaf == Leaf::Proving {
            assert!(Instant::now() < give_up, "it goes on proving");
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

#[test]
fn a_proof_ends_and_proving_is_left_when_its_person_loses_the_seat_and_the_next_can_be_made() {
    let scene = Scene::new();
    let ann = scene.sits("Ann");
    scene.station.prove("guard_open", &ann).expect("begun");
    scene.until("the act", |shown| shown.asks);
    assert_eq!(scene.station.snapshot().status.leaf, Leaf::Proving);
    scene.leaves(&ann);
    let ben = scene.sits("Ben");
    let shown = scene.until("its end", |shown| shown.end.is_some());
    assert_eq!(shown.end, Some(ProofEnd::Quit));
    assert!(shown.outcome.is_some_and(|outcome| outcome.contains("seat")));
    scene.until_not_proving();
    // It says nothing of the device.
    let store = Store::open_existing(&scene.folder.path().join("runs.sqlite"));
    let kept = store.ok().map(|store| store.last_proofs("Bench", RunKind::Twin).expect("proofs"));
    assert_eq!(kept.unwrap_or_default().len(), 0);
    scene.station.prove("emergency_stop", &ben).expect("begun");
    scene.until("the next", |shown| shown.key == "emergency_stop" && shown.asks);
    scene.station.proofs().answer(Said::Quit).expect("under way");
    scene.until("its end", |shown| shown.end == Some(ProofEnd::Quit));
    scene.until_not_proving();
    scene.station.quit().expect("a clean end");
}

#[test]
fn after_a_stop_in_a_proof_its_device_can_be_put_back_or_another_proof_ends_it() {
    let scene = Scene::new();
    let ann = scene.sits("Ann");
    scene.station.prove("guard_open", &ann).expect("begun");
    let asked = scene.until("the act", |shown| shown.asks);
    assert!(scene.station.prove("emergency_stop", &ann).is_err(), "one at a time");
    let runtime = tokio::runtime::Builder::new_current_thread().build().expect("a runtime");
    let stopped = runtime.block_on(scene.station.take_away(Request::Stop, None));
    assert_eq!(stopped, Ok(Answer::Accepted));
    scene.until("how it is put back", |shown| shown.asks && shown.instruction != asked.instruction);
    scene.until_not_proving();
    assert!(scene.station.proof_gives_way());
    scene.station.prove("emergency_stop", &ann).expect("the old one gives way");
    scene.until("the next", |shown| shown.key == "emergency_stop" && shown.asks);
    // What the stop left of the first is kept: it has proved nothing.
    let store = Store::open_existing(&scene.folder.path().join("runs.sqlite")).expect("records");
    let kept = store.last_proofs("Bench", RunKind::Twin).expect("proofs");
    let outcomes: Vec<_> =
        kept.iter().map(|proof| (proof.interlock.as_str(), proof.outcome)).collect();
    assert_eq!(outcomes, [("guard_open", ProofOutcome::Failed)]);
    scene.station.quit().expect("a clean end");
}

/// What was opened for a proof is shut when the proof is left out, and not only when its device is
/// put back; then it waits for that, and says how.
#[test]
fn a_proof_left_out_strokes_nothing_more_and_ends_when_its_device_is_put_back() {
    let scene = Scene::new();
    let ann = scene.sits("Ann");
    scene.station.prove("guard_open", &ann).expect("begun");
    let act = scene.until("the act", |shown| shown.asks);
    let open = || {
        let outputs = &scene.station.snapshot().outputs;
        outputs.coil(Coil::Fuel).is_on() || outputs.coil(Coil::Oxygen).is_on()
    };
    assert!(open(), "both valves are stroked for it");
    scene.station.proofs().answer(Said::Skip).expect("under way");
    scene.until_not_proving();
    let give_up = Instant::now() + PATIENCE;
    while open() {
        assert!(Instant::now() < give_up, "the valves stay open");
        std::thread::sleep(Duration::from_millis(10));
    }
    let back = scene
        .until("how it is put back", |shown| shown.asks && shown.instruction != act.instruction);
    assert_eq!((back.instruction.as_str(), back.end), ("Shut the guard.", None));
    scene.station.proofs().answer(Said::Done).expect("under way");
    let ended = scene.until("its end", |shown| shown.end.is_some());
    assert_eq!(ended.end, Some(ProofEnd::LeftOut));
    assert_eq!(ended.outcome.as_deref(), Some("left out; its device is told as put back"));
    assert_eq!(scene.station.snapshot().status.phase, Phase::Idle);
    assert!(!scene.station.snapshot().verdict.tripped());
    scene.station.quit().expect("a clean end");
}

#[test]
fn a_proof_that_is_ended_waits_for_nobody_and_its_end_says_how_the_device_is_put_back() {
    let scene = Scene::new();
    let ann = scene.sits("Ann");
    scene.station.prove("guard_open", &ann).expect("begun");
    scene.until("the act", |shown| shown.asks);
    scene.station.proofs().answer(Said::Quit).expect("under way");
    let ended = scene.until("its end", |shown| shown.end.is_some());
    assert_eq!(ended.end, Some(ProofEnd::Quit));
    let told = "ended before it was answered. Put the device back: Shut the guard.";
    assert_eq!(ended.outcome.as_deref(), Some(told));
    scene.until_not_proving();
    let outputs = scene.station.snapshot().outputs;
    assert!(!outputs.coil(Coil::Fuel).is_on() && !outputs.coil(Coil::Oxygen).is_on());
    scene.station.quit().expect("a clean end");
}
