//! An operator stops a job in its second pass, leaves it, and takes it up again on the page that says
//! what lies on the part.

use evenpass::record::Outcome;
use evenpass_core::sequence::Phase;

use crate::operator::answer_until;
use crate::scene::Scene;
use crate::screen::Screen;

/// How many times faster than life the twin goes here.
const PACE: f64 = 4.0;

/// What is typed into the fields before it goes on.
const TYPED: [(&str, &str); 3] =
    [("stood", "unknown"), ("datum", "558.1 mm"), ("surface", "seen, bright")];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn an_operator_takes_a_stopped_job_up_again_and_it_completes() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::before_the_short_job(&scene, PACE).await;
    screen.ask("start").await;
    answer_until(&screen, "spraying", PACE).await;
    scene
        .until("pass 2", 60.0, |now| {
            let pass = now.status.progress.as_ref().and_then(|at| at.pass);
            pass.is_some_and(|(pass, _)| pass == 2)
        })
        .await;
    screen.press("form.stop button").await;
    scene.until("stopped", 300.0, |now| now.status.phase == Phase::Stopped).await;
    screen.ask("reset").await;

    // The page of the job that is still loaded says that a run waits, and leads to it.
    screen.press("[data-live=\"undone\"] a.button").await;
    let told = screen.until(".undone", 15.0, |page| page.contains("Coat so far")).await;
    println!("{told}");
    for words in ["pass 2 of 2 of band", "it stood for", "home the carriage", "datum check: at"] {
        assert!(told.contains(words), "no \"{words}\" in {told}");
    }
    screen.press("button[value=\"go-on\"]").await;
    screen.until(".said", 10.0, |said| said.contains("refused")).await;
    // What was refused lies over the buttons until it is touched.
    screen.press(".said").await;
    for (field, text) in TYPED {
        let field = screen.element(&format!(".undone input[name=\"{field}\"]")).await;
        field.send_keys(text).await.expect("typed");
    }
    screen.press("button[value=\"go-on\"]").await;
    screen.until(".job", 30.0, |job| job.contains("the rest of run")).await;
    assert_eq!(scene.station.snapshot().status.phase, Phase::Idle, "nothing moves by a choice");
    screen.make_ready(240.0 / PACE).await;
    screen.ask("start").await;
    answer_until(&screen, "complete", PACE).await;
    screen.end().await;
    let ended = scene.end().await;
    let runs = ended.store().runs().expect("a list");
    let outcomes: Vec<Outcome> = runs.iter().map(|run| run.outcome).collect();
    assert_eq!(outcomes, [Outcome::Stopped, Outcome::Complete]);
    let second = ended.store().run(&runs[1].id).expect("a run");
    assert_eq!(second.particulars["resumes"], runs[0].id.to_string());
}
