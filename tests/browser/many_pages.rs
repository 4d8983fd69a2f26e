//! One page never blocks another: a browser has six connections to one place, and every page of
//! the panel has one open for its live values.

use std::time::{Duration, Instant};

use evenpass_core::sequence::Phase;

use crate::scene::{OPERATOR, Scene};
use crate::screen::Screen;

/// More pages than a browser has connections.
const PAGES: usize = 9;
/// How soon a page has to be there, by far.
const SOON: Duration = Duration::from_secs(10);

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn pages_opened_one_after_another_and_side_by_side_never_block_each_other_or_a_stop() {
    let scene = Scene::new(1.0).await;
    let screen = Screen::of(&scene).await;
    screen.sign_in(OPERATOR).await;
    screen.take_seat().await;
    let mut slowest = Duration::ZERO;
    for path in ["/", "/recipes", "/records"].into_iter().cycle().take(PAGES) {
        slowest = slowest.max(opened(&screen, path).await);
    }
    println!("{PAGES} pages one after another: the slowest was there after {slowest:?}");
    assert!(slowest < SOON, "{slowest:?}");
    let mut slowest = Duration::ZERO;
    for _ in 0..PAGES {
        let window = screen.client.new_window(true).await.expect("a window");
        screen.client.switch_to_window(window.handle).await.expect("switched");
        slowest = slowest.max(opened(&screen, "/").await);
    }
    println!("{PAGES} pages side by side: the slowest was there after {slowest:?}");
    assert!(slowest < SOON, "{slowest:?}");
    // The last page, in the browser with all the others, loads a job and homes; the stop gets through.
    screen.load("short-job.toml", "Short job: test ring").await;
    screen.make_ready(240.0).await;
    screen.ask("start").await;
    scene.until("running", 30.0, |now| now.status.phase.is_running()).await;
    let pressed = Instant::now();
    screen.press("form.stop button").await;
    scene
        .until("stopping", 10.0, |now| matches!(now.status.phase, Phase::Stopping | Phase::Stopped))
        .await;
    println!("stop taken after {:?}", pressed.elapsed());
    // Somebody who is not signed in stops as well, and sees the state afterwards.
    screen.client.delete_all_cookies().await.expect("no cookies");
    screen.go("/sign-in").await;
    screen.press("form[action=\"/stop\"] button").await;
    screen.until("main.sign-in .state", 10.0, |state| state.contains("Stop")).await;
    screen.end().await;
    scene.end().await;
}

/// Opens a page, and says how long that took with its live values.
async fn opened(screen: &Screen, path: &str) -> Duration {
    let began = Instant::now();
    screen.go(path).await;
    screen.until_there("[data-live=\"seat\"] span", 100.0).await;
    began.elapsed()
}
