//! What stands in the way is told in one message, with the exit code that says so.

use std::time::Duration;

use crate::scene::Scene;

#[test]
fn a_wrong_pin_is_refused_and_moves_nothing() {
    let scene = Scene::new(20.0);
    let mut home = scene.begin(Some("A. Fitter"), &["home", "--yes"]);
    home.types("9999");
    let (code, said) = home.ends();
    assert_eq!((code, said.as_str()), (1, "name or PIN is wrong"));
    let mut home = scene.begin(Some("A. Fitter"), &["home"]);
    home.goes();
    let (code, said) = home.ends();
    assert_eq!(code, 2, "{said}");
    assert!(said.starts_with("PIN: standard input has none"), "{said}");
    let (code, said) = scene.begin(None, &["home"]).ends();
    assert_eq!(code, 2, "{said}");
    assert!(said.starts_with("--person: the serve at 127.0.0.1:"), "{said}");
}

#[test]
fn an_operator_may_neither_nudge_nor_take_points() {
    let scene = Scene::new(20.0);
    scene.bench("key-on");
    let (code, said) = scene.ask("A. Operator", &["jog", "--by", "1 mm"]).ends();
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("this needs maintenance or an engineer"), "{said}");
}

#[test]
fn a_seat_that_is_taken_is_asked_for_and_kept_or_given() {
    let scene = Scene::new(20.0);
    let mut holder = scene.ask("A. Operator", &["run", "short-job.toml"]);
    holder.hears("short-job.toml on \"Bench\"");
    let (code, said) = scene.ask("A. Fitter", &["home"]).ends();
    assert_eq!(code, 1, "{said}");
    assert!(said.starts_with("the seat is A. Operator's\nhelp: --take"), "{said}");

    let mut keen = scene.ask("A. Fitter", &["home", "--take"]);
    keen.hears("A. Operator has been asked for the seat");
    holder.hears("A. Fitter asks for the seat");
    holder.types("keep");
    let (code, said) = keen.ends();
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("A. Operator keeps the seat"), "{said}");

    let mut keen = scene.ask("A. Fitter", &["home", "--take"]);
    holder.hears("A. Fitter asks for the seat");
    holder.types("give");
    holder.hears("the seat is A. Fitter's now");
    // The key is off: it has the seat, and is told what the machine is told.
    keen.hears("Idle");
}

#[test]
fn a_serve_that_goes_in_the_middle_is_told_and_what_it_left_behind_is_ignored() {
    let mut scene = Scene::new(20.0);
    let mut run = scene.ask("A. Operator", &["run", "short-job.toml"]);
    run.hears("short-job.toml on \"Bench\"");
    std::thread::sleep(Duration::from_millis(500));
    scene.kill();
    let (code, said) = run.ends();
    assert_eq!(code, 1, "{said}");
    assert_eq!(said.matches("does not answer any more").count(), 1, "{said}");
    let (code, said) = scene.begin(None, &["home"]).ends();
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("was left by a serve that has ended (process "), "{said}");
    assert!(said.contains("embedded twin that ends with this command"), "{said}");
}

#[test]
fn a_serve_that_runs_and_does_not_answer_is_never_taken_for_none() {
    let scene = Scene::new(20.0);
    scene.stands_still(true);
    for arguments in [&["home"][..], &["run", "short-job.toml"]] {
        let (code, said) = scene.begin(Some("A. Fitter"), arguments).ends();
        assert_eq!(code, 1, "{arguments:?}: {said}");
        assert!(said.contains("runs and does not answer"), "{arguments:?}: {said}");
        assert!(said.contains("--alone") && !said.contains("embedded twin"), "{said}");
    }
    let (code, said) = scene.begin(None, &["home", "--alone"]).ends();
    assert_eq!(code, 0, "{said}");
    scene.stands_still(false);
}

#[test]
fn what_a_running_serve_cannot_follow_is_refused_before_anything_is_asked() {
    let scene = Scene::new(20.0);
    let elsewhere = concat!(env!("CARGO_MANIFEST_DIR"), "/config/recipes/short-job.toml");
    for (arguments, words) in [
        (&["jog", "--by", "1 mm", "--port", "field=/dev/null"][..], "--port: a serve"),
        (&["run", elsewhere], "is not among the recipes"),
        (&["run", "short-job.toml", "--pace", "9"], "--pace: a serve"),
        (&["jog", "--by", "1"], "--by: "),
        (&["jog"], "--by: standard input is no terminal"),
    ] {
        let (code, said) = scene.begin(Some("A. Fitter"), arguments).ends();
        assert_eq!(code, 2, "{arguments:?}: {said}");
        assert!(said.contains(words), "{arguments:?}: {said}");
    }
    let (code, said) = scene.begin(None, &["home", "--alone"]).ends();
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("embedded twin"), "{said}");
    assert!(said.contains("homed; torch at 720.00 mm"), "{said}");
}

#[test]
fn every_verb_shows_a_real_example() {
    let scene = Scene::new(20.0);
    for verb in ["home", "jog", "teach", "run", "prove"] {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_evenpass"))
            .args([verb, "--help"])
            .output()
            .expect("help");
        let help = String::from_utf8_lossy(&out.stdout).into_owned();
        assert!(help.contains(&format!("Example: evenpass {verb}")), "{help}");
    }
    drop(scene);
}
