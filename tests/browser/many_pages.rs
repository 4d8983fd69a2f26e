//! One page never blocks another: a browser has six connections to one place, and every page of
//! the panel has one open for its live values.

use std::time::{Duration, Instant};

use evenpass_core::sequence::Phase;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

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

/// As many live pages as one session may have.
const LIVE: usize = 3;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn a_page_more_than_may_be_live_says_so_asks_no_more_and_still_stops_the_machine() {
    let scene = Scene::new(1.0).await;
    let screen = Screen::of(&scene).await;
    screen.sign_in(OPERATOR).await;
    let cookie = screen.client.get_named_cookie("evenpass").await.expect("a cookie");
    // What is no page has no stream: the page before gives its own back.
    screen.go("/assets/panel.css").await;
    tokio::time::sleep(Duration::from_secs(1)).await;
    let mut others = Vec::new();
    for _ in 0..LIVE {
        let mut stream = TcpStream::connect(scene.at).await.expect("the panel");
        let asked = format!(
            "GET /live?page=run HTTP/1.1\r\nHost: {}\r\nCookie: evenpass={}\r\n\r\n",
            scene.at,
            cookie.value()
        );
        stream.write_all(asked.as_bytes()).await.expect("asked");
        let mut begun = [0; 12];
        stream.read_exact(&mut begun).await.expect("an answer");
        assert_eq!(&begun, b"HTTP/1.1 200");
        // Somebody looks at them.
        others.push(tokio::spawn(async move {
            let mut some = [0; 4096];
            while stream.read(&mut some).await.is_ok_and(|count| count > 0) {}
        }));
    }
    screen.go("/").await;
    let told = screen.until(".lost", 10.0, |words| words.contains("three pages are open")).await;
    println!("the fourth page says: {told}");
    assert!(!told.contains("connection is lost"), "{told}");
    screen.press("form.stop button").await;
    let said = screen.until(".said", 10.0, |words| !words.is_empty()).await;
    println!("its stop is answered: {said}");
    assert!(!said.contains("NOT ANSWERED"), "{said}");
    // Cut off twice, it is asked for a third time by itself.
    screen
        .script(
            "const real = window.fetch; window.tried = 0;
             window.fetch = (to, how) => to !== '/stop' || ++window.tried > 2 ? real(to, how)
                 : Promise.reject(new TypeError('cut off'));",
        )
        .await;
    screen.press("form.stop button").await;
    let answered = |said: &str| !said.contains("NOT ANSWERED") && !said.contains("asked");
    let said = screen.until(".said", 5.0, answered).await;
    let tried = screen.script("return window.tried").await;
    println!("cut off twice its stop is answered: {said}");
    assert_eq!(tried, 3);
    for other in others {
        other.abort();
    }
    // There is room again, but it does not ask by itself.
    tokio::time::sleep(Duration::from_secs(8)).await;
    let told = screen.until(".lost", 1.0, |words| words.contains("three pages are open")).await;
    println!("with room again it still says: {told}");
    screen.go("/").await;
    screen.until_there("[data-live=\"seat\"] span", 100.0).await;
    assert!(!screen.is_there(".lost:not([hidden])").await, "it is live");
    screen.end().await;
    scene.end().await;
}
