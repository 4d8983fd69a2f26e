//! Whoever holds a jog key moves the carriage, and however the holding ends, the stop frame is on
//! the wire in time.

use std::sync::{Arc, Mutex};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use evenpass_core::interlock::durations::JOG_AFTER_RELEASE;
use fantoccini::wd::WindowHandle;
use serde_json::json;
use tokio::task::JoinHandle;

use crate::cut::Cable;
use crate::scene::{FITTER, Scene};
use crate::screen::Screen;

/// Life's own pace: what is measured is time.
const PACE: f64 = 1.0;
/// Speed of jogging in the bench's rig file, mm/s.
const JOG: f64 = 20.0;
/// How long the key is held, and how long is looked on after the end of the holding.
const HELD: Duration = Duration::from_millis(1200);
const LOOKED_ON: Duration = Duration::from_millis(2500);
/// How long a page is kept busy, or a connection cut: long after the stop.
const AWAY: Duration = Duration::from_millis(1500);
/// The key.
const KEY: &str = "[data-jog=\"tail\"]";
/// A page writes down when its holding ended, where the next page can read it. The browser tells
/// milliseconds, so that the true time is up to one later.
const NOTE_END: &str = "
    localStorage.removeItem('ended');
    for (const name of ['pointerup', 'pagehide'])
        addEventListener(name, () => { localStorage.ended = localStorage.ended || Date.now(); }, true);
";

/// The same for a finger that slides: its first motion.
const NOTE_SLIDE: &str = "
    localStorage.removeItem('ended');
    addEventListener('touchmove',
        () => { localStorage.ended = localStorage.ended || Date.now(); }, true);
";

/// Where the carriage was, and when: looked at every few milliseconds.
struct Track {
    places: Arc<Mutex<Vec<(SystemTime, f64)>>>,
    looking: JoinHandle<()>,
}

impl Track {
    fn of(scene: &Scene) -> Self {
        let places = Arc::new(Mutex::new(Vec::new()));
        let (station, to) = (scene.station.clone(), places.clone());
        let looking = tokio::spawn(async move {
            loop {
                let to = to.clone();
                let look = Box::new(move |bench: &mut evenpass_hil::Bench| {
                    let place = bench.truth().torch_z_mm;
                    to.lock().expect("a whole list").push((SystemTime::now(), place));
                });
                if station.at_bench(look).is_err() {
                    return;
                }
                tokio::time::sleep(Duration::from_millis(4)).await;
            }
        });
        Self { places, looking }
    }

    /// Where it was at a time.
    fn at(&self, when: SystemTime) -> f64 {
        let places = self.places.lock().expect("a whole list");
        let before = places.iter().rev().find(|(at, _)| *at <= when).or(places.first());
        before.expect("it was looked at").1
    }

    fn end(&self) {
        self.looking.abort();
    }
}

/// Somebody of maintenance in manual work, the datum found, at the page Maintenance.
async fn in_manual(scene: &Scene, screen: &Screen) {
    screen.sign_in(FITTER).await;
    screen.take_seat().await;
    screen.load("short-job.toml", "Short job: test ring").await;
    screen.make_ready(240.0).await;
    screen.go("/maintenance").await;
    screen.ask("manual").await;
    screen.until(".state", 10.0, |state| state.starts_with("Manual")).await;
    // The key needs its line to the panel, and the page the turn in the seat.
    screen.until("header", 5.0, |header| header.contains("You command")).await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    let truth = scene.truth().await;
    assert!(truth.drive_homed);
}

/// Holds the key until the carriage moves at its speed.
async fn hold(scene: &Scene, screen: &Screen) {
    screen.script(NOTE_END).await;
    screen.hold(KEY).await;
    tokio::time::sleep(HELD).await;
    let truth = scene.truth().await;
    if (truth.torch_mm_s - JOG).abs() > 0.5 {
        screen.tell(&format!("held, and it moves with {} mm/s", truth.torch_mm_s)).await;
    }
}

/// When the page says that its holding ended.
async fn ended(screen: &Screen) -> SystemTime {
    let noted = screen.script("return Number(localStorage.ended || 0)").await;
    let millis = noted.as_u64().expect("a number");
    assert!(millis > 0, "the page has not noted the end");
    UNIX_EPOCH + Duration::from_millis(millis)
}

/// Looks on, and says how it ended.
async fn judge(scene: &Scene, track: &Track, how: &str, ended: SystemTime) {
    tokio::time::sleep(LOOKED_ON).await;
    let stop = scene.wire.stop_sent_from(ended).expect("a stop frame");
    let sent = stop.duration_since(ended).expect("afterwards");
    let ran = track.at(SystemTime::now()) - track.at(ended);
    println!("{how}: stop frame after {} ms, ran on {ran:.2} mm", sent.as_millis());
    assert!(sent <= JOG_AFTER_RELEASE, "{how}: stop frame after {sent:?}");
    let later = track.at(stop + Duration::from_secs(1));
    let rests = (track.at(SystemTime::now()) - later).abs() < 1e-6;
    assert!(rests, "{how}: it moves again, from {later} mm");
    assert!(scene.truth().await.torch_mm_s == 0.0, "{how}: it rests");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn a_jog_key_that_is_let_go_or_loses_its_page_stops_the_carriage_in_time() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::of(&scene).await;
    in_manual(&scene, &screen).await;
    let track = Track::of(&scene);

    hold(&scene, &screen).await;
    screen.let_go().await;
    judge(&scene, &track, "key let go", ended(&screen).await).await;

    hold(&scene, &screen).await;
    screen.go("/records").await;
    judge(&scene, &track, "page left", ended(&screen).await).await;

    let records = screen.client.window().await.expect("a window");
    let other = screen.client.new_window(true).await.expect("a window");
    let jogs: WindowHandle = other.handle;
    screen.client.switch_to_window(jogs).await.expect("switched");
    screen.size(1280, 800).await;
    screen.go("/maintenance").await;
    screen.until("header", 5.0, |header| header.contains("You command")).await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    hold(&scene, &screen).await;
    screen.client.close_window().await.expect("closed");
    screen.client.switch_to_window(records).await.expect("switched");
    judge(&scene, &track, "page closed", ended(&screen).await).await;

    track.end();
    println!("{} bursts seen", scene.wire.count());
    screen.end().await;
    scene.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn a_finger_that_slides_off_a_jog_key_stops_the_carriage_in_time() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::of(&scene).await;
    in_manual(&scene, &screen).await;
    let track = Track::of(&scene);
    let middle = format!(
        "const key = document.querySelector('{KEY}');
         key.scrollIntoView({{ block: 'center' }});
         const on = key.getBoundingClientRect();
         return [on.left + on.width / 2, on.top + on.height / 2, on.bottom + 40]"
    );
    let found = screen.script(&middle).await;
    let [x, on, off] = [0, 1, 2].map(|at| found[at].as_f64().expect("a place"));
    let touch = async |kind: &str, points: &[(f64, f64)]| {
        let points: Vec<_> = points.iter().map(|(x, y)| json!({ "x": x, "y": y })).collect();
        let event = json!({ "type": kind, "touchPoints": points });
        screen.browser("Input.dispatchTouchEvent", event).await;
    };
    screen.script(NOTE_SLIDE).await;
    touch("touchStart", &[(x, on)]).await;
    tokio::time::sleep(HELD).await;
    let truth = scene.truth().await;
    if (truth.torch_mm_s - JOG).abs() > 0.5 {
        screen.tell(&format!("touched, and it moves with {} mm/s", truth.torch_mm_s)).await;
    }
    touch("touchMove", &[(x, off)]).await;
    judge(&scene, &track, "finger slid off", ended(&screen).await).await;
    // Where it was, without having been lifted: no press.
    touch("touchMove", &[(x, on)]).await;
    tokio::time::sleep(HELD).await;
    assert!(scene.truth().await.torch_mm_s == 0.0, "it rests until it is pressed again");
    touch("touchEnd", &[]).await;

    track.end();
    screen.end().await;
    scene.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn a_frozen_page_stops_the_carriage_in_time_and_does_not_move_it_when_it_thaws() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::of(&scene).await;
    in_manual(&scene, &screen).await;
    let track = Track::of(&scene);

    // A script that does not come to an end: nothing else of the page runs meanwhile, and its key
    // stays pressed.
    hold(&scene, &screen).await;
    let busy = format!(
        "setTimeout(() => {{ localStorage.ended = Date.now(); const until = performance.now() + {};
         while (performance.now() < until); }}, 20);",
        AWAY.as_millis()
    );
    screen.script(&busy).await;
    tokio::time::sleep(AWAY).await;
    judge(&scene, &track, "page busy", ended(&screen).await).await;
    screen.let_go().await;

    hold(&scene, &screen).await;
    let frozen = SystemTime::now();
    screen.browser("Page.setWebLifecycleState", json!({ "state": "frozen" })).await;
    tokio::time::sleep(AWAY).await;
    screen.browser("Page.setWebLifecycleState", json!({ "state": "active" })).await;
    judge(&scene, &track, "page frozen by the browser", frozen).await;
    screen.let_go().await;

    track.end();
    screen.end().await;
    scene.end().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn a_cut_connection_stops_the_carriage_in_time_and_what_it_kept_back_moves_nothing() {
    let scene = Scene::new(PACE).await;
    let cable = Cable::to(scene.at).await;
    let screen = Screen::at(&format!("http://{}", cable.at)).await;
    in_manual(&scene, &screen).await;
    let track = Track::of(&scene);

    hold(&scene, &screen).await;
    let cut = SystemTime::now();
    cable.cut();
    tokio::time::sleep(AWAY).await;
    cable.mend();
    judge(&scene, &track, "connection cut", cut).await;
    screen.let_go().await;

    track.end();
    screen.end().await;
    scene.end().await;
}
