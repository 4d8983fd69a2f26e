//! How pages look: at rest, in a run and tripped, light and dark, on the two sizes of screen that
//! stand at machines. What can be measured is: nothing is cut off, no two buttons overlap, each is
//! large enough for a glove, and what is read in a run stands out from its ground.

use std::path::PathBuf;
use std::time::Duration;

use serde_json::{Value, json};

use crate::operator::answer_until;
use crate::orders;
use crate::pages;
use crate::scene::{ENGINEER, Scene};
use crate::screen::Screen;

/// Sizes of a panel's screen, with the least width and height of a button in its pixels: 15 mm on
/// a panel of 10 inches, which is 217 mm wide (the narrower one may round down).
pub(crate) const SIZES: [(u32, u32, u32); 2] = [(1280, 800, 88), (1024, 600, 69)];
/// Least contrast of what is read in a run (WCAG 2.2, success criterion 1.4.6).
const CONTRAST: f64 = 7.0;
/// How many times faster than life the twin goes here: quick enough to get into a run, slow enough
/// to look at all its pages in it.
const PACE: f64 = 8.0;

/// All that is wrong with a page, in words.
const WRONG: &str = r#"
    const [least, contrast] = arguments;
    const wrong = [];
    const name = (one) => one.tagName.toLowerCase() + "[" + (one.className || "") + "] '" +
        one.innerText.trim().slice(0, 30).replace(/\s+/g, " ") + "'";
    const seen = (one) => one.checkVisibility({ visibilityProperty: true });
    const all = (css) => Array.from(document.querySelectorAll(css)).filter(seen);
    for (const one of all("html, main, header, aside, nav, nav a, section, button, a.button, .figure dd")) {
        if (one.scrollWidth > one.clientWidth + 1) {
            wrong.push(`${name(one)} is cut off: ${one.scrollWidth} px in ${one.clientWidth}`);
        }
    }
    const bodies = all("button, a[href]").map((one) => [one, one.getBoundingClientRect()]);
    bodies.forEach(([one, box], index) => {
        for (const [other, its] of bodies.slice(index + 1)) {
            const across = Math.min(box.right, its.right) - Math.max(box.left, its.left);
            const down = Math.min(box.bottom, its.bottom) - Math.max(box.top, its.top);
            if (across > 1 && down > 1) wrong.push(`${name(one)} overlaps ${name(other)}`);
        }
        if (!one.closest(".account") && (box.width < least - 0.5 || box.height < least - 0.5)) {
            wrong.push(`${name(one)} is ${box.width.toFixed(0)} x ${box.height.toFixed(0)} px, ` +
                `not ${least}`);
        }
    });
    const numbers = (colour) => {
        const [red, green, blue, alpha = 1] = colour.match(/[\d.]+/g).map(Number);
        return [red, green, blue, alpha];
    };
    const over = ([r, g, b, a], [R, G, B]) =>
        [r * a + R * (1 - a), g * a + G * (1 - a), b * a + B * (1 - a)];
    const ground = (one) => {
        if (!one) return getComputedStyle(document.documentElement).colorScheme === "dark"
            ? [0, 0, 0] : [255, 255, 255];
        const own = numbers(getComputedStyle(one).backgroundColor);
        return own[3] === 1 ? own.slice(0, 3) : over(own, ground(one.parentElement));
    };
    const light = (colour) => {
        const [r, g, b] = colour.map((part) => part / 255)
            .map((part) => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    for (const one of all(".state, .figure dd, .figure dt, .scale .value, .scale .what, " +
        ".scale .window-words, .prompt h2, .prompt .left, .alert h2, .alert dd, .alert dt, .alert p, " +
        ".permissives li, .command button, .prompt button, .alert button, .acts button")) {
        if (!one.innerText.trim()) continue;
        const behind = ground(one);
        const text = over(numbers(getComputedStyle(one).color), behind);
        const [high, low] = [light(text), light(behind)].sort((x, y) => y - x);
        const found = (high + 0.05) / (low + 0.05);
        if (found < contrast) wrong.push(`${name(one)} has contrast ${found.toFixed(1)}`);
    }
    return wrong;
"#;

/// Where pictures go, if anybody wants them.
pub(crate) fn folder() -> Option<PathBuf> {
    let folder = PathBuf::from(std::env::var_os("EVENPASS_SHOTS")?);
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    Some(folder)
}

/// All that is wrong with the page as it is now, whose buttons are to be so large.
pub(crate) async fn wrong_with(screen: &Screen, least: u32) -> Vec<String> {
    let given = vec![json!(least), json!(CONTRAST)];
    let found = screen.client.execute(WRONG, given).await.expect("a script that runs");
    let found = found.as_array().into_iter().flatten().filter_map(Value::as_str);
    found.map(str::to_owned).collect()
}

/// Looks at pages in every light and size; tells what is wrong with them.
pub(crate) async fn look(screen: &Screen, paths: &[String], when: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    for scheme in ["light", "dark"] {
        let media = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        screen.browser("Emulation.setEmulatedMedia", media).await;
        for (width, height, least) in SIZES {
            screen.size(width, height).await;
            for path in paths {
                screen.go(path).await;
                if path != "/sign-in" {
                    screen.until_there("[data-live=\"seat\"] span", 5.0).await;
                }
                // What a change of colour fades over.
                tokio::time::sleep(Duration::from_millis(250)).await;
                let here = format!("{path} {when}, {scheme}, {width}x{height}");
                let found = wrong_with(screen, least).await;
                wrong.extend(found.into_iter().map(|one| format!("{here}: {one}")));
                if let Some(folder) = folder() {
                    let name = pages::file_name(path);
                    let file = format!("{name}-{when}-{scheme}-{width}x{height}.png");
                    screen.picture(folder.join(file)).await;
                }
            }
        }
    }
    let media = json!({ "features": [] });
    screen.browser("Emulation.setEmulatedMedia", media).await;
    screen.size(1280, 800).await;
    wrong
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn pages_are_whole_legible_and_large_enough_at_rest_in_a_run_and_tripped() {
    let scene = Scene::new(PACE).await;
    scene.store().keep_batch(&orders::order(&scene, "B30", 30)).expect("kept");
    let screen = Screen::of(&scene).await;
    let mut wrong = look(&screen, &["/sign-in".to_owned()], "idle").await;
    screen.sign_in(ENGINEER).await;
    wrong.extend(look(&screen, &["/".to_owned()], "empty").await);
    screen.take_seat().await;
    screen.load("reference-shaft.toml", "shaft").await;
    wrong.extend(look(&screen, &["/".to_owned()], "missing").await);
    screen.make_ready(400.0).await;
    let all = pages::all(&screen).await;
    println!("pages: {all:?}");
    wrong.extend(look(&screen, &all, "idle").await);
    screen.go("/").await;
    screen.ask("start").await;
    answer_until(&screen, "spraying", PACE).await;
    // The record of the run has a page of its own.
    let all = pages::all(&screen).await;
    println!("pages in a run: {all:?}");
    wrong.extend(look(&screen, &all, "running").await);
    screen.go("/bench").await;
    screen.bench("flame-covered").await;
    screen.until(".alert", 20.0, |alert| alert.contains("Tripped")).await;
    wrong.extend(look(&screen, &all, "tripped").await);
    screen.end().await;
    scene.end().await;
    wrong.sort();
    assert!(wrong.is_empty(), "{} things are wrong:\n{}", wrong.len(), wrong.join("\n"));
}
