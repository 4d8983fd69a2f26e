//! Wall time: the program and the twin as two processes, joined by pseudo-terminals only.
//!
//! What is judged comes from the twin's own journal of what was physically so. Times are printed;
//! asserted are those that are promises.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing)]

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;

/// The program's safety rules: a killed controller leaves powder, gas and carriage safe by then.
const DEAD_CONTROLLER_S: f64 = 0.5;
/// How far from its planned place a powder edge may switch at 20 mm/s, mm: a sixth of the 2 mm
/// over which the plume's sharpest edge rises; chosen.
const EDGE_MM: f64 = 0.3;
/// Slower than this the carriage is at rest, mm/s.
const AT_REST_MM_S: f64 = 0.01;
/// The job takes less than two minutes; a machine that tests many things at once is given time.
const PATIENCE: Duration = Duration::from_secs(240);

const RECIPE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/config/recipes/short-job.toml");

/// A process that does not outlive its test.
struct Process(Child);

impl Process {
    fn start(arguments: &[&str], out: Stdio) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenpass"));
        command.args(arguments).stdin(Stdio::null()).stdout(out).stderr(Stdio::null());
        Self(command.spawn().unwrap())
    }

    /// As `kill -9`: the process does nothing any more.
    fn kill(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }

    fn interrupt(&self) {
        let id = rustix::process::Pid::from_child(&self.0);
        rustix::process::kill_process(id, rustix::process::Signal::INT).unwrap();
    }

    fn wait(&mut self, patience: Duration) -> Option<ExitStatus> {
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
struct Place(TempDir);

impl Place {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        self.at(name).to_str().unwrap().to_owned()
    }

    /// Starts a twin and waits until its terminals are there.
    fn twin(&self, journal: &str, hands: &str) -> (Process, BufReader<ChildStdout>) {
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
        let mut twin = Process::start(&arguments, Stdio::piped());
        let mut said = BufReader::new(twin.0.stdout.take().unwrap());
        let mut line = String::new();
        said.read_line(&mut line).unwrap();
        assert_eq!(line, "serving\n");
        (twin, said)
    }

    /// Starts the job over the twin's terminals.
    fn run(&self) -> Process {
        let ports = ["field", "motion"].map(|line| format!("{line}={}", self.text(line)));
        let records = self.text("records.sqlite");
        let arguments =
            ["run", RECIPE, "--port", &ports[0], "--port", &ports[1], "--records", &records];
        let out = File::create(self.at("run.txt")).unwrap();
        Process::start(&arguments, out.into())
    }
}

/// A journal read while it is written.
struct Journal {
    file: BufReader<File>,
    begun: String,
}

impl Journal {
    fn open(path: &Path) -> Self {
        Self { file: BufReader::new(File::open(path).unwrap()), begun: String::new() }
    }

    /// The next whole line, if there is one already.
    fn next(&mut self) -> Option<Value> {
        self.file.read_line(&mut self.begun).unwrap();
        if !self.begun.ends_with('\n') {
            return None;
        }
        let line = std::mem::take(&mut self.begun);
        Some(serde_json::from_str(&line).unwrap())
    }

    /// Reads on until the powder feeder is switched on.
    fn wait_for_powder(&mut self) {
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
    fn rest(&mut self) -> Vec<Value> {
        std::iter::from_fn(|| self.next()).collect()
    }
}

fn seconds(line: &Value) -> f64 {
    line["time_us"].as_f64().unwrap() * 1e-6
}

fn program(arguments: &[&str]) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_evenpass")).args(arguments).output().unwrap();
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&output.stderr)))
}

/// The states in their order.
fn states(entries: &Value) -> Vec<String> {
    let entries = entries.as_array().unwrap().iter();
    entries
        .filter(|entry| entry["kind"] == "state")
        .map(|entry| entry["data"]["to"].as_str().unwrap().to_owned())
        .collect()
}

/// A powder edge of the ledger: pass, edge, planned place in mm.
fn edges(entries: &Value) -> Vec<(u64, String, f64)> {
    let entries = entries.as_array().unwrap().iter();
    entries
        .filter(|entry| entry["kind"] == "powder")
        .map(|entry| {
            let data = &entry["data"];
            let planned = data["planned"].as_str().unwrap();
            (
                data["pass"].as_u64().unwrap(),
                data["edge"].as_str().unwrap().to_owned(),
                planned.strip_suffix(" mm").unwrap().parse().unwrap(),
            )
        })
        .collect()
}

#[test]
fn a_job_over_terminals_takes_the_states_and_powder_edges_of_its_rehearsal() {
    let place = Place::new();
    let (mut twin, mut said) = place.twin("journal", "present");
    let mut run = place.run();
    let status = run.wait(PATIENCE).expect("the job ends");
    let printed = fs::read_to_string(place.at("run.txt")).unwrap();
    assert_eq!(status.code(), Some(0), "{printed}");

    let records = place.text("records.sqlite");
    let record = program(&["records", "show", "latest", "--records", &records, "--json"]);
    let rehearsal = program(&["rehearse", RECIPE, "--json"]);
    assert_eq!(states(&record["entries"]), states(&rehearsal["entries"]));
    let (done, rehearsed) = (edges(&record["entries"]), edges(&rehearsal["entries"]));
    let order = |edges: &[(u64, String, f64)]| {
        edges.iter().map(|(pass, edge, _)| (*pass, edge.clone())).collect::<Vec<_>>()
    };
    assert_eq!(order(&done), order(&rehearsed));

    let switched: Vec<Value> = Journal::open(&place.at("journal"))
        .rest()
        .into_iter()
        .filter(|line| line["kind"] == "switched" && line["coil"] == "powder_feeder")
        .collect();
    assert_eq!(switched.len(), done.len());
    let mut worst: f64 = 0.0;
    for (switched, (pass, edge, planned)) in switched.iter().zip(&done) {
        assert_eq!(switched["energised"], edge == "on");
        let off = switched["torch_z_mm"].as_f64().unwrap() - planned;
        println!("pass {pass}, powder {edge}: coil switched {off:+.4} mm from its planned place");
        worst = worst.max(off.abs());
    }
    println!("worst |coil switched - planned| {worst:.4} mm at 20 mm/s, {EDGE_MM} mm allowed");
    assert!(worst <= EDGE_MM);

    twin.interrupt();
    assert_eq!(twin.wait(PATIENCE).and_then(|status| status.code()), Some(0));
    let mut totals = String::new();
    said.read_to_string(&mut totals).unwrap();
    print!("{totals}");
    assert!(totals.contains("served "), "{totals}");
}

#[test]
fn a_controller_killed_in_a_pass_leaves_powder_gas_and_carriage_safe_by_the_machine_alone() {
    let place = Place::new();
    let (_twin, _said) = place.twin("journal", "present");
    let mut run = place.run();
    let mut journal = Journal::open(&place.at("journal"));
    journal.wait_for_powder();
    sleep(Duration::from_millis(700));
    let before = journal.rest().pop().expect("the journal goes on");
    run.kill();
    sleep(Duration::from_secs(3));
    let after = journal.rest();

    let truths = || after.iter().filter(|line| line["kind"] == "truth");
    let lit = truths().next().unwrap();
    for what in ["feeder_on", "fuel_open", "oxygen_open"] {
        assert_eq!(lit[what], true, "{what}: the controller was killed in a pass");
    }
    // The last instant at which something was still on counts from the last line before the
    // kill: at most one line of 10 ms too long.
    let died = seconds(&before);
    let until = |still: &dyn Fn(&Value) -> bool| {
        truths().filter(|truth| still(truth)).map(seconds).fold(died, f64::max) - died
    };
    let found = [
        ("powder feeder off", until(&|truth| truth["feeder_on"] == true)),
        ("fuel off", until(&|truth| truth["fuel_open"] == true)),
        ("oxygen off", until(&|truth| truth["oxygen_open"] == true)),
        (
            "carriage at rest",
            until(&|truth| truth["torch_mm_s"].as_f64().unwrap().abs() > AT_REST_MM_S),
        ),
    ];
    for (what, after) in found {
        println!("{what} {after:.2} s after the controller was killed");
    }
    let last = truths().next_back().unwrap();
    assert!(seconds(last) - died > 2.0, "the twin goes on");
    println!("spindle {:.0} rpm, {:.1} s after", last["spindle_rpm"], seconds(last) - died);
    for (what, after) in found {
        assert!(after <= DEAD_CONTROLLER_S, "{what} after {after} s");
    }
    assert_eq!(last["part_turns"], true, "a hot part turns on, by its inverter");
}

#[test]
fn when_the_lines_vanish_in_a_pass_and_come_back_the_run_trips_and_nothing_starts_by_itself() {
    let place = Place::new();
    let (mut twin, _said) = place.twin("journal", "present");
    let mut run = place.run();
    Journal::open(&place.at("journal")).wait_for_powder();
    sleep(Duration::from_millis(700));
    twin.kill();
    let (_back, _said) = place.twin("back", "absent");
    let gone = Instant::now();
    let status = run.wait(Duration::from_secs(60)).expect("the run ends");
    println!("the run ended {:.1} s after the lines had come back", gone.elapsed().as_secs_f64());
    let printed = fs::read_to_string(place.at("run.txt")).unwrap();
    assert_eq!(status.code(), Some(3), "tripped: {printed}");
    println!("{}", printed.lines().rev().take(3).collect::<Vec<_>>().join(" | "));

    let lines = Journal::open(&place.at("back")).rest();
    let truths: Vec<_> = lines.iter().filter(|line| line["kind"] == "truth").collect();
    assert!(!truths.is_empty());
    for truth in truths {
        for what in
            ["feeder_on", "fuel_open", "oxygen_open", "supply_open", "drive_torque", "part_turns"]
        {
            assert_eq!(truth[what], false, "{what} at {} s", seconds(truth));
        }
        assert!(truth["torch_mm_s"].as_f64().unwrap().abs() <= AT_REST_MM_S);
    }
}

#[test]
fn rig_check_reads_every_device_over_the_terminals_of_a_twin_and_fails_with_a_line_missing() {
    let place = Place::new();
    let (_twin, _said) = place.twin("journal", "absent");
    let ports = ["field", "motion"].map(|line| format!("{line}={}", place.text(line)));
    let arguments = ["rig", "check", "--json", "--port", &ports[0], "--port", &ports[1]];
    let output = Command::new(env!("CARGO_BIN_EXE_evenpass")).args(arguments).output().unwrap();
    let checked: Value = serde_json::from_slice(&output.stdout).unwrap();
    let reads = checked["reads"].as_array().unwrap();
    assert_eq!(reads.len(), 8);
    for read in reads {
        println!("{} {}: {} s", read["device"], read["read"], read["longest_s"]);
        assert_ne!(read["verdict"], "silent", "{read}");
    }
    // Whether every exchange was quick enough is up to whatever else this machine does just now.
    println!("everything within budgets: {}", checked["good"]);
    assert_eq!(output.status.code(), Some(if checked["good"] == true { 0 } else { 1 }));
    let code = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_evenpass")).args(arguments).output().unwrap();
        output.status.code()
    };
    let nowhere = format!("motion={}", place.text("nowhere"));
    assert_eq!(code(&["rig", "check", "--port", &ports[0], "--port", &nowhere]), Some(1));
    assert_eq!(code(&["rig", "check", "--port", &ports[0]]), Some(2));
    assert_eq!(code(&["rig", "check", "--port", "side=/dev/null"]), Some(2));
}
