//! An inspector enters what they read of a part on the page of its run, signs nothing that is not
//! theirs, and decides; an engineer signs for a limit.

use std::time::{Duration, Instant};

use evenpass::record::{Of, Outcome, Said, Verdict};
use fantoccini::Locator;

use crate::looks;
use crate::operator::answer_until;
use crate::scene::{ENGINEER, OPERATOR, Scene};
use crate::screen::Screen;

/// How many times faster than life the twin goes here.
const PACE: f64 = 8.0;
/// What the job's part is held to.
const LIMITS: &str = "
[inspection]
hardness = { from = \"50 HRC\", to = \"62 HRC\" }
thickness = { from = \"0.05 mm\", to = \"0.30 mm\" }
run_out = \"0.05 mm\"
";
/// Opens every form of the page.
const OPEN_ALL: &str = "
    for (const one of document.querySelectorAll('.entries details')) {
        one.removeAttribute('name');
        one.open = true;
    }";

/// Opens a form by its title.
async fn open(screen: &Screen, form: &str) {
    let at = format!("document.querySelector('input[name=\"add\"][value=\"{form}\"]')");
    screen.script(&format!("{at}.closest('details').open = true")).await;
}

/// Types into the fields of a form, and enters it.
async fn enter(screen: &Screen, form: &str, fields: &[(&str, &str)]) {
    let css = format!("form:has(input[name=\"add\"][value=\"{form}\"])");
    open(screen, form).await;
    for (name, text) in fields {
        let field = format!("{css} [name=\"{name}\"]");
        let found = screen.client.find(Locator::Css(&field)).await.expect("a field");
        if screen.is_there(&format!("{css} select[name=\"{name}\"]")).await {
            found.select_by_value(text).await.expect("it is offered");
            continue;
        }
        found.clear().await.expect("emptied");
        found.send_keys(text).await.expect("typed");
    }
    screen.press(&format!("{css} button[type=\"submit\"]")).await;
}

/// Enters it, and waits for its words on the page.
async fn add(screen: &Screen, form: &str, fields: &[(&str, &str)], words: &str) {
    enter(screen, form, fields).await;
    let added = |page: &str| page.contains(words);
    screen.until(".added", 10.0, added).await;
}

/// A picture of the whole page, if anybody wants one.
async fn picture(screen: &Screen, name: &str) {
    let Some(folder) = looks::folder() else { return };
    let height = screen.script("return document.documentElement.scrollHeight").await;
    let height = u32::try_from(height.as_u64().unwrap_or(800)).expect("a height").max(800);
    screen.size(1280, height).await;
    tokio::time::sleep(Duration::from_millis(250)).await;
    screen.picture(folder.join(format!("added-{name}.png"))).await;
    screen.size(1280, 800).await;
}

/// The page with all its forms open, on each size of screen.
async fn look(screen: &Screen, path: &str, when: &str) -> Vec<String> {
    let mut wrong = looks::look(screen, &[path.to_owned()], when).await;
    for (width, height, least) in looks::SIZES {
        screen.size(width, height).await;
        screen.go(path).await;
        screen.until_there("[data-live=\"seat\"] span", 5.0).await;
        screen.script(OPEN_ALL).await;
        let found = looks::wrong_with(screen, least).await;
        wrong.extend(found.into_iter().map(|one| format!("{when}, open, {width}: {one}")));
    }
    picture(screen, when).await;
    wrong
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn an_inspector_enters_readings_notes_and_a_verdict_and_an_engineer_signs_for_a_limit() {
    let scene = Scene::new(PACE).await;
    scene.add_to_recipe("short-job.toml", LIMITS);
    let screen = Screen::before_the_short_job(&scene, PACE).await;
    screen.ask("start").await;
    let began = Instant::now();
    answer_until(&screen, "spraying", PACE).await;
    // While its record is written, somebody adds to it.
    screen.go("/records").await;
    screen.press("table.runs a").await;
    let path = screen.script("return location.pathname").await;
    let path = path.as_str().expect("a path").to_owned();
    let nothing = |page: &str| page.contains("Nothing was added yet.");
    screen.until(".added", 10.0, nothing).await;
    let point = [("point", "bore <b>after</b> fusing")];
    add(&screen, "hold-point", &point, "hold point 1 is not released: bore <b>after</b>").await;
    screen.go("/").await;
    answer_until(&screen, "complete", PACE).await;
    println!("from start to complete: {:.0} s at {PACE} times life", began.elapsed().as_secs_f64());

    screen.go(&path).await;
    let mut wrong = look(&screen, &path, "at-first").await;
    // A figure without its unit: its field is shown, what was typed stays, and nothing is added.
    let bare = [("at.0", "570 mm"), ("reading.0", "0.12"), ("at.1", "576 mm")];
    enter(&screen, "thickness", &bare).await;
    let said =
        screen.until(".said", 10.0, |said| said.contains("Reading: `0.12` has no unit")).await;
    println!("{said}");
    let at = "document.querySelector('[aria-invalid]')";
    assert_eq!(screen.script(&format!("return {at}.name")).await, "reading.0");
    assert_eq!(screen.script(&format!("return {at} === document.activeElement")).await, true);
    picture(&screen, "refused").await;
    // What was refused stays until it is touched.
    screen.press(".said").await;
    let thin = [("reading.0", "0.12 mm"), ("reading.1", "0.04 mm"), ("gauge", "M-17")];
    add(&screen, "thickness", &thin, "thickness finished: 0.12 mm at 570 mm, 0.04 mm at 576").await;
    let hot = [("at.0", "570 mm"), ("diameter.0", "22.31 mm"), ("temperature", "120 degC")];
    add(&screen, "diameters", &hot, "proposed").await;
    let hard = [("at.0", "570 mm"), ("reading.0", "577 HV0.3"), ("coat", "0.12 mm")];
    add(&screen, "hardness", &hard, "about 54 HRC").await;
    add(&screen, "run-out", &[("run_out", "0.3 mm")], "run-out 0.3 mm").await;
    let mistake = [("reason", "read on another part")];
    add(&screen, "take-back", &mistake, "taken back by C. Sprayer").await;
    add(&screen, "run-out", &[("run_out", "0.03 mm")], "run-out 0.03 mm").await;
    assert!(!screen.is_there("input[name=\"add\"][value=\"deviation\"]").await);

    let verdict =
        |word: &str| format!("form:has(input[value=\"decide\"]) button[value=\"{word}\"]");
    open(&screen, "decide").await;
    screen.press(&verdict("pass")).await;
    let open_yet = screen.until(".said", 10.0, |said| said.contains("cannot pass yet")).await;
    println!("{open_yet}");
    screen.press(".said").await;
    screen.press(".against button").await;
    screen.until(".against", 10.0, |against| !against.contains("bore")).await;
    wrong.extend(look(&screen, &path, "with-marks").await);

    // What only an engineer signs for.
    screen.press(".account summary").await;
    screen.press("form[data-post=\"/sign-out\"] button").await;
    screen.until_there("input[name=\"pin\"]", 10.0).await;
    screen.sign_in(ENGINEER).await;
    screen.go(&path).await;
    let signed =
        [("words", "thin at the tail"), ("limit", "thickness"), ("reason", "customer agrees")];
    add(&screen, "deviation", &signed, "Nothing stands against a pass.").await;
    open(&screen, "decide").await;
    screen.press(&verdict("pass")).await;
    screen.until(".added .decision", 10.0, |decided| decided.contains("Decided: pass")).await;
    wrong.extend(look(&screen, &path, "passed").await);
    screen.end().await;
    let ended = scene.end().await;
    let store = ended.store();
    let run = &store.runs().expect("a list")[0];
    assert_eq!(run.outcome, Outcome::Complete);
    let marks = store.marks(Of::Run(&run.id)).expect("marks");
    for kept in &marks {
        println!("{} {}: {}", kept.number, kept.mark.person, kept.mark.said);
    }
    let last = marks.last().expect("a decision");
    assert!(matches!(last.mark.said, Said::Decided { verdict: Verdict::Pass, .. }));
    assert_eq!(last.mark.person, ENGINEER.name);
    assert!(marks[..marks.len() - 2].iter().all(|kept| kept.mark.person == OPERATOR.name));
    assert_eq!(store.verify(None).expect("read").flaws, []);
    assert!(wrong.is_empty(), "{} things are wrong:\n{}", wrong.len(), wrong.join("\n"));
}
