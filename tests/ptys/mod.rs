//! The program and the twin as processes, joined by pseudo-terminals; what is physically so comes
//! from the twin's own journal.

#![allow(dead_code, reason = "each file of tests uses its own part of it")]

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::sync::LazyLock;
use std::thread::sleep;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;
use tempfile::TempDir;

/// The program's safety rules: a killed controller leaves powder, gas and carriage safe by then.
pub(crate) const DEAD_CONTROLLER_S: f64 = 0.5;
/// Slower than this the carriage is at rest, mm/s.
pub(crate) const AT_REST_MM_S: f64 = 0.01;
/// The job takes less than two minutes; a machine that tests many things at once is given time.
pub(crate) const PATIENCE: Duration = Duration::from_secs(240);

pub(crate) const RECIPE: &str =
    concat!(env!("CARGO_MANIFEST_DIR"), "/config/recipes/short-job.toml");

/// Whether a process may be run before all others.
pub(crate) static MAY_GO_FIRST: LazyLock<bool> = LazyLock::new(|| {
    let tried = Command::new("chrt").args(["--fifo", "1", "true"]).status();
    tried.is_ok_and(|status| status.success())
});

/// A process that does not outlive its test.
pub(crate) struct Process(pub(crate) Child);

impl Process {
    pub(crate) fn start(arguments: &[&str], out: Stdio) -> Self {
        Self::begin(Command::new(env!("CARGO_BIN_EXE_evenpass")), arguments, out)
    }

    /// The same before all other work of the computer, where it lets us: a device has its own
    /// processor, and a twin that waits for one is a device that falls silent.
    pub(crate) fn start_first(arguments: &[&str], out: Stdio) -> Self {
        if !*MAY_GO_FIRST {
            return Self::start(arguments, out);
        }
        let mut command = Command::new("chrt");
        command.args(["--fifo", "1", env!("CARGO_BIN_EXE_evenpass")]);
        Self::begin(command, arguments, out)
    }

    fn begin(mut command: Command, arguments: &[&str], out: Stdio) -> Self {
        command.args(arguments).stdin(Stdio::null()).stdout(out).stderr(Stdio::null());
        Self(command.spawn().unwrap())
    }

    /// As `kill -9`: the process does nothing any more.
    pub(crate) fn kill(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }

    pub(crate) fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.0), signal).unwrap();
    }

    pub(crate) fn interrupt(&self) {
        self.signal(Signal::INT);
    }

    pub(crate) fn wait(&mut self, patience: Duration) -> Option<ExitStatus> {
        let end = Instant::now() + patience;
        while Instant::now() < end {
            if let Some(status) = self.0.try_wait().unwrap() {
                return Some(status);
            }
            sleep(Duration::from_millis(20));
        }
        None
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A folder with the links of one twin.
pub(crate) struct Place(TempDir);

impl Place {
    pub(crate) fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    pub(crate) fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn text(&self, name: &str) -> String {
        self.at(name).to_str().unwrap().to_owned()
    }

    /// Starts a twin and waits until its terminals are there.
    pub(crate) fn twin(&self, journal: &str, hands: &str) -> (Process, BufReader<ChildStdout>) {
        let (field, motion, journal) =
            (self.text("field"), self.text("motion"), self.text(journal));
        let arguments = [
            "twin",
            RECIPE,
            "--field",
            &field,
            "--motion",
            &motion,
            "--journal",
            &journal,
            "--hands",
            hands,
        ];
        let mut twin = Process::start_first(&arguments, Stdio::piped());
        let mut said = BufReader::new(twin.0.stdout.take().unwrap());
        let mut line = String::new();
        said.read_line(&mut line).unwrap();
        assert_eq!(line, "serving\n");
        (twin, said)
    }

    /// What the run has printed last.
    pub(crate) fn printed(&self) -> String {
        const LINES: usize = 12;
        let all = std::fs::read_to_string(self.at("run.txt")).unwrap_or_default();
        let from = all.lines().count().saturating_sub(LINES);
        all.lines().skip(from).collect::<Vec<_>>().join("\n")
    }

    /// Starts the job over the twin's terminals.
    pub(crate) fn run(&self) -> Process {
        let ports = ["field", "motion"].map(|line| format!("{line}={}", self.text(line)));
        let records = self.text("records.sqlite");
        let arguments =
            ["run", RECIPE, "--port", &ports[0], "--port", &ports[1], "--records", &records];
        let out = File::create(self.at("run.txt")).unwrap();
        Process::start(&arguments, out.into())
    }
}

/// A journal read while it is written.
pub(crate) struct Journal {
    file: BufReader<File>,
    begun: String,
}

impl Journal {
    pub(crate) fn open(path: &Path) -> Self {
        Self { file: BufReader::new(File::open(path).unwrap()), begun: String::new() }
    }

    /// The next whole line, if there is one already.
    pub(crate) fn next(&mut self) -> Option<Value> {
        self.file.read_line(&mut self.begun).unwrap();
        if !self.begun.ends_with('\n') {
            return None;
        }
        let line = std::mem::take(&mut self.begun);
        Some(serde_json::from_str(&line).unwrap())
    }

    /// Reads on until the powder feeder is switched on.
    pub(crate) fn wait_for_powder(&mut self) {
        let end = Instant::now() + PATIENCE;
        while Instant::now() < end {
            match self.next() {
                Some(line) if line["coil"] == "powder_feeder" && line["energised"] == true => {
                    return;
                }
                Some(_) => {}
                None => sleep(Duration::from_millis(5)),
            }
        }
        panic!("no powder within {PATIENCE:?}");
    }

    /// Everything that is there; the last line.
    pub(crate) fn rest(&mut self) -> Vec<Value> {
        std::iter::from_fn(|| self.next()).collect()
    }
}

pub(crate) fn seconds(line: &Value) -> f64 {
    line["time_us"].as_f64().unwrap() * 1e-6
}

pub(crate) fn program(arguments: &[&str]) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_evenpass")).args(arguments).output().unwrap();
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&output.stderr)))
}

/// The states in their order.
pub(crate) fn states(entries: &Value) -> Vec<String> {
    let entries = entries.as_array().unwrap().iter();
    entries
        .filter(|entry| entry["kind"] == "state")
        .map(|entry| entry["data"]["to"].as_str().unwrap().to_owned())
        .collect()
}

/// A powder edge of the ledger: pass, edge, planned place in mm. A stall of this machine right at an
/// OFF lets the next scan switch it off outright: the ledger then knows of no planned place.
pub(crate) fn edges(entries: &Value) -> Vec<(u64, String, Option<f64>)> {
    let entries = entries.as_array().unwrap().iter();
    entries
        .filter(|entry| entry["kind"] == "powder")
        .map(|entry| {
            let data = &entry["data"];
            let planned = data["planned"].as_str();
            (
                data["pass"].as_u64().unwrap(),
                data["edge"].as_str().unwrap().to_owned(),
                planned.map(|place| place.strip_suffix(" mm").unwrap().parse().unwrap()),
            )
        })
        .collect()
}
