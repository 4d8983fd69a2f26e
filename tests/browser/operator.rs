//! An operator runs the short job from signing in to its end.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use evenpass::record::Outcome;
use serde_json::Value;

use crate::scene::{OPERATOR, Scene};
use crate::screen::Screen;

/// How many times faster than life the twin goes here.
const PACE: f64 = 4.0;
/// The longest that the short job may take, with everything that a person does, s of the twin's.
const LONGEST: f64 = 900.0;

/// How long the twin's hands take to change a torch behind an open guard, s of the twin's, with time
/// to get there and to shut the guard. Who accepts before that waits for a guard that is open.
const TORCH_CHANGED: f64 = 70.0;

/// What is live on the page Run, at one look.
const LIVE: &str = r#"
    const all = (css) => Array.from(document.querySelectorAll(css));
    const figure = (name) => (all(".figure").find((one) =>
        one.querySelector("dt").innerText === name) || { innerText: "" }).innerText.split("\n").pop();
    const scale = all(".scale")[0];
    return {
        state: document.querySelector(".state").innerText,
        prompt: all(".prompt h2").map((one) => one.innerText).join(),
        torch: all("[data-live='part.torch'] .torch").map((one) => one.getAttribute("d")).join(),
        planned: all("polyline.planned").length,
        predicted: all("polyline.predicted").map((one) => one.getAttribute("points")).join(),
        found: all("polyline.found").map((one) => one.getAttribute("points")).join(),
        coat: all("path.coat").map((one) => one.getAttribute("d")).join(),
        temperature: scale ? scale.querySelector(".value").innerText : "",
        window: scale ? scale.querySelector(".window-words").innerText : "",
        pointer: scale && scale.querySelector(".pointer")
            ? scale.querySelector(".pointer").getAttribute("x") : "",
        unheated: /^(Starting|Lighting|Idle)/.test(document.querySelector(".state").innerText) && scale
            ? scale.querySelector(".window-words").innerText : "",
        left: figure("Left"),
        pass: figure("Pass"),
        lost: !document.querySelector(".lost").hidden,
    };
"#;

/// Keeps every window that the first scale shows from now on: a band is fused faster than looks come.
const WATCH: &str = r#"
    window.shown = new Set();
    new MutationObserver(() => {
        const words = document.querySelector(".scale .window-words");
        if (words) window.shown.add(words.innerText.trim());
    }).observe(document.querySelector("[data-live='scales']"), { childList: true, subtree: true });
"#;

/// What was live over a run: all that each thing has shown.
#[derive(Default)]
pub(crate) struct Seen {
    all: std::collections::BTreeMap<String, BTreeSet<String>>,
}

impl Seen {
    fn take(&mut self, look: &Value) {
        for (name, value) in look.as_object().into_iter().flatten() {
            let text = value.as_str().map_or_else(|| value.to_string(), |text| text.trim().into());
            if !text.is_empty() {
                self.all.entry(name.clone()).or_default().insert(text);
            }
        }
    }

    /// How many different ones it has shown.
    pub(crate) fn count(&self, name: &str) -> usize {
        self.all.get(name).map_or(0, BTreeSet::len)
    }

    /// All that it has shown.
    pub(crate) fn shown(&self, name: &str) -> Vec<&str> {
        self.all.get(name).into_iter().flatten().map(String::as_str).collect()
    }
}

/// Answers each prompt with the button that stands under it, until the state has a word.
pub(crate) async fn answer_until(screen: &Screen, state: &str, pace: f64) -> Seen {
    let give_up = Instant::now() + Duration::from_secs_f64(LONGEST / pace + 30.0);
    let mut seen = Seen::default();
    let mut inside: Option<Instant> = None;
    loop {
        let look = screen.script(LIVE).await;
        seen.take(&look);
        let now = look["state"].as_str().unwrap_or_default();
        if now.to_lowercase().contains(state) {
            return seen;
        }
        if Instant::now() >= give_up || now.starts_with("Abort") {
            screen.tell(&format!("`{state}` never came; it is `{now}`")).await;
        }
        inside = look["prompt"]
            .as_str()
            .filter(|asks| asks.contains("change the torch"))
            .map(|_| inside.unwrap_or_else(Instant::now));
        let changing = Duration::from_secs_f64(TORCH_CHANGED / pace);
        if inside.is_some_and(|since| since.elapsed() < changing) {
            tokio::time::sleep(Duration::from_millis(200)).await;
            continue;
        }
        // The first button is what is asked for; what cannot be accepted yet is asked for again.
        screen.press_if_there(".prompt .buttons button:first-child").await;
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

/// What each file of a run begins with, and the name it is kept by; one after the other, as a person
/// takes them.
const FILES: &str = "
    const told = [];
    for (const link of document.querySelectorAll('.files a')) {
        const asked = new XMLHttpRequest();
        asked.open('GET', link.getAttribute('href'), false);
        asked.send();
        told.push({ link: link.getAttribute('href'), begins: asked.responseText.slice(0, 40),
            name: asked.getResponseHeader('content-disposition') });
    }
    return told;";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn an_operator_runs_the_short_job_to_its_end_and_sees_all_of_it_live() {
    let scene = Scene::new(PACE).await;
    let screen = Screen::before_the_short_job(&scene, PACE).await;
    screen.script(WATCH).await;
    screen.ask("start").await;
    let began = Instant::now();
    let seen = answer_until(&screen, "complete", PACE).await;
    println!("from start to complete: {:.0} s at {PACE} times life", began.elapsed().as_secs_f64());
    for name in ["torch", "predicted", "found", "coat", "temperature", "pointer", "left", "pass"] {
        println!("{name}: {} different", seen.count(name));
    }
    println!("passes: {:?}", seen.shown("pass"));
    assert!(seen.count("torch") >= 10, "the torch moves over the picture");
    assert!(seen.count("predicted") >= 2, "the prediction grows with the passes");
    assert!(seen.count("found") >= 3, "so does the estimate beside it");
    assert!(seen.count("coat") >= 3, "and the coat on the part");
    assert!(seen.count("temperature") >= 10, "the temperature");
    assert!(seen.count("pointer") >= 10, "and its place on the line");
    let windows = screen.script("return Array.from(window.shown)").await;
    let windows: Vec<&str> =
        windows.as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    println!("windows: {windows:?}");
    for window in ["150 \u{b0}C to 480 \u{b0}C", "1040 \u{b0}C to 1160 \u{b0}C"] {
        assert!(windows.iter().any(|one| one.ends_with(window)), "{window} is not in {windows:?}");
    }
    // It is told from step to step.
    assert!(seen.count("left") >= 4, "time left: {:?}", seen.shown("left"));
    assert!(seen.shown("pass").contains(&"2 of 2"), "{:?}", seen.shown("pass"));
    assert_eq!(
        seen.count("unheated"),
        0,
        "no window before the heat: {:?}",
        seen.shown("unheated")
    );
    let ended = screen.script(LIVE).await;
    assert_eq!(ended["left"], "\u{2013}", "nothing is left of a job that has ended");
    assert_eq!(ended["window"].as_str().map(str::trim), Some(""));
    assert!(!seen.shown("lost").contains(&"true"), "it was live all the time");
    screen.go("/records").await;
    screen.until("main", 10.0, |main| main.contains("Short job: test ring")).await;
    screen.press("table.runs a").await;
    screen.until(".files", 10.0, |files| files.contains("report to print")).await;
    let files = screen.script(FILES).await;
    println!("{files:#}");
    let files = files.as_array().expect("a list");
    assert_eq!(files.len(), 8, "the report, all rows and six tables");
    for file in files {
        let (name, begins) = (file["name"].as_str().expect("a name"), file["begins"].as_str());
        assert!(name.starts_with("attachment; filename=\"2"), "{file}");
        let wanted = match file["link"].as_str().and_then(|link| link.rsplit('/').next()) {
            Some("report.html") => "<!DOCTYPE html>",
            Some("rows.json") => "{\"format\": \"evenpass run, 1\"",
            Some("part.csv") => "name,words",
            Some("samples.csv") => "\"time, s\",\"z, mm\"",
            Some("passes.csv") => "zone,pass,of",
            Some("entries.csv") => "number,\"at, us\"",
            Some("measurements.csv") => "measurement,measured on",
            Some("marks.csv") => "mark,at,person",
            other => panic!("{other:?}"),
        };
        assert!(begins.is_some_and(|text| text.starts_with(wanted)), "{file}");
    }
    screen.end().await;
    let ended = scene.end().await;
    let runs = ended.store().runs().expect("a list");
    println!("{runs:?}");
    assert_eq!(runs.len(), 1);
    assert_eq!(runs[0].outcome, Outcome::Complete);
    let run = ended.store().run(&runs[0].id).expect("a run");
    assert_eq!(run.particulars.get("started by").map(String::as_str), Some(OPERATOR.name));
}
