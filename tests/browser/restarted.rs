//! The program is started anew while a page is open.

use crate::scene::{OPERATOR, Scene};
use crate::screen::Screen;

/// How many times faster than life the twin goes here.
const PACE: f64 = 4.0;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn a_page_of_a_program_that_was_started_anew_leads_to_the_sign_in_and_its_stop() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::of(&scene).await;
    screen.sign_in(OPERATOR).await;
    screen.until("[data-live=\"seat\"]", 10.0, |seat| !seat.is_empty()).await;
    let at = scene.at;
    scene.end().await;
    screen.until_there(".lost:not([hidden])", 10.0).await;
    let scene = Scene::at_address(PACE, at).await;
    screen.until_there("form[action=\"/sign-in\"]", 15.0).await;
    assert!(screen.is_there("form[action=\"/stop\"] button").await, "a stop is there too");
    screen.sign_in(OPERATOR).await;
    screen.take_seat().await;
    screen.until_there(".lost[hidden]", 5.0).await;
    screen.end().await;
    scene.end().await;
}
