//! What a change of passes costs between two scans: a trim and a touch-up pass are worked out where
//! they are asked for, on the scan's thread, and have to be through long before the next scan is due.
//! Prints; asserts nothing.
//!
//! The program is far longer than any part's: a tapered zone with an even feed, as often as a recipe
//! may have zones. Run with `cargo bench --bench changes`; it takes a second.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    clippy::cast_precision_loss,
    missing_docs
)]

use std::path::Path;
use std::time::Instant;

use evenpass::files::{self, Places};
use evenpass_core::plan::change::{Ahead, touched_up, trimmed};
use evenpass_core::program::{Program, Step};
use evenpass_core::request::{Denial, Trim};

/// As many zones as a recipe may have.
const ZONES: usize = 100;
/// How often each is measured.
const TIMES: usize = 200;

fn main() {
    let recipe = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/recipes/taper-spindle.toml");
    let job = files::job(&recipe, Places { rig: None, catalogue: None }).unwrap();
    let plan = evenpass_core::plan::plan(&job.recipe, &job.rig, &job.catalogue).unwrap();
    let mut program = plan.program;
    let (at, spray) = program
        .steps
        .iter()
        .enumerate()
        .find(|(_, step)| matches!(step, Step::Spray(_)))
        .map(|(at, step)| (at, step.clone()))
        .unwrap();
    program.steps.splice(at..=at, std::iter::repeat_n(spray, ZONES));
    let passes: usize = program.steps.iter().map(passes_of).sum();
    let period = job.rig.scan.s() * 1e3;
    println!("{ZONES} zones, {passes} passes; a scan every {period:.0} ms");
    let ahead = Ahead { step: at, pass: 1 };
    show("a trim of 2 %", period, || trimmed(&program, ahead, Trim::of_percent(2)));
    show("a touch-up pass", period, || touched_up(&program, ahead));
}

fn passes_of(step: &Step) -> usize {
    match step {
        Step::Spray(spray) => spray.passes.len(),
        _ => 0,
    }
}

fn show(what: &str, period_ms: f64, change: impl Fn() -> Result<Program, Denial>) {
    let mut took: Vec<f64> = (0..TIMES)
        .map(|_| {
            let begun = Instant::now();
            let changed = std::hint::black_box(change());
            let took = begun.elapsed().as_secs_f64() * 1e3;
            assert!(changed.is_ok(), "{changed:?}");
            took
        })
        .collect();
    took.sort_by(f64::total_cmp);
    let (middle, worst) = (took[TIMES / 2], took[TIMES - 1]);
    println!(
        "{what:<16} p50 {middle:.3} ms, worst {worst:.3} ms: {:.1} % of a scan's period",
        worst / period_ms * 100.0
    );
}
