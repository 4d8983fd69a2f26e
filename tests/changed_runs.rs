//! A run whose passes people changed lies otherwise on its part than planned: it teaches nothing.

#![allow(
    clippy::panic,
    clippy::expect_used,
    clippy::unwrap_used,
    reason = "a test that cannot go on fails"
)]

use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

use evenpass::attendant::Attended;
use evenpass::clock::virtual_time::Unwitnessed;
use evenpass::comparison;
use evenpass::files::{self, Places};
use evenpass::keeping::{Begin, Ended, Keeping};
use evenpass::record::{Measurement, RunKind, Store};
use evenpass::twin_job::TwinJob;
use evenpass_core::moment::Moment;
use evenpass_core::plan::plan;
use evenpass_core::request::{Answer, Request};
use evenpass_core::sequence::Phase;

const RECIPE: &str = "config/recipes/short-job.toml";

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

fn measure(records: &str, code: i32) -> String {
    let diameter = ["--person", "A. Fitter", "--diameter", "570 mm=22.27 mm"];
    told(&[&["records", "measure", "latest", "--records", records], &diameter[..]].concat(), code)
}

/// The short job on the twin, kept as a run; in its first pass something is asked.
fn run(records: &Path, asked: Option<Request>) {
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
            && let Some(request) = left.take()
        {
            assert_eq!(twin.request(request), Answer::Accepted);
        }
    };
    assert_eq!(left, None, "asked while it sprayed");
    let zones = comparison::zones(&plan, twin.bench());
    let told = Ended { end, first_cause: None, zones: &zones, powder_fed_g: None };
    keeping.finish(&told).expect("ended");
}

#[test]
fn a_measurement_of_a_run_whose_passes_were_changed_is_refused_and_one_that_stands_is_left_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    let (changed, honest) = (path("changed.sqlite"), path("honest.sqlite"));
    run(&changed, Some(Request::TouchUp));
    run(&honest, None);
    let file = changed.to_str().unwrap();
    let shown = told(&["records", "show", "latest", "--records", file], 0);
    assert!(shown.contains("1 pass added"), "{shown}");
    let change = "passes over zone band as planned 1 pass more";
    assert!(shown.contains(change), "its line among the deviations\n{shown}");
    let coat = shown.split("coat of band").nth(1).expect("a total");
    let words: Vec<&str> = coat.split_whitespace().take(11).collect();
    assert_eq!((words[0], words[3], words[4], words[7]), ("planned", "as", "changed", "deposited"));
    let off: f64 = words[10].trim_start_matches('(').parse().expect("percent");
    assert!(off.abs() < 2.0, "against the plan as changed: {words:?}");
    let refused = measure(file, 2);
    assert!(refused.contains("its passes were trimmed or touched up while it ran"), "{refused}");
    assert!(refused.contains("accepted: a run that was sprayed as planned"), "{refused}");

    let honest_file = honest.to_str().unwrap();
    let untouched = told(&["records", "show", "latest", "--records", honest_file], 0);
    for absent in ["Deviations", "as changed", "powder as changed"] {
        assert!(!untouched.contains(absent), "{absent}\n{untouched}");
    }
    measure(honest_file, 0);
    let kept = Store::open_existing(&honest).expect("open").measurements().expect("read").remove(0);
    let mut store = Store::open(&changed).expect("open");
    let run = Some(store.find("latest").expect("a run"));
    store.keep_measurement(&Measurement { run, ..kept.measurement }).expect("kept");
    let page = told(&["plan", RECIPE, "--records", file], 0);
    assert!(page.contains("its passes were changed while it ran"), "{page}");
}
