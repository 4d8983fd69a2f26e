//! Two interlocks are proved at the panel, by somebody of maintenance who is led step by step.

use std::time::{Duration, Instant};

use evenpass::record::{ProofOutcome, RunKind};

use crate::pages;
use crate::scene::{FITTER, Scene};
use crate::screen::Screen;

/// How many times faster than life the twin goes here.
const PACE: f64 = 4.0;
/// The longest that one proof may take, with everything that a person does.
const LONGEST: Duration = Duration::from_secs(120);

/// Leads one proof to its end, and gives the words it ended with.
async fn prove(scene: &Scene, screen: &Screen, key: &str) -> String {
    screen.press(&format!("button[data-prove=\"{key}\"]")).await;
    let give_up = Instant::now() + LONGEST;
    let mut followed = String::new();
    loop {
        let shown = scene.station.proofs().shown().unwrap_or_default();
        if shown.key == key
            && let Some(outcome) = shown.outcome
        {
            return outcome;
        }
        if Instant::now() >= give_up {
            screen.tell(&format!("the proof of {key} never ended: {shown:?}")).await;
        }
        if shown.key == key && !shown.instruction.is_empty() && shown.instruction != followed {
            if !screen.words("main").await.contains(&shown.instruction) {
                // The page is a moment behind.
                continue;
            }
            // On the twin a simulated technician does what is said.
            if screen.press_if_there("button[data-prove=\"act\"]").await {
                println!("{key}: {}", shown.instruction);
                followed = shown.instruction;
            }
        } else if shown.asks {
            screen.press_if_there("button[data-prove=\"done\"]").await;
        }
        // A trip is acknowledged and reset by the buttons that stand beside it.
        if !screen.press_if_there(".alert button[data-ask=\"acknowledge\"]").await {
            screen.press_if_there(".alert button[data-ask=\"reset\"]").await;
        }
        tokio::time::sleep(Duration::from_millis(300)).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn maintenance_is_led_through_the_proofs_of_two_interlocks_and_their_results_are_kept() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::of(&scene).await;
    screen.sign_in(FITTER).await;
    screen.take_seat().await;
    screen.go("/bench").await;
    screen.bench("key-on").await;
    pages::with(&screen, "button[data-prove=\"guard_open\"]").await;
    for key in ["guard_open", "emergency_stop"] {
        let outcome = prove(&scene, &screen, key).await;
        println!("{key}: {outcome}");
        assert!(outcome.starts_with("passed"), "{key}: {outcome}");
        screen.until("main", 10.0, |main| main.contains(&outcome)).await;
    }
    screen.end().await;
    let store = scene.end().await.store();
    let proofs = store.last_proofs("Bench", RunKind::Twin).expect("proofs");
    println!("{proofs:?}");
    assert_eq!(proofs.len(), 2);
    for proof in &proofs {
        assert_eq!(proof.outcome, ProofOutcome::Passed);
        assert_eq!(proof.person, FITTER.name);
    }
}
