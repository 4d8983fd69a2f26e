//! Solves the even feed of every part in a file and writes what it reached and how long it took:
//! `cargo run --release --example even-feed -- tests/reference/even-feed-parts.json`.
//! `tests/witness/even_feed_scipy.py` runs it beside another solver.

use std::io::Write;

use evenpass_core::model::even::Field;
use rustix::time::{ClockId, clock_gettime};
use serde_json::json;

mod parts;

/// How often each is done: of as many the middle one counts.
const REPEATS: usize = 25;

/// What this thread has had of the processor, ms: other programs on the machine do not count.
fn processor_ms() -> f64 {
    let now = clock_gettime(ClockId::ThreadCPUTime);
    1e3 * now.tv_sec as f64 + 1e-6 * now.tv_nsec as f64
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args().nth(1).ok_or("expected the path of a file of parts")?;
    let mut answers = Vec::new();
    for part in parts::read(&path)? {
        let problem = part.problem()?;
        let mut kernels = Vec::with_capacity(REPEATS);
        let mut solutions = Vec::with_capacity(REPEATS);
        for _ in 0..REPEATS {
            let begun = processor_ms();
            let field = Field::new(&problem)?;
            let ready = processor_ms();
            let even = std::hint::black_box(field.solve(part.passes));
            solutions.push((processor_ms() - ready, even.worst));
            kernels.push(ready - begun);
        }
        kernels.sort_by(f64::total_cmp);
        solutions.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (kernel, solved) = (kernels.get(REPEATS / 2), solutions.get(REPEATS / 2));
        answers.push(json!({
            "name": part.name,
            "worst": solved.map(|(_, worst)| worst),
            "kernel_ms": kernel,
            "solve_ms": solved.map(|(taken, _)| taken),
        }));
    }
    writeln!(std::io::stdout(), "{}", serde_json::Value::Array(answers))?;
    Ok(())
}
