//! What each of the three came for, from beginning to end.

use std::thread;
use std::time::Duration;

use evenpass::record::{ActAnswer, Store};

use crate::scene::Scene;

#[test]
fn an_operator_runs_the_short_job_to_its_end() {
    let scene = Scene::new(20.0);
    scene.bench("key-on");
    let mut run = scene.ask("A. Operator", &["run", "short-job.toml"]);
    assert!(!run.answers_until("!! tripped"), "{}", run.all());
    let (code, said) = run.ends();
    assert_eq!(code, 0, "{said}");
    assert!(said.lines().last().is_some_and(|line| line.contains("complete")), "{said}");
    let store = Store::open_existing(&scene.records()).expect("records");
    let runs = store.runs().expect("a list");
    assert_eq!(runs.len(), 1, "{runs:?}");
    assert!(said.contains(&format!("record {}", runs[0].id)), "{said}");
    let run = store.run(&runs[0].id).expect("a run");
    assert_eq!(run.particulars.get("started by").map(String::as_str), Some("A. Operator"));
}

#[test]
fn a_flame_lost_in_mid_pass_is_shown_acknowledged_reset_restarted_and_the_job_completes() {
    let scene = Scene::new(10.0);
    scene.bench("key-on");
    let mut run = scene.ask("A. Operator", &["run", "short-job.toml"]);
    assert!(run.answers_until("spraying pass"), "{}", run.all());
    scene.bench("flame-covered");
    let trip = run.hears("!! tripped: ");
    assert!(trip.to_lowercase().contains("flame"), "{trip}");
    run.hears("the machine did: ");
    run.hears("to do now: ");
    scene.bench("flame-free");
    run.insists("acknowledge");
    run.insists("reset");
    let restart = run.hears(">> type restart: ");
    println!("{restart}");
    run.insists("restart");
    assert!(!run.answers_until("!! tripped"), "{}", run.all());
    let (code, said) = run.ends();
    assert_eq!(code, 0, "{said}");
}

#[test]
fn an_interrupt_stops_the_served_job_in_order_and_whoever_types_no_more_is_told_of_a_trip() {
    let scene = Scene::new(20.0);
    scene.bench("key-on");
    let mut run = scene.ask("A. Operator", &["run", "short-job.toml"]);
    assert!(run.answers_until("spraying pass"), "{}", run.all());
    run.interrupts();
    let (code, said) = run.ends();
    assert_eq!(code, 4, "{said}");
    assert!(said.lines().last().is_some_and(|line| line.starts_with("stopped")), "{said}");

    // What is over is left, and the next job loaded.
    let mut run = scene.ask("A. Operator", &["run", "short-job.toml"]);
    assert!(run.answers_until("spraying pass"), "{}", run.all());
    run.goes();
    scene.bench("emergency-in");
    let (code, said) = run.ends();
    assert_eq!(code, 3, "{said}");
    assert!(said.lines().last().is_some_and(|line| line.starts_with("tripped: ")), "{said}");
}

#[test]
fn maintenance_homes_nudges_and_proves_two_interlocks() {
    let scene = Scene::new(20.0);
    scene.bench("key-on");
    let (code, said) = scene.ask("A. Fitter", &["home", "--yes"]).ends();
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("homed; torch at 720.0"), "{said}");
    let steps = ["jog", "--by", "-5 mm", "--by", "0.5 mm"];
    let (code, said) = scene.ask("A. Fitter", &steps).ends();
    assert_eq!(code, 0, "{said}");
    let places: Vec<f64> = said
        .lines()
        .filter_map(|line| line.split("torch at ").nth(1)?.split(' ').next()?.parse().ok())
        .collect();
    println!("after -5 mm and 0.5 mm: {places:?}");
    assert_eq!(places.len(), 2, "{said}");
    for (place, wanted) in places.iter().zip([715.0, 715.5]) {
        assert!((place - wanted).abs() < 0.2, "{said}");
    }
    for key in ["emergency_stop", "guard_open"] {
        let mut prove = scene.ask("A. Fitter", &["prove", key]);
        for _ in 0..2 {
            prove.hears("Enter = done");
            prove.types("act");
            prove.types("");
        }
        prove.hears("Acknowledge, then reset");
        prove.types("acknowledge");
        // The purge that a reset waits for takes its time.
        for _ in 0..20 {
            prove.types("reset");
        }
        let (code, said) = prove.ends();
        assert_eq!(code, 0, "{said}");
        println!("{}", said.lines().last().unwrap_or_default());
    }
    let store = Store::open_existing(&scene.records()).expect("records");
    let proofs = store.proofs().expect("proofs");
    let mut keys: Vec<&str> = proofs.iter().map(|proof| proof.interlock.as_str()).collect();
    keys.sort_unstable();
    assert_eq!(keys, ["emergency_stop", "guard_open"]);
    assert!(proofs.iter().all(|proof| proof.person == "A. Fitter"));
}

#[test]
fn a_stop_at_the_keys_that_nudge_waits_for_no_nudge_and_is_a_stop_by_its_exit_code() {
    // As fast as life: the longest nudge takes longer than somebody who changes their mind.
    let scene = Scene::new(1.0);
    scene.bench("key-on");
    for stop in ["\x03", " ", "s"] {
        let mut terminal = scene.sit_down("A. Fitter", &["jog"]);
        terminal.sees("step 1");
        terminal.presses("4");
        terminal.sees("step 5");
        terminal.presses("d");
        thread::sleep(Duration::from_millis(250));
        terminal.presses(stop);
        let (code, shown) = terminal.ends();
        assert_eq!(code, 4, "{stop:?}: {shown}");
        assert!(shown.contains("stopped"), "{stop:?}: {shown}");
        assert!(!shown.contains("nudged by"), "{stop:?}: the nudge was not waited for: {shown}");
    }
}

#[test]
fn an_engineer_teaches_a_part_with_its_edges_in_the_wrong_order_saves_rehearses_and_runs_it() {
    let mut scene = Scene::new(40.0);
    scene.bench("key-on");
    let (code, said) = scene.ask("B. Engineer", &["home", "--yes"]).ends();
    assert_eq!(code, 0, "{said}");
    let file = scene.text("config/recipes/taught.toml");
    let like = scene.text("config/recipes/short-job.toml");
    let mut teach = scene.ask("B. Engineer", &["teach", &file, "--like", &like, "--title", "Pin"]);
    teach.hears("torch at 720.0");
    teach.types("step 5 mm");
    for _ in 0..24 {
        teach.types("a");
        teach.hears("moved by ");
    }
    teach.types("face");
    println!("{}", teach.hears("1: part face at 60"));
    // Measured instead of jogged to, and from the tail side.
    teach.types("face at 540 mm");
    teach.types("edge diameter 22 mm at 582 mm");
    teach.hears("3: zone edge at 582");
    teach.types("edge at 558 mm");
    teach.types("save");
    let open = teach.hears("not saved yet");
    assert!(teach.hears("which end does the first pass start from").len() > open.len());
    teach.types("look");
    teach.hears("they are swapped");
    teach.types("starts chuck side");
    teach.types("look");
    println!("{}", teach.hears("zone 1: 558"));
    println!("{}", teach.hears("passes"));
    teach.types("save");
    let (code, said) = teach.ends();
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("saved: "), "{said}");

    let (code, said) = scene.begin(None, &["rehearse", &file]).ends();
    assert_eq!(code, 0, "{said}");
    let mut run = scene.ask("B. Engineer", &["run", &file]);
    assert!(!run.answers_until("!! tripped"), "{}", run.all());
    let (code, said) = run.ends();
    assert_eq!(code, 0, "{said}");
    assert!(scene.end().success(), "serve ends in order");
    assert!(!scene.at("runs.sqlite-serve.json").exists(), "and takes its mark away");

    let store = Store::open_existing(&scene.records()).expect("records");
    let acts = store.acts(1000).expect("acts");
    let taken = acts.iter().find(|act| act.what.starts_with("take-point")).expect("recorded");
    assert_eq!((taken.person.as_str(), &taken.answer), ("B. Engineer", &ActAnswer::Done));
    assert_eq!(taken.whence.to_string(), "terminal");
}
