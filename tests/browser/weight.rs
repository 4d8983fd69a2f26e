//! What a page weighs, and how soon it is seen.

use serde_json::json;

use crate::pages;
use crate::scene::{ENGINEER, Scene};
use crate::screen::Screen;

/// What a page may weigh with all that belongs to it, bytes over the line: the aim of this panel.
const HEAVIEST: u64 = 200_000;

/// The page and its assets as they came over the line, and when it was first seen.
const WEIGHT: &str = "
    const all = performance.getEntriesByType('navigation')
        .concat(performance.getEntriesByType('resource'));
    const paint = performance.getEntriesByName('first-contentful-paint')[0];
    return {
        bytes: all.reduce((sum, one) => sum + one.transferSize, 0),
        parts: all.length,
        painted: paint ? paint.startTime : null,
    };
";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn no_page_weighs_more_than_the_aim_and_each_tells_how_soon_it_is_seen() {
    let scene = Scene::new(1.0).await;
    let screen = Screen::of(&scene).await;
    screen.browser("Network.setCacheDisabled", json!({ "cacheDisabled": true })).await;
    screen.go("/sign-in").await;
    let mut weighed = vec![weigh(&screen, "/sign-in").await];
    screen.sign_in(ENGINEER).await;
    screen.take_seat().await;
    screen.load("reference-shaft.toml", "shaft").await;
    for path in pages::all(&screen).await {
        screen.go(&path).await;
        weighed.push(weigh(&screen, &path).await);
    }
    screen.end().await;
    scene.end().await;
    for (path, bytes) in weighed {
        assert!(bytes < HEAVIEST, "{path} weighs {bytes} bytes");
    }
}

async fn weigh(screen: &Screen, path: &str) -> (String, u64) {
    // What is painted is told a moment later.
    tokio::time::sleep(std::time::Duration::from_millis(400)).await;
    let told = screen.script(WEIGHT).await;
    let bytes = told["bytes"].as_u64().expect("a sum");
    println!(
        "{path}: {:.1} kB in {} parts, first seen after {:.0} ms",
        bytes as f64 / 1000.0,
        told["parts"],
        told["painted"].as_f64().unwrap_or(f64::NAN)
    );
    (path.to_owned(), bytes)
}
