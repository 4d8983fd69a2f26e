//! Somebody who reads inches reads them in the machine's sentences too, not in its figures alone;
//! and a prompt says that the key is off before its answer is denied for it.

use evenpass_core::image::Referenced;
use evenpass_core::scan::Snapshot;

use crate::scene::{FITTER, Scene};
use crate::screen::{Screen, has_figure};

/// Times life: homing is only waited for.
const PACE: f64 = 4.0;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn who_reads_inches_reads_them_in_steps_prompts_and_trips_and_a_prompt_tells_of_the_key() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::of(&scene).await;
    screen.sign_in(FITTER).await;
    screen.take_seat().await;
    screen.go("/maintenance/calibrations/backlash").await;
    screen.until(".steps", 10.0, |steps| steps.contains("Jog below it by 5 mm")).await;
    screen.press(".account summary").await;
    for (name, unit) in [("length", "in"), ("temperature", "degF"), ("pressure", "psi")] {
        let chosen = format!("document.querySelector('[name=\"{name}\"]').value = '{unit}'");
        screen.script(&chosen).await;
    }
    screen.press("form[data-post=\"/units\"] button").await;
    let steps = screen.until(".steps", 15.0, |steps| steps.contains("by 0.20 in")).await;
    assert!(!steps.contains(" mm"), "{steps}");

    screen.go("/maintenance").await;
    screen.ask("home").await;
    screen.until(".prompt", 10.0, |prompt| prompt.contains("key at the machine is off")).await;
    screen.until_there(".prompt button[data-kind=\"off\"]", 1.0).await;
    screen.go("/bench").await;
    screen.bench("key-on").await;
    screen.until("[data-live=\"bench\"]", 10.0, |bench| has_figure(bench, "Key", "on")).await;
    screen.until(".prompt", 10.0, |prompt| !prompt.contains("key at the machine is off")).await;
    screen.ask("start").await;
    // On its way to the park: at rest nothing is left that a trip could take away.
    let sent = |now: &Snapshot| {
        now.inputs.axis.value.referenced == Referenced::Yes && now.status.target.is_some()
    };
    scene.until("sent to the park", 240.0, sent).await;
    screen.bench("emergency-in").await;
    let alert =
        screen.until(".alert[data-mark=\"trip\"]", 10.0, |alert| alert.contains("torch at")).await;
    println!("{alert}");
    assert!(alert.contains(" in") && !alert.contains(" mm"), "{alert}");
    assert!(alert.contains("Before a reset") && !alert.contains("Meanwhile"), "{alert}");
    screen.end().await;
    scene.end().await;
}
