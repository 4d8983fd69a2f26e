//! One process that runs a job on its twin and is killed.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// What a process said before it died.
#[derive(Debug, Default)]
pub(crate) struct Killed {
    /// The run of which it said anything.
    pub(crate) run: Option<String>,
    /// The highest number that it said was on the disk.
    pub(crate) committed: u64,
}

/// The short job takes 170 s of life, and so little more than two here.
const PACE: &str = "80";

fn run(file: &Path) -> Command {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
    command
        .arg("run")
        .arg(root.join("config/recipes/short-job.toml"))
        .arg("--rig")
        .arg(root.join("config/rigs/bench.toml"))
        .arg("--catalogue")
        .arg(root.join("config"))
        .args(["--alone", "--pace", PACE, "--records"])
        .arg(file)
        .env("EVENPASS_LOG", "warn,evenpass::record=debug")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}

/// Starts a job and kills its process so long after.
pub(crate) fn killed(file: &Path, after: Duration) -> Killed {
    let begun = Instant::now();
    let mut child = run(file).spawn().expect("evenpass");
    let said = BufReader::new(child.stderr.take().expect("its standard error"));
    let heard = std::thread::spawn(move || said.lines().map_while(Result::ok).collect::<Vec<_>>());
    std::thread::sleep(after.saturating_sub(begun.elapsed()));
    child.kill().expect("kill");
    child.wait().expect("dead");
    let mut told = Killed::default();
    for line in heard.join().expect("heard") {
        // "... run ID is on the disk up to entry NUMBER"
        if let Some((run, number)) = line.split_once(" is on the disk up to entry ") {
            told.run = run.split(' ').next_back().map(str::to_owned);
            // A line that was cut short is no promise that could be read.
            let number = number.trim().parse().unwrap_or(0);
            told.committed = told.committed.max(number);
        }
    }
    told
}

/// Runs a job to its end.
pub(crate) fn complete(file: &Path) {
    let done = run(file).output().expect("evenpass");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
}
