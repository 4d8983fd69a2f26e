//! An operator finds an order, tells what was done for it, chooses it, and makes its first part; what
//! the next one needs is seen on the page Run all along.

use evenpass::record::{Batch, BatchId, Of, Ordered, Outcome, RunKind, Source};
use evenpass_core::batch::Scrapped;
use evenpass_core::sequence::Phase;

use crate::looks::folder;
use crate::operator::answer_until;
use crate::scene::{OPERATOR, Scene};
use crate::screen::Screen;

/// How many times faster than life the twin goes here.
const PACE: f64 = 4.0;

/// An order of the short job, by a name, as `evenpass batch make` takes it in.
pub(crate) fn order(scene: &Scene, name: &str, parts: u32) -> Batch {
    let text = std::fs::read_to_string(scene.recipes().join("short-job.toml")).expect("a recipe");
    Batch {
        id: BatchId::stored(name.to_owned()),
        made_at: "2026-11-25T06:00:00Z".parse().expect("an instant"),
        person: "A. Fitter".to_owned(),
        rig: scene.station.rig().title.clone(),
        kind: RunKind::Twin,
        recipe: Source { name: scene.recipes().join("short-job.toml").display().to_string(), text },
        ordered: Ordered {
            serials: (1..=parts).map(|number| format!("{name}/{number:02}")).collect(),
            measured_every: Some(5),
            scrapped: Scrapped::MadeAgain,
            tip_every: None,
            particulars: [("drawing".to_owned(), "4711 B".to_owned())].into_iter().collect(),
        },
    }
}

/// A picture, if anybody wants it.
async fn picture(screen: &Screen, name: &str) {
    if let Some(folder) = folder() {
        screen.picture(folder.join(format!("orders-{name}.png"))).await;
    }
}

/// Types into a field of the form that has a button of that word.
async fn tell(screen: &Screen, act: &str, fields: &[(&str, &str)]) {
    let form = format!(".telling form:has(input[value=\"{act}\"])");
    for (name, text) in fields {
        let field = screen.element(&format!("{form} input[name=\"{name}\"]")).await;
        field.clear().await.expect("emptied");
        field.send_keys(text).await.expect("typed");
    }
    screen.press(&format!("{form} button")).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "needs chromium and its driver"]
async fn an_operator_tells_what_was_done_for_an_order_chooses_it_and_makes_its_first_part() {
    let scene = Scene::new(PACE).await;
    let mut store = scene.store();
    store.keep_batch(&order(&scene, "B12", 12)).expect("kept");
    store.keep_batch(&order(&scene, "B13", 2)).expect("kept");
    let screen = Screen::of(&scene).await;
    screen.sign_in(OPERATOR).await;
    screen.take_seat().await;
    screen.press("nav a[href=\"/batches\"]").await;
    screen.until("main", 10.0, |list| list.contains("B12") && list.contains("B13")).await;
    picture(&screen, "list").await;
    screen.press("a[href=\"/batch?name=B12\"]").await;
    let told = screen.until("main", 30.0, |page| page.contains("part 1 of 12")).await;
    for words in ["B12/01", "first-off", "nobody has said what is in the hopper", "4711 B"] {
        assert!(told.contains(words), "no \"{words}\" in {told}");
    }
    screen.press(".telling summary").await;
    tell(&screen, "refilled", &[("holds", "2")]).await;
    let said = screen.until(".said", 10.0, |said| said.contains("refused")).await;
    assert!(said.contains("Hopper holds now") && said.contains("has no unit"), "{said}");
    picture(&screen, "refused").await;
    screen.press(".said").await;
    tell(&screen, "refilled", &[("holds", "2 kg")]).await;
    screen.until("main", 30.0, |page| page.contains("2000.0 g")).await;
    screen.press("button[value=\"B12\"]").await;
    screen.until("main", 30.0, |page| page.contains("Forecast")).await;
    let block = "[data-live=\"batch\"]";
    let told = screen.until(block, 15.0, |block| block.contains("B12")).await;
    assert!(told.contains("part 1 of 12") && told.contains("blast the part"), "{told}");
    assert_eq!(scene.station.snapshot().status.phase, Phase::Idle, "nothing moves by a choice");
    picture(&screen, "chosen").await;

    screen.press(".telling summary").await;
    picture(&screen, "telling").await;
    tell(&screen, "blasted", &[("parts", "1-12"), ("ago", "5 min")]).await;
    let told = screen.until(block, 5.0, |block| !block.contains("blast the part")).await;
    assert!(told.contains("nothing is needed"), "{told}");
    screen.make_ready(240.0 / PACE).await;
    picture(&screen, "ready").await;
    screen.ask("start").await;
    answer_until(&screen, "spraying", PACE).await;
    let told = screen.until(block, 15.0, |block| block.contains("being made")).await;
    assert!(told.contains("part 1 of 12") && told.contains("part 2 of 12"), "{told}");
    assert!(!told.contains("wait for its end"), "{told}");
    picture(&screen, "run").await;
    answer_until(&screen, "complete", PACE).await;
    let told = screen.until(block, 15.0, |block| !block.contains("being made")).await;
    assert!(told.contains("part 2 of 12"), "{told}");
    screen.go("/batch?name=B12").await;
    screen.until("main", 30.0, |page| page.contains("undecided")).await;
    picture(&screen, "one-made").await;
    screen.end().await;

    let ended = scene.end().await;
    let store = ended.store();
    let run = store.runs().expect("runs").pop().expect("a run");
    assert_eq!(run.outcome, Outcome::Complete);
    let (of, part) = store.batch_of(&run.id).expect("read").expect("a part of an order");
    assert_eq!((of.as_str(), part.number), ("B12", 1), "not of the one that was ordered last");
    assert!(store.run(&run.id).expect("a run").deviations.is_empty());
    let marks = store.marks(Of::Batch(&of)).expect("marks");
    assert_eq!(marks.len(), 2, "{marks:#?}");
    assert!(marks.iter().all(|kept| kept.mark.person == OPERATOR.name));
    assert!(store.verify(None).expect("read").flaws.is_empty());
}
