//! A run whose passes people changed is measured against them as changed, and teaches what it should.

#![allow(
    clippy::print_stdout,
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    reason = "a test prints its figures, and fails where it cannot go on"
)]

use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

use evenpass::attendant::Attended;
use evenpass::clock::virtual_time::Unwitnessed;
use evenpass::comparison;
use evenpass::files::{self, Places};
use evenpass::keeping::{Begin, Ended, Keeping};
use evenpass::record::{Pruned, RunKind, Store};
use evenpass::twin_job::TwinJob;
use evenpass_core::moment::Moment;
use evenpass_core::plan::plan;
use evenpass_core::quantity::Length;
use evenpass_core::request::{Answer, Request, Trim};
use evenpass_core::sequence::Phase;

const RECIPE: &str = "config/recipes/short-job.toml";
/// The middle of its zone, and its diameter there before coating.
const PLACE: Length = Length::from_mm(570.0);
const BARE: Length = Length::from_mm(22.0);

fn evenpass(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_evenpass"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program runs")
}

/// What it prints and complains about, in one line.
fn told(arguments: &[&str], code: i32) -> String {
    let output = evenpass(arguments);
    let said = [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).expect("text"));
    let said = said.join("\n").split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(output.status.code(), Some(code), "{arguments:?}\n{said}");
    said
}

/// What is told of the diameter at [`PLACE`], before it was fused, by one of the verbs that take one.
fn diameter(verb: &str, records: &Path, read: Length, code: i32) -> String {
    let reading = format!("{PLACE}={read:.4}");
    let file = records.to_str().expect("a path");
    let person =
        ["--person", "A. Fitter", "--records", file, "--as-sprayed", "--diameter", &reading];
    told(&[&["records", verb, "latest"], &person[..]].concat(), code)
}

/// The short job on the twin, kept as a run; in its first pass something is asked. Answers the
/// diameter that it truly had at [`PLACE`] before it was fused, cold.
fn run(records: &Path, asked: &[Request]) -> Length {
    let recipe = Path::new(env!("CARGO_MANIFEST_DIR")).join(RECIPE);
    let job = files::job(&recipe, Places { rig: None, catalogue: None }).expect("shipped");
    let plan = plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let mut twin = TwinJob::new(&job, &plan, 1, Attended::No, Unwitnessed).expect("the twin");
    let begin = Begin::fresh(RunKind::Twin, Some(1), Some(records));
    let keeping = Keeping::begin(&job, &plan, &begin).expect("begun");
    let (mut until, mut left) = (Moment::START, asked);
    let end = loop {
        until = until + Duration::from_millis(100);
        if let Some(end) = twin.run_until(until, &mut |entry| keeping.deliver(entry)) {
            break end;
        }
        if twin.snapshot().status.phase == Phase::Spraying
            && let Some((request, later)) = left.split_first()
        {
            assert_eq!(twin.request(*request), Answer::Accepted);
            left = later;
        }
    };
    assert_eq!(left, [], "asked while it sprayed");
    let zones = comparison::zones(&plan, twin.bench());
    let told = Ended { end, first_cause: None, zones: &zones, powder_fed_g: None };
    keeping.finish(&told).expect("ended");
    BARE + Length::from_mm(twin.bench().thickness_mm(PLACE.mm())) * 2.0
}

/// The share by which a page says that the efficiency changes, in percent.
fn change(page: &str) -> f64 {
    let (before, _) = page.split_once(" % of the efficiency").expect(page);
    before.rsplit(' ').next().and_then(|percent| percent.parse().ok()).expect(page)
}

/// A pass added to two, and the second and third at 10 % more feed: (1 + 2 / 1.1) / 2 = 1.409 of the
/// plan. What lies there is held against that: as planned it would be two fifths too much.
#[test]
fn the_coat_of_a_run_whose_passes_were_changed_is_held_against_them_as_changed() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("changed.sqlite");
    let read = run(&records, &[Request::TouchUp, Request::Trim(Trim::of_percent(10))]);
    let file = records.to_str().expect("a path");
    let shown = told(&["records", "show", "latest", "--records", file], 0);
    assert!(shown.contains("1 pass added"), "{shown}");
    let added = "passes over zone band as planned 1 pass more";
    assert!(shown.contains(added), "its line among the deviations\n{shown}");
    let coat = shown.split("coat of band").nth(1).expect("a total");
    let words: Vec<&str> = coat.split_whitespace().take(11).collect();
    assert_eq!((words[0], words[3], words[4], words[7]), ("planned", "as", "changed", "deposited"));
    let off: f64 = words[10].trim_start_matches('(').parse().expect("percent");
    assert!(off.abs() < 2.0, "against the plan as changed: {words:?}");

    let page = diameter("check", &records, read, 0);
    assert!(page.contains("passes 3 of 3"), "{page}");
    assert!(page.contains("2 were planned; as people changed them all leave +40.9 %"), "{page}");
    assert!(change(&page).abs() < 4.0, "{page}");
    assert!(page.contains("proposed no change"), "{page}");
    let thin = BARE + (read - BARE) * 0.8;
    let page = diameter("check", &records, thin, 0);
    assert!((-24.0..-16.0).contains(&change(&page)), "a fifth less\n{page}");
    assert!(page.contains("proposed 1 more pass at"), "{page}");

    // What it teaches is what it would have taught unchanged.
    let honest = folder.path().join("honest.sqlite");
    let unchanged = run(&honest, &[]);
    let untouched = told(&["records", "show", "latest", "--records", honest.to_str().unwrap()], 0);
    for absent in ["Deviations", "as changed", "powder as changed"] {
        assert!(!untouched.contains(absent), "{absent}\n{untouched}");
    }
    for (records, read) in [(&records, read), (&honest, unchanged)] {
        let page = diameter("measure", records, read, 0);
        let (_, factor) = page.split_once("density) x ").expect("a build factor");
        let factor =
            factor.split(' ').next().and_then(|x| x.parse::<f64>().ok()).expect("a figure");
        println!("build factor {factor}");
        assert!((factor - 1.0).abs() < 0.02, "{page}");
        let plan = told(&["plan", RECIPE, "--records", records.to_str().unwrap()], 0);
        assert!(plan.contains("from run") && !plan.contains("left out"), "{plan}");
    }
}

#[test]
fn a_changed_run_whose_entries_are_elsewhere_says_where_and_teaches_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let records = folder.path().join("changed.sqlite");
    let read = run(&records, &[Request::TouchUp]);
    diameter("measure", &records, read, 0);
    let mut store = Store::open(&records).expect("open");
    let run = store.runs().expect("read").remove(0);
    let pruned = Pruned {
        at: "2030-11-25T10:00:00Z".parse().expect("RFC 3339"),
        person: "A. Fitter".to_owned(),
        entries: store.run(&run.id).expect("read").entries.len() as u64,
        file: "old.jsonl".to_owned(),
        digest: "0".repeat(64),
    };
    store.prune(&run, &pruned).expect("pruned");
    let refused = diameter("measure", &records, read, 2);
    assert!(refused.contains("were put into the file old.jsonl"), "{refused}");
    assert!(refused.contains("accepted: a run whose entries are in these records"), "{refused}");
    let page = told(&["plan", RECIPE, "--records", records.to_str().expect("a path")], 0);
    assert!(page.contains("were changed, and the entries that say how are not in"), "{page}");
}
