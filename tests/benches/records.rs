//! What a full file of records takes to be looked at: a thousand runs of a thousand samples each.
//! Prints; asserts nothing.
//!
//! Run with `cargo bench --bench records`; it takes some minutes, most of them to write the file.
//! `EVENPASS_RUNS=50` makes fewer.

#![allow(clippy::expect_used, clippy::print_stdout, clippy::cast_precision_loss, missing_docs)]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use evenpass::cli::records::{Reader, list, show};
use evenpass::export::{Table, write_json};
use evenpass::files::{self, Places};
use evenpass::people::Units;
use evenpass::record::{Ending, Recorder, RunEnd, RunHeader, RunId, RunKind, Source, Store};
use evenpass::report::{Look, Paper, Report};
use evenpass_core::ledger::{Entry, EntryKind};
use evenpass_core::moment::Moment;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

/// Runs and samples of each.
const RUNS: usize = 1_000;
const SAMPLES: u64 = 1_000;
/// Passes of each run.
const PASSES: u64 = 9;
/// How often each look is taken.
const TIMES: usize = 5;

fn main() {
    let runs = std::env::var("EVENPASS_RUNS").ok().and_then(|runs| runs.parse().ok());
    let runs: usize = runs.unwrap_or(RUNS);
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("runs.sqlite");
    let begun = Instant::now();
    let last = write(&file, runs);
    let writing = begun.elapsed();
    let size = std::fs::metadata(&file).expect("a file").len() as f64;
    println!(
        "{runs} runs of {SAMPLES} samples, written in {:.1} s; the file has {:.1} MB, {:.0} kB a run",
        writing.as_secs_f64(),
        size * 1e-6,
        size * 1e-3 / runs as f64
    );
    let zone = TimeZone::UTC;
    let look = Look { units: Units::default(), zone: zone.clone(), paper: Some(Paper::A4) };
    let open = || Store::open_existing(&file).expect("a file");
    let mut told = Vec::new();
    timed("open", || drop(open()));
    let store = open();
    timed("list", || list(&store, Reader::Person, &zone, &mut told).expect("listed"));
    timed("show", || show(&store, "latest", Reader::Person, &zone, &mut told).expect("shown"));
    timed("size of a run", || assert!(store.size_of(&last).expect("a size") > 0));
    timed("report", || told = Report::of(&store, &last).expect("read").page(&look).into_bytes());
    println!("  the report has {} kB", told.len() / 1000);
    timed("export as JSON", || {
        told.clear();
        write_json(&store, &last, &mut told).expect("written");
    });
    println!("  the JSON has {} kB", told.len() / 1000);
    timed("export as CSV", || {
        let report = Report::of(&store, &last).expect("read");
        Table::ALL.iter().for_each(|table| table.write(&report, std::io::sink()).expect("written"));
    });
    let begun = Instant::now();
    let verified = store.verify(None).expect("read");
    println!(
        "  {:<16} {:>9.1} ms, {} flaws",
        "verify all",
        begun.elapsed().as_secs_f64() * 1e3,
        verified.flaws.len()
    );
}

fn timed(what: &str, mut look: impl FnMut()) {
    let mut took: Vec<Duration> = (0..TIMES)
        .map(|_| {
            let begun = Instant::now();
            look();
            begun.elapsed()
        })
        .collect();
    took.sort();
    let middle = took.get(TIMES / 2).copied().unwrap_or_default();
    let worst = took.last().copied().unwrap_or_default();
    println!(
        "  {what:<16} {:>9.1} ms, {:.1} ms at the most",
        middle.as_secs_f64() * 1e3,
        worst.as_secs_f64() * 1e3
    );
}

/// Writes the runs, each as the program does, and answers with the last one's id.
fn write(file: &Path, runs: usize) -> RunId {
    let header = header();
    let entries = entries();
    let mut last = None;
    for _ in 0..runs {
        let store = Store::open(file).expect("a file");
        let recorder = Recorder::begin(store, &header).expect("begun");
        entries.iter().for_each(|entry| recorder.deliver(entry.clone()));
        last = Some(recorder.id().clone());
        let end = RunEnd {
            ending: Ending::Complete,
            ended_at: header.started_at,
            first_cause: None,
            totals: json!({"powder": "127.2 g"}),
            deviations: Vec::new(),
        };
        recorder.finish(end).expect("ended");
    }
    last.expect("a run")
}

fn header() -> RunHeader {
    let recipe: PathBuf =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes/reference-shaft.toml");
    let job = files::job(&recipe, Places { rig: None, catalogue: None }).expect("a job");
    let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue).expect("a plan");
    let of =
        |source: &files::Source| Source { name: source.name.clone(), text: source.text.clone() };
    RunHeader {
        started_at: "2026-11-25T09:00:00Z".parse().expect("RFC 3339"),
        kind: RunKind::Machine,
        title: job.recipe.title.clone(),
        recipe: of(&job.recipe_source),
        rig: of(&job.rig_source),
        program: serde_json::to_value(&plan.program).expect("JSON"),
        forecast: serde_json::to_value(&plan.forecast).expect("JSON"),
        basis: None,
        software: "evenpass".to_owned(),
        seed: None,
        particulars: BTreeMap::new(),
        first_entry: 1,
    }
}

/// A run: samples twice a second, and in nine stretches of them a pass.
fn entries() -> Vec<Entry> {
    let mut all: Vec<(u64, EntryKind, Value)> = Vec::new();
    let stretch = SAMPLES / PASSES;
    for sample in 0..SAMPLES {
        let at = sample * 500_000;
        let (pass, within) = (sample / stretch + 1, sample % stretch);
        let mark = match within {
            1 => Some("begun"),
            32 => Some("ended"),
            _ => None,
        };
        if let Some(mark) = mark.filter(|_| pass <= PASSES) {
            let data = json!({"mark": mark, "pass": pass, "of": PASSES, "zone": "seat",
                "from": "76.96 mm", "to": "243.04 mm"});
            all.push((at, EntryKind::Pass, data));
        }
        let z = 77.0 + 5.3 * within as f64;
        all.push((
            at,
            EntryKind::Sample,
            json!({
                "carrier": "2 bar", "coat": "250 degC", "feed": "10.61 mm/s", "fuel": "0.7 bar",
                "hopper": format!("{} g", 2000.0 - 0.1 * sample as f64), "oxygen": "2.5 bar",
                "part": format!("{:.1} degC", 270.0 + within as f64 / 3.0), "powder": true,
                "spindle": "127.3 rpm", "z": format!("{z:.3} mm"),
            }),
        ));
    }
    let numbered = (1..).zip(all).map(|(number, (at, kind, data))| Entry {
        number,
        at: Moment::from_micros(at),
        kind,
        text: String::new(),
        cause: String::new(),
        data,
    });
    numbered.collect()
}
